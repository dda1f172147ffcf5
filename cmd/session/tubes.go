package session

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align/guide"
	"trueturn/align/knobs"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
)

// tubesJSON is the level as a browser shows it: two drawings, a line of words to each, and what the tolerance
// rests on. All are empty without an axis, but for Tolerance, which says what is planned as soon as it is known.
type tubesJSON struct {
	Azimuth      string `json:"azimuth"`
	Altitude     string `json:"altitude"`
	AzimuthText  string `json:"azimuth_text"`
	AltitudeText string `json:"altitude_text"`
	// The reaches are how far the tubes go either way: where one changed, so did the scale.
	AzimuthReach  string `json:"azimuth_reach"`
	AltitudeReach string `json:"altitude_reach"`
	Tolerance     string `json:"tolerance"`
}

// tubes draws a view's level. A level whose numbers are not finite is not drawn.
func tubes(v guide.View) tubesJSON {
	planned := plannedS(v)
	t := tubesJSON{Tolerance: tolerance(v, planned)}
	l := v.Live.Level
	if l == nil || !finite(l.AltitudeArcmin, l.AzimuthArcmin) {
		return t
	}
	tilt := reading{value: l.AltitudeArcmin, sigma: l.AltitudeSigmaArcmin, stands: l.StandsArcmin, plannedS: planned, low: "too low", high: "too high"}
	base := reading{value: l.AzimuthArcmin, sigma: l.AzimuthSigmaArcmin, stands: turned(l.StandsArcmin, v), plannedS: planned,
		low: "too far anticlockwise (left)", high: "too far clockwise (right)"}
	turning := v.Live.Phase == guide.Turning && v.Live.Kind != string(knobs.Wait)
	tilt.turning, base.turning = turning && v.Live.Knob == string(knobs.Altitude), turning && v.Live.Knob == string(knobs.Azimuth)
	t.Altitude, t.AltitudeText = string(tilt.tube("Tilt: how high the axis points, against its aim", "too low", "too high", true).SVG()), tilt.words()
	t.Azimuth, t.AzimuthText = string(base.tube("Base: how far round the axis points, against its aim", "too far left", "too far right", false).SVG()), base.words()
	t.AltitudeReach, t.AzimuthReach = words.Arc(unit.AngleFromMin(tilt.reach())), words.Arc(unit.AngleFromMin(base.reach()))
	return t
}

// turned is an error on the sky as a turn about the vertical.
func turned(onSkyArcmin float64, v guide.View) float64 {
	if v.Axis == nil {
		return onSkyArcmin
	}
	const flattest = 1e-3 // beneath the zenith a turn of the base moves nothing
	return onSkyArcmin / max(flattest, math.Cos(v.Axis.AltitudeDeg*math.Pi/180))
}

// reading is one knob's error and what is allowed it, in arcminutes.
type reading struct {
	value, sigma, stands float64
	plannedS             float64
	low, high            string // words for an error below and above zero
	turning              bool   // a hand is wanted at this knob
}

// tube is the reading drawn.
func (r reading) tube(name, low, high string, standing bool) plot.Tube {
	return plot.Tube{Name: name, Standing: standing, Low: low, High: high, Turning: r.turning, Value: unit.AngleFromMin(r.value), Sigma: unit.AngleFromMin(r.sigma),
		Stands: unit.AngleFromMin(r.stands), Reach: unit.AngleFromMin(r.reach())}
}

// Rungs of the tube's reach. Were it fitted to every picture anew, a bubble would hardly move while a knob is
// turned home; with rungs three times apart it runs through the tube, and the tube grows finer twice or thrice in
// an evening. The lowest rung lets the marks be seen, but for short lenses, which stand degrees: the hand wants to see the
// bubble follow, and the whole tube is marked as what the exposure stands.
const (
	firstRung   = 2.5  // times what the exposure stands
	widestFirst = 25.0 // arcminutes, of the lowest rung
	nextRung    = 3.0  // times the rung before
	leastRung   = 1.0  // arcminutes
	unknownRung = 15.0 // arcminutes, where it is not known what the exposure stands
	lastRung    = 180 * 60
)

// reach is the lowest rung that holds the bubble, two standard errors long either way, as long as these do not
// hide the rest.
func (r reading) reach() float64 {
	rung := firstRung * r.stands
	if !finite(r.stands) || r.stands <= 0 {
		rung = unknownRung
	}
	rung = max(min(rung, widestFirst), leastRung)
	need := math.Abs(r.value)
	if finite(r.sigma) {
		need += 2 * math.Abs(r.sigma)
	}
	for rung < need && rung < lastRung {
		rung *= nextRung
	}
	return min(rung, lastRung)
}

// words are the reading in a line.
func (r reading) words() string {
	side := r.high
	if r.value < 0 {
		side = r.low
	}
	text := fmt.Sprintf("%s %s", words.Off(unit.AngleFromMin(r.value), unit.AngleFromMin(r.sigma)), side)
	if r.stands > 0 && finite(r.stands) && r.plannedS > 0 {
		text += fmt.Sprintf("; %s can take %s", words.Exposure(r.plannedS), words.Arc(unit.AngleFromMin(r.stands)))
	}
	return text
}

// tolerance is what the marks rest on: the exposure planned, the lens, and what becomes of it.
func tolerance(v guide.View, planned float64) string {
	if planned <= 0 {
		return ""
	}
	line := words.Exposure(planned) + " planned"
	if mm := equivalentMM(v); mm > 0 {
		line += fmt.Sprintf(", %.0f mm equivalent", mm)
	}
	if x := v.Exposure; x != nil && x.PlannedStaysRound != nil {
		line += map[bool]string{true: ": fine", false: ": too long"}[*x.PlannedStaysRound]
	}
	return line
}

// plannedS is the exposure planned, 0 where the view does not say.
func plannedS(v guide.View) float64 {
	switch {
	case v.Exposure != nil && v.Exposure.PlannedS > 0:
		return v.Exposure.PlannedS
	case v.Measured != nil:
		return v.Measured.Question.PlannedS
	}
	return 0
}

// equivalentMM is the lens as fitted to the stars, told as the focal length that sees as much on 36 × 24 mm; 0 where
// nothing was forecast.
func equivalentMM(v guide.View) float64 {
	if v.Plan == nil {
		return 0
	}
	l := v.Plan.View.Lens
	const diagonalMM = 43.2666 // of 36 × 24 mm
	mm := l.FocalPx / math.Hypot(float64(l.Width), float64(l.Height)) * diagonalMM
	if !finite(mm) {
		return 0
	}
	return mm
}

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
