package answer

import (
	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Finding is all that follows from what the pictures of a sequence show, in values: what is not known is nil. Faces make their words and
// JSON of it at the edge.
type Finding struct {
	Seen *Seen // what was fitted; nil where nothing could be
	Err  error // why there is no axis

	Site     *ephem.Site
	Aim      *align.Aim
	Measured *Measured // nil without an axis
	Rate     *align.Rate
	Gear     *wobble.Result // nil where the angles about the axis follow no rate
	Faults   []align.Situation
	Plan     *exposure.Plan     // what the forecast was asked
	Forecast *exposure.Forecast // of the mount as measured, or of a camera that stood; nil where the pictures do not say how wide a star is
	Advice   policy.Advice
	Lines    []FrameJSON // every picture, whether used or not
	Voice    say.Voice   // of who is told

	air      ephem.Air
	lastView SessionView
}

// Stop is the fault that is to be put right before anything else, however well the axis is known; false where there is none. What keeps the axis
// from lasting comes first: by such a one no rate is known. A rate by which the planned exposure stays round all the same is none.
func (f Finding) Stop() (stop align.Situation, ok bool) {
	for _, x := range f.Faults {
		if !x.Stops || f.Measured != nil && x.Kind == align.KindWrongRate && f.Measured.Question.Rounded {
			continue
		}
		if !ok || x.Kind.Unsteady() && !stop.Kind.Unsteady() {
			stop, ok = x, true
		}
	}
	return stop, ok
}

// Measured is the axis, and what was asked of it.
type Measured struct {
	Axis      align.Axis
	Deviation align.Deviation
	Question  policy.Question
	Queries   []align.Query // of place and clock, that stand before a turn or a start
}

// KnownAxis is the axis for a judgement of the pictures as exposures; nil without one.
func (f Finding) KnownAxis() *exposure.KnownAxis {
	if f.Measured == nil || f.Site == nil {
		return nil
	}
	return &exposure.KnownAxis{Site: *f.Site, Air: f.air, Axis: f.Measured.Axis, Rate: f.Rate, Faults: f.Faults}
}

// New is the answer to a sequence, see [Find].
func New(seq drift.Sequence, o Options) Answer { return Find(seq, o).Answer() }
