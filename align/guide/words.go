package guide

import (
	"errors"
	"slices"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/ephem/say"
)

// told is what the hand is told: a kind, which knob, the line, and what may be noted besides.
type told struct {
	kind, knob string
	act, says  say.Line
	more       int // pictures wanted; 0: not known, or none
	notes      []say.Line
}

// next is the answer's word for it.
func (s told) next() policy.Step {
	switch s.kind {
	case string(policy.Shoot), string(policy.Measure), string(policy.Swing):
		return policy.Step(s.kind)
	case string(knobs.Wait):
		return policy.Shoot
	}
	return policy.Turn
}

// compose makes the view of where the session stands; a is changed by nothing later.
func (g *Guide) compose() {
	a := g.shown()
	q, asked := g.standing()
	s, phase, question := g.words(a), g.s.Phase, (*Asking)(nil)
	if asked {
		s, question = asks(q), g.ask(q)
		a = withQuery(a, q)
		if phase == Done {
			phase = Measuring
		}
	}
	s.says = say.All(g.s.News, s.says)
	if !asked {
		s = g.toldMissed(s)
	}
	a.Faults = g.situations(a)
	a.Advice.Notes = slices.Clone(a.Advice.Notes)
	for _, n := range s.notes {
		a.Advice.Notes = append(a.Advice.Notes, policy.Note{Says: n})
	}
	a.Advice.Says = s.says
	if a.Measured != nil || g.s.Phase == Turning {
		a.Advice.Next = s.next()
	}
	a.Lines = append(make([]answer.FrameJSON, 0, len(g.s.Frames)), g.s.Frames...)
	v := g.o.Answer.Voice
	g.view = View{Answer: a.Answer(), Live: Live{Phase: phase, Headline: v.Say(headline(a)), Act: v.Say(s.act), Stage: v.Say(g.stage(phase, s, a)), Instruction: v.Say(s.says), Kind: s.kind, Knob: s.knob,
		Level: levelOf(a), Question: question, Wants: g.wants(a.Err), Serial: g.s.Serial}}
}

// shown is the answer with the axis where the last picture showed it.
func (g *Guide) shown() answer.Finding {
	o := g.s.Order
	if o == nil || g.seen == nil || g.s.Phase != Turning && g.s.Phase != Untouched {
		return g.base
	}
	return g.base.Turned(o.axis(), g.seen)
}

// situations are an answer's and the session's own. What the motor's change makes of a clamp is none.
func (g *Guide) situations(a answer.Finding) []align.Situation {
	list := g.clocks()
	changed := g.s.Phase == Measuring && g.changed()
	for _, x := range a.Faults {
		if !changed || x.Kind != align.KindSlipping {
			list = append(list, x)
		}
	}
	return list
}

// words is what the hand is told: by the knobs while they are turned, else by policy.
func (g *Guide) words(a answer.Finding) told {
	switch {
	case g.s.Phase == Turning && g.s.Order != nil:
		return g.turningWords(a)
	case g.s.Phase == Untouched:
		return g.untouchedWords(a)
	case g.s.Phase == Turning:
		return ordered(policy.State{Phase: Measuring, Remark: g.s.Remark}.Order(g.caseOf(a, g.window)))
	}
	t := ordered(g.s.State.Order(g.caseOf(a, g.window)))
	if from, to := gainOf(a, exposure.TurnBoth); g.s.Phase == Done && t.kind == string(policy.Shoot) && from > 0 && to >= policy.Worthwhile*from {
		t.notes = append(t.notes, say.Of("another turn lengthens", say.LongestOf(from), say.LongestOf(to), policy.TurnTime(2, g.pace())))
	}
	return t
}

func ordered(o policy.Order) told {
	return told{kind: string(o.Step), act: o.Act, says: o.Says, more: o.More}
}

// headline is the job's own figure.
func headline(a answer.Finding) say.Line {
	if a.Measured != nil && !a.Measured.Question.Ask.None() {
		return say.Of("question first")
	}
	if a.Forecast == nil || a.Forecast.LongestS <= 0 {
		return say.Line{}
	}
	return exposure.Headline(a.Forecast.LongestS, a.Forecast.Gear)
}

// turningWords: the turn, and what it gains for what it costs.
func (g *Guide) turningWords(a answer.Finding) told {
	o := g.s.Order
	s := told{kind: string(o.Kind), act: say.Of("act: another"), says: o.Says}
	if o.Kind == knobs.Wait {
		return s
	}
	s.knob, s.act = string(o.Knob), g.turnAct(*o)
	gain, longer := g.gainLine(a, o.Knob)
	if o.Remarked {
		s.notes = append(s.notes, gain)
		return s
	}
	if q := a.Measured; q != nil && q.Question.Rounded && g.s.Knobs.Turns == 0 && longer {
		gain = say.Of("round already, and", say.Seconds(q.Question.PlannedS), gain)
	}
	s.says = say.All(s.says, gain)
	return s
}

