package guide

import (
	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
)

// leastPictures of a measurement that a hand acts on: two always fit some axis, the third shows whether anything gave way.
const leastPictures = 3

// againText says why a picture from before a touch is no part of the untouched measurement.
const againText = "taken before the mount was touched again"

// conclude answers for the window that grew, and finds where the session stands.
func (g *Guide) conclude() {
	g.stale = false
	if g.s.Phase == Untouched {
		g.concludeFresh()
		return
	}
	g.base = answer.New(g.window.sequence(), g.o.Answer)
	if g.s.Learned || g.s.Phase == Done {
		if a, cut := g.sinceTouch(&g.window, g.base); cut {
			g.base = a
		}
	}
	g.relist(g.base)
	g.settle()
}

// concludeFresh lets the untouched measurement take the first one's place once it says what to do.
func (g *Guide) concludeFresh() {
	a := answer.New(g.fresh.sequence(), g.o.Answer)
	if again, cut := g.sinceTouch(&g.fresh, a); cut {
		a = again
	}
	g.relist(a)
	if !ready(a) {
		g.again = &a
		return
	}
	g.window, g.fresh, g.again, g.base = g.fresh, window{}, nil, a
	g.last, g.seen, g.s.Order, g.s.Swung = nil, nil, nil, false
	g.settle()
}

// sinceTouch leaves the pictures since the mount was last knocked, and answers for them; false where it was not.
func (g *Guide) sinceTouch(w *window, a answer.Answer) (answer.Answer, bool) {
	if a.Measured == nil || len(a.Measured.Axis.Breaks) == 0 {
		return a, false
	}
	in, err := a.Input(w.sequence())
	if err != nil {
		return a, false
	}
	breaks := a.Measured.Axis.Breaks
	at := breaks[len(breaks)-1].Before
	if at >= len(in.Samples) {
		return a, false
	}
	for _, file := range w.since(in.Samples[at].Mid) {
		g.unused(file, againText)
	}
	return answer.New(w.sequence(), g.o.Answer), true
}

// ready is whether an answer says something a hand can act on: there is nothing to be turned, or what is to be turned stands well
// out of its error. A turn by a doubtful axis costs more than the pictures that settle it.
func ready(a answer.Answer) bool {
	if a.Measured == nil || a.Advice.Next == nil || a.Measured.Axis.DOF < 1 || usedIn(a) < leastPictures || a.Measured.Axis.WorstSigma() > wanted(a) {
		return false
	}
	switch align.Next(*a.Advice.Next) {
	case align.Shoot:
		return true
	case align.Turn:
		return a.Advice.Trustworthy
	}
	return false
}

// clearly is the share of the axis error its standard error may be for a turn by it: a hand is no better than a tenth.
const clearly = 1.0 / 8

// wanted is the standard error at which the answer says what to do: an axis far off needs less than one near.
func wanted(a answer.Answer) unit.Angle {
	return max(stood(a.Measured.Question.Stands).Div(sureness), a.Measured.Deviation.Total.Mul(clearly))
}

// stood is the axis error not worth a turn where the planned exposure stays round.
func stood(stands unit.Angle) unit.Angle { return max(coarseLimit, min(fineLimit, stands)) }

// settle finds the phase for the window's answer.
func (g *Guide) settle() {
	g.s.Order, g.last, g.seen = nil, nil, nil
	switch {
	case !ready(g.base):
		if g.s.Phase != Done || g.base.Measured == nil || g.base.Measured.Question.Unsteady || usedIn(g.base) < leastPictures {
			g.s.Phase = Measuring
		}
		return
	case align.Next(*g.base.Advice.Next) == align.Shoot:
		g.s.Phase, g.s.Remark = Done, ""
		g.begin() // what was learnt of the knobs goes on from here; where it cannot, nothing is to be turned anyway
		return
	}
	i, err := g.begin()
	switch {
	case err != nil:
		g.s.Phase, g.s.Remark = Measuring, sentence(err)
	case i.Kind == knobs.Done:
		g.s.Phase, g.s.Remark = Done, ""
	default:
		g.s.Phase, g.s.Remark, g.s.Order = Turning, "", orderOf(i)
	}
}
