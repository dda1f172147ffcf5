package exposure

import (
	"fmt"

	"github.com/soniakeys/unit"
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

// showsGear is how a gear comes to be seen.
const showsGear = "Half an hour of pictures without a swing shows it."

// OnMost is the shortest of what is said behind an exposure that rests on a gear nobody has seen.
const OnMost = " on most gears"

// Rests says, behind the figure of a longest exposure, what it rests on where nobody has seen the gear; empty where somebody has.
// lowS and highS are the range as gears go.
func Rests(gear Source, lowS, highS float64) string {
	switch {
	case gear != GearUsual:
		return ""
	case lowS >= highS:
		return OnMost + " (nobody has seen this one)"
	}
	high := Seconds(highS)
	if highS >= FaithS {
		high += " and more"
	}
	return fmt.Sprintf(OnMost+" (%s to %s on usual ones; nobody has seen this one)", Seconds(lowS), high)
}

// Rests says what the longest exposure rests on, as the function does.
func (f Forecast) Rests() string { return Rests(f.Gear, f.LowS, f.HighS) }

// Said tells how the gear is reckoned with, and who says so.
func (w *Wobble) Said() string {
	if w == nil {
		return ""
	}
	size := fmt.Sprintf("%.0f″", w.PeakToPeak.Sec())
	if w.Sigma > 0 {
		size = fmt.Sprintf("%.0f″ ± %.0f″", w.PeakToPeak.Sec(), w.Sigma.Sec())
	}
	switch w.Source {
	case GearUsual:
		return fmt.Sprintf("Nobody has seen the gear: it is reckoned with as those of small mounts usually are, a wobble of %s in %.0f minutes, by a factor of %.2g more or less. %s", size, w.PeriodS/60, w.SizeFactor, showsGear)
	case GearBounded:
		return fmt.Sprintf("The gear was not fully seen: it is reckoned with a wobble of %s in %.0f minutes. %s", size, w.PeriodS/60, showsGear)
	case GearMeasured:
		return fmt.Sprintf("The gear is reckoned with as measured: a wobble of %s in %.0f s.", size, w.PeriodS)
	}
	if w.PeakToPeak == 0 {
		return "The gear is taken to run evenly, as told."
	}
	return fmt.Sprintf("The gear is reckoned with as told: a wobble of %s in %.0f s.", size, w.PeriodS)
}
