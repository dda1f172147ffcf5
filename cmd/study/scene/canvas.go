package scene

import (
	"math"
	"math/rand/v2"

	"trueturn/drift/frame"
)

// Canvas is a picture as the mean number of electrons each pixel will hold.
type Canvas struct {
	Width, Height int
	Electrons     []float64 // row after row from the top
}

// NewCanvas is a picture of an even sky of so many electrons a pixel.
func NewCanvas(width, height int, sky float64) *Canvas {
	c := &Canvas{width, height, make([]float64, width*height)}
	for i := range c.Electrons {
		c.Electrons[i] = sky
	}
	return c
}

// wings is the share of its middle's brightness at which a star is drawn no farther.
const wings = 1e-6

// Star adds a star of so many electrons, carried along a path.
func (c *Canvas) Star(p Profile, path Path, electrons float64) {
	c.Add(NewStamp(p, path, wings), electrons)
}

// Add adds a stamp's light; what falls outside is lost.
func (c *Canvas) Add(s Stamp, electrons float64) {
	for j := max(0, -s.Y); j < min(s.Height, c.Height-s.Y); j++ {
		row := c.Electrons[(s.Y+j)*c.Width:]
		for i := max(0, -s.X); i < min(s.Width, c.Width-s.X); i++ {
			row[s.X+i] += electrons * s.Light[j*s.Width+i]
		}
	}
}

// Stamp is the share of a star's light in each pixel of a rectangle, whose first pixel is (X, Y).
type Stamp struct {
	X, Y, Width, Height int
	Light               []float64
}

// NewStamp is the light of a profile carried along a path, out to where it has fallen to a share of its
// middle's brightness.
func NewStamp(p Profile, path Path, share float64) Stamp {
	x0, y0, x1, y1 := path.box(p.Radius(share) + 1)
	s := Stamp{x0, y0, x1 - x0 + 1, y1 - y0 + 1, nil}
	s.Light = make([]float64, s.Width*s.Height)
	s.draw(p, path)
	return s
}

// Moved is the stamp whole pixels away; the light is shared.
func (s Stamp) Moved(dx, dy int) Stamp {
	s.X, s.Y = s.X+dx, s.Y+dy
	return s
}

// draw adds the light of a profile along a path. A Gaussian's light in a pixel is the product of two differences of the
// error function.
func (s *Stamp) draw(p Profile, path Path) {
	across, down := make([]float64, s.Width), make([]float64, s.Height)
	for _, at := range path {
		for _, g := range p.parts {
			shares(across, float64(s.X)-at.X, g.sigma)
			shares(down, float64(s.Y)-at.Y, g.sigma)
			for j, d := range down {
				if d *= at.Share * g.share; d == 0 {
					continue
				}
				row := s.Light[j*s.Width : (j+1)*s.Width]
				for i := range row {
					row[i] += d * across[i]
				}
			}
		}
	}
}

// shares fills out with what of a Gaussian about zero falls in the pixels centred at from, from+1, …
func shares(out []float64, from, sigma float64) {
	k := 1 / (math.Sqrt2 * sigma)
	before := math.Erf((from - 0.5) * k)
	for i := range out {
		after := math.Erf((from + float64(i) + 0.5) * k)
		out[i] = (after - before) / 2
		before = after
	}
}

// Sensor turns electrons into a picture.
type Sensor struct {
	ReadNoise float64 // electrons
	FullScale float64 // electrons that make the value 1; nothing clips
}

// Develop draws photons (Poisson) and read noise (normal). Nothing is rounded and nothing clips.
func (c *Canvas) Develop(s Sensor, rng *rand.Rand) frame.Plane {
	p := frame.Plane{Width: c.Width, Height: c.Height, Pix: make([]float32, len(c.Electrons)), Saturation: float32(math.Inf(1))}
	for i, e := range c.Electrons {
		p.Pix[i] = float32((Poisson(e, rng) + s.ReadNoise*rng.NormFloat64()) / s.FullScale)
	}
	return p
}

// Poisson draws a number of photons: by multiplication under a mean of 10 (D. E. Knuth, The Art of Computer Programming,
// vol. 2, §3.4.1), above by transformed rejection (W. Hörmann, Insurance: Mathematics and Economics 12 (1993) 39, algorithm
// PTRS; both from memory, held to the distribution by a test).
func Poisson(mean float64, rng *rand.Rand) float64 {
	if !(mean > 0) {
		return 0
	}
	if mean < 10 {
		limit, k := math.Exp(-mean), 0.0
		for u := rng.Float64(); u > limit; u *= rng.Float64() {
			k++
		}
		return k
	}
	return ptrs(mean, rng)
}

func ptrs(mean float64, rng *rand.Rand) float64 {
	b := 0.931 + 2.53*math.Sqrt(mean)
	a := -0.059 + 0.02483*b
	inverse := 1.1239 + 1.1328/(b-3.4)
	quick := 0.9277 - 3.6224/(b-2)
	for {
		u, v := rng.Float64()-0.5, rng.Float64()
		us := 0.5 - math.Abs(u)
		k := math.Floor((2*a/us+b)*u + mean + 0.43)
		if us >= 0.07 && v <= quick {
			return k
		}
		if k < 0 || us < 0.013 && v > us {
			continue
		}
		logs, _ := math.Lgamma(k + 1)
		if math.Log(v)+math.Log(inverse)-math.Log(a/(us*us)+b) <= k*math.Log(mean)-mean-logs {
			return k
		}
	}
}
