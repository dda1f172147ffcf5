package align

import (
	"math"

	"trueturn/drift"
	"trueturn/ephem"
)

// Pace is what two pictures tell of the motor that ran between them, whatever the axis: against the stars the camera of a mount
// at the ratio r of the sidereal rate turns in Δt about the pole by
//
//	v = (r − 1)·ωΔt
//
// and across it by no more than ε·r·ωΔt, ε being how far off the axis is. A swing by hand tells nothing of it.
type Pace struct {
	Rate   Rate    // its error is that of attitudes and stamps
	Across float64 // turn across the pole, as a share of the sky's
}

// paceSigma is the error of a ratio beyond which two pictures do not tell it.
const paceSigma = 0.05

// PaceBetween reads the pace between two shots, the first taken before the other; false where they do not tell.
func PaceBetween(a, b drift.Shot) (Pace, bool) {
	if a.Solution == nil || b.Solution == nil || a.Clock == nil || b.Clock == nil || a.Solution.Mirrored != b.Solution.Mirrored || a.Solution.RowsFlipped != b.Solution.RowsFlipped {
		return Pace{}, false
	}
	seconds := b.Clock.Mid().Sub(a.Clock.Mid()).Seconds()
	sky := ephem.SiderealRadPerS * seconds
	if sky <= 0 {
		return Pace{}, false
	}
	v := b.Solution.Facing().Then(a.Solution.Facing().Inverse()).Log() // in the sky's frame: C_a then back by C_b
	stamps := math.Hypot(a.Clock.Step.Seconds(), b.Clock.Step.Seconds()) / math.Sqrt(12) / seconds * math.Abs(v.Z) / sky
	sigma := math.Hypot(math.Hypot(attitudeSigma(a), attitudeSigma(b))/sky, stamps)
	return Pace{Rate{1 + v.Z/sky, sigma}, math.Hypot(v.X, v.Y) / sky}, sigma < paceSigma
}

// Fault is what the motor does wrong where a single pace shows it, whatever axis and wobble: it stands, runs backward, or at half the
// rate; empty elsewhere.
func (p Pace) Fault() Kind {
	if p.Across < acrossMost && p.Rate.coarse() {
		return p.Rate.Fault()
	}
	return ""
}

// Follows is whether the camera followed the sky, axis and wobble left out of account.
func (p Pace) Follows() bool {
	return math.Hypot(p.Rate.SiderealRatio-1, p.Across) < acrossMost
}

// acrossMost: no axis is so far off that a motor turns the camera by a larger share of the sky's turn across the pole.
const acrossMost = 0.25

// coarse is whether a rate is one that a switch makes and a few steps can tell from the sidereal: none, backward, or half.
func (r Rate) coarse() bool {
	kind := r.Fault()
	return kind == KindNotTurning || kind == KindWrongHemisphere || kind == KindWrongRate && math.Abs(r.SiderealRatio-0.5) < stillRatio
}

// attitudeSigma is the largest standard error of a shot's attitude, radians.
func attitudeSigma(shot drift.Shot) float64 {
	c := shot.Solution.Covariance
	if c == nil {
		return 0
	}
	return math.Sqrt(max(c.At(0, 0), c.At(1, 1), c.At(2, 2)))
}
