package answer

import (
	"slices"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/ephem"
)

// Turned is the answer after somebody turned the knobs: axis, error, advice and exposure are those of
// an axis of which Direction and Covariance alone are new; seen, where not nil, is the picture that
// showed it, and the exposure is reckoned for its view. What the pictures of the measurement told of rate, gear and
// troubles stands. An answer without an axis is returned as it is.
func (a Answer) Turned(axis align.Axis, seen *drift.Sight) Answer {
	if a.Measured == nil {
		return a
	}
	m := *a.Measured
	m.Axis.Direction, m.Axis.Covariance = axis.Direction, axis.Covariance
	m.Deviation = m.Axis.Deviation(m.Question.Aim)
	m.Question.Forecast = align.Forecast{}
	a.Measured = &m
	d, x := m.Deviation, m.Axis
	a.Axis = &AxisJSON{AltitudeDeg: x.Altitude().Deg(), AzimuthDeg: x.Azimuth().Deg(),
		AltitudeSigmaArcmin: x.AltitudeSigma().Min(), AzimuthSigmaArcmin: x.AzimuthSigma().Min(), Correlation: x.Correlation()}
	a.Error = &ErrorJSON{AltitudeArcmin: d.Altitude.Min(), AzimuthArcmin: d.Azimuth.Min(),
		TotalArcmin: d.Total.Min(), TotalSigmaArcmin: d.TotalSigma.Min()}
	a.ask(seen)
	a.Advice.Notes = nil
	a.setAdvice(align.Advise(x, a.Measured.Question))
	if f := a.Measured.Exposure; f != nil && f.Advice != "" {
		a.Advice.Notes = append(a.Advice.Notes, f.Advice)
	}
	if a.Advice.Notes == nil {
		a.Advice.Notes = []string{}
	}
	return a
}

// ask asks for the exposure again, with the axis as it now is.
func (a *Answer) ask(seen *drift.Sight) {
	if a.Plan == nil || a.Plan.Mount.Tripod {
		return
	}
	p := *a.Plan
	p.Mount.Axis = exposure.Axis{Direction: a.Measured.Axis.Direction, Covariance: a.Measured.Axis.Covariance}
	if v, ok := a.viewOf(seen); ok {
		p.View = v
	}
	f, err := exposure.Longest(p)
	if err != nil {
		return
	}
	a.Plan, a.Measured.Exposure = &p, &f
	a.Measured.Question.LongestS, a.Measured.Question.Rounded, a.Measured.Question.Rests = f.LongestS, f.Rounded, f.Rests()
	a.Exposure = exposureOf(f, p.PlannedS)
}

// viewOf is what a picture looked at.
func (a *Answer) viewOf(seen *drift.Sight) (exposure.View, bool) {
	if seen == nil || a.Site == nil {
		return exposure.View{}, false
	}
	sky, err := ephem.NewSky(*a.Site, a.air, seen.Mid)
	if err != nil {
		return exposure.View{}, false
	}
	lens := seen.Attitude.Pose.Lens
	v, err := exposure.Seen(exposure.Lens{FocalPx: lens.FocalPx, Width: lens.Width, Height: lens.Height}, sky, seen.Attitude.Pose.Attitude)
	return v, err == nil
}

// Unsteady is whether a situation of this kind keeps an axis, however small its stated error, from being what the mount
// will do next.
func Unsteady(kind string) bool { return slices.Contains(unsteady, align.Kind(kind)) }
