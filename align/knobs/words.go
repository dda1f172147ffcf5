package knobs

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align"
)

// Why a picture is not used.
const (
	unsolvedText = "its stars could not be recognised"
	trailedText  = "its stars are drawn out: it was taken during or just after a touch"
	olderText    = "it was taken before the last one used"
	bothText     = "both knobs seem to have moved at once"
	skewedText   = "both knobs seem to have moved at once, or the camera's clock or the longitude of the site is off by an hour or so"
	strangeText  = "the camera moved as neither knob turns it: a hand was still on it, or it slipped"
)

// Why the axis has to be measured afresh.
const (
	slippedText = "The camera moved on its holder, or the mount as neither knob turns it: seat it firmly and measure the axis afresh, untouched."
	leftText    = "The camera looks elsewhere: where the axis lies in the picture is no longer known. Measure it afresh, untouched."
)

const (
	creepText = "Something gives way: again and again the camera moves as no knob you were asked to turn. Tighten holder and clamps and measure the axis afresh, untouched."
	emptyText = "The axis has not been measured yet: take several pictures without touching the mount."
)

func swungText(by unit.Angle) string {
	return fmt.Sprintf("The axis was swung by %s: the camera hangs differently and the gear has play to take up. Measure afresh, untouched.", align.Arc(by))
}

func waitText(why string) string {
	return "This picture is not used: " + why + ". Hands off, and take another."
}

func wrongText(k Knob, moved unit.Angle, south bool) string {
	return "The wrong way: " + movedWords(k, moved, south) + "."
}

func movedWords(k Knob, moved unit.Angle, south bool) string {
	if k == Altitude {
		way := "down"
		if moved > 0 {
			way = "up"
		}
		return fmt.Sprintf("the axis went %s by %s", way, align.Arc(moved))
	}
	sense, _, toward := azimuthWords(moved > 0, south)
	return fmt.Sprintf("the base turned %s %s (toward %s)", align.Arc(moved), sense, toward)
}

func otherText(asked Knob) string {
	return fmt.Sprintf("That was the %s knob", asked.other())
}

func overshotText(by unit.Angle) string {
	return fmt.Sprintf("Too far by %s.", align.Arc(by))
}

// azimuthWords: facing the pole, clockwise seen from above is to the right; in the north that
// is east, in the south west.
func azimuthWords(clockwise, south bool) (sense, side, toward string) {
	sense, side, toward = "anticlockwise", "left", "west"
	if clockwise {
		sense, side = "clockwise", "right"
	}
	if clockwise != south {
		toward = "east"
	}
	return sense, side, toward
}

// turnText is a request in a sentence a hand can follow.
func (s State) turnText(r Request) string {
	size, up := align.Arc(r.Turn), r.Turn > 0
	measure := s.Options.Measure(r.Knob, r.Turn)
	if r.Knob == Altitude {
		if up {
			return fmt.Sprintf("Raise the axis by %s (%s).", size, measure)
		}
		return fmt.Sprintf("Lower the axis by %s (%s): go about %s lower still and finish upward.", size, measure, align.Arc(r.Beyond))
	}
	sense, side, toward := azimuthWords(up, s.South)
	text := fmt.Sprintf("Turn the base %s %s seen from above (%s when facing the pole, toward %s; %s)", size, sense, side, toward, measure)
	if r.Beyond > 0 {
		back, _, _ := azimuthWords(!up, s.South)
		return fmt.Sprintf("%s: go about %s past that and come back %s.", text, align.Arc(r.Beyond), back)
	}
	return text + "."
}

// Measure is the size of a turn in what the hand has to go by: turns of the knob, millimetres, or where neither is known
// widths of the Moon.
func (o Options) Measure(k Knob, a unit.Angle) string {
	size := math.Abs(a.Min())
	perTurn, radius, where := o.ArcminPerTurnAltitude, o.LegMM, "at the leg"
	if k == Azimuth {
		perTurn, radius, where = o.ArcminPerTurnAzimuth, o.RimMM, "at the head's rim"
	}
	switch {
	case perTurn > 0:
		return turnsText(size / perTurn)
	case radius > 0:
		return fmt.Sprintf("%.1f mm %s", radius*math.Tan(math.Min(math.Abs(a.Rad()), 1)), where)
	}
	return align.MoonWidths(a)
}

// turnsText counts turns of a knob, in tenths: a hand in the dark does no better.
func turnsText(n float64) string {
	switch {
	case n < 0.05:
		return "a touch of the knob"
	case n < 0.95:
		return fmt.Sprintf("%.1f of a turn of the knob", n)
	case n < 1.05:
		return "one turn of the knob"
	}
	return fmt.Sprintf("%.1f turns of the knob", n)
}

// doneText closes a measurement that asks for no turn.
func (s State) doneText(i Instruction) string {
	return fmt.Sprintf("Nothing to turn: the axis is %s ± %s off%s.%s", align.Arc(i.Remaining.Total), align.Arc(i.Axis.WorstSigma()), s.plannedText(i), s.doubtText(i))
}

func (s State) tightenText(i Instruction) string {
	return fmt.Sprintf("Nothing more to turn: the axis is %s ± %s off%s. Tighten the clamps and measure once more untouched.%s",
		align.Arc(i.Remaining.Total), align.Arc(i.Axis.WorstSigma()), s.plannedText(i), s.doubtText(i))
}

// plannedText says that the planned exposure stands the error, where it does.
func (s State) plannedText(i Instruction) string {
	if s.Options.PlannedS > 0 && i.Remaining.Total < s.Options.Stands {
		return fmt.Sprintf(", and %.0f s stand %s", s.Options.PlannedS, align.Arc(s.Options.Stands))
	}
	return ""
}

// doubtText says when only the measurement's own error keeps the knobs still.
func (s State) doubtText(i Instruction) string {
	sigma := i.Axis.WorstSigma().Mul(sureness)
	if i.Remaining.Total+sigma > s.Options.Stands && sigma > s.Options.play() {
		return " A surer measurement (more pictures, or a swing by 30°) would show what is left."
	}
	return ""
}
