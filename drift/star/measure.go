package star

import (
	"math"
)

// start is where a fit begins.
type start struct {
	x, y float64
	m    shape
}

// cut is a window with what was met while cutting it.
type cut struct {
	window
	saturated int     // clipped pixels, left out
	outside   bool    // the star's core reaches over the border
	peak      float64 // brightest pixel above the background
	px, py    int     // that pixel
}

// windowSigmas is how far a window reaches in units of the star's σ: past 3 a Gaussian has ended and the pixels only
// tell the local background.
const windowSigmas = 3.6

// window cuts the pixels around a star of the given shape: an ellipse of windowSigmas, at least 3 pixels.
func (f *finder) window(x, y float64, m shape) cut {
	grown := m
	for range 4 { // a clipped core widens the window until the wings are in it
		c := f.cutEllipse(x, y, grown)
		r := math.Sqrt(float64(c.saturated) / math.Pi)
		want := m
		want.xx += r * r * 0.6
		want.yy += r * r * 0.6
		if c.saturated == 0 || want.xx <= grown.xx*1.1 || want.xx > 200 {
			return c
		}
		grown = want
	}
	return f.cutEllipse(x, y, grown)
}

func (f *finder) cutEllipse(x, y float64, m shape) cut {
	m.xx += 0.1
	m.yy += 0.1
	inv := m.inverse()
	sx, sy := m.reach()
	limit := math.Max(windowSigmas, 3/m.width())
	x0, x1 := int(math.Ceil(x-limit*sx)), int(math.Floor(x+limit*sx))
	y0, y1 := int(math.Ceil(y-limit*sy)), int(math.Floor(y+limit*sy))
	var c cut
	c.outside = float64(f.p.Width-1)-x < 1.5*sx || x < 1.5*sx || float64(f.p.Height-1)-y < 1.5*sy || y < 1.5*sy
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, f.p.Width-1), min(y1, f.p.Height-1)
	if x1 < x0 || y1 < y0 || (x1-x0)*(y1-y0) > 1<<18 {
		return c
	}
	c.samples = make([]sample, 0, (x1-x0+1)*(y1-y0+1))
	c.peak = math.Inf(-1)
	bg := f.plane(x, y)
	for j := y0; j <= y1; j++ {
		row := f.p.Pix[j*f.p.Width : (j+1)*f.p.Width]
		dy := float64(j) - y
		for i := x0; i <= x1; i++ {
			dx := float64(i) - x
			if q := inv.xx*dx*dx + 2*inv.xy*dx*dy + inv.yy*dy*dy; q > limit*limit {
				continue
			}
			f.take(&c, i, j, row[i], bg.at(dx, dy))
		}
	}
	n := float64(f.pixNoise.at(f.g.toGrid(x), f.g.toGrid(y)))
	c.n2 = math.Max(n*n, 1e-24)
	c.noise = f.lens.noise
	return c
}

// take adds one pixel to a window; pixels that are clipped or not finite tell nothing.
func (f *finder) take(c *cut, i, j int, v float32, bg float64) {
	switch {
	case v-v != 0:
		return
	case v >= f.sat:
		c.saturated++
		c.peak = math.Max(c.peak, float64(v)-bg)
		return
	}
	light := float64(v) - bg
	if light > c.peak {
		c.peak, c.px, c.py = light, i, j
	}
	c.samples = append(c.samples, sample{float64(i), float64(j), light})
}

// findPeak looks for the brightest pixel in the star's core: others in the window are not its own.
func (c *cut) findPeak(s start) {
	m := s.m
	m.xx, m.yy = m.xx+0.5, m.yy+0.5
	inv := m.inverse()
	if c.saturated == 0 {
		c.peak = math.Inf(-1)
	}
	for _, v := range c.samples {
		dx, dy := v.x-s.x, v.y-s.y
		if v.light > c.peak && inv.xx*dx*dx+2*inv.xy*dx*dy+inv.yy*dy*dy < 4 {
			c.peak, c.px, c.py = v.light, int(v.x), int(v.y)
		}
	}
}

// stranger is how many σ a pixel outside a star's core may stand above the fit; a hot pixel in the window stands higher.
const stranger = 6

