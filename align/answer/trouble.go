package answer

import (
	"slices"

	"trueturn/align"
	"trueturn/drift"
)

// rateOf is the tracking rate, nil where the pictures do not tell.
func rateOf(in align.Input, a align.Axis) *align.Rate {
	r, ok := align.TrackingRate(in, a)
	if !ok || number(r.SiderealRatio) == nil || number(r.Sigma) == nil {
		return nil
	}
	return &r
}

// situations names what was amiss.
func (b *builder) situations(h *drift.Horizon, a *align.Axis, err error) {
	b.out.Faults = align.Situations(b.seq, h, a, err)
	b.skySpeaks = b.met(align.KindSite, align.KindClock)
}

// unsteady are the situations in which an axis, however small its stated error, is not what the
// mount will do next.
var unsteady = []align.Kind{align.KindSlipping, align.KindStacked, align.KindWrongHemisphere}

// bends is whether something between mount and camera gives way, or the pictures are not what the
// camera saw.
func (b *builder) bends() bool {
	return b.met(align.KindSlipping, align.KindFlexure, align.KindStacked)
}

// met is whether one of the kinds was met.
func (b *builder) met(kinds ...align.Kind) bool {
	return slices.ContainsFunc(b.out.Faults, func(s align.Situation) bool { return slices.Contains(kinds, s.Kind) })
}

// hasUnsteady is whether one of those was met, a holder that merely bends not counted: the axis is what the camera turns
// about, and will turn about in the same place.
func (b *builder) hasUnsteady(a align.Axis) bool {
	return b.met(unsteady...) || !a.Gave.Lasts()
}
