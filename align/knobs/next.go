package knobs

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem/say"
)

// Picture is one solved picture, fitted together with those of the measurement, as
// drift.Sequence.Horizon does for all pictures of one lens.
type Picture struct {
	Mid      time.Time
	Attitude align.Attitude
	// Reference is the attitude that the same fit gives the picture of State.Reference. Every further
	// picture betters what is known of the lens, and that moves all attitudes alike, by
	// up to an arcminute where the optical centre was poorly known. Nil: the lens is the measurement's.
	Reference align.Attitude
	Trailed   bool // its stars are not round for another reason than tracking: it was touched
	File      string
}

// Kind is what an instruction is about.
type Kind string

// The kinds.
const (
	Turn      Kind = "turn"      // turn a knob
	WrongWay  Kind = "wrong way" // the last turn made matters worse; turn back
	Overshot  Kind = "overshot"  // the last turn went too far; turn back
	Wait      Kind = "wait"      // the picture was not used; take another
	Remeasure Kind = "remeasure" // the measurement no longer holds
	Tighten   Kind = "tighten"   // nothing left to turn: clamp, and measure once more untouched
	Done      Kind = "done"      // measured untouched, and nothing to turn
)

// Instruction is what to do now, and what it rests on.
type Instruction struct {
	Kind   Kind
	Knob   Knob       // of turn, wrong way and overshot
	Turn   unit.Angle // of that knob, signed as in Two
	Beyond unit.Angle // how far to go past it and come back, so that the play ends on the right side; 0: straight
	Says   say.Line
	News   say.Line // the part of it that is of the clock; none: nothing new
	Remark bool     // it says what the last turn did

	Used   bool     // the picture was
	WhyNot say.Line // if not

	Axis      align.Axis // Direction and Covariance alone, as the last picture used shows it
	Remaining align.Deviation
	Needed    Two        // turns that would bring the axis to the aim
	Moved     Two        // since the stand before
	Swung     unit.Angle // about the axis besides the tracking, where a hand was on the clutch
}

// Instruct repeats what is to be done now.
func (s State) Instruct() Instruction {
	if why := s.lost(); !why.None() {
		return s.report(Remeasure, why)
	}
	return s.order(say.Line{})
}

// Next takes a further picture. It never fails: a picture that cannot be used leaves the state
// as it was, or makes it more watchful.
func (s State) Next(p Picture) (State, Instruction) {
	if why := s.lost(); !why.None() {
		return s, s.unused(s.report(Remeasure, why), say.Of("to be measured afresh first"))
	}
	pose, why := s.take(p)
	if !why.None() {
		return s, s.unused(s.report(Wait, WaitLine(why)), why)
	}
	m := s.judge(pose, s.Stand)
	agrees := s.Pending != nil && s.judge(pose, *s.Pending).kind == nothing
	v := s.weigh(m, s.whole(pose))
	if v == doubted || v == refused {
		if off, ok := s.doubtedClock(pose, m); ok {
			m, v = off, doubted
		}
	}
	switch {
	case v == swung:
		return s.lose(say.Of("the axis was swung", m.clutch()))
	case (v == believed || v == doubted && agrees) && s.Strays+1 >= mostStrays && s.stray(m):
		return s.lose(say.Of("again and again it moves"))
	case v == believed, v == doubted && agrees:
		return s.settle(m, pose)
	case v == leftField && agrees:
		return s.lose(say.Of("the camera looks elsewhere"))
	case v == refused && agrees, s.Doubts+1 == mostDoubts:
		return s.lose(say.Of("the camera moved on its holder"))
	}
	return s.doubt(v, m, pose)
}

// mostDoubts is how many pictures in sequence may disagree with the stand and with each other before
// something is taken to be giving way: a hand does not stay on that long.
const mostDoubts = 5

// mostStrays is how often in sequence a knob may seem to have been turned that was not asked for:
// after that a clamp or holder is taken to be giving way bit by bit.
const mostStrays = 4

// stray is whether a motion is of a knob not asked for, or the wrong way.
func (s State) stray(m motion) bool {
	altitude, azimuth, _ := m.kind.turned()
	if s.Asked == nil {
		return altitude || azimuth
	}
	return m.moved(s.Asked.Knob.other()) || m.moved(s.Asked.Knob) && sign(m.of(s.Asked.Knob)) != sign(s.Asked.Turn)
}

// doubt sets a picture aside until the next.
func (s State) doubt(v verdict, m motion, p Pose) (State, Instruction) {
	s.Pending = &p
	s.Doubts++
	why := say.Of("moved as neither knob does")
	switch {
	case m.skewed:
		why = say.Of("both knobs, or the clock")
	case v == doubted:
		why = say.Of("both knobs at once")
	}
	return s, s.unused(s.report(Wait, WaitLine(why)), why)
}

// lost is why there is no measurement to go on from; none: there is.
func (s State) lost() say.Line {
	if s.Lost.None() && r3.Norm(s.Body) == 0 {
		return say.Of("not measured yet")
	}
	return s.Lost
}

// whole is the turn of the camera from the stand, less the tracking.
func (s State) whole(p Pose) unit.Angle {
	at, _ := s.stepTo(p, s.Stand)
	return unit.Angle(turned(at))
}

