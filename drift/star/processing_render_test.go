package star

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"trueturn/drift/frame"
)

// What happens to light in a phone before anyone gets the picture, drawn step by step from known truth: colour mosaic,
// photons, demosaicing, noise reduction, sharpening, tone curve, JPEG. Which steps, and in what order, is common practice,
// no source; the single steps are published ones, named where they stand.

// layers holds red, green and blue, or one channel of a mosaic, as rows from the top.
type layers struct {
	w, h int
	c    [3][]float64
}

func newLayers(w, h int) layers {
	l := layers{w: w, h: h}
	for k := range l.c {
		l.c[k] = make([]float64, w*h)
	}
	return l
}

// tint is a star's light in red, green and blue; white is 1, 1, 1 after the white balance.
type tint [3]float64

var (
	white  = tint{1, 1, 1}
	orange = tint{2.2, 1, 0.35} // about a star of spectral class M through a phone's filters; from memory
	bluish = tint{0.6, 1, 1.8}
)

// responses are the electrons a white star leaves under each filter, green as 1; from memory.
var responses = tint{0.5, 1, 0.65}

// phone is a way of making a picture.
type phone struct {
	name    string
	grey    bool // no mosaic: every pixel sees all light
	linear  bool // noise reduction and sharpening before the tone curve, else after it
	malvar  bool // gradient-corrected demosaicing, else bilinear
	chroma  int  // side of the median on the colour differences; 0 = none
	smooth  smoother
	amount  float64 // of unsharp masking; 0 = none
	radius  float64 // its σ, pixels
	quality int     // JPEG
}

// lit is a scene: stars of one width and colour on a sky with a slope.
type lit struct {
	fwhm          float64 // of the optics, before the pixel's box
	colour        tint
	sky           float64 // electrons a pixel under the green filter
	slope         float64 // growth of the sky over the picture's width, share
	faint, bright float64 // signal-to-noise
}

const (
	phoneWell = 6000.0 // electrons at full scale
	phoneRead = 3.0    // electrons
)

// filterAt is the colour of a mosaic's pixel: red and green, green and blue.
func filterAt(x, y int) int {
	switch {
	case x%2 == 0 && y%2 == 0:
		return 0
	case x%2 == 1 && y%2 == 1:
		return 2
	}
	return 1
}

// sensorTruth is a star on the sensor: electrons under the green filter, and what the best filter could make of it.
type sensorTruth struct{ x, y, electrons, snr float64 }

// expose draws stars of signal-to-noise faint to bright, evenly in the logarithm, on a jittered lattice, and counts
// photons. What comes out is scaled to full scale and white-balanced, each pixel under its own filter.
func (p *phone) expose(s *lit, side int, seed uint64) (layers, []sensorTruth) {
	rng := rand.New(rand.NewPCG(seed, 77))
	e := newLayers(side, side)
	for k := range e.c {
		for i := range e.c[k] {
			e.c[k][i] = s.sky * responses[k] * (1 + s.slope*(float64(i%side)/float64(side)-0.5))
		}
	}
	var truth []sensorTruth
	gap := 36 + 4*s.fwhm
	for y := gap * 0.7; y < float64(side)-gap*0.7; y += gap {
		for x := gap * 0.7; x < float64(side)-gap*0.7; x += gap {
			d := sensorTruth{x: x + 8*rng.Float64(), y: y + 8*rng.Float64()} // anywhere in a block of JPEG
			d.snr = s.faint * math.Pow(s.bright/s.faint, rng.Float64())
			d.electrons = p.electronsFor(s, &d)
			p.addStar(&e, s, &d)
			truth = append(truth, d)
		}
	}
	out := newLayers(side, side)
	for i := range side * side {
		for k := range 3 {
			if p.grey || k == filterAt(i%side, i/side) {
				v := poisson(rng, e.c[k][i]) + phoneRead*rng.NormFloat64()
				out.c[k][i] = math.Min(v/phoneWell, 1) / responses[k]
			}
		}
	}
	return out, truth
}