// turnAct is a turn at a glance: which way, and how far.
func (g *Guide) turnAct(o Order) say.Line {
	size := g.s.Knobs.Options.Measure(o.Knob, o.Turn)
	switch {
	case o.Knob == knobs.Azimuth && (o.Turn > 0):
		return say.Of("act: base right", size)
	case o.Knob == knobs.Azimuth:
		return say.Of("act: base left", size)
	case o.Turn > 0:
		return say.Of("act: raise", size)
	}
	return say.Of("act: lower", size)
}

// stage is where the session stands; where shooting now is fine, that first.
func (g *Guide) stage(phase string, s told, a answer.Finding) say.Line {
	switch m := a.Measured; {
	case phase == Turning && m != nil && m.Question.Rounded && a.Advice.Trustworthy && g.s.Order != nil && g.s.Order.Kind == knobs.Turn:
		return say.Of("stage: round already", say.Seconds(m.Question.PlannedS))
	case phase == Waiting:
		return say.Of("stage: waiting")
	case phase == Done:
		return say.Of("stage: ready")
	case phase == Turning && g.s.Order != nil && g.s.Order.Knob == knobs.Azimuth:
		return say.Of("stage: turning the base")
	case phase == Turning && g.s.Order != nil:
		return say.Of("stage: turning the tilt")
	case phase == Untouched && s.more > 0:
		return say.Of("stage: untouched, more", s.more)
	case phase == Untouched:
		return say.Of("stage: untouched")
	case s.more > 0:
		return say.Of("stage: measuring, more", s.more)
	}
	return say.Of("stage: measuring")
}

// gainLine weighs the turn of a knob against its cost in the job's own figure; longer is whether it lengthens exposures.
func (g *Guide) gainLine(a answer.Finding, k knobs.Knob) (line say.Line, longer bool) {
	what := exposure.TurnAltitude
	if k == knobs.Azimuth {
		what = exposure.TurnAzimuth
	}
	from, to := gainOf(a, what)
	both := false
	if to < policy.Worthwhile*from {
		_, to = gainOf(a, exposure.TurnBoth)
		both = true
	}
	another := g.s.Knobs.Turns > 0
	switch gains := to >= policy.Worthwhile*from && from > 0; {
	case gains && both:
		return say.Of("both knobs lengthen", say.LongestOf(from), say.LongestOf(to), policy.TurnTime(2, g.pace())), true
	case gains && another:
		return say.Of("another turn lengthens", say.LongestOf(from), say.LongestOf(to), policy.TurnTime(1, g.pace())), true
	case gains:
		return say.Of("this turn lengthens", say.LongestOf(from), say.LongestOf(to), policy.TurnTime(1, g.pace())), true
	case a.Measured != nil && a.Measured.Question.Rounded:
		return say.Of("keeps the field, round", say.Seconds(a.Measured.Question.PlannedS)), false
	case another:
		return say.Of("another turn lengthens none"), false
	}
	return say.Of("this turn lengthens none"), false
}

// gainOf is what the forecast says of one thing to be done; 0 where nothing.
func gainOf(a answer.Finding, what string) (from, to float64) {
	if a.Measured == nil || a.Forecast == nil {
		return 0, 0
	}
	from = a.Forecast.LongestS
	for _, x := range a.Forecast.Gains {
		if x.What == what {
			return x.FromS, x.ToS
		}
	}
	return from, 0
}

func (g *Guide) untouchedWords(a answer.Finding) told {
	measure := string(policy.Measure)
	switch o := g.s.Order; {
	case o != nil && o.Kind == knobs.Wait:
		return told{kind: measure, act: say.Of("act: another"), says: o.Says}
	case g.again == nil && a.Measured != nil:
		return told{kind: measure, act: say.Of("act: clamp"), says: say.Of("so far off, tighten", off(a.Measured))}
	case g.again == nil:
		return told{kind: measure, act: say.Of("act: clamp"), says: say.Of("tighten and measure")}
	}
	s := ordered(g.caseOf(*g.again, g.fresh).Effort(true)) // the bubbles still show what the turns made of the first measurement
	s.says = say.Of("tightened? once more", s.says)
	return s
}

// off is how far an axis is from its aim, with its error.
func off(m *answer.Measured) say.Off {
	return say.Off{Value: m.Deviation.Total, Sigma: m.Axis.WorstSigma()}
}

// merelyFew is whether nothing is amiss but that there are few pictures yet.
func (g *Guide) merelyFew(a answer.Finding) bool {
	return usedIn(a) > 0 && (errors.Is(a.Err, align.ErrFewPictures) || errors.Is(a.Err, align.ErrNoAxis) && usedIn(a) < policy.LeastPictures)
}

// sentence is an error and its ways out.
func (g *Guide) sentence(err error) say.Line {
	return say.Of("cause and ways out", say.Sentence(g.o.Answer.Voice.Reason(err)))
}
