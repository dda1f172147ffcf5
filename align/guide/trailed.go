package guide

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/ephem"
)

// # The model of a touched picture
//
// Stars are drawn out by the lens, e₀, as in every picture of the measurement, by tracking, eₜ, and by whatever shook the
// camera. Second moments add, and so do e² − 1. Tracking about an axis off by ε, with a motor off by ρ and a gear wobbling
// by p from peak to peak in a period P, draws a star out by no more than
//
//	L = f·(ωT(ε + |ρ|) + min(p, πpT/P))
//
// in an exposure T. The axis may have been turned the wrong way since: ε is taken as twice the last error and
// half a degree more. What is longer than all that was touched.

const (
	// wrongTurn is how far off a turn nobody asked for may have brought the axis.
	wrongTurn = 0.5 * ephem.Degree
	// shakeLeast is the e² − 1 that is no longer one of focus and seeing: an elongation of 1.07; a shake by a star's width
	// makes 0.46.
	shakeLeast = 0.15
	// shapeNoise is the e² − 1 that the noise of one star's shape may feign, shared out among the stars.
	shapeNoise = 0.6
)

// trailed is whether a shot's stars are drawn out for another reason than lens and tracking.
func (g *Guide) trailed(s drift.Shot) bool {
	plan, m := g.base.Plan, g.view.Measured
	i := g.lineOf(s.File)
	if plan == nil || m == nil || i < 0 || g.s.Frames[i].Elongation == nil || plan.FWHM <= 0 {
		return false
	}
	line := g.s.Frames[i]
	usual, ok := g.usualElongation()
	if !ok {
		return false
	}
	error := m.Deviation.Total.Mul(2) + wrongTurn
	length := plan.View.Lens.FocalPx * g.creep(s.Clock.Exposure.Seconds(), error)
	tracked := exposure.ElongationOf(length, plan.FWHM)
	allowed := (usual*usual - 1) + (tracked*tracked - 1) + shakeLeast + shapeNoise/math.Sqrt(float64(max(line.Matched, 1)))
	return *line.Elongation**line.Elongation-1 > allowed
}

// creep is how far, radians, tracking may draw a star out in an exposure.
func (g *Guide) creep(exposureS float64, error unit.Angle) float64 {
	mount := g.base.Plan.Mount
	rate := math.Abs(mount.RateError) + 2*mount.RateSigma
	turn := ephem.SiderealRadPerS * exposureS * (error.Rad() + rate)
	if w := mount.Wobble; w != nil && w.PeriodS > 0 {
		size := w.Largest().Rad()
		turn += min(size, math.Pi*size*exposureS/w.PeriodS)
	}
	return turn
}

// usualElongation is the middle one of the measurement's pictures.
func (g *Guide) usualElongation() (float64, bool) {
	var list []float64
	for _, f := range g.base.Lines {
		if f.Used && f.Elongation != nil {
			list = append(list, *f.Elongation)
		}
	}
	if len(list) == 0 {
		return 0, false
	}
	slices.Sort(list)
	return list[len(list)/2], true
}
