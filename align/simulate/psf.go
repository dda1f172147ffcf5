package simulate

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mathext"
)

// blob is one Gaussian part of a star's light.
type blob struct{ weight, sigma float64 }

// fwhmPerSigma is 2√(2 ln 2), the full width at half height of a Gaussian of
// standard deviation 1.
const fwhmPerSigma = 2.3548200450309493

// spread gives a star's light as a sum of Gaussians of total weight 1 and the
// full width at half height fwhm.
//
// A Moffat profile (1+r²/α²)^−β is a mixture of Gaussians of the same centre,
// their inverse variances spread as a gamma law of shape β: so a few Gaussians
// at quantiles of that law stand for it. They keep the wings that matter, and
// unlike the Moffat itself each can be summed over square pixels exactly.
func spread(fwhm, beta float64) []blob {
	if beta == 0 {
		return []blob{{1, fwhm / fwhmPerSigma}}
	}
	blobs := make([]blob, 5)
	sum := 0.0
	for i := range blobs {
		p := (float64(i) + 0.5) / float64(len(blobs))
		s := mathext.GammaIncRegInv(beta, p)
		// The profile mixes heights by the gamma law; a Gaussian's light is its
		// height times its variance.
		blobs[i] = blob{1 / s, 1 / math.Sqrt(2*s)}
		sum += blobs[i].weight
	}
	for i := range blobs {
		blobs[i].weight /= sum
	}
	scale := fwhm / (2 * halfWidth(blobs))
	for i := range blobs {
		blobs[i].sigma *= scale
	}
	return blobs
}

// halfWidth is the radius where the profile falls to half, by bisection.
func halfWidth(blobs []blob) float64 {
	lo, hi := 0.0, 100.0
	for range 80 {
		mid := (lo + hi) / 2
		if profile(blobs, mid) > profile(blobs, 0)/2 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// profile is the light per square pixel at distance r from the centre.
func profile(blobs []blob, r float64) float64 {
	sum := 0.0
	for _, b := range blobs {
		v := b.sigma * b.sigma
		sum += b.weight / (2 * math.Pi * v) * math.Exp(-r*r/(2*v))
	}
	return sum
}

// canvas is a band of rows of the picture, in electrons.
type canvas struct {
	width      int
	top, below int // first row and the row after the last
	pix        []float32
	ex, ey     []float32 // scratch
}

// reach is how far from its centre a blob of flux electrons is drawn: to where
// one pixel gets less than faint electrons.
func (b blob) reach(flux, faint float64) float64 {
	top := flux * b.weight / (2 * math.Pi * b.sigma * b.sigma)
	if top <= faint {
		return 0
	}
	return b.sigma*math.Sqrt(2*math.Log(top/faint)) + 1
}

// put adds one blob of light at x, y, summed exactly over each pixel.
func (c *canvas) put(x, y float64, b blob, flux, faint float64) {
	r := b.reach(flux, faint)
	if r == 0 {
		return
	}
	x0, x1 := clampSpan(x-r, x+r, 0, c.width)
	y0, y1 := clampSpan(y-r, y+r, c.top, c.below)
	if x0 >= x1 || y0 >= y1 {
		return
	}
	c.ex = edges(c.ex[:0], x0, x1, x, b.sigma)
	c.ey = edges(c.ey[:0], y0, y1, y, b.sigma)
	for j, ey := range c.ey {
		a := float32(flux*b.weight) * ey
		row := c.pix[(y0-c.top+j)*c.width+x0:][:len(c.ex)]
		for i, e := range c.ex {
			row[i] += a * e
		}
	}
}

// edges appends the share of a Gaussian about m that falls on each pixel from
// from to to.
func edges(dst []float32, from, to int, m, sigma float64) []float32 {
	k := 1 / (sigma * math.Sqrt2)
	table := erfTable()
	last := table.at((float64(from) - 0.5 - m) * k)
	for i := from; i < to; i++ {
		next := table.at((float64(i) + 0.5 - m) * k)
		dst = append(dst, float32((next-last)/2))
		last = next
	}
	return dst
}

// erfSteps is the number of table entries per unit. Straight lines between them
// miss the error function by at most max|erf″|/8/erfSteps² = 10⁻⁷, the rounding
// of the float32 picture.
const erfSteps = 1024

// erfEnd is where the error function is 1 to 10⁻⁸.
const erfEnd = 4

type errorFunction [erfEnd*erfSteps + 2]float64

var erfTable = sync.OnceValue(func() *errorFunction {
	t := new(errorFunction)
	for i := range t {
		t[i] = math.Erf(float64(i) / erfSteps)
	}
	return t
})

func (t *errorFunction) at(x float64) float64 {
	a := math.Abs(x) * erfSteps
	if a >= erfEnd*erfSteps {
		return math.Copysign(1, x)
	}
	i := int(a)
	return math.Copysign(t[i]+(t[i+1]-t[i])*(a-float64(i)), x)
}

// clampSpan turns a span of coordinates into whole pixels within [min, max).
func clampSpan(from, to float64, min, max int) (int, int) {
	a := math.Max(math.Floor(from), float64(min))
	b := math.Min(math.Ceil(to)+1, float64(max))
	if !(a < b) {
		return 0, 0
	}
	return int(a), int(b)
}