// dropStrangers takes out up to two pixels that do not belong to the star.
func (c *cut) dropStrangers(fit *fitted) bool {
	m := fit.shape()
	inv := m.inverse()
	dropped := false
	for range 2 {
		worst, at := sq(stranger), -1
		var d vector
		for i, s := range c.samples {
			dx, dy := s.x-fit.p[posX], s.y-fit.p[posY]
			if inv.xx*dx*dx+2*inv.xy*dx*dy+inv.yy*dy*dy < 2 {
				continue
			}
			v := fit.kind.value(&fit.p, s.x, s.y, &d)
			if r := s.light - v; r > 0 && r*r/c.noise.variance(c.n2, v-fit.p[pedestal]) > worst {
				worst, at = r*r/c.noise.variance(c.n2, v-fit.p[pedestal]), i
			}
		}
		if at < 0 {
			break
		}
		c.samples = append(c.samples[:at], c.samples[at+1:]...)
		dropped = true
	}
	return dropped
}

func sq(x float64) float64 { return x * x }

// slope is the background about a point, linear.
type slope struct{ v, dx, dy float64 }

func (s slope) at(dx, dy float64) float64 { return s.v + s.dx*dx + s.dy*dy }

func (f *finder) plane(x, y float64) slope {
	gx, gy := f.g.toGrid(x), f.g.toGrid(y)
	const h = 4
	k := 1 / (2 * h * float64(f.g.factor))
	return slope{f.bg.at(gx, gy), (f.bg.at(gx+h, gy) - f.bg.at(gx-h, gy)) * k, (f.bg.at(gx, gy+h) - f.bg.at(gx, gy-h)) * k}
}

// fitWindow fits the star that begins at s: an ellipse, and where that comes out long, a trail as well; the better one
// is kept.
func (f *finder) fitWindow(c *cut, s start) (fitted, bool) {
	if len(c.samples) < 9 || !s.m.sound() {
		return fitted{}, false
	}
	long, short, _ := s.m.axes()
	var best fitted
	ok := false
	if long < 9*short {
		best, ok = c.fit(f.lens.spot, f.spotStart(c, s))
		if ok {
			s.m = best.shape()
			s.x, s.y = best.p[posX], best.p[posY]
			long, short, _ = s.m.axes()
		}
	}
	if !ok && long < 9*short || long < 1.7*short {
		return best, ok
	}
	if c.saturated > 0 && ok && !f.lens.trailed() {
		return best, true // the wings of a clipped star tell its middle, not its form
	}
	c.prior = prior{}
	if t, fine := c.fit(trail{f.eye.coarse()}, trailStart(c, s)); fine && (!ok || t.chi2 < best.chi2) {
		return t, true
	}
	return best, ok
}

func (f *finder) spotStart(c *cut, s start) vector {
	p := vector{amplitude: math.Max(c.peak, 1e-9), posX: s.x, posY: s.y}
	p[shape0], p[shape1], p[shape2] = f.lens.spot.from(s.m)
	return p
}

func trailStart(c *cut, s start) vector {
	_, short, angle := s.m.axes()
	l := math.Max(s.m.trailLength(), 0.5)
	return vector{amplitude: math.Max(c.peak, 1e-9), posX: s.x, posY: s.y, shape0: math.Sqrt(short), shape1: l, shape2: angle}
}

func (f *fitted) shape() shape { return f.kind.shape(&f.p) }

// priorFor leans a fit on the lens.
func (f *finder) priorFor() prior {
	if !f.lens.known || f.lens.trailed() {
		return prior{}
	}
	return f.lens.prior
}

// learnPrior measures how the shapes of the bright stars scatter over the field.
func (f *finder) learnPrior(fits []fitted) {
	var v [3][]float64
	for i := range fits {
		a, b, c := f.lens.spot.from(fits[i].shape())
		v[0], v[1], v[2] = append(v[0], a), append(v[1], b), append(v[2], c)
	}
	a, b, c := f.lens.spot.from(f.lens.shape)
	f.lens.prior.mean = [3]float64{a, b, c}
	for i, mean := range f.lens.prior.mean {
		for k := range v[i] {
			v[i][k] = math.Abs(v[i][k] - mean)
		}
		sigma := math.Max(3*1.4826*median(v[i]), loosest*math.Sqrt(a*c))
		f.lens.prior.weight[i] = 1 / (sigma * sigma)
	}
}

// loosest: the prior never claims to know a star's inverse moments better than to 40 % (its width to 20 %).
const loosest = 0.4

