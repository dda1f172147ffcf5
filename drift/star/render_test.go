package star

import (
	"math"
	"math/rand/v2"

	"trueturn/drift/frame"
)

// scene is a picture drawn from known truth, in electrons until it is developed.
type scene struct {
	w, h int
	e    []float64
	rng  *rand.Rand
}

func newScene(w, h int, seed uint64, sky func(x, y float64) float64) *scene {
	s := &scene{w: w, h: h, e: make([]float64, w*h), rng: rand.New(rand.NewPCG(seed, 7))}
	for y := range h {
		for x := range w {
			s.e[y*w+x] = sky(float64(x), float64(y))
		}
	}
	return s
}

func flat(v float64) func(x, y float64) float64 { return func(_, _ float64) float64 { return v } }

// optic is a point-spread function: the light in the pixel centred at (dx, dy) from the star, whole light 1, integrated
// over the pixel.
type optic interface {
	pixel(dx, dy float64) float64
	reach() float64
}

// gauss is a Gaussian with its path: pixel integrals by the error function where it stands still.
type gauss struct{ sigma float64 }

func (g gauss) pixel(dx, dy float64) float64 {
	c := func(t float64) float64 { return 0.5 * math.Erf(t/(math.Sqrt2*g.sigma)) }
	return (c(dx+0.5) - c(dx-0.5)) * (c(dy+0.5) - c(dy-0.5))
}
func (g gauss) reach() float64 { return 6*g.sigma + 1 }

// moffat has wide wings; integrated over the pixel at 3 × 3 points.
type moffat struct{ alpha, beta float64 }

func moffatOf(fwhm, beta float64) moffat {
	return moffat{fwhm / (2 * math.Sqrt(math.Pow(2, 1/beta)-1)), beta}
}

func (m moffat) pixel(dx, dy float64) float64 {
	var sum float64
	for i := range 3 { // enough for the widths drawn: the error is a 10⁻⁴ of the peak
		for j := range 3 {
			x, y := dx+(float64(i)-1)/3, dy+(float64(j)-1)/3
			sum += math.Pow(1+(x*x+y*y)/(m.alpha*m.alpha), -m.beta)
		}
	}
	return sum / 9 * (m.beta - 1) / (math.Pi * m.alpha * m.alpha)
}
func (m moffat) reach() float64 { return 9 * m.alpha }

// moved is an optic smeared along a straight path of the given length, the middle of the path at the star's place.
type moved struct {
	optic
	length, angle float64
}

func (m moved) pixel(dx, dy float64) float64 {
	n := int(m.length*2) + 3
	s, c := math.Sincos(m.angle)
	var sum float64
	for i := range n {
		t := ((float64(i)+0.5)/float64(n) - 0.5) * m.length
		sum += m.optic.pixel(dx-t*c, dy-t*s)
	}
	return sum / float64(n)
}
func (m moved) reach() float64 { return m.optic.reach() + m.length/2 }

// add puts a star of the given electrons at (x, y).
func (s *scene) add(o optic, x, y, electrons float64) {
	r := o.reach()
	if m, ok := o.(moved); ok { // one spot after the other: quicker than the sum in every pixel
		n := int(m.length*4) + 4
		sn, c := math.Sincos(m.angle)
		for i := range n {
			t := ((float64(i)+0.5)/float64(n) - 0.5) * m.length
			s.add(m.optic, x+t*c, y+t*sn, electrons/float64(n))
		}
		return
	}
	for j := max(0, int(y-r)); j <= min(s.h-1, int(y+r)+1); j++ {
		for i := max(0, int(x-r)); i <= min(s.w-1, int(x+r)+1); i++ {
			s.e[j*s.w+i] += electrons * o.pixel(float64(i)-x, float64(j)-y)
		}
	}
}

// develop draws photons and read noise and scales to full scale.
func (s *scene) develop(readNoise, fullWell float64) frame.Plane {
	p := frame.Plane{Width: s.w, Height: s.h, Pix: make([]float32, s.w*s.h), Saturation: 1}
	for i, e := range s.e {
		v := e + math.Sqrt(math.Max(e, 0))*s.rng.NormFloat64() + readNoise*s.rng.NormFloat64()
		p.Pix[i] = float32(math.Min(v/fullWell, 1))
	}
	return p
}

// bound is the Cramér–Rao bound of x and y for one star over pixels of variance sky + light + readNoise²: the inverse of
// the 2 × 2 Fisher matrix. The other parameters are even about the middle and do not mix with the position.
func bound(o optic, x, y, electrons, sky, readNoise float64) (snr, xErr, yErr float64) {
	r := math.Min(o.reach(), 16)
	var xx, xy, yy, light2 float64
	const h = 1e-3
	for j := int(y - r); j <= int(y+r)+1; j++ {
		for i := int(x - r); i <= int(x+r)+1; i++ {
			dx, dy := float64(i)-x, float64(j)-y
			p := o.pixel(dx, dy)
			px, py := electrons*(o.pixel(dx-h, dy)-o.pixel(dx+h, dy))/(2*h), electrons*(o.pixel(dx, dy-h)-o.pixel(dx, dy+h))/(2*h)
			v := sky + electrons*p + readNoise*readNoise
			xx, xy, yy, light2 = xx+px*px/v, xy+px*py/v, yy+py*py/v, light2+p*p/v
		}
	}
	det := xx*yy - xy*xy
	return electrons * math.Sqrt(light2), math.Sqrt(yy / det), math.Sqrt(xx / det)
}
