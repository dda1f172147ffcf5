package exposure

import (
	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// Source is where the figures of a [Wobble] come from: a forecast is worth no more than they are.
type Source string

// The sources, the surest first. A wobble without one counts as told.
const (
	GearMeasured Source = "measured" // in the pictures, over a whole period and more
	GearTold     Source = "told"     // by the user or the kit
	GearBounded  Source = "bounded"  // the pictures set a limit, but saw too little for more
	GearUsual    Source = "usual"    // nobody has seen this gear: what small mounts usually do
)

// What a gear nobody has seen is reckoned to do: small mounts wobble by some tens of seconds of arc in some minutes. The factors
// are the standard errors: two mounts in three lie between 12″ and 75″ and between five and twelve minutes, nineteen in twenty
// between 5″ and 190″ (common practice, no source).
const (
	usualPeakToPeakArcsec = 30
	usualPeriodS          = 480
	usualSizeFactor       = 2.5
	usualPeriodFactor     = 1.5
)

// Reckoned is the gear a forecast reckons with, for every face of the program: the one known, else the usual one.
func Reckoned(known *Wobble) *Wobble {
	if known != nil {
		return known
	}
	return &Wobble{PeriodS: usualPeriodS, PeakToPeak: unit.AngleFromSec(usualPeakToPeakArcsec),
		SizeFactor: usualSizeFactor, PeriodFactor: usualPeriodFactor, Source: GearUsual}
}

// Largest is a size the gear hardly exceeds: by two standard errors where it is known, by one where it is usual.
func (w *Wobble) Largest() unit.Angle {
	return w.PeakToPeak.Mul(power(w.SizeFactor, 1)) + w.Sigma.Mul(2)
}

// alike is the ratio of two lengths up to which they are told in the same figures, or nearly.
const alike = 1.02

// RestsOn is what a longest exposure rests on where nobody has seen the gear, to be said behind the figure; none where somebody has.
// lowS and highS are the range as gears go.
func RestsOn(gear Source, lowS, highS float64) say.Line {
	switch {
	case gear != GearUsual:
		return say.Line{}
	case highS <= alike*lowS:
		return say.Of("on most gears, this one unseen")
	case highS >= FaithS:
		return say.Of("on most gears, from one length on", say.Seconds(lowS), say.Seconds(highS))
	}
	return say.Of("on most gears, between two lengths", say.Seconds(lowS), say.Seconds(highS))
}

// RestsOn is what the longest exposure rests on, as the function has it.
func (f Forecast) RestsOn() say.Line { return RestsOn(f.Gear, f.LowS, f.HighS) }

// Headline is a longest exposure as the one figure of a screen.
func Headline(longestS float64, gear Source) say.Line {
	switch {
	case longestS < ShortestS:
		return say.Of("round at no length")
	case gear == GearUsual:
		return say.Of("round for, on most gears", say.LongestOf(longestS))
	}
	return say.Of("round for", say.LongestOf(longestS))
}

// Says is how the gear is reckoned with, and who says so; none where none is.
func (w *Wobble) Says() say.Line {
	if w == nil {
		return say.Line{}
	}
	size, period := say.Arcsec{Value: w.PeakToPeak, Sigma: w.Sigma}, say.Period{Seconds: w.PeriodS}
	switch w.Source {
	case GearUsual:
		return say.All(say.Of("gear reckoned with as usual", size, period, say.Number(w.SizeFactor)), say.Of("what shows a gear"))
	case GearBounded:
		return say.All(say.Of("gear reckoned with as bounded", size, period), say.Of("what shows a gear"))
	case GearMeasured:
		return say.Of("gear reckoned with as measured", size, period)
	}
	if w.PeakToPeak == 0 {
		return say.Of("gear told to run evenly")
	}
	return say.Of("gear reckoned with as told", size, period)
}
