package policy

import (
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// The phases of a session.
const (
	Waiting   = "waiting"   // no picture yet
	Measuring = "measuring" // the axis is not known well enough
	Turning   = "turning"   // a hand is wanted at a knob
	Untouched = "untouched" // tightened; measured once more
	Done      = "done"      // nothing is left to turn
)

// State is where a session stands. It survives JSON.
type State struct {
	Phase  string   `json:"phase"`
	Afresh bool     `json:"afresh"` // the next picture begins a measurement of its own
	Remark say.Line `json:"remark"` // why measuring began afresh; earlier versions kept it in words
}

// Case is what policy goes by of a finding, and of what is known of the session.
type Case struct {
	Axis     *align.Axis // nil: there is none
	Question Question
	Advice   Advice
	Pictures int      // that were used
	Stop     say.Line // a fault that is to be put right before anything else; none: there is none
	StopAct  say.Line // the same at a glance
	Err      say.Line // why there is no axis, and the way out; none: there is one, or merely too few pictures
	Told     bool     // a fault of the mount was told, and is not over
	Changed  int      // the motor runs otherwise since a moment ago: so many pictures are missing since; 0: it does not
	Asked    bool     // a question of place or clock stands

	Tracking Tracking
	Planned  time.Duration // the exposure
	Pace     time.Duration // from picture to picture
}

// Order is the one thing to do now.
type Order struct {
	Step Step
	Act  say.Line // in nine words at most, to be read at a glance
	Says say.Line // in full, with its reason
	More int      // pictures wanted; 0: not known, or none
}

// standing is how the case's axis stands; only with an axis.
func (c Case) standing() Standing { return Stand(*c.Axis, c.Question) }

// Ready is whether an answer says something a hand can act on: there is nothing to be turned, or what is to be turned stands well out of its error. A
// turn by a doubtful axis costs more than the pictures that settle it.
func (c Case) Ready() bool {
	if c.Axis == nil || !c.Stop.None() || c.Axis.DOF < 1 || c.Pictures < LeastPictures || c.Axis.WorstSigma() > c.wanted() {
		return false
	}
	return c.Advice.Next == Shoot || c.Advice.Next == Turn && c.Advice.Trustworthy
}

// wanted is the standard error at which the answer says what to do: an axis far off needs less than one near.
func (c Case) wanted() unit.Angle {
	return max(Settled(c.Question.Stands).Div(Sureness), c.standing().Off.Total.Mul(clearly))
}

// Decided is whether the answer says what to do, and no fault of the mount stands before it.
func (c Case) Decided() bool {
	return c.Ready() && (!c.Told || c.Question.Rounded && c.Changed == 0)
}

// Early is whether more pictures come before an order by an answer that is ready: something that gives way evenly looks like an axis far off too, and
// shows in more of them.
func (c Case) Early() bool {
	return c.Advice.Next == Turn && c.standing().Off.Total > coarsely && c.Pictures < SurePictures
}

// Next says where a session stands by the answer of its window, and what to do. Whoever is told to turn begins at the knobs: what they ask for
// is package knobs' to say, and the order is empty.
func Next(s State, c Case) (State, Order) {
	s = s.settled(c)
	return s, s.Order(c)
}

// settled finds the phase.
func (s State) settled(c Case) State {
	done := s.Phase == Done
	switch {
	case !c.Decided():
		if !done || c.Axis == nil || c.Question.Unsteady || c.Pictures < LeastPictures {
			s.Phase = Measuring
		}
		return s
	case c.Early():
		s.Phase = Measuring
		return s
	case c.Asked:
		if !done {
			s.Phase = Measuring
		}
		return s
	case c.Advice.Next == Shoot:
		return State{Phase: Done, Afresh: s.Afresh}
	}
	off := c.standing().Off.Total
	switch {
	case off > coarsely:
		return State{Measuring, true, say.Of("point at the pole by hand", off)}
	case done && off < Settled(c.Question.Stands).Mul(Slack):
		return s
	}
	return State{Phase: Turning, Afresh: s.Afresh}
}

// Order is what to do where a session stands and nobody is at the knobs.
func (s State) Order(c Case) Order {
	switch {
	case s.Phase == Waiting:
		return Order{Step: Shoot, Act: say.Of("act: begin"), Says: say.Of("begin")}
	case s.Phase == Turning:
		return Order{Step: Turn}
	case s.Phase == Done && c.Axis != nil && !c.Stop.None():
		return c.stopped()
	case s.Phase == Done && c.Axis != nil:
		return c.start()
	}
	return s.measure(c)
}

// measure is what keeps the axis from being known, or what is missing yet.
func (s State) measure(c Case) Order {
	switch {
	case !s.Remark.None() && (c.Pictures < 2 || c.Ready()):
		return s.remarked(c)
	case c.Changed > 0:
		return pictures(c.Changed, say.Of("the motor runs otherwise", say.Pictures(c.Changed)))
	case !c.Err.None():
		return Order{Step: Measure, Act: say.Of("act: mend what is amiss"), Says: c.Err}
	case !c.Stop.None():
		return c.stopped()
	}
	o := c.Effort(s.Phase == Untouched) // where the bubbles still show what the turns made of the first measurement
	if c.Pictures < LeastPictures {
		o.Says = say.All(s.Remark, o.Says)
	}
	return o
}

// Tracking is what ten pictures of tracking would leave, as forecast from the first one or two.
type Tracking struct {
	Sigma  unit.Angle // after them
	Stands unit.Angle // the axis error worth a turn then
	Known  bool
}

// Effort says how many more pictures are needed, or to swing, for an answer that says nothing a hand can turn by yet; bare, without how far off the axis
// is, where that is said elsewhere.
func (c Case) Effort(bare bool) Order {
	if c.Pictures < LeastPictures || c.Axis == nil {
		return c.first()
	}
	s := c.standing()
	how := say.Line{}
	if !bare {
		how = say.Of("and so far off", s.off())
	}
	f := c.Question.Forecast
	more := morePictures(s.Sigma, c.wanted(), f, c.Pictures)
	switch {
	case c.Axis.DOF < 1:
		return pictures(1, say.Of("one more to see what gave way", how))
	case s.Off.Total > coarsely:
		n := max(1, SurePictures-c.Pictures)
		return pictures(n, say.Of("more to see what gives way", c.count(n), how))
	case more > mostPictures && f.SwingSigma > 0 && f.SwingSigma < s.Sigma || c.Advice.Next == Swing:
		return Order{Step: Swing, Act: say.Of("act: swing"), Says: say.Of("swing, from and to", s.Sigma, f.SwingSigma)}
	case more > mostPictures:
		return Order{Step: Measure, Act: say.Of("act: many more"), Says: c.Advice.Says}
	}
	return pictures(more, say.Of("more pictures", c.count(more), how))
}

// first speaks before the third picture: whether a few minutes of tracking will do, or the axis is to be swung now.
func (c Case) first() Order {
	t, least := c.Tracking, max(LeastPictures-c.Pictures, 1)
	want := t.Stands.Div(Sureness)
	switch {
	case !t.Known:
		return pictures(least, say.Of("at least so many more", say.Pictures(least)))
	case t.Sigma > want:
		return Order{Step: Swing, Act: say.Of("act: swing"), Says: say.Of("swing now", t.Sigma, c.Planned, t.Stands)}
	}
	total := PlannedPictures * math.Pow(t.Sigma.Rad()/want.Rad(), 1/TrackingPower)
	n := max(least, int(math.Ceil(total))-c.Pictures)
	return pictures(n, say.Of("more pictures, or swing", c.count(n)))
}

// morePictures of the same kind bring the error down to what is wanted: from the forecast for twice as many, by a power of the number.
func morePictures(now, want unit.Angle, f align.Forecast, n int) int {
	if now <= want || f.MoreSigma <= 0 {
		return 1
	}
	power := max(0.3, min(2, math.Log2(now.Rad()/f.MoreSigma.Rad())))
	total := float64(n) * math.Pow(now.Rad()/want.Rad(), 1/power)
	return max(1, int(math.Ceil(min(total, 1e6)))-n)
}

// count is a number of pictures and how long they take.
func (c Case) count(n int) say.Line {
	if n == 1 {
		return say.Of("one more, hands off")
	}
	return say.Of("so many more, hands off", n, say.Wait(time.Duration(n)*c.Pace))
}

// start is the order of a session that is done.
func (c Case) start() Order {
	s, o := c.standing(), Order{Step: Shoot, Act: say.Of("act: start")}
	switch {
	case c.Question.shortens():
		o.Act = say.Of("act: start, shorter", say.LongestOf(c.Question.LongestS))
	case c.Question.LongestS <= 0:
		o.Says = say.Of("start, nothing left to turn", s.off())
		return o
	}
	o.Says = s.startLine(c.Question, true)
	return o
}

// stopped is the order where a fault is to be put right first, however well the axis is known.
func (c Case) stopped() Order { return Order{Step: Measure, Act: c.StopAct, Says: c.Stop} }

// remarked is the order where a remark says all.
func (s State) remarked(c Case) Order {
	if s.Afresh && c.Axis != nil {
		return Order{Step: Measure, Act: say.Of("act: point at the pole"), Says: s.Remark}
	}
	return pictures(max(1, LeastPictures-c.Pictures), s.Remark)
}

// pictures is an order to take so many more, hands off.
func pictures(n int, says say.Line) Order {
	act := say.Of("act: so many more", n)
	if n == 1 {
		act = say.Of("act: one more")
	}
	return Order{Step: Measure, Act: act, Says: says, More: n}
}

// TurnTime is what the turn of so many knobs costs: the hand, the picture after it and three untouched ones.
func TurnTime(knobs int, pace time.Duration) say.Wait {
	return say.Wait(time.Duration(knobs) * (handTime + 4*pace))
}
