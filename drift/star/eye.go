package star

import (
	"math"

	"trueturn/drift/frame"
)

// A value of a colour mosaic's plane is not the light of a square pixel of it: it is the mean of two real pixels on the
// diagonal of a cell, each half as wide. Taken for a square pixel it stretches a star along that diagonal (moments 1/16
// of a cell² in xy: 1.13 to 1 for stars 3 pixels wide) and leaves a misfit which passes for noise that grows with light:
// the errors of bright stars came out two to three times too large. So the profiles gather light where the cell does.
// Everything is measured in cells, and at the very end turned to true pixels.

// offset is a place in a pixel of the plane, from its middle.
type offset struct{ x, y float64 }

// retina is where a profile takes its light: the mean over the points.
type retina struct {
	points []offset
	box    float64 // variance of the real pixel's box where the points render it, else 0
}

// eye is the plane's way of gathering light.
type eye struct {
	cell   frame.Cell
	side   float64  // of a real pixel, in pixels of the plane
	pixels []offset // middles of the real pixels that make a value
}

func eyeOf(c frame.Cell) eye {
	const q = 0.25
	e := eye{c, 0.5, nil}
	switch c {
	case frame.GreensFalling:
		e.pixels = []offset{{-q, -q}, {q, q}}
	case frame.GreensRising:
		e.pixels = []offset{{-q, q}, {q, -q}}
	case frame.FourPixels:
		e.pixels = []offset{{-q, -q}, {q, -q}, {-q, q}, {q, q}}
	default:
		e.side, e.pixels = 1, []offset{{}}
	}
	return e
}

// coarse takes the light of a real pixel at its middle: its box is then part of the star's moments.
func (e eye) coarse() retina { return retina{points: e.pixels} }

// node is the place of the two Gauss–Legendre points in an interval of 1: ±1/(2√3).
const node = 0.28867513459481287

// fine takes it at 2 × 2 Gauss–Legendre points, as stars narrower than about two real pixels need.
func (e eye) fine() retina {
	r := retina{box: e.side * e.side / 12}
	n := node * e.side
	for _, p := range e.pixels {
		r.points = append(r.points, offset{p.x - n, p.y - n}, offset{p.x + n, p.y - n}, offset{p.x - n, p.y + n}, offset{p.x + n, p.y + n})
	}
	return r
}

func (e eye) retinaFor(m shape) retina {
	if m.width() < 0.95*e.side {
		return e.fine()
	}
	return e.coarse()
}

// sharpest is the σ of the sharpest star: that of whole pixels with the real pixel's box in place of theirs.
func (e eye) sharpest() float64 { return math.Sqrt(sharpest*sharpest - (1-e.side*e.side)/12) }

// blur adds to a star's moments what the cell spreads them.
func (e eye) blur(m shape) shape {
	n := float64(len(e.pixels))
	for _, p := range e.pixels {
		m.xx, m.xy, m.yy = m.xx+p.x*p.x/n, m.xy+p.x*p.y/n, m.yy+p.y*p.y/n
	}
	return m
}

// peak is the star's light in its brightest pixel; of a cell plane, in the real pixel at its middle, by the profile
// from the brightest cell.
func (e eye) peak(a *attempt) float64 {
	if e.side == 1 {
		return a.cut.peak
	}
	p, kind := a.fit.p, a.fit.kind
	var d vector
	cell := kind.value(&p, float64(a.cut.px), float64(a.cut.py), &d) - p[pedestal]
	// The real pixel's middle that is nearest to the star's.
	near := func(v float64) float64 { return math.Floor(v/e.side)*e.side + e.side/2 }
	one := retina{[]offset{{}}, 0}
	switch k := kind.(type) {
	case spot:
		k.points = eye{side: e.side, pixels: one.points}.pointsLike(k.retina)
		kind = k
	case trail:
		kind = trail{one}
	}
	pixel := kind.value(&p, near(p[posX]), near(p[posY]), &d) - p[pedestal]
	if !(cell > 0) || !(pixel > 0) {
		return a.cut.peak
	}
	return a.cut.peak * pixel / cell
}

// pointsLike are the eye's own points, as fine as those of r.
func (e eye) pointsLike(r retina) []offset {
	if r.box > 0 {
		return e.fine().points
	}
	return e.pixels
}

// truePixels turns a field measured in cells to true pixels: cell (x, y) has its middle at (2x+½, 2y+½). The light of
// a cell is its mean, so four pixels hold four times that; and the noise of four independent pixels averages to the cell's.
func (e eye) truePixels(f *Field) {
	if e.side == 1 {
		return
	}
	k := 1 / e.side
	f.Width, f.Height = int(k)*f.Width, int(k)*f.Height
	f.Noise, f.FWHM = f.Noise*k, f.FWHM*k
	for _, list := range [...][]Star{f.Stars, f.Suspects} {
		for i := range list {
			list[i].enlarge(k)
		}
	}
}

func (s *Star) enlarge(k float64) {
	s.X, s.Y = k*(s.X+0.5)-0.5, k*(s.Y+0.5)-0.5
	s.XErr, s.YErr, s.XYCov = k*s.XErr, k*s.YErr, k*k*s.XYCov
	s.Flux, s.FluxErr = k*k*s.Flux, k*k*s.FluxErr
	s.FWHM, s.FWHMErr = k*s.FWHM, k*s.FWHMErr
	s.TrailPx, s.TrailPxErr = k*s.TrailPx, k*s.TrailPxErr
}
