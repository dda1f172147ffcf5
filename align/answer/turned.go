package answer

import (
	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem"
)

// Turned is the finding after somebody turned the knobs: axis, error, advice and exposure are those of
// an axis of which Direction and Covariance alone are new; seen, where not nil, is the picture that
// showed it, and the exposure is reckoned for its view. What the pictures of the measurement told of rate, gear and
// troubles stands. A finding without an axis is returned as it is.
func (f Finding) Turned(axis align.Axis, seen *drift.Sight) Finding {
	if f.Measured == nil {
		return f
	}
	m := *f.Measured
	m.Axis.Direction, m.Axis.Covariance = axis.Direction, axis.Covariance
	m.Deviation = m.Axis.Deviation(m.Question.Aim)
	m.Question.Forecast = align.Forecast{}
	f.Measured = &m
	f.ask(seen)
	f.Advice = policy.Advise(m.Axis, m.Question)
	if x := f.Forecast; x != nil && !x.Advice.None() {
		f.Advice.Notes = append(f.Advice.Notes, policy.Note{Says: x.Advice, Aside: true})
	}
	return f
}

// ask asks for the exposure again, with the axis as it now is.
func (f *Finding) ask(seen *drift.Sight) {
	if f.Plan == nil || f.Plan.Mount.Tripod {
		return
	}
	p := *f.Plan
	p.Mount.Axis = exposure.Axis{Direction: f.Measured.Axis.Direction, Covariance: f.Measured.Axis.Covariance}
	if v, ok := f.viewOf(seen); ok {
		p.View = v
	}
	x, err := exposure.Longest(p)
	if err != nil {
		return
	}
	f.Plan, f.Forecast = &p, &x
	f.Measured.Question.LongestS, f.Measured.Question.Rounded, f.Measured.Question.Rests = x.LongestS, x.Rounded, x.RestsOn()
}

// viewOf is what a picture looked at.
func (f *Finding) viewOf(seen *drift.Sight) (exposure.View, bool) {
	if seen == nil || f.Site == nil {
		return exposure.View{}, false
	}
	sky, err := ephem.NewSky(*f.Site, f.air, seen.Mid)
	if err != nil {
		return exposure.View{}, false
	}
	lens := seen.Attitude.Pose.Lens
	v, err := exposure.Seen(exposure.Lens{FocalPx: lens.FocalPx, Width: lens.Width, Height: lens.Height}, sky, seen.Attitude.Pose.Attitude)
	return v, err == nil
}
