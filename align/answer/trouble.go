package answer

import (
	"trueturn/align"
	"trueturn/drift"
)

// rateOf is the tracking rate, nil where the pictures do not tell.
func rateOf(align.Input, align.Axis) *RateJSON { return nil }

// situations names what was amiss.
func (b *builder) situations(*drift.Horizon, *align.Axis, error) {}
