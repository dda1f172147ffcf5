package report

import (
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/cmd/trueturn/plot"
)

// Data is what a report shows; [Of] gathers it. What is nil is left out, and the page says why: in the words of Missing where there are
// some. In numbers, NaN is unknown.
type Data struct {
	Answer    answer.Answer
	Title     string    // of the session; may be empty
	Generated time.Time // when the report was made
	Version   string    // of the program

	Drift    *Drift
	Wobble   *Wobble
	Field    *Field
	Exposure *Exposure
	Judged   *Judged

	Missing Missing
}

// Missing says why something is not there; empty words leave it to the report.
type Missing struct{ Wobble, Field, Exposure string }

// Drift is what the fitted axis leaves over, picture by picture, seconds of arc on the sky. [DriftOf] makes it.
type Drift struct {
	Mid             []time.Time
	AltitudeArcsec  []float64 // the camera looks higher than the axis says
	SidewaysArcsec  []float64 // it looks farther clockwise seen from above; on the sky, not about the vertical
	TurnArcsec      []float64 // angle about the axis less a steady rate, each stretch about its own mean
	TurnSigmaArcsec []float64
	Stretch         []int // pictures of one stretch follow each other without a swing, a knock or a re-aiming
}

// Wobble is the unevenness of the gear: the angle about the axis, not × cos δ.
type Wobble struct {
	Mid                 []time.Time
	Arcsec, SigmaArcsec []float64 // measured, less the steady rate
	CurveMid            []time.Time
	CurveArcsec         []float64 // fitted
	PeriodS, Power      []float64 // periodogram: 0 to 1, the share of the scatter a sine of that period explains
	BestPeriodS         float64   // 0 or NaN: none
	// Standard errors of the answer's figures; 0 or NaN: unknown.
	PeriodSigmaS, PeakToPeakSigmaArcsec, FastestSigmaArcsecPerS float64
	Note                                                        string
}

// Field is the elongation of the stars of one picture.
type Field struct {
	File          string
	Width, Height int            // pixels
	Stars         []plot.Whisker // brightest first
}

// Exposure is the forecast by length.
type Exposure struct {
	Curve         []ExposurePoint
	MaxElongation float64 // the tolerance
	Share         float64 // of exposures that must stay under it
	LimitedBy     string  // a clause: what limits it
	Helps         string  // a sentence: what would help most
	Rule500S      float64 // the trade's rules of thumb for a tripod
	NPFS          float64
	RulesWhy      string // why they differ from the forecast
}

// ExposurePoint is one length.
type ExposurePoint struct{ ExposureS, TrailPx, Elongation, ShareRound float64 }

// Judged is what became of exposures that were taken.
type Judged struct {
	Round, Of int
	Causes    []Cause
	Advice    string
	Frames    []JudgedFrame
}

// Cause is what made stars not round, with its share (0–1) of the excess.
type Cause struct {
	Name  string
	Share float64
	Text  string // how it shows, a sentence; may be empty
}

// JudgedFrame is one exposure.
type JudgedFrame struct {
	File    string
	Round   bool
	Cause   string
	TrailPx float64
	Angle   unit.Angle // of the long axis, from +x toward +y
}
