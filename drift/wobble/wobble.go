// Package wobble reads the periodic error of a mount's gear off a bare series:
// instants, angles about the axis and their errors. Start at Fit.
//
// # The model
//
// Within a stretch of pictures between which nobody touched anything the angle
// about the axis is
//
//	θ(t) = c + r·t + P(t),   P(t) = Σ (Cos_k·cos(2πk·t/Period) + Sin_k·sin(2πk·t/Period)),  k = 1 … 3 at most
//
// with a c of its own for each stretch, and one rate r and one P for the whole
// series. An exposure of length E sees P averaged over its length: term k smaller by
// sin(πkE/Period)/(πkE/Period).
//
// What is minimised is the sum of squared residuals over σ². Zeros,
// rate and waves are fitted together at every trial frequency: a wave seen once or twice must
// not lose what a line taken off beforehand would carry away. The trial is
// the floating-mean periodogram (Zechmeister & Kürster 2009, A&A 496, 577, eq. 4–5) with a
// slope and a zero per stretch added to its mean. How many harmonics, the
// Bayesian information criterion says (Schwarz 1978, Ann. Stat. 6, 461). Errors follow
// from the scatter about the fit, not from the errors handed in: those only weigh.
//
// # What it cannot tell
//
// Of less than about one period a wave looks like a rate, and a rate like a
// wave. The result then says at least and at most, under periods up to
// those of small mounts' gears (22 min, or three times the span of the pictures), and figures that are no
// estimates are left at zero. These limits are for waves with as many harmonics as the pictures ask for: of
// half a period a strong third harmonic passes for a quicker wave of its own, and the limits may miss the slow one.
package wobble

import (
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// Point is one picture: where the camera had turned to.
type Point struct {
	Time  time.Time  // middle of the exposure
	Angle unit.Angle // about the axis, from any zero; grows with tracking or falls, both do
	Sigma unit.Angle // its standard error, the clock's left out; 0 = unknown: as the others'
	// Stretch numbers the pictures between which nobody touched anything. A new number, a new zero.
	Stretch  int
	Exposure time.Duration // over which the angle is averaged; 0 = an instant
}

// Options are what is known beforehand. The zero value is ready to use.
type Options struct {
	PeriodS float64 // of the gear, s; 0 = unknown
}

// State says how much of the wobble was seen.
type State string

// The states. Measured: more than about 1.2 periods, beyond chance. Bounded: something
// moves, but too little of it was seen for more than limits. Unseen: nothing beyond chance.
const (
	Measured State = "measured"
	Bounded  State = "bounded"
	Unseen   State = "unseen"
)

// Limits hold a figure with 95 % confidence. High is +Inf where nothing limits it, or no tighter than what no gear
// does: 600″ from peak to peak.
type Limits struct{ Low, High float64 }

// Harmonic is one term of the curve, as an instant sees it.
type Harmonic struct{ Cos, Sin unit.Angle }

// Result is what the series says. Figures are those of the angle about the axis: on the sky
// they shrink with the cosine of the declination.
type Result struct {
	State State
	// PeriodS, its fundamental; 0 where the pictures do not tell it: in Bounded, where its limits lie more than a
	// factor of 1.5 apart. PeriodSigmaS is 0 for a given period, too.
	PeriodS, PeriodSigmaS float64
	// PeakToPeak of the whole curve, harmonics included; in Bounded it and the rate are 0 where PeriodS is, or
	// where their own limits lie more than a factor of 3 apart. Where not 0 they are estimates even there.
	PeakToPeak      unit.Angle
	PeakToPeakSigma unit.Angle
	// MaxRateArcsecPerS is the greatest |dP/dt|.
	MaxRateArcsecPerS, MaxRateSigma float64
	// Limits, 95 %, in every state; those of size and rate in arcseconds and arcseconds per second.
	// Unseen: of a wave with a period in PeriodLimitsS. Bounded: under periods no longer than a slow gear's (22 min,
	// or three times the pictures' span); PeriodLimitsS.High is no limit where it is that.
	PeriodLimitsS, PeakToPeakLimits, MaxRateLimits Limits

	Harmonics             []Harmonic // first the fundamental; empty when unseen, or where PeakToPeak is 0
	Epoch                 time.Time  // where the harmonics' phase is zero
	RateArcsecPerS        float64    // r of the model: the turn of the camera without its wobble
	RateSigmaArcsecPerS   float64    // its error, with the wave fitted along
	Periods               float64    // how many periods were seen, gaps left out; 0 where PeriodS is
	Frequencies, Spectrum []float64  // the periodogram: Hz, and the part 0–1 of the scatter about zeros and rate that one wave takes away
	Note                  say.Line   // what is to be told of it
}

// At is the wobble P at an instant, the zero of the harmonics being its mean. Zero when unseen.
func (r Result) At(t time.Time) unit.Angle {
	if r.PeriodS <= 0 {
		return 0
	}
	x := 2 * math.Pi * t.Sub(r.Epoch).Seconds() / r.PeriodS
	var sum float64
	for k, h := range r.Harmonics {
		s, c := math.Sincos(float64(k+1) * x)
		sum += h.Cos.Rad()*c + h.Sin.Rad()*s
	}
	return unit.Angle(sum)
}

// How much must be seen, and how surely.
const (
	enoughPeriods = 1.2   // fewer, and a rate and a wave pass for each other
	chance        = 0.002 // false alarms allowed, per series
	surePart      = 0.25  // of the size: a larger σ is no measurement
	rivalBIC      = 6.0   // another period whose criterion is within this cannot be ruled out (e⁻³ in odds)
	fewestPoints  = 8     // unknowns of one wave, and a few over
)

// Fit finds the wobble in a series of points in any order. It fails only for numbers that are
// none (ErrPoint) or options out of range (ErrOption); too few points, too short a span or too much noise make a
// result whose State and Note say so.
//
// Accuracy, 60 points over 25 minutes with σ = 2″ and a wave of 44″ at 480 s: period
// ±0.2 %, peak to peak ±2.5 %, fastest rate ±3 %. Where the motor stood to
// take up play leave the points out, or give them a stretch of their own: one or two points that lie
// off are left out here, more are not.
func Fit(points []Point, o Options) (Result, error) {
	if err := check(points, o); err != nil {
		return Result{}, err
	}
	r := Result{State: Unseen}
	f, why := newFitter(points, o)
	if f == nil {
		r.PeakToPeakLimits, r.MaxRateLimits = Limits{0, math.Inf(1)}, Limits{0, math.Inf(1)}
		r.PeriodLimitsS = Limits{0, math.Inf(1)}
		r.Note = why
		return r, nil
	}
	f.search()
	f.judge(&r)
	return r, nil
}