// learnWings chooses the wings that fit the brightest stars best together. A Gaussian is one of the choices.
func (f *finder) learnWings(fits []fitted) {
	if f.lens.trailed() {
		return
	}
	f.lens.noise = noiseModel{gain: f.skyGain()}
	best := math.Inf(1)
	chosen := f.lens.spot
	for _, kappa := range [...]float64{0, 0.1, 0.2, 0.3, 0.4, 0.5} {
		f.lens.spot.kappa = kappa
		if sum := f.misfit(fits[:min(len(fits), 25)]); sum < best-2 {
			best, chosen = sum, f.lens.spot
		}
	}
	f.lens.spot = chosen
}

// misfit is how badly the lens's spot fits stars: minus twice the logarithm of the likelihood, each star's noise being its
// own.
func (f *finder) misfit(fits []fitted) (sum float64) {
	each := make([]float64, len(fits))
	inTurn(len(fits), f.o.Workers, func(i int) {
		fit := &fits[i]
		s := start{fit.p[posX], fit.p[posY], fit.shape()}
		c := f.window(s.x, s.y, f.lens.shape)
		again, ok := c.fit(f.lens.spot, f.spotStart(&c, s))
		if !ok {
			again.chi2, again.dof = 1e3, 1
		}
		each[i] = math.Log(math.Max(again.chi2/again.dof, 1e-6)) * again.dof
	})
	for _, v := range each {
		sum += v
	}
	return sum
}

// skyGain is the largest gain the sky allows: its whole noise from its photons. Pictures with a black offset have less.
func (f *finder) skyGain() float64 {
	n, b := f.field.Noise, f.field.Background
	if b <= 0 {
		return 0
	}
	return n * n / b
}

// learnNoise finds gain and ripple from the squared residuals of the bright stars, each divided by what the fit left of
// it (1 − leverage), as a straight line in light and light². Two rounds, because the weights depend on the answer.
func (f *finder) learnNoise(fits []fitted) {
	f.lens.noise = noiseModel{gain: f.skyGain()}
	for range 2 {
		parts := make([]noiseSums, len(fits))
		inTurn(len(fits), f.o.Workers, func(i int) {
			fit := &fits[i]
			s := start{fit.p[posX], fit.p[posY], fit.shape()}
			c := f.window(s.x, s.y, s.m)
			if again, ok := f.fitWindow(&c, s); ok {
				parts[i].add(&again)
			}
		})
		var t noiseSums
		for i := range parts {
			t.join(&parts[i])
		}
		f.lens.noise = t.solve(f.lens.noise)
	}
}

// noiseSums are the normal equations of r²/(1−h) − n² = gain·m + ripple²·m².
type noiseSums struct{ a11, a12, a22, b1, b2 float64 }

func (t *noiseSums) join(u *noiseSums) {
	t.a11, t.a12, t.a22, t.b1, t.b2 = t.a11+u.a11, t.a12+u.a12, t.a22+u.a22, t.b1+u.b1, t.b2+u.b2
}

func (t *noiseSums) add(fit *fitted) {
	var d vector
	w := fit.window
	for _, s := range w.samples {
		m := fit.kind.value(&fit.p, s.x, s.y, &d) - fit.p[pedestal]
		v := w.noise.variance(w.n2, m)
		var h float64
		for i := range d {
			for j := range d {
				h += d[i] * d[j] * fit.cov[i][j]
			}
		}
		left := 1 - h/v
		r := s.light - fit.p[pedestal] - m
		y := r * r / left
		if m < 0.5*math.Sqrt(w.n2) || left < 0.15 || y > 25*v {
			continue
		}
		y -= w.n2
		k := left / (v * v) // the relative scatter of a squared residual is √2; leverage makes it less telling
		t.a11 += k * m * m
		t.a12 += k * m * m * m
		t.a22 += k * m * m * m * m
		t.b1 += k * m * y
		t.b2 += k * m * m * y
	}
}

// solve gives the pair with neither below zero.
func (t *noiseSums) solve(old noiseModel) noiseModel {
	det := t.a11*t.a22 - t.a12*t.a12
	if !(t.a11 > 0) || !(t.a22 > 0) {
		return old
	}
	gain, ripple2 := (t.b1*t.a22-t.b2*t.a12)/det, (t.a11*t.b2-t.a12*t.b1)/det
	if !(det > 1e-9*t.a11*t.a22) || ripple2 < 0 {
		gain, ripple2 = t.b1/t.a11, 0
	}
	if gain < 0 {
		gain, ripple2 = 0, math.Max(t.b2/t.a22, 0)
	}
	return noiseModel{math.Max(gain, 0), math.Sqrt(ripple2)}
}
