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
	b.skySpeaks = b.meets(func(k align.Kind) bool { return k.Of() == align.OfPlace || k.Of() == align.OfClock })
}

// bends is whether something between mount and camera gives way, or the pictures are not what the
// camera saw.
func (b *builder) bends() bool { return b.meets(align.Kind.Twists) }

// meets is whether a kind was met that is so.
func (b *builder) meets(is func(align.Kind) bool) bool {
	return slices.ContainsFunc(b.out.Faults, func(s align.Situation) bool { return is(s.Kind) })
}

// met is whether one of the kinds was met.
func (b *builder) met(kinds ...align.Kind) bool {
	return b.meets(func(k align.Kind) bool { return slices.Contains(kinds, k) })
}

// hasUnsteady is whether the axis is not what the mount will do next, a holder that merely bends not counted: the axis is what the
// camera turns about, and will turn about in the same place.
func (b *builder) hasUnsteady(a align.Axis) bool {
	return b.meets(align.Kind.Unsteady) || !a.Gave.Lasts()
}
