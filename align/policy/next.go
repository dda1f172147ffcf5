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

// Case is what policy goes by of a finding.
type Case struct {
	Axis     *align.Axis // nil: there is none
	Question Question
	Advice   Advice
	Pictures int  // that were used
	Stopped  bool // a fault stops the work
	Told     bool // a fault of the mount was told, and is not over
	Changed  bool // the motor runs otherwise since a moment ago: too few pictures were taken since
	Asked    bool // a question of place or clock stands
}

// standing is how the case's axis stands; only with an axis.
func (c Case) standing() Standing { return Stand(*c.Axis, c.Question) }

// Ready is whether an answer says something a hand can act on: there is nothing to be turned, or what is to be turned stands well out of its error. A
// turn by a doubtful axis costs more than the pictures that settle it.
func (c Case) Ready() bool {
	if c.Axis == nil || c.Stopped || c.Axis.DOF < 1 || c.Pictures < LeastPictures || c.Axis.WorstSigma() > c.wanted() {
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
	return c.Ready() && (!c.Told || c.Question.Rounded && !c.Changed)
}

// Early is whether more pictures come before an order by an answer that is ready: something that gives way evenly looks like an axis far off too, and
// shows in more of them.
func (c Case) Early() bool {
	return c.Advice.Next == Turn && c.standing().Off.Total > coarsely && c.Pictures < SurePictures
}

// Next finds where a session stands by the answer of its window. Whoever is told to turn begins at the knobs.
func Next(s State, c Case) State {
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

// Tracking is what ten pictures of tracking would leave, as forecast from the first one or two.
type Tracking struct {
	Sigma  unit.Angle // after them
	Stands unit.Angle // the axis error worth a turn then
	Known  bool
}

// Effort says how many more pictures are needed, or to swing, for an answer that says nothing a hand can turn by yet; bare, without how far off the axis
// is, where that is said elsewhere.
func Effort(c Case, t Tracking, planned, pace time.Duration, bare bool) (Step, say.Line) {
	if c.Pictures < LeastPictures || c.Axis == nil {
		return first(c.Pictures, t, planned, pace)
	}
	s := c.standing()
	how := say.Line{}
	if !bare {
		how = say.Of("and so far off", s.off())
	}
	if c.Axis.DOF < 1 {
		return Measure, say.Of("one more to see what gave way", how)
	}
	if s.Off.Total > coarsely {
		return Measure, say.Of("more to see what gives way", count(max(1, SurePictures-c.Pictures), pace), how)
	}
	f := c.Question.Forecast
	more := morePictures(s.Sigma, c.wanted(), f, c.Pictures)
	switch {
	case more > mostPictures && f.SwingSigma > 0 && f.SwingSigma < s.Sigma || c.Advice.Next == Swing:
		return Swing, say.Of("swing, from and to", s.Sigma, f.SwingSigma)
	case more > mostPictures:
		return Measure, c.Advice.Says
	}
	return Measure, say.Of("more pictures", count(more, pace), how)
}

// first speaks before the third picture: whether a few minutes of tracking will do, or the axis is to be swung now.
func first(n int, t Tracking, planned, pace time.Duration) (Step, say.Line) {
	want, least := t.Stands.Div(Sureness), max(LeastPictures-n, 1)
	switch {
	case !t.Known:
		return Measure, say.Of("at least so many more", say.Pictures(least))
	case t.Sigma > want:
		return Swing, say.Of("swing now", t.Sigma, planned, t.Stands)
	}
	total := PlannedPictures * math.Pow(t.Sigma.Rad()/want.Rad(), 1/TrackingPower)
	return Measure, say.Of("more pictures, or swing", count(max(least, int(math.Ceil(total))-n), pace))
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
func count(n int, pace time.Duration) say.Line {
	if n == 1 {
		return say.Of("one more, hands off")
	}
	return say.Of("so many more, hands off", n, say.Wait(time.Duration(n)*pace))
}

// StartLine is the order of a session that is done.
func StartLine(c Case) say.Line {
	s := c.standing()
	if !c.Question.shortens() && c.Question.LongestS <= 0 {
		return say.Of("start, nothing left to turn", s.off())
	}
	return s.startLine(c.Question, true)
}

// TurnTime is what the turn of so many knobs costs: the hand, the picture after it and three untouched ones.
func TurnTime(knobs int, pace time.Duration) say.Wait {
	return say.Wait(time.Duration(knobs) * (handTime + 4*pace))
}
