package knobs

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align/policy"
	"trueturn/ephem/say"
)

// movedLine is which way a knob went.
func movedLine(k Knob, moved unit.Angle, south bool) say.Line {
	if k == Azimuth {
		sense, toward, _ := policy.BaseWay(moved, south)
		return say.Of("the base turned", moved, sense, toward)
	}
	if moved > 0 {
		return say.Of("the axis went up", moved)
	}
	return say.Of("the axis went down", moved)
}

// wasOther is which knob was turned in place of the one asked for.
func wasOther(asked Knob) say.Line {
	if asked == Altitude {
		return say.Of("that was the base")
	}
	return say.Of("that was the tilt")
}

// turnLine is a request a hand can follow.
func (s State) turnLine(r Request) say.Line {
	measure := s.Options.Measure(r.Knob, r.Turn)
	if r.Knob == Altitude {
		if r.Turn > 0 {
			return say.Of("raise the axis", r.Turn, measure)
		}
		return say.Of("lower the axis", r.Turn, measure, r.Beyond)
	}
	sense, toward, hand := policy.BaseWay(r.Turn, s.South)
	if r.Beyond > 0 {
		back, _, _ := policy.BaseWay(-r.Turn, s.South)
		return say.Of("turn the base and come back", r.Turn, sense, hand, toward, measure, r.Beyond, back)
	}
	return say.Of("turn the base so far", r.Turn, sense, hand, toward, measure)
}

// Measure is the size of a turn in what the hand has to go by: turns of the knob, millimetres, or where neither is known
// widths of the Moon.
func (o Options) Measure(k Knob, a unit.Angle) say.Line {
	size := math.Abs(a.Min())
	perTurn, radius, at := o.ArcminPerTurnAltitude, o.LegMM, say.Key("mm at the leg")
	if k == Azimuth {
		perTurn, radius, at = o.ArcminPerTurnAzimuth, o.RimMM, say.Key("mm at the rim")
	}
	switch {
	case perTurn > 0:
		return turnsLine(size / perTurn)
	case radius > 0:
		return say.Of(at, say.Millimetres(radius*math.Tan(math.Min(math.Abs(a.Rad()), 1))))
	}
	return say.Of("in Moon widths", say.Moons(a))
}

// turnsLine counts turns of a knob, in tenths: a hand in the dark does no better.
func turnsLine(n float64) say.Line {
	switch {
	case n < 0.05:
		return say.Of("a touch of the knob")
	case n < 0.95:
		return say.Of("part of a turn of the knob", say.Tenths(n))
	case n < 1.05:
		return say.Of("one turn of the knob")
	}
	return say.Of("turns of the knob", say.Tenths(n))
}

// nothingLine closes what asks for no turn.
func (s State) nothingLine(i Instruction, more bool) say.Line {
	off := say.Off{Value: i.Remaining.Total, Sigma: i.Axis.WorstSigma()}
	planned := say.Line{}
	if s.Options.PlannedS > 0 && i.Remaining.Total < s.Options.Stands {
		planned = say.Of("and the exposure stands", say.Seconds(s.Options.PlannedS), s.Options.Stands)
	}
	line := say.Of("nothing to turn", off, planned)
	if more {
		line = say.Of("nothing more to turn, tighten", off, planned)
	}
	if sigma := i.Axis.WorstSigma().Mul(policy.Sureness); i.Remaining.Total+sigma > s.Options.Stands && sigma > s.Options.play() {
		return say.All(line, say.Of("a surer measurement would show")) // only the measurement's own error keeps the knobs still
	}
	return line
}
