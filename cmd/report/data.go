package report

import (
	"time"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/plot"
	"trueturn/drift/wobble"
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
	Judged   *exposure.Verdict // what became of exposures that were taken

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
	wobble.Result

	Mid                 []time.Time
	Arcsec, SigmaArcsec []float64 // measured, less the steady rate
	CurveMid            []time.Time
	CurveArcsec         []float64 // fitted
}

// Field is the elongation of the stars of one picture.
type Field struct {
	File          string
	Width, Height int            // pixels
	Stars         []plot.Whisker // brightest first
}

// Exposure is the forecast by length.
type Exposure struct {
	exposure.Forecast

	MaxElongation float64        // the tolerance
	Share         float64        // of exposures that must stay under it
	Rules         exposure.Rules // of thumb, for a tripod
}
