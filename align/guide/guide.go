// Package guide takes a session's pictures one by one: the axis appears, and every further picture
// says what the last turn of a knob did.
//
// Start with [New], feed [Guide.Add], look at [Guide.View]. The package is all values: no clock, no
// files, no network; a [State] survives a trip through JSON and [Resume] goes on from it.
//
// # The phases
//
//	waiting    no picture yet
//	measuring  pictures gather in a window, and answer.New answers for it
//	turning    the axis is trustworthy and off: knobs follows it from picture to picture
//	untouched  nothing more to turn: a second window gathers, and takes the first one's place
//	done       measured, and nothing to turn
//
// While nobody has touched the knobs further pictures, swung ones too, better the measurement.
// After a slip, a swing in the midst of turning or an aim at other stars measuring begins afresh, with what was
// learnt of the knobs; after a fault of the motor or a knock it begins at the first picture since (afresh.go). A camera whose clock
// is set in mid-session is told from all that (clock.go).
//
// Of a window at most some thirty pictures are kept, first and last and evenly between, so that the thousandth
// picture costs what the fiftieth does; all others live on as their line in the answer's frames.
package guide

import (
	"cmp"
	"context"
	"time"

	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem/say"
)

// Options are what is known and wanted. Stands, PlannedS and WobblePeakToPeak of Knobs are
// filled in from the answer.
type Options struct {
	Answer  answer.Options
	Knobs   knobs.Options
	Arrived func(file string) (time.Time, bool) // when a picture arrived, by a clock other than the camera's; nil: nobody knows
	// Answered are questions of place and clock answered before, for a session that has lost its state.
	Answered []Asked
	Serial   uint64 // to count on from
}

// Guide is a session in progress. It is not safe for use by several goroutines.
type Guide struct {
	o     Options
	s     State
	names map[string]bool

	window   window          // of the measurement, or of the one that is being made
	fresh    window          // pictures since the clamps were tightened
	last     *drift.Shot     // the last one that moved the bubbles
	odd      *drift.Shot     // one of another camera or hour, until a second tells which is meant
	base     answer.Finding  // of the window
	again    *answer.Finding // of the fresh pictures
	seen     *drift.Sight    // of last
	suspects []Suspect       // the pictures running that fell behind the stars
	stale    bool            // base or again do not know the newest pictures yet

	view View
}

// New begins a session.
func New(o Options) *Guide {
	g := &Guide{o: filled(o), names: map[string]bool{}}
	g.s = State{Version: stateVersion, Serial: o.Serial, State: policy.State{Phase: Waiting}}
	g.base = answer.Find(drift.Sequence{}, g.o.Answer)
	g.compose()
	return g
}

// filled has the answer's defaults in place.
func filled(o Options) Options {
	o.Answer.LeaveAsking = true
	if o.Answer.Planned <= 0 {
		o.Answer.Planned = 30 * time.Second
	}
	if o.Answer.MaxElongation <= 1 {
		o.Answer.MaxElongation = 1.25
	}
	if o.Answer.Memory == nil {
		o.Answer.Memory = &answer.Memory{}
	}
	return o
}

// Add takes shots measured elsewhere, each once, in any order. A shot whose file is known already is passed over,
// unless nothing could be made of it before. Pictures given together are taken as [InOrder] has them. The error is the
// context's; shots not yet taken then may be given again.
func (g *Guide) Add(ctx context.Context, shots ...drift.Shot) error {
	var err error
	g.s.News = say.Line{}
	good := false
	for _, s := range InOrder(shots) {
		if err = ctx.Err(); err != nil {
			break
		}
		g.take(s)
		g.miss(s)
		good = good || usable(s)
	}
	if good { // of several sent together the list tells which were not used: the order goes by those that were
		g.s.Missed = nil
	}
	if g.stale {
		g.conclude()
	}
	g.s.Serial++
	g.compose()
	return err
}

// byTime puts shots without a clock last, by name.
func byTime(a, b drift.Shot) int {
	switch {
	case a.Clock == nil && b.Clock == nil:
		return cmp.Compare(a.File, b.File)
	case a.Clock == nil:
		return 1
	case b.Clock == nil:
		return -1
	}
	return a.Clock.Mid().Compare(b.Clock.Mid())
}

// usable is whether a shot can take part in an axis.
func usable(s drift.Shot) bool { return s.Solution != nil && s.Clock != nil && s.LeftOut == "" }

// take passes a shot on to where the session stands.
func (g *Guide) take(s drift.Shot) {
	if g.names[s.File] && !g.retried(s.File) {
		return
	}
	g.names[s.File] = true
	s = g.retime(s)
	line := answer.Line(s, g.o.Answer)
	line.WhyNot = g.withHint(line.WhyNot, s.Err)
	g.list(line)
	if s.Unread() && (g.s.Phase == Turning || g.s.Phase == Untouched) { // no picture at all: what was asked stands as it is
		return
	}
	if usable(s) {
		if g.storedTwice(s) {
			return
		}
		if why, early := g.elsewhere(s); !why.None() {
			g.setAside(s, why, early)
			return
		}
		g.odd = nil
	}
	g.place(s, line)
}

