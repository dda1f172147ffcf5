package guide

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// fitted is a picture fitted together with those of the measurement.
type fitted struct {
	picture knobs.Picture
	seen    *drift.Sight
}

// see fits a sequence from where an answer has it taken; what was fitted a moment ago is not fitted again.
func (g *Guide) see(a answer.Finding, q drift.Sequence) (answer.Seen, error) {
	return a.See(q, g.o.Answer.Memory)
}

// fit fits a shot together with the window's; false where it takes no part (it was below the horizon).
func (g *Guide) fit(s drift.Shot) (f fitted, ok bool) {
	q := g.window.with(s)
	seen, err := g.see(g.base, q)
	if err != nil {
		return f, false
	}
	for _, x := range seen.Horizon.Sights {
		switch {
		case q.Shots[x.Shot].File == s.File:
			f.seen = &x
			f.picture.Mid, f.picture.Attitude, f.picture.File = x.Mid, x.Attitude, s.File
		case x.Mid.Equal(g.reference()):
			f.picture.Reference = x.Attitude
		}
	}
	return f, f.seen != nil
}

// next asks the knobs about a shot, without taking it yet.
func (g *Guide) next(s drift.Shot) (knobs.State, knobs.Instruction, fitted) {
	k := *g.s.Knobs
	k.Options = g.knobOptions(g.view.Finding)
	f, ok := g.fit(s)
	if !ok {
		f.picture = knobs.Picture{File: s.File}
	} else {
		f.picture.Trailed = g.trailed(s)
	}
	next, i := k.Next(f.picture)
	return next, i, f
}

// whileTurning takes a picture that should show what the last turn did.
func (g *Guide) whileTurning(s drift.Shot, line answer.FrameJSON) {
	untouched := g.s.Knobs.Turns == 0
	switch {
	case !usable(s):
		g.hold(say.Text(line.WhyNot))
		return
	case !s.Clock.Mid().After(g.s.Knobs.Now.Mid):
		g.late(s, untouched)
		return
	}
	next, i, f := g.next(s)
	if f.seen == nil {
		sunk := say.Of("below the horizon, as reckoned")
		g.unused(s.File, sunk)
		g.hold(sunk)
		return
	}
	if !untouched && g.suspected(s, *g.s.Knobs, i, f.picture.Trailed) {
		return
	}
	still := i.Used && i.Moved == (knobs.Two{}) && i.Swung == 0
	swung := i.Kind == knobs.Remeasure || i.Swung != 0
	switch {
	case untouched && still: // the answer is asked once for all pictures given together
		g.gather(s)
	case g.stale: // something moved: first say what the pictures before it make of the measurement
		g.conclude()
		g.place(s, line)
	case untouched && swung && g.joins(s):
		g.gather(s)
	default:
		g.follow(s, next, i, f)
	}
}

// late takes a picture older than the last one used: it betters the measurement while nobody has touched
// the knobs, and is only listed else.
func (g *Guide) late(s drift.Shot, untouched bool) {
	if !untouched {
		g.unused(s.File, say.Of("it came late"))
		return
	}
	g.gather(s)
}

// joins is whether a picture the knobs cannot explain is one of the measurement's own: the axis was swung
// by hand, and nothing gave way.
func (g *Guide) joins(s drift.Shot) bool {
	a := answer.Find(g.window.with(s), g.o.Answer)
	if a.Measured == nil || g.base.Measured == nil {
		return false
	}
	x := a.Measured.Axis
	return len(x.Breaks) <= len(g.base.Measured.Axis.Breaks) && !x.Stray[len(x.Stray)-1] && a.Advice.Next != "" && a.Advice.Next != policy.Measure
}

// hold passes over a picture that cannot be used; what was asked is still to be done.
func (g *Guide) hold(why say.Line) {
	if g.s.Order == nil {
		return
	}
	o := *g.s.Order
	o.Kind, o.Says, o.Remarked = knobs.Wait, knobs.WaitLine(why), true
	g.s.Order = &o
}

// follow takes what the knobs make of a picture.
func (g *Guide) follow(s drift.Shot, next knobs.State, i knobs.Instruction, f fitted) {
	g.s.Knobs, g.s.Order = &next, orderOf(i)
	g.s.Learned = g.s.Learned || next.Turns > 0
	if i.Used {
		g.taken(s.File)
		g.last, g.seen = &s, f.seen
		g.s.Loss = g.s.Loss.after(i.Moved)
	} else {
		g.unused(s.File, i.WhyNot)
		g.doubt(f)
	}
	switch i.Kind {
	case knobs.Tighten, knobs.Done:
		g.s.Phase, g.fresh, g.again, g.s.Swung = Untouched, window{}, nil, false
		g.hear(i.News)
	case knobs.Remeasure:
		g.restart(i.Says, s)
	default:
		g.s.Phase, g.fresh, g.again = Turning, window{}, nil
	}
}

