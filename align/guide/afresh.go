package guide

import (
	"math"
	"slices"
	"time"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// # Beginning afresh
//
// Once a switch is thrown or a motor switched on, what came before spoils what comes after: one axis and one rate fit no two
// mounts, and the misfit looks like a clutch that slips. How a motor runs every pair of neighbours tells alone, whatever the
// axis: its ratio r ([align.Pace]). A step is odd where r is; a swing by hand tells nothing of it, nor do pictures long apart. Where all
// odd steps of a window stand together, from its first picture on or two alike, and it is over, it was a fault of the motor that was put right: the pictures after
// it are asked alone, and where three of them make a sound measurement they are all that counts. A single odd step amid sound ones,
// or several with sound ones between, is a clutch or a hand: what gives now and then has to show more. A knock parts
// the window as well.
const (
	oddRatio = 0.2              // by which r misses 1; a wobble of 100″ in four minutes makes 0.09, half the rate 0.5
	farApart = 12 * time.Minute // pictures between which anything may have happened

	clearlyOther = 4 // standard errors by which two ratios are not one
)

// step is what a pair of neighbours tells of the motor.
type step struct {
	to           int // place of the later picture among the window's
	ratio, sigma float64
}

func (s step) odd() bool { return math.Abs(s.ratio-1) > oddRatio }

// otherThan is whether the motor ran otherwise in the step before: a wobble makes half of what is odd.
func (s step) otherThan(o step) bool {
	return math.Abs(s.ratio-o.ratio) > max(oddRatio/2, clearlyOther*math.Hypot(s.sigma, o.sigma))
}

// steps are those between usable pictures that tell something.
func (w *window) steps() (list []step) {
	last := -1
	for i, s := range w.shots {
		if !usable(s) {
			continue
		}
		if last >= 0 {
			if st, ok := stepOf(w.shots[last], s); ok {
				st.to = i
				list = append(list, st)
			}
		}
		last = i
	}
	return list
}

// stepOf is how fast the camera turned from one shot to another, against the sky; false where the two do not tell.
func stepOf(a, b drift.Shot) (step, bool) {
	dt := b.Clock.Mid().Sub(a.Clock.Mid())
	p, ok := align.PaceBetween(a, b)
	if !ok || dt > farApart {
		return step{}, false
	}
	sky := ephem.SiderealRadPerS * dt.Seconds()
	turned := math.Hypot(p.Rate.SiderealRatio-1, p.Across) * sky
	return step{ratio: p.Rate.SiderealRatio, sigma: p.Rate.Sigma}, turned <= swungBy.Rad()+3*sky
}

// fault is a stretch of odd steps in a window.
type fault struct {
	ended int  // place of the first picture after it
	motor bool // it is one of the motor, that came to its end
	still bool // or it goes on, as far as the steps tell
}

// fault is what the window's steps show; false where none is odd.
func (w *window) fault() (f fault, ok bool) {
	all := w.steps()
	first, last := slices.IndexFunc(all, step.odd), -1
	for i, s := range all {
		if s.odd() {
			last = i
		}
	}
	if first < 0 {
		return f, false
	}
	run := all[first : last+1]
	alike := len(run) > 1 && math.Abs(run[0].ratio-run[1].ratio) < lagSpread
	together := !slices.ContainsFunc(run, func(s step) bool { return !s.odd() })
	otherwise := len(run) > 1 && run[len(run)-1].otherThan(run[len(run)-2]) // it ended in the midst of the last step
	return fault{ended: all[last].to, motor: together && (first == 0 || alike), still: last == len(all)-1 && !otherwise}, true
}

// changed is whether a fault of the motor came to its end, and too few pictures were taken since to measure by.
func (g *Guide) changed() bool {
	if g.s.Told.IsZero() {
		return false
	}
	f, ok := g.window.fault()
	return ok && f.motor && !f.still
}

// missing is how many pictures it takes at least, once something was changed.
func (g *Guide) missing() int {
	f, ok := g.window.fault()
	if !ok {
		return policy.LeastPictures
	}
	since := window{g.window.shots[f.ended:]}
	return max(1, policy.LeastPictures-since.usable())
}

// sinceFault are the pictures to be asked alone, and how many it takes.
func (g *Guide) sinceFault() (since window, least int) {
	if f, ok := g.window.fault(); ok && f.motor && !f.still {
		return window{g.window.shots[f.ended:]}, policy.LeastPictures
	}
	if at, ok := g.knocked(); ok {
		return window{g.window.shots[at:]}, policy.LeastPictures
	}
	since = window{g.window.shots}
	since.since(g.s.Told.Add(1))
	return since, g.proof()
}

// knocked is the place of the first picture after the last knock.
func (g *Guide) knocked() (int, bool) {
	m := g.base.Measured
	if m == nil {
		return 0, false
	}
	before := -1
	for _, b := range m.Axis.Breaks {
		if b.Knock {
			before = b.Before
		}
	}
	var places []int // of the samples; frames tell as well what was below the horizon
	for i, s := range g.window.shots {
		if usable(s) {
			places = append(places, i)
		}
	}
	if before < 0 || before >= len(places) || len(places) != len(m.Axis.Stray) {
		return 0, false
	}
	return places[before], true
}

// sound is whether an answer is one to begin afresh by.
func (g *Guide) sound(a answer.Finding) bool {
	return a.Measured != nil && a.Measured.Axis.DOF >= 1 && !g.faulty(a) &&
		!slices.ContainsFunc(a.Measured.Axis.Breaks, func(b align.Break) bool { return b.Knock })
}

// mend leaves the pictures of a fault behind once enough taken since show none; while they show it, it counts as told anew.
func (g *Guide) mend() {
	faulty := g.faulty(g.base)
	_, knocked := g.knocked()
	if g.s.Told.IsZero() && !faulty && !knocked {
		return
	}
	if g.s.Told.IsZero() && faulty {
		g.s.Told = g.newest()
	}
	since, least := g.sinceFault()
	if since.usable() < least || len(since.shots) == len(g.window.shots) {
		return
	}
	a := answer.Find(since.sequence(), g.o.Answer)
	if !g.sound(a) {
		if !g.s.Told.IsZero() {
			g.s.Told = g.newest()
		}
		return
	}
	g.leaveBehind(since, a)
}

// leaveBehind goes on with the pictures since a fault or a knock.
func (g *Guide) leaveBehind(since window, a answer.Finding) {
	dropped := g.window.shots[:len(g.window.shots)-len(since.shots)]
	g.window, g.base, g.s.Told, g.s.Carried = since, a, time.Time{}, nil
	g.relist(a)
	for _, s := range dropped {
		g.unused(s.File, say.Of("before it was put right"))
	}
}

// newest is the instant of the newest usable picture.
func (g *Guide) newest() (at time.Time) {
	if _, last, ok := g.span(); ok {
		at = last.Clock.Mid()
	}
	return at
}

// proof is how many sound pictures show that a fault is put right: a motor's shows at once, what gives way now and then does not.
func (g *Guide) proof() int {
	for _, x := range g.base.Faults {
		if x.Kind.Unsteady() && x.Kind.Twists() {
			return policy.SurePictures
		}
	}
	return policy.LeastPictures
}