// take reads a picture; why says why not.
func (s State) take(p Picture) (pose Pose, why say.Line) {
	switch {
	case p.Attitude == nil:
		return pose, say.Of("stars not recognised")
	case p.Trailed:
		return pose, say.Of("stars drawn out")
	case !p.Mid.After(s.Now.Mid):
		return pose, say.Of("before the last one used")
	}
	c, cov := p.Attitude.Given(s.WanderPx)
	if p.Reference != nil {
		again, _ := p.Reference.Given(s.WanderPx)
		c = c.Then(again.Inverse()).Then(s.Reference.attitude()) // the camera's frame as the measurement knew it
	}
	pose = Pose{p.Mid, c.Log(), cov}
	size := r3.Norm(pose.Rotation)
	for i := range 3 {
		size += cov[i][i]
	}
	if math.IsNaN(size) || math.IsInf(size, 0) || !(cov[0][0] > 0 && cov[1][1] > 0 && cov[2][2] > 0) || size > 4 {
		return pose, say.Of("stars not recognised")
	}
	return pose, say.Line{}
}

// WaitLine passes over a picture; what was asked is still to be done.
func WaitLine(why say.Line) say.Line { return say.Of("not used, wait", why) }

func (s State) unused(i Instruction, why say.Line) Instruction {
	i.Used, i.WhyNot = false, why
	return i
}

// lose gives the measurement up.
func (s State) lose(why say.Line) (State, Instruction) {
	s.Lost, s.Asked, s.Pending = why, nil, nil
	return s, s.unused(s.report(Remeasure, why), why)
}

// settle takes a picture that is believed, and says what comes next.
func (s State) settle(m motion, p Pose) (State, Instruction) {
	before, worse := s, s.axisAt(s.Now).Deviation(s.Aim).Total
	altitude, azimuth, clutch := m.kind.turned()
	s = s.learnTrack(m, p)
	s.Pending, s.Doubts, s.Now = nil, 0, p
	if m.kind != nothing {
		s.Stand = p
	}
	if altitude || azimuth {
		if !m.skewed { // else it is a question yet
			s.Axes = m.axes
		}
		s.Turns++
		if s.Strays++; !before.stray(m) {
			s.Strays = 0
		}
	}
	s, clock := s.tellClock()
	s = s.ask()
	kind, remark := Turn, say.Line{}
	if before.Asked != nil && (altitude || azimuth) {
		kind, remark = before.grade(m, s, s.axisAt(p).Deviation(s.Aim).Total > worse)
	}
	i := s.order(say.All(clock, remark))
	if kind != Turn && i.Kind == Turn {
		i.Kind = kind
	}
	i.Used, i.News = true, clock
	if m.kind != nothing {
		i.Moved = Two{m.altitude(), m.azimuth(), m.sigma(atAltitude), m.sigma(atAzimuth)}
	}
	if clutch {
		i.Swung = m.clutch()
	}
	return s, i
}

// notable is the least motion of a knob worth a remark.
const notable = 2 * jiggle

// grade compares a motion with what was asked for.
func (s State) grade(m motion, after State, worse bool) (Kind, say.Line) {
	k := s.Asked.Knob
	x, least := m.of(k), max(m.sigmaOf(k).Mul(3), notable)
	along := x.Mul(float64(sign(s.Asked.Turn)))
	excess := along - unit.Angle(math.Abs(s.Asked.Turn.Rad()))
	back := after.Asked != nil && after.Asked.Knob == k && sign(after.Asked.Turn) != sign(s.Asked.Turn)
	switch {
	case along < -least:
		return WrongWay, say.Of("the wrong way", movedLine(k, x, s.South))
	case !m.moved(k) && worse:
		return WrongWay, say.Of("and made it worse", wasOther(k))
	case !m.moved(k):
		return Turn, say.Of("and no more", wasOther(k))
	case back && excess > max(least, s.Asked.Beyond.Mul(1.5)):
		return Overshot, say.Of("too far", excess)
	}
	return Turn, say.Line{}
}

// moved is whether a motion turned a knob.
func (m motion) moved(k Knob) bool {
	altitude, azimuth, _ := m.kind.turned()
	return k == Altitude && altitude || k == Azimuth && azimuth
}

// report is an instruction without a turn.
func (s State) report(k Kind, says say.Line) Instruction {
	a := s.axisAt(s.Now)
	return Instruction{Kind: k, Says: says, Axis: a, Remaining: a.Deviation(s.Aim), Needed: s.needed(a)}
}

// order is the instruction for what is asked, after a remark on what was done.
func (s State) order(remark say.Line) Instruction {
	i := s.report(Tighten, say.Line{})
	switch {
	case s.Asked != nil:
		i.Kind, i.Knob, i.Turn, i.Beyond = Turn, s.Asked.Knob, s.Asked.Turn, s.Asked.Beyond
		i.Says = s.turnLine(*s.Asked)
	case s.Turns == 0:
		i.Kind, i.Says = Done, s.nothingLine(i, false)
	default:
		i.Says = s.nothingLine(i, true)
	}
	i.Says, i.Remark = say.All(remark, i.Says), !remark.None()
	return i
}