// whileUntouched gathers the pictures after tightening, as long as nothing moves.
func (g *Guide) whileUntouched(s drift.Shot) {
	if usable(s) && !s.Clock.Mid().After(g.s.Knobs.Stand.Mid) { // of before the last motion
		g.unused(s.File, say.Of("it came late"))
		return
	}
	if usable(s) && !g.s.Swung && s.Clock.Mid().After(g.s.Knobs.Now.Mid) && g.disturbed(s) {
		return
	}
	g.fresh.add(s, g.reference())
	g.stale = true
	if o := g.s.Order; o != nil && o.Kind == knobs.Wait && usable(s) { // what made it wait is over
		again := *o
		again.Kind, again.Says, again.Remarked = knobs.Tighten, say.Line{}, false
		g.s.Order = &again
	}
}

// disturbed follows the knobs after tightening; true where the picture is no untouched one.
func (g *Guide) disturbed(s drift.Shot) bool {
	next, i, f := g.next(s)
	switch {
	case f.seen != nil && g.suspected(s, *g.s.Knobs, i, f.picture.Trailed):
		return true
	case i.Kind == knobs.Remeasure && g.swungTo(f):
		g.s.Swung = true // welcome: it betters the measurement
		return false
	case i.Kind == knobs.Tighten && i.Used:
		if i.Moved != (knobs.Two{}) { // the clamps moved it a little
			g.fresh = window{}
		}
		g.s.Knobs, g.s.Order = &next, orderOf(i)
		g.last, g.seen = &s, f.seen
		g.hear(i.News)
		return false
	case i.Kind == knobs.Wait:
		g.s.Knobs = &next
		g.unused(s.File, i.WhyNot)
		g.hold(i.WhyNot)
		g.doubt(f)
		return true
	}
	g.follow(s, next, i, f)
	return true
}

// What a swing leaves alone: the axis seems to stand where it stood, a base off level and a holder that gives
// a little aside.
const (
	swingLeast = 3 * ephem.Degree
	swingKeeps = 1 * ephem.Degree
)

// swungTo is whether a picture shows the camera swung about the axis, and nothing else.
func (g *Guide) swungTo(f fitted) bool {
	if f.seen == nil || g.s.Order == nil {
		return false
	}
	c, _ := f.picture.Attitude.Given(g.s.Knobs.WanderPx)
	seen := c.Inverse().Apply(g.s.Knobs.Body)
	if unit.Angle(r3.Norm(turn.Exp(g.s.Knobs.Now.Rotation).Inverse().Then(c).Log())) < swingLeast { // a knock
		return false
	}
	return angleBetween(seen, g.s.Order.Direction) < swingKeeps
}

func angleBetween(a, b r3.Vec) unit.Angle {
	return unit.Angle(math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)))
}

// knobOptions are what the knobs are to aim for, given the answer as it stands. Small errors are worth a turn
// where the planned exposure does not stay round, and none is worth it below a quarter of a degree where it does.
func (g *Guide) knobOptions(a answer.Finding) knobs.Options {
	o := g.o.Knobs
	o.PlannedS = 0 // the words about it are this package's
	if a.Measured == nil {
		return o
	}
	o.Stands = a.Measured.Question.Small()
	w, told := a.Gear, g.o.Answer.Gear
	switch {
	case told != nil && (w == nil || w.State != wobble.Measured):
		o.WobblePeakToPeak = told.PeakToPeak
	case w != nil && w.PeakToPeak > 0:
		o.WobblePeakToPeak = w.PeakToPeak
	}
	return o
}

// begin hands a measured axis to the knobs, which keep what they learnt; false with the reason where it cannot guide them.
func (g *Guide) begin() (knobs.Instruction, error) {
	seen, err := g.see(g.base, g.window.sequence())
	if err != nil {
		return knobs.Instruction{}, err
	}
	m := knobs.Measurement{Input: seen.Input, Axis: g.base.Measured.Axis, Aim: g.base.Measured.Question.Aim}
	if r := g.base.Rate; r != nil {
		m.Rate = *r
	}
	var next knobs.State
	if o := g.knobOptions(g.base); g.s.Knobs != nil && g.s.Learned {
		k := *g.s.Knobs
		k.Options = o
		next, err = k.Renew(m)
	} else {
		next, err = knobs.Start(m, o)
	}
	if err != nil {
		return knobs.Instruction{}, fmt.Errorf("%w", err)
	}
	g.s.Knobs, g.s.Loss = &next, Loss{}
	return next.Instruct(), nil
}

// doubt widens the axis's error by all that a picture not believed moved: until the next, nobody knows what did.
func (g *Guide) doubt(f fitted) {
	if f.seen == nil || g.s.Order == nil {
		return
	}
	now := g.s.Knobs.Now
	north := g.s.Order.Direction // the end about which the motor's turn is positive
	if g.s.Knobs.South {
		north = r3.Scale(-1, north)
	}
	tracked := unit.Angle(ephem.SiderealRadPerS * g.s.Knobs.Rate.SiderealRatio * f.picture.Mid.Sub(now.Mid).Seconds())
	c, _ := f.picture.Attitude.Given(g.s.Knobs.WanderPx)
	expected := turn.About(north, tracked).Then(turn.Exp(now.Rotation))
	off := r3.Norm(expected.Then(c.Inverse()).Log())
	o := *g.s.Order
	o.Covariance[0][0] += off * off
	o.Covariance[1][1] += off * off
	g.s.Order = &o
}