// poisson draws a count: by products of uniforms (D. E. Knuth, The Art of Computer Programming 2, §3.4.1) for few, normal
// for many, where the two differ by less than the read noise.
func poisson(rng *rand.Rand, mean float64) float64 {
	if mean > 60 {
		return math.Round(mean + math.Sqrt(mean)*rng.NormFloat64())
	}
	limit, product, n := math.Exp(-mean), 1.0, -1.0
	for product > limit || n < 0 {
		product *= rng.Float64()
		n++
	}
	return n
}

// across is the light of a Gaussian in the pixels of one row or column: integrals by the error function.
func across(at, sigma float64, lo, hi int) []float64 {
	v := make([]float64, hi-lo)
	for i := range v {
		t := float64(lo+i) - at
		v[i] = 0.5 * (math.Erf((t+0.5)/(math.Sqrt2*sigma)) - math.Erf((t-0.5)/(math.Sqrt2*sigma)))
	}
	return v
}

// eachPixel visits the pixels of a star with the share of its light they get.
func (d *sensorTruth) eachPixel(sigma float64, side int, visit func(x, y int, share float64)) {
	r := 5*sigma + 1
	x0, x1 := max(0, int(d.x-r)), min(side, int(d.x+r)+2)
	y0, y1 := max(0, int(d.y-r)), min(side, int(d.y+r)+2)
	gx, gy := across(d.x, sigma, x0, x1), across(d.y, sigma, y0, y1)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			visit(x, y, gx[x-x0]*gy[y-y0])
		}
	}
}

func (p *phone) addStar(e *layers, s *lit, d *sensorTruth) {
	d.eachPixel(s.fwhm/fwhmOfSigma, e.w, func(x, y int, share float64) {
		for k := range 3 {
			e.c[k][y*e.w+x] += d.electrons * s.colour[k] * responses[k] * share
		}
	})
}

// electronsFor finds the electrons that give the wanted signal-to-noise on the mosaic.
func (p *phone) electronsFor(s *lit, d *sensorTruth) float64 {
	n := d.snr * d.snr
	for range 30 {
		var sum float64
		d.eachPixel(s.fwhm/fwhmOfSigma, 1<<20, func(x, y int, share float64) {
			for k := range 3 {
				if p.grey || k == filterAt(x, y) {
					light := s.colour[k] * responses[k] * share
					sum += light * light / (s.sky*responses[k] + n*light + phoneRead*phoneRead)
				}
			}
		})
		n = 0.5*n + 0.5*d.snr/math.Sqrt(sum)
	}
	return n
}

// pick reads a mosaic mirrored at its borders, which keeps the filters in step.
func pick(v []float64, w, h, x, y int) float64 {
	x, y = mirrored(x, w), mirrored(y, h)
	return v[y*w+x]
}

func mirrored(i, n int) int {
	if i < 0 {
		return -i
	}
	if i >= n {
		return 2*(n-1) - i
	}
	return i
}

// taps are a filter's weights over 5 × 5 pixels.
type taps [5][5]float64

func (t *taps) at(v []float64, w, h, x, y int) (sum float64) {
	for j := range 5 {
		for i := range 5 {
			if t[j][i] != 0 {
				sum += t[j][i] * pick(v, w, h, x+i-2, y+j-2)
			}
		}
	}
	return sum
}

func (t taps) over(n float64) taps {
	for j := range t {
		for i := range t[j] {
			t[j][i] /= n
		}
	}
	return t
}

func (t taps) turned() (u taps) {
	for j := range t {
		for i := range t[j] {
			u[i][j] = t[j][i]
		}
	}
	return u
}

// The four filters of gradient-corrected linear demosaicing: H. S. Malvar, L.-W. He, R. Cutler, "High-quality linear
// interpolation for demosaicing of Bayer-patterned color images", ICASSP 2004, figure 2; and the bilinear ones beside.
var (
	malvarGreen = taps{{0, 0, -1}, {0, 0, 2}, {-1, 2, 4, 2, -1}, {0, 0, 2}, {0, 0, -1}}.over(8)
	malvarRow   = taps{{0, 0, 0.5}, {0, -1, 0, -1}, {-1, 4, 5, 4, -1}, {0, -1, 0, -1}, {0, 0, 0.5}}.over(8)
	malvarCross = taps{{0, 0, -1.5}, {0, 2, 0, 2}, {-1.5, 0, 6, 0, -1.5}, {0, 2, 0, 2}, {0, 0, -1.5}}.over(8)
	plainGreen  = taps{{}, {0, 0, 1}, {0, 1, 0, 1}, {0, 0, 1}}.over(4)
	plainRow    = taps{{}, {}, {0, 1, 0, 1}}.over(2)
	plainCross  = taps{{}, {0, 1, 0, 1}, {}, {0, 1, 0, 1}}.over(4)
)

