package guide

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
)

// leastPictures of a measurement that a hand acts on: two always fit some axis, the third shows whether anything gave way.
const leastPictures = 3

// knockedText says why a night's exposures are measured again.
const knockedText = "Something moved the mount. See that the tripod and the clamps are firm; the next pictures measure the axis afresh."

// againText says why a picture from before a touch is no part of the untouched measurement.
const againText = "taken before the mount was touched again"

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
				g.s.Phase, g.s.Remark = Measuring, knockedText
			}
		}
	}
	g.relist(g.base)
	g.mend()
	g.settle()
}

// faulty is whether something is amiss that more pictures will not mend.
func (g *Guide) faulty(a answer.Finding) bool {
	_, fault := faultOf(a)
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
	if g.faulty(a) && usedIn(a) >= leastPictures { // something went wrong since the first measurement
		g.restart("", g.fresh.shots...)
		g.conclude()
		return
	}
	if _, asked := g.open(a); asked || !ready(a) {
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
		g.unused(file, againText)
	}
	return answer.Find(w.sequence(), g.o.Answer), true
}

// ready is whether an answer says something a hand can act on: there is nothing to be turned, or what is to be turned stands well
// out of its error. A turn by a doubtful axis costs more than the pictures that settle it.
func ready(a answer.Finding) bool {
	if a.Measured == nil || a.Advice.Next == "" || a.Measured.Axis.DOF < 1 || usedIn(a) < leastPictures || a.Measured.Axis.WorstSigma() > wanted(a) {
		return false
	}
	if _, fault := a.Stop(); fault { // what keeps stars from being round comes first
		return false
	}
	switch a.Advice.Next {
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
func wanted(a answer.Finding) unit.Angle {
	return max(stood(a.Measured.Question.Stands).Div(sureness), a.Measured.Deviation.Total.Mul(clearly))
}

// stood is the axis error not worth a turn where the planned exposure stays round.
func stood(stands unit.Angle) unit.Angle { return max(coarseLimit, min(fineLimit, stands)) }

// slack: a mount that was good enough is left alone until it is worse by half, as in knobs.
const slack = 1.5

// coarsely is how far off an axis is aimed anew by hand rather than followed through the knobs.
const coarsely = unit.Angle(15 * math.Pi / 180)

// surePictures are enough for answer to tell what gives way.
const surePictures = 6

// decided is whether the window's answer says what to do, and no fault of the mount stands before it.
func (g *Guide) decided() bool {
	return ready(g.base) && (g.s.Told.IsZero() || g.base.Measured.Question.Rounded && !g.changed())
}

// early is whether more pictures come before an order by an answer that is ready: something that gives way evenly looks like an axis
// far off too, and shows in more of them.
func early(a answer.Finding) bool {
	return a.Advice.Next == align.Turn && a.Measured.Deviation.Total > coarsely && usedIn(a) < surePictures
}

// settle finds the phase for the window's answer.
func (g *Guide) settle() {
	g.s.Order, g.last, g.seen = nil, nil, nil
	_, asked := g.open(g.base)
	switch {
	case !g.decided():
		if g.s.Phase != Done || g.base.Measured == nil || g.base.Measured.Question.Unsteady || usedIn(g.base) < leastPictures {
			g.s.Phase = Measuring
		}
		return
	case early(g.base):
		g.s.Phase = Measuring
		return
	case asked:
		if g.s.Phase != Done {
			g.s.Phase = Measuring
		}
		return
	case g.base.Advice.Next == align.Shoot:
		g.s.Phase, g.s.Remark = Done, ""
		return
	}
	if off := g.base.Measured.Deviation.Total; off > coarsely {
		g.s.Phase, g.s.Afresh = Measuring, true
		g.s.Remark = fmt.Sprintf("The axis is %s off: point it at the pole by hand, roughly, and take new pictures. If that surprises you, check the site, the camera's clock and its time zone.", align.Arc(off))
		return
	}
	done := g.s.Phase == Done && g.base.Measured.Deviation.Total < stood(g.base.Measured.Question.Stands).Mul(slack)
	i, err := g.begin()
	switch {
	case done:
	case err != nil:
		g.s.Phase, g.s.Remark = Measuring, g.sentence(err)
	case i.Kind == knobs.Done:
		g.s.Phase, g.s.Remark = Done, ""
	default:
		g.s.Phase, g.s.Remark, g.s.Order = Turning, "", orderOf(i)
	}
}
