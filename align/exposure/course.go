package exposure

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// course is how a star moves at one place of the picture: v t + ½ a t² + g·(angle about the axis), pixels and seconds.
type course struct{ v, a, g vec }

// span of the three instants through which the parabola is laid, seconds either side.
const span = 60

// follower holds what of the courses does not depend on the mount: where the stars stand at the three instants.
type follower struct {
	view  View
	at    []vec
	stars [][3]r3.Vec // apparent, ground frame
}

func newFollower(v View, at []vec) follower {
	f := follower{view: v, at: at}
	back := v.Attitude.Inverse()
	east := turn.About(v.Pole, unit.Angle(omega*span)) // the sky turns by −ω about the pole
	for _, p := range at {
		seen := back.Apply(v.Lens.looks(p))
		truly := v.lift(seen)
		f.stars = append(f.stars, [3]r3.Vec{v.bend(east.Apply(truly)), seen, v.bend(east.Inverse().Apply(truly))})
	}
	return f
}

// courses of the stars at all places under one mounting.
func (f follower) courses(m mounting, dst []course) []course {
	l := f.view.Lens
	turned := unit.Angle(omega * m.rate * span)
	before := turn.About(m.axis, -turned).Then(f.view.Attitude)
	after := turn.About(m.axis, turned).Then(f.view.Attitude)
	axis := f.view.Attitude.Apply(m.axis)
	dst = dst[:0]
	for i, s := range f.stars {
		p0, p1, p2 := l.falls(before.Apply(s[0])), f.at[i], l.falls(after.Apply(s[2]))
		dst = append(dst, course{
			v: p2.minus(p0).times(1. / (2 * span)),
			a: p2.plus(p0).minus(p1.times(2)).times(1. / (span * span)),
			g: l.sweep(axis, f.view.Attitude.Apply(s[1])),
		})
	}
	return dst
}

// covariance of a course over an exposure of lengthS (package comment); the wobble's moments are for a size of 1.
func (c course) covariance(lengthS, size float64, w wobbling) (xx, xy, yy float64) {
	t2 := lengthS * lengthS
	vv, aa, gg := t2/12, t2*t2/720, size*size*w.variance
	vg, ag := size*w.withT, size*w.withT2/2
	xx = vv*c.v.x*c.v.x + aa*c.a.x*c.a.x + gg*c.g.x*c.g.x + 2*vg*c.v.x*c.g.x + 2*ag*c.a.x*c.g.x
	yy = vv*c.v.y*c.v.y + aa*c.a.y*c.a.y + gg*c.g.y*c.g.y + 2*vg*c.v.y*c.g.y + 2*ag*c.a.y*c.g.y
	xy = vv*c.v.x*c.v.y + aa*c.a.x*c.a.y + gg*c.g.x*c.g.y + vg*(c.v.x*c.g.y+c.v.y*c.g.x) + ag*(c.a.x*c.g.y+c.a.y*c.g.x)
	return xx, xy, yy
}

// flatness of an image, ((λ₁−λ₂)/(λ₁+λ₂))², grows with the elongation and needs no root; own is the variance σ² of
// the round star.
func flatness(xx, xy, yy, own float64) float64 {
	sum := 2*own + xx + yy
	return ((xx-yy)*(xx-yy) + 4*xy*xy) / (sum * sum)
}

// flatnessOf an elongation and back.
func flatnessOf(elongation float64) float64 {
	q := elongation * elongation
	return (q - 1) * (q - 1) / ((q + 1) * (q + 1))
}

func elongationOf(flat float64) float64 {
	e := math.Sqrt(math.Max(0, flat))
	return math.Sqrt((1 + e) / (1 - math.Min(e, 1-1e-15)))
}

// sigmaOf is the standard deviation of a Gaussian of a full width at half height: FWHM = 2√(2 ln 2) σ.
func sigmaOf(fwhm float64) float64 { return fwhm / (2 * math.Sqrt(2*math.Ln2)) }

// TrailOf is the straight trail that draws a round star of a width out to an elongation, in the unit of the width:
// L = σ√12 √(elongation² − 1).
func TrailOf(elongation, fwhm float64) float64 {
	return sigmaOf(fwhm) * math.Sqrt(12*math.Max(0, elongation*elongation-1))
}

// ElongationOf is the elongation a straight trail gives a round star: √(1 + L²/12σ²).
func ElongationOf(trail, fwhm float64) float64 {
	s := sigmaOf(fwhm)
	return math.Sqrt(1 + trail*trail/(12*s*s))
}
