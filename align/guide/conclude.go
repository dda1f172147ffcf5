package guide

import (
	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/ephem/say"
)

// conclude answers for the window that grew, and finds where the session stands.
func (g *Guide) conclude() {
	g.stale = false
	if g.s.Phase == Untouched {
		g.concludeFresh()
		return
	}
	g.base = g.answer(g.window.sequence())
	done := g.s.Phase == Done
	if g.s.Learned || done {
		if a, cut := g.sinceTouch(&g.window, g.base); cut {
			g.base, g.s.Carried = a, nil
			if done {
				g.s.Phase, g.s.Remark = Measuring, say.Of("something moved the mount")
			}
		}
	}
	g.relist(g.base)
	g.mend()
	g.settle()
}

// stopOf is the fault to be put right before anything else; where there is no axis, why there is none says it.
func stopOf(a answer.Finding) (align.Situation, bool) {
	if a.Measured == nil {
		return align.Situation{}, false
	}
	return a.Stop()
}

// faulty is whether something is amiss that more pictures will not mend.
func (g *Guide) faulty(a answer.Finding) bool {
	_, fault := stopOf(a)
	return fault || a.Err != nil && usedIn(a) > 1 && !g.merelyFew(a)
}

// concludeFresh lets the untouched measurement take the first one's place once it says what to do.
func (g *Guide) concludeFresh() {
	a := answer.Find(g.fresh.sequence(), g.o.Answer)
	carried := g.carried()
	if again, cut := g.sinceTouch(&g.fresh, a); cut {
		a, carried = again, nil
	}
	a = carried.weighed(a)
	g.relist(a)
	if g.faulty(a) && usedIn(a) >= policy.LeastPictures { // something went wrong since the first measurement
		g.restart(say.Line{}, g.fresh.shots...)
		g.conclude()
		return
	}
	if _, asked := g.open(a); asked || !g.caseOf(a, g.fresh).Ready() {
		g.again = &a
		return
	}
	g.s.Carried, g.s.Loss = carried, Loss{}
	g.window, g.fresh, g.again, g.base = g.fresh, window{}, nil, a
	g.last, g.seen, g.s.Order, g.s.Swung = nil, nil, nil, false
	g.settle()
}

// sinceTouch leaves the pictures since the mount was last knocked, and answers for them; false where it was not. A camera aimed at
// other stars is no knock: its mount stands.
func (g *Guide) sinceTouch(w *window, a answer.Finding) (answer.Finding, bool) {
	if a.Measured == nil || len(a.Measured.Axis.Breaks) == 0 {
		return a, false
	}
	seen, err := g.see(a, w.sequence())
	if err != nil {
		return a, false
	}
	in, at := seen.Input, -1
	for _, b := range a.Measured.Axis.Breaks {
		if b.Knock {
			at = b.Before
		}
	}
	if at < 0 || at >= len(in.Samples) {
		return a, false
	}
	for _, file := range w.since(in.Samples[at].Mid) {
		g.unused(file, say.Of("before it was touched again"))
	}
	return answer.Find(w.sequence(), g.o.Answer), true
}

// caseOf is what policy goes by of a finding that rests on some pictures, and of what the session knows besides.
func (g *Guide) caseOf(a answer.Finding, w window) policy.Case {
	c := policy.Case{Advice: a.Advice, Pictures: usedIn(a), Told: !g.s.Told.IsZero(), Planned: g.o.Answer.Planned, Pace: g.pace()}
	if g.changed() {
		c.Changed = g.missing()
	}
	if stop, ok := stopOf(a); ok {
		c.Stop, c.StopAct = stop.Line(g.o.Answer.Voice), stop.Kind.Act()
	}
	if a.Err != nil && !g.merelyFew(a) {
		c.Err = g.sentence(a.Err)
	}
	if m := a.Measured; m != nil {
		c.Axis, c.Question = &m.Axis, m.Question
		_, c.Asked = g.open(a)
	}
	if c.Pictures > 0 && (c.Pictures < policy.LeastPictures || c.Axis == nil) {
		c.Tracking = g.tracking(a, w)
	}
	return c
}

// baseCase is that of the measurement.
func (g *Guide) baseCase() policy.Case { return g.caseOf(g.base, g.window) }

// settle finds the phase for the window's answer, and begins at the knobs where a turn is wanted.
func (g *Guide) settle() {
	g.s.Order, g.last, g.seen = nil, nil, nil
	next, _ := policy.Next(g.s.State, g.baseCase())
	if next.Phase != Turning {
		g.s.State = next
		return
	}
	i, err := g.begin()
	switch {
	case err != nil:
		next.Phase, next.Remark = Measuring, g.sentence(err)
	case i.Kind == knobs.Done:
		next.Phase = Done
	default:
		g.s.Order = orderOf(i)
	}
	g.s.State = next
}
