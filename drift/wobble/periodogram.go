package wobble

import "math"

// basis is a series with everything that is fitted along with a wave at every frequency: zeros
// and a rate. Very low frequencies, whose wave bends by less than about 10⁻⁷ of itself within the series, take nothing
// away from it.
type basis struct {
	t         []float64
	root      []float64 // 1/σ; 0 = left out
	exposure  []float64
	stretch   []int
	stretches int

	sum   []float64 // of each stretch: Σ 1/σ²
	slope []float64 // unit column of the trend, zeros taken out
	ramp  float64   // length of that column before it was made unit
	y     []float64 // values over σ, zeros and rate taken out
	chi0  float64   // their square: what a wave can take away
	rate  float64   // of the fit without wave
	used  int       // points
	fixed int       // unknowns besides the wave
}

// prepare takes zeros and rate out of the values.
func (b *basis) prepare(y []float64) {
	b.sum = make([]float64, b.stretches)
	b.used, b.fixed = 0, 0
	for i, r := range b.root {
		b.sum[b.stretch[i]] += r * r
		if r != 0 {
			b.used++
		}
	}
	for _, s := range b.sum {
		if s > 0 {
			b.fixed++
		}
	}
	b.y = make([]float64, len(b.t))
	for i := range b.t {
		b.y[i] = y[i] * b.root[i]
	}
	b.level(b.y)
	b.prepareSlope()
	b.rate = take(b.y, b.slope) / b.ramp
	b.chi0 = dot(b.y, b.y)
}

func (b *basis) prepareSlope() {
	u := make([]float64, len(b.t))
	for i := range u {
		u[i] = b.t[i] * b.root[i]
	}
	b.level(u)
	b.ramp = math.Sqrt(dot(u, u))
	if b.ramp > 0 {
		scale(u, 1/b.ramp)
		b.fixed++
	} else {
		b.ramp = 1
	}
	b.slope = u
}

// level takes each stretch's mean out of a column that stands over σ.
func (b *basis) level(u []float64) {
	mean := make([]float64, b.stretches)
	b.levelWith(u, mean)
}

func (b *basis) levelWith(u, mean []float64) {
	for i := range mean {
		mean[i] = 0
	}
	for i, v := range u {
		mean[b.stretch[i]] += v * b.root[i]
	}
	for k, s := range b.sum {
		if s != 0 {
			mean[k] /= s
		}
	}
	for i := range u {
		u[i] -= mean[b.stretch[i]] * b.root[i]
	}
}

// work is the memory a trial needs.
type work struct {
	cols     [][]float64
	mean     []float64
	chi      []float64
	cos, sin []float64
	r        [][]float64
}

func newWork(n, harmonics int) *work {
	w := &work{chi: make([]float64, harmonics), cos: make([]float64, n), sin: make([]float64, n)}
	for range 2*harmonics + 1 {
		w.cols = append(w.cols, make([]float64, n))
		w.r = append(w.r, make([]float64, 2*harmonics+1))
	}
	return w
}

// chi2 is what 1, 2 … harmonics at frequency f leave of the sum of squares.
func (b *basis) chi2(w *work, f float64, harmonics int) []float64 {
	b.waves(w, f, harmonics)
	left := b.chi0
	for k := range 2 * harmonics {
		b.straighten(w, k)
		p := dot(w.cols[k], b.y)
		left -= p * p
		w.chi[k/2] = max(left, 0)
		if math.IsNaN(left) {
			w.chi[k/2] = left
		}
	}
	return w.chi[:harmonics]
}

// power is the share of the scatter taken away.
func (b *basis) power(chi float64) float64 {
	if b.chi0 == 0 {
		return 0
	}
	return 1 - chi/b.chi0
}

// waves fills the first columns: cosine and sine of each harmonic, averaged over the
// exposures, over σ.
func (b *basis) waves(w *work, f float64, harmonics int) {
	for i, t := range b.t {
		s1, c1 := math.Sincos(2 * math.Pi * f * t)
		w.cos[i], w.sin[i] = c1, s1
		s, c := s1, c1
		for k := range harmonics {
			a := b.root[i] * sinc(math.Pi*float64(k+1)*f*b.exposure[i])
			w.cols[2*k][i], w.cols[2*k+1][i] = a*c, a*s
			s, c = s*c1+c*s1, c*c1-s*s1
		}
	}
}

// vanishing: a column of which so little is left once the others are taken out says nothing.
const vanishing = 1e-7

// straighten makes column k a unit column at right angles to zeros, rate and the columns before it
// (Gram–Schmidt, a second time where much was taken out), or zero; w.r keeps how.
func (b *basis) straighten(w *work, k int) {
	u := w.cols[k]
	before := math.Sqrt(dot(u, u))
	length := before
	for j := range k {
		w.r[j][k] = 0
	}
	if len(w.mean) != b.stretches {
		w.mean = make([]float64, b.stretches)
	}
	for range 2 {
		b.levelWith(u, w.mean)
		take(u, b.slope)
		for j := range k {
			w.r[j][k] += take(u, w.cols[j])
		}
		if length = math.Sqrt(dot(u, u)); length > before/2 {
			break
		}
	}
	w.r[k][k] = length
	if length <= vanishing*before {
		w.r[k][k] = 0
		scale(u, 0)
		return
	}
	scale(u, 1/length)
}

// take removes the part of u along the unit column q and returns it.
func take(u, q []float64) float64 {
	p := dot(u, q)
	for i := range u {
		u[i] -= p * q[i]
	}
	return p
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

func scale(u []float64, by float64) {
	for i := range u {
		u[i] *= by
	}
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-6 {
		return 1
	}
	return math.Sin(x) / x
}

// falseAlarm is the chance that noise alone gives a power this high at any frequency up to highest:
// Baluev 2008, MNRAS 385, 1279, eq. 5–6 and table 1 (an upper bound, close for
// small chances). spread is the standard deviation of the instants, points and fixed their number and that of
// the unknowns besides the wave.
func falseAlarm(power, highest, spread float64, points, fixed int) float64 {
	free, before := float64(points-fixed-2), float64(points-fixed)
	if free < 1 {
		return 1
	}
	single := math.Pow(1-power, free/2)
	a, _ := math.Lgamma(before / 2)
	c, _ := math.Lgamma((before - 1) / 2)
	gamma := math.Sqrt(2/before) * math.Exp(a-c)
	width := highest * math.Sqrt(4*math.Pi) * spread
	tau := gamma * width * math.Pow(1-power, (free-1)/2) * math.Sqrt(before*power/2)
	// 1 − (1−single)·e^−τ without losing small chances.
	return -math.Expm1(math.Log1p(-min(single, 1)) - tau)
}

// spreadOf is the weighted standard deviation of the instants.
func (b *basis) spreadOf() float64 {
	var n, sum, square float64
	for i, t := range b.t {
		w := b.root[i] * b.root[i]
		n, sum, square = n+w, sum+w*t, square+w*t*t
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(max(square/n-sum*sum/n/n, 0))
}
