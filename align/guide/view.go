package guide

import (
	"trueturn/align/answer"
	"trueturn/align/policy"
	"trueturn/ephem/amiss"
)

// View is what a face shows. Its JSON is the contract of `align --json`, frames of the whole
// session, and "live" besides.
type View struct {
	answer.Answer
	Live Live `json:"live"`
}

// The phases of a session, those of package policy.
const (
	Waiting   = policy.Waiting
	Measuring = policy.Measuring
	Turning   = policy.Turning
	Untouched = policy.Untouched
	Done      = policy.Done
)

// Live is what the hand does now.
type Live struct {
	Phase       string `json:"phase"`
	Headline    string `json:"headline"`    // the job's own figure: "Round for 41 s"; empty while unknown, and what comes first where a question stands
	Act         string `json:"act"`         // what to do now, in nine words at most
	Stage       string `json:"stage"`       // where the session stands
	Instruction string `json:"instruction"` // the act in full, with its reason
	Kind        string `json:"kind"`        // a knobs.Kind while turning; shoot, measure or swing else
	Knob        string `json:"knob"`        // altitude or azimuth; empty: none
	Level       *Level `json:"level"`       // null without an axis
	// Question is the one of place or clock that the instruction puts before any order; null: there is none.
	Question *Asking `json:"question"`
	// Wants are the things that would let the newest picture, or the session, be used: "zone", "site", "lens" say.
	Wants  []amiss.Thing `json:"wants"`
	Serial uint64        `json:"serial"` // grows with every Add and Settle
}

// Level is where the bubbles stand: axis less aim, signs as in the answer's error.
// StandsArcmin is the axis error on the sky the planned exposure stands, half of the tolerance being left to the gear; 0 where not
// known. As a turn about the vertical it is larger by 1/cos(altitude).
type Level struct {
	AltitudeArcmin      float64 `json:"altitude_arcmin"`
	AltitudeSigmaArcmin float64 `json:"altitude_sigma_arcmin"`
	AzimuthArcmin       float64 `json:"azimuth_arcmin"`
	AzimuthSigmaArcmin  float64 `json:"azimuth_sigma_arcmin"`
	StandsArcmin        float64 `json:"stands_arcmin"`
}

// levelOf reads the bubbles off a finding; nil without an axis.
func levelOf(f answer.Finding) *Level {
	m := f.Measured
	if m == nil {
		return nil
	}
	return &Level{AltitudeArcmin: m.Deviation.Altitude.Min(), AltitudeSigmaArcmin: m.Axis.AltitudeSigma().Min(),
		AzimuthArcmin: m.Deviation.Azimuth.Min(), AzimuthSigmaArcmin: m.Axis.AzimuthSigma().Min(), StandsArcmin: policy.Stand(m.Axis, m.Question).Marks.Min()}
}