// place takes a shot of this measurement as the phase wants it.
func (g *Guide) place(s drift.Shot, line answer.FrameJSON) {
	switch {
	case g.s.Phase == Turning && g.s.Knobs != nil:
		g.whileTurning(s, line)
	case g.s.Phase == Untouched && g.s.Knobs != nil:
		g.whileUntouched(s)
	default:
		g.gather(s)
	}
}

// gather puts a shot into the measurement's window.
func (g *Guide) gather(s drift.Shot) {
	if g.s.Phase == Waiting {
		g.s.Phase = Measuring
	}
	if g.s.Afresh && usable(s) {
		g.window, g.s.Afresh, g.s.Carried = window{}, false, nil
	}
	g.window.add(s, g.reference())
	g.stale = true
}

// reference is the instant of the picture whose attitude the knobs are reckoned from.
func (g *Guide) reference() time.Time {
	if g.s.Knobs == nil {
		return time.Time{}
	}
	return g.s.Knobs.Reference.Mid
}

// longGap parts one measurement from another: what stood still that long was used, or not, by somebody else.
const longGap = 6 * time.Hour

// elsewhere is why a shot is not one of the present measurement; none: it is. early is of one taken long before it.
func (g *Guide) elsewhere(s drift.Shot) (why say.Line, early bool) {
	first, last, any := g.span()
	switch mid := s.Clock.Mid(); {
	case !any:
		return why, false
	case mid.Sub(last.Clock.Mid()) > longGap:
		return say.Of("six hours after the others"), false
	case first.Clock.Mid().Sub(mid) > longGap:
		return say.Of("six hours before the others"), true
	case !sameLens(last, s):
		return say.Of("of another lens"), false
	}
	return why, false
}

// belongs is whether it is one.
func (g *Guide) belongs(s drift.Shot) bool {
	why, _ := g.elsewhere(s)
	return why.None()
}

// span is the first and the last usable shot of the present measurement.
func (g *Guide) span() (first, last drift.Shot, any bool) {
	lists := [][]drift.Shot{g.window.shots, g.fresh.shots}
	if g.last != nil {
		lists = append(lists, []drift.Shot{*g.last})
	}
	for _, list := range lists {
		for _, s := range list {
			if !usable(s) {
				continue
			}
			if !any || byTime(s, first) < 0 {
				first = s
			}
			if !any || byTime(s, last) > 0 {
				last = s
			}
			any = true
		}
	}
	return first, last, any
}

// breathing is how far two focal lengths of one lens may differ, relative, as in drift.Sequence.Horizon.
const breathing = 0.01

func sameLens(a, b drift.Shot) bool {
	x, y := a.Solution, b.Solution
	ratio := x.Lens.FocalPx / y.Lens.FocalPx
	return a.Width == b.Width && a.Height == b.Height && x.Mirrored == y.Mirrored && x.RowsFlipped == y.RowsFlipped &&
		ratio < 1+breathing && ratio > 1/(1+breathing)
}

// setAside keeps a shot of another camera or hour until a second one agrees with it: one picture sent in error
// must not end a session.
func (g *Guide) setAside(s drift.Shot, why say.Line, early bool) {
	g.unused(s.File, why)
	odd := g.odd
	g.odd = &s
	if odd == nil || !sameLens(*odd, s) || apart(*odd, s) > longGap || early && g.used() >= policy.LeastPictures {
		return
	}
	g.odd = nil
	g.s.Knobs, g.s.Learned = nil, false
	g.restart(say.Of("another camera or hour"), *odd, s)
}

func apart(a, b drift.Shot) time.Duration {
	d := a.Clock.Mid().Sub(b.Clock.Mid())
	return max(d, -d)
}

// restart begins a measurement with some pictures; what was learnt of the knobs is kept.
func (g *Guide) restart(remark say.Line, shots ...drift.Shot) {
	g.window, g.fresh, g.last, g.seen, g.again, g.suspects = window{}, window{}, nil, nil, nil, nil
	g.s.Phase, g.s.Remark, g.s.Order, g.s.Swung, g.s.Afresh = Measuring, remark, nil, false, false
	g.s.Told, g.s.Carried, g.s.Loss = time.Time{}, nil, Loss{}
	for _, s := range shots {
		g.gather(s)
	}
	g.stale = true
}

// View is what to show; later Adds do not change it.
func (g *Guide) View() View { return g.view }

// Sequence is the shots of the present measurement, in the order of time, for drawings.
func (g *Guide) Sequence() drift.Sequence { return g.window.sequence() }
