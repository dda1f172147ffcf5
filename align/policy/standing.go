package policy

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// Question is what an order rests on besides the axis.
type Question struct {
	Aim         align.Aim
	PlannedS    float64    // exposure planned
	Play        unit.Angle // of the knobs, where it is known: less than that no turn of them brings; 0: what small mounts usually have
	Stands      unit.Angle // the axis error the planned exposure stands; 0 if unknown
	Forecast    align.Forecast
	South       bool     // the elevated pole is the south pole
	LongestS    float64  // exposure that stays round; 0 if unknown
	Rests       say.Line // what that rests on, to be said behind the figure; none: on what was measured
	Rounded     bool     // the planned exposure stays round
	Unsteady    bool     // a situation was met in which the axis will not stay as measured
	align.Query          // of place or clock, to be put before any turn; zero: none
}

// play is the least the knobs are good for.
func (q Question) play() unit.Angle {
	if q.Play > 0 {
		return q.Play
	}
	return UsualPlay
}

// Small is the axis error not worth a turn.
func (q Question) Small() unit.Angle { return q.small(q.play()) }

// small is the axis error not worth a turn of knobs with such a play.
func (q Question) small(play unit.Angle) unit.Angle {
	if q.shortens() { // every bit of the axis counts
		return play
	}
	return max(play, min(FineLimit, q.Stands))
}

// shortens is whether the planned exposure is known not to stay round.
func (q Question) shortens() bool { return !q.Rounded && q.LongestS > 0 }

// KnobIs is how a knob stands.
type KnobIs string

// The ways.
const (
	KnobRight   KnobIs = "right"         // within what the exposure stands, surely
	KnobTurns   KnobIs = "turn"          // not right, and known well enough for a turn
	KnobUnknown KnobIs = "not known yet" // its error may be more than the exposure stands
)

// Standing is how an axis stands against what is wanted.
type Standing struct {
	Off   align.Deviation
	Sigma unit.Angle // standard error of the axis in its weaker direction
	Worst unit.Angle // the axis error there may be
	Small unit.Angle // the axis error not worth a turn
	// Marks is the axis error up to which the planned exposure stays round, for bubbles to be shown against: half of the tolerance, the other half
	// being left to the gear; more where the forecast, which knows the gear, has it round all the same. 0 where not known.
	Marks unit.Angle

	Sound  bool // what is left over agrees with the stated errors
	Holds  bool // and the axis will stay as measured
	Sure   bool // a correction of at least one knob stands out of its error
	Round  bool // the planned exposure stays round however far off the axis may be
	ByPlay bool // it is the known play alone that makes the error not worth a turn
}

// Stand compares.
func Stand(a align.Axis, q Question) Standing {
	d := a.Deviation(q.Aim)
	s := Standing{Off: d, Sigma: a.WorstSigma(), Small: q.Small(), Marks: q.Stands, Sound: a.Sound()}
	s.Worst = d.Total + s.Sigma.Mul(Sureness)
	s.Holds = s.Sound && !q.Unsteady
	s.Sure = sureOf(d.Altitude, a.AltitudeSigma()) || sureOf(d.Azimuth, a.AzimuthSigma())
	s.Round = s.Worst < q.Stands && (q.Rounded || q.LongestS == 0)
	s.ByPlay = s.Worst < s.Small && s.Worst >= q.small(UsualPlay)
	if q.Rounded && q.Stands > 0 {
		s.Marks = max(q.Stands, s.Worst)
	}
	return s
}

// trusted is whether a hand may act on the axis, the questions of place and clock aside.
func (s Standing) trusted(q Question) bool {
	return s.Holds && (s.Off.Total > s.Off.TotalSigma.Mul(Sureness) || s.Sigma.Mul(Sureness) < max(min(q.Stands, FineLimit), q.play()))
}

// next is the step.
func (s Standing) next(q Question) Step {
	f := q.Forecast
	switch {
	case !s.Holds:
		return Measure
	case s.Worst < s.Small:
		return Shoot
	case s.Sure && s.Off.Total > s.Small:
		return Turn
	case s.Round:
		return Shoot
	case f.SwingSigma > 0 && f.MoreSigma > s.Small/Sureness:
		return Swing
	}
	return Measure
}

func size(a unit.Angle) unit.Angle { return unit.Angle(math.Abs(a.Rad())) }

func sureOf(turn, sigma unit.Angle) bool { return size(turn) >= sigma.Mul(Sureness) }

// Outstanding is whether a knob still has something to do, by the turn wanted, its error and the total error of the axis: it stands out of its error
// and of the play, and the axis is not good enough as it is. A mount that was good enough (tightening) is left alone until it is worse by half.
func Outstanding(turn, sigma, play, total, small unit.Angle, tightening bool) bool {
	factor := 1.0
	if tightening {
		factor = Slack
	}
	return size(turn) > max(sigma.Mul(Sureness), play).Mul(factor) && total > small.Mul(factor)
}

// knobs says how each knob stands. Of two that are too small alone and not together the larger one turns.
func (s Standing) knobs(a align.Axis, q Question, next Step) (altitude, azimuth KnobIs) {
	flat := math.Cos(a.Altitude().Rad())
	up, side := -s.Off.Altitude, (-s.Off.Azimuth).Mul(flat)
	upSigma, sideSigma := a.AltitudeSigma(), a.AzimuthSigma().Mul(flat)
	altitude, azimuth = q.knobIs(next, up, upSigma), q.knobIs(next, side, sideSigma)
	if next != Turn || altitude == KnobTurns || azimuth == KnobTurns {
		return altitude, azimuth
	}
	if size(up) >= size(side) && sureOf(up, upSigma) || !sureOf(side, sideSigma) {
		return KnobTurns, azimuth
	}
	return altitude, KnobTurns
}

// knobIs is how a knob stands, by the turn wanted and its error, both on the sky.
func (q Question) knobIs(next Step, turn, sigma unit.Angle) KnobIs {
	limit := q.Small()
	least := limit
	if next == Turn {
		least = q.play()
	}
	switch sure := sureOf(turn, sigma); {
	case sure && size(turn) > least:
		return KnobTurns
	case sure || sigma.Mul(Sureness) <= limit:
		return KnobRight
	}
	return KnobUnknown
}
