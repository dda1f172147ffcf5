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

// stretch is a course over one length of exposure: what makes its covariance (xx, xy, yy; pixels²), apart from the phase of the wobble.
type stretch struct{ still, variance, withT, withT2 [3]float64 }

// over lays a course over an exposure of lengthS (package comment); the moments of the wobble it is asked with are for a size of 1.
func (c course) over(lengthS, size float64) stretch {
	t2 := lengthS * lengthS
	still := plus(twice(c.v, c.v, t2/24), twice(c.a, c.a, t2*t2/1440))
	return stretch{still, twice(c.g, c.g, size*size/2), twice(c.v, c.g, size), twice(c.a, c.g, size/2)}
}

// twice is f(abᵀ + baᵀ).
func twice(a, b vec, f float64) [3]float64 {
	return [3]float64{2 * f * a.x * b.x, f * (a.x*b.y + a.y*b.x), 2 * f * a.y * b.y}
}

func plus(a, b [3]float64) [3]float64 { return [3]float64{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func (s *stretch) covariance(w wobbling) (xx, xy, yy float64) {
	xx = s.still[0] + w.variance*s.variance[0] + w.withT*s.withT[0] + w.withT2*s.withT2[0]
	xy = s.still[1] + w.variance*s.variance[1] + w.withT*s.withT[1] + w.withT2*s.withT2[1]
	yy = s.still[2] + w.variance*s.variance[2] + w.withT*s.withT[2] + w.withT2*s.withT2[2]
	return xx, xy, yy
}

// longest is the largest of λ₁ over places, pixels², and where; at is −1 where nothing moves.
func longest(places []stretch, w wobbling) (variance float64, at int) {
	at = -1
	for i := range places {
		xx, xy, yy := places[i].covariance(w)
		if xx <= variance && yy <= variance && (variance-xx)*(variance-yy) >= xy*xy {
			continue // which needs no root
		}
		variance, at = (xx+yy)/2+math.Sqrt((xx-yy)*(xx-yy)/4+xy*xy), i
	}
	return variance, at
}

// flatness of an image, ((λ₁−λ₂)/(λ₁+λ₂))², grows with the elongation and needs no root; own is the variance σ² of
// the round star.
func flatness(xx, xy, yy, own float64) float64 {
	sum := 2*own + xx + yy
	return ((xx-yy)*(xx-yy) + 4*xy*xy) / (sum * sum)
}

// elongationOf a flatness.
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