// demosaic fills in the two colours each pixel did not see.
func (p *phone) demosaic(raw layers) layers {
	if p.grey {
		return raw
	}
	m := make([]float64, raw.w*raw.h)
	for i := range m {
		m[i] = raw.c[filterAt(i%raw.w, i/raw.w)][i]
	}
	green, row, cross := plainGreen, plainRow, plainCross
	if p.malvar {
		green, row, cross = malvarGreen, malvarRow, malvarCross
	}
	column := row.turned()
	out := newLayers(raw.w, raw.h)
	for y := range raw.h {
		for x := range raw.w {
			i := y*raw.w + x
			own := filterAt(x, y)
			out.c[own][i] = m[i]
			if own != 1 {
				out.c[1][i] = green.at(m, raw.w, raw.h, x, y)
				out.c[2-own][i] = cross.at(m, raw.w, raw.h, x, y)
				continue
			}
			beside := filterAt(x+1, y) // the colour of this row
			out.c[beside][i] = row.at(m, raw.w, raw.h, x, y)
			out.c[2-beside][i] = column.at(m, raw.w, raw.h, x, y)
		}
	}
	return out
}

// coded applies the sRGB curve (IEC 61966-2-1), clipping at black and full scale.
func coded(v float64) float64 {
	v = math.Min(math.Max(v, 0), 1)
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

func (l *layers) each(f func(float64) float64) {
	for k := range l.c {
		for i, v := range l.c[k] {
			l.c[k][i] = f(v)
		}
	}
}

// luma splits a picture into ITU-R BT.601 luma and what each colour differs from it.
func (l *layers) luma() (y []float64, diff layers) {
	y, diff = make([]float64, l.w*l.h), newLayers(l.w, l.h)
	for i := range y {
		y[i] = 0.299*l.c[0][i] + 0.587*l.c[1][i] + 0.114*l.c[2][i]
		for k := range 3 {
			diff.c[k][i] = l.c[k][i] - y[i]
		}
	}
	return y, diff
}

// retouch reduces noise and sharpens.
func (p *phone) retouch(l layers) layers {
	y, diff := l.luma()
	if p.chroma > 0 {
		for k := range diff.c {
			diff.c[k] = medianOver(diff.c[k], l.w, l.h, p.chroma)
		}
	}
	if p.smooth != nil {
		y = p.smooth(y, l.w, l.h)
	}
	if p.amount > 0 {
		soft := blurred(y, l.w, l.h, p.radius)
		for i, v := range y {
			y[i] = v + p.amount*(v-soft[i])
		}
	}
	out := newLayers(l.w, l.h)
	for k := range out.c {
		for i := range y {
			out.c[k][i] = math.Min(math.Max(y[i]+diff.c[k][i], 0), 1)
		}
	}
	return out
}

func medianOver(v []float64, w, h, side int) []float64 {
	out := make([]float64, len(v))
	buf := make([]float64, 0, side*side)
	for y := range h {
		for x := range w {
			buf = buf[:0]
			for j := -side / 2; j <= side/2; j++ {
				for i := -side / 2; i <= side/2; i++ {
					buf = append(buf, pick(v, w, h, x+i, y+j))
				}
			}
			slices.Sort(buf)
			out[y*w+x] = buf[len(buf)/2]
		}
	}
	return out
}

// blurred filters with a Gaussian of the given σ.
func blurred(v []float64, w, h int, sigma float64) []float64 {
	r := int(math.Ceil(3 * sigma))
	k := make([]float64, 2*r+1)
	var sum float64
	for i := range k {
		k[i] = math.Exp(-sq(float64(i-r)) / (2 * sigma * sigma))
		sum += k[i]
	}
	once := func(v []float64, dx, dy int) []float64 {
		out := make([]float64, len(v))
		for y := range h {
			for x := range w {
				for i, weight := range k {
					out[y*w+x] += weight / sum * pick(v, w, h, x+dx*(i-r), y+dy*(i-r))
				}
			}
		}
		return out
	}
	return once(once(v, 1, 0), 0, 1)
}

// smoother reduces the noise of a luma plane.
type smoother func(v []float64, w, h int) []float64

// coarseness is the σ of a plane's pixels by the differences of neighbours, which stars hardly touch.
func coarseness(v []float64, w int) float64 {
	var d []float64
	for i := 2; i < len(v); i += 3 {
		if i%w >= 2 {
			d = append(d, math.Abs(v[i]-v[i-2]))
		}
	}
	return 1.4826 * median(d) / math.Sqrt2
}

// bilateral averages near pixels of like value: C. Tomasi and R. Manduchi, ICCV 1998. reach in σ of the noise.
func bilateral(spatial, reach float64) smoother {
	return func(v []float64, w, h int) []float64 {
		s, out, r := reach*coarseness(v, w), make([]float64, len(v)), int(math.Ceil(2*spatial))
		for y := range h {
			for x := range w {
				var sum, weight float64
				for j := -r; j <= r; j++ {
					for i := -r; i <= r; i++ {
						u := pick(v, w, h, x+i, y+j)
						k := math.Exp(-float64(i*i+j*j)/(2*spatial*spatial) - sq((u-v[y*w+x])/s)/2)
						sum, weight = sum+k*u, weight+k
					}
				}
				out[y*w+x] = sum / weight
			}
		}
		return out
	}
}

// nonLocal averages pixels whose 3 × 3 surroundings look alike, within reach pixels: A. Buades, B. Coll, J.-M. Morel,
// CVPR 2005; the 2σ² that noise alone makes is taken off as in their IPOL article of 2011. strength in σ of the noise.
func nonLocal(reach int, strength float64) smoother {
	return func(v []float64, w, h int) []float64 {
		s := coarseness(v, w)
		sum, weight := slices.Clone(v), make([]float64, len(v))
		for i := range weight {
			weight[i] = 1
		}
		d2 := make([]float64, len(v))
		for j := -reach; j <= reach; j++ {
			for i := -reach; i <= reach; i++ {
				if i == 0 && j == 0 {
					continue
				}
				for k := range d2 {
					d2[k] = sq(v[k] - pick(v, w, h, k%w+i, k/w+j))
				}
				patch := boxed(d2, w, h)
				for k := range v {
					a := math.Exp(-math.Max(patch[k]-2*s*s, 0) / sq(strength*s))
					sum[k] += a * pick(v, w, h, k%w+i, k/w+j)
					weight[k] += a
				}
			}
		}
		for k := range sum {
			sum[k] /= weight[k]
		}
		return sum
	}
}

// boxed is the mean over 3 × 3 pixels.
func boxed(v []float64, w, h int) []float64 {
	row, out := make([]float64, len(v)), make([]float64, len(v))
	for k := range v {
		row[k] = pick(v, w, h, k%w-1, k/w) + v[k] + pick(v, w, h, k%w+1, k/w)
	}
	for k := range v {
		out[k] = (pick(row, w, h, k%w, k/w-1) + row[k] + pick(row, w, h, k%w, k/w+1)) / 9
	}
	return out
}

// take makes the picture and reads it back as the program would. JPEG by the standard library: colour at half size.
func (p *phone) take(t testing.TB, s *lit, side int, seed uint64) (frame.Plane, []sensorTruth) {
	t.Helper()
	raw, truth := p.expose(s, side, seed)
	l := p.demosaic(raw)
	if p.linear {
		l = p.retouch(l)
		l.each(coded)
	} else {
		l.each(coded)
		l = p.retouch(l)
	}
	img := image.NewRGBA(image.Rect(0, 0, side, side))
	for i := range side * side {
		b := func(k int) uint8 { return uint8(math.Round(255 * l.c[k][i])) }
		img.SetRGBA(i%side, i/side, color.RGBA{b(0), b(1), b(2), 255})
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: p.quality}); err != nil {
		t.Fatal(err)
	}
	f, err := frame.Decode(bytes.NewReader(buf.Bytes()), frame.Options{Name: "phone.jpg"})
	if err != nil {
		t.Fatal(err)
	}
	return f.Plane, truth
}
