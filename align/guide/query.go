package guide

import (
	"slices"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/ephem/say"
)

// # A question of place or clock
//
// Where files or sky contradict place or clock, or the axis is many degrees off, the question comes before the order: measuring
// goes on while it stands, and further pictures count. Who answers it ([Guide.Settle]) says that what was reckoned
// with is right; the orders then go on as if it had never been put. The other answer is another site or another clock, and a start of
// its own with them.

// Asked is a question that was put.
type Asked struct {
	align.Issue
	Clocks   int  `json:"clocks"` // how often the camera's clock had been set by nobody knows how much: its answer was of another clock
	Answered bool `json:"answered"`
}

// Asking is the question that stands.
type Asking struct {
	Number int        `json:"number"` // for Guide.Settle
	About  align.Kind `json:"about"`  // site or clock; empty: both
	Ask    say.Line   `json:"-"`      // as the instruction begins
}

// Settle takes the answer to a question: place and clock are right as reckoned with. False where that question does not stand and
// was not answered before.
func (g *Guide) Settle(number int) bool {
	if number < 1 || number > len(g.s.Asked) {
		return false
	}
	if g.s.Asked[number-1].Answered {
		return true
	}
	if l := g.view.Live.Question; l == nil || l.Number != number {
		return false
	}
	g.s.Asked = slices.Clone(g.s.Asked)
	g.s.Asked[number-1].Answered = true
	g.s.News = say.Line{}
	if g.s.Phase == Untouched {
		g.concludeFresh()
	} else {
		g.settle()
	}
	g.s.Serial++
	g.compose()
	return true
}

// open is the first question of an answer that was not answered yet.
func (g *Guide) open(a answer.Finding) (align.Query, bool) {
	if a.Measured == nil {
		return align.Query{}, false
	}
	for _, q := range a.Measured.Queries {
		answered := func(x Asked) bool { return x.Answered && x.Clocks == g.clocksSet() && q.Issue.AnsweredBy(x.Issue) }
		if !slices.ContainsFunc(g.s.Asked, answered) && !slices.ContainsFunc(g.o.Answered, answered) {
			return q, true
		}
	}
	return align.Query{}, false
}

// standing is the question that stands before what would be said else.
func (g *Guide) standing() (align.Query, bool) {
	switch g.s.Phase {
	case Untouched:
		if o := g.s.Order; g.again == nil || !g.caseOf(*g.again, g.fresh).Ready() || o != nil && o.Kind == knobs.Wait {
			return align.Query{}, false
		}
		return g.open(*g.again)
	case Done:
		return g.open(g.base)
	case Measuring:
		if c := g.baseCase(); !g.s.Afresh && c.Decided() && !c.Early() {
			return g.open(g.base)
		}
	}
	return align.Query{}, false
}

// ask notes down the question that stands.
func (g *Guide) ask(q align.Query) *Asking {
	at := slices.IndexFunc(g.s.Asked, func(x Asked) bool {
		return !x.Answered && x.Clocks == g.clocksSet() && q.Issue.Raised == x.Raised && q.Issue.AnsweredBy(x.Issue)
	})
	if at < 0 {
		at = len(g.s.Asked)
		g.s.Asked = append(slices.Clone(g.s.Asked), Asked{Issue: q.Issue, Clocks: g.clocksSet()})
	}
	return &Asking{at + 1, q.Issue.Kind, q.Ask}
}

// withQuery is an answer that says what stands before it.
func withQuery(a answer.Finding, q align.Query) answer.Finding {
	if a.Measured == nil {
		return a
	}
	m := *a.Measured
	m.Question.Query = q
	a.Measured, a.Advice.Trustworthy = &m, false
	return a
}

// clocksSet is how often the camera's clock was set so that measuring began afresh.
func (g *Guide) clocksSet() (n int) {
	for _, set := range g.s.Settings {
		if !set.Plain {
			n++
		}
	}
	return n
}

// asks is the question in place of an order.
func asks(q align.Query) told {
	right := say.Of("site, zone or clock offset")
	switch q.Issue.Kind {
	case align.KindSite:
		right = say.Of("site")
	case align.KindClock:
		right = say.Of("zone or clock offset")
	}
	return told{kind: string(policy.Measure), act: say.Of("act: question"), says: say.Of("question, say so and go on", q.Ask, q.If, right)}
}
