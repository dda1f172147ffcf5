package guide

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/knobs"
	"trueturn/ephem/say"
)

// told is what the hand is told: a kind, the words, and what may be noted besides.
type told struct {
	kind, knob, text string
	notes            []string
}

// next is the answer's word for it.
func (s told) next() align.Next {
	switch s.kind {
	case string(align.Shoot), string(align.Measure), string(align.Swing):
		return align.Next(s.kind)
	case string(knobs.Wait):
		return align.Shoot
	}
	return align.Turn
}

// compose makes the view of where the session stands; a is changed by nothing later.
func (g *Guide) compose() {
	a := g.shown()
	q, asked := g.standing()
	s, phase, question := g.words(a), g.s.Phase, (*Asking)(nil)
	if asked {
		s, question = g.asks(q), g.ask(q)
		a = withQuery(a, q)
		if phase == Done {
			phase = Measuring
		}
	}
	if g.s.News != "" {
		s.text = g.s.News + " " + s.text
	}
	a.Faults = g.situations(a)
	a.Advice.Notes = slices.Clone(a.Advice.Notes)
	for _, n := range s.notes {
		a.Advice.Notes = append(a.Advice.Notes, align.Note{Says: say.Text(n)})
	}
	a.Advice.NextText = s.text
	if a.Measured != nil || g.s.Phase == Turning {
		a.Advice.Next = s.next()
	}
	a.Lines = append(make([]answer.FrameJSON, 0, len(g.s.Frames)), g.s.Frames...)
	g.view = View{Answer: a.Answer(), Live: Live{Phase: phase, Headline: headline(a), Instruction: s.text, Kind: s.kind, Knob: s.knob,
		Level: levelOf(a), Question: question, Serial: g.s.Serial}}
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

func (g *Guide) words(a answer.Finding) told {
	switch g.s.Phase {
	case Waiting:
		return told{kind: string(align.Shoot), text: "Start the mount, aim at any patch of sky with stars and take a picture; then keep hands off."}
	case Turning:
		return g.turningWords(a)
	case Untouched:
		return g.untouchedWords(a)
	case Done:
		return g.doneWords(a)
	}
	return g.measuringWords(a)
}

// headline is the job's own figure.
func headline(a answer.Finding) string {
	if a.Measured != nil && !a.Measured.Question.Ask.None() {
		return answer.QuestionFirst
	}
	if a.Forecast == nil || a.Forecast.LongestS <= 0 {
		return ""
	}
	words := "Round for " + exposure.Lasting(a.Forecast.LongestS)
	if a.Forecast.Gear == exposure.GearUsual {
		words += exposure.OnMost
	}
	return words
}

// worthwhile is the share by which an exposure must grow to be worth a word.
const worthwhile = 1.1

// turningWords: the turn, and what it gains for what it costs.
func (g *Guide) turningWords(a answer.Finding) told {
	o := g.s.Order
	if o == nil {
		return g.measuringWords(a)
	}
	s := told{kind: string(o.Kind), text: o.Text}
	if o.Kind == knobs.Wait {
		return s
	}
	s.knob = string(o.Knob)
	gain, longer := g.gainText(a, o.Knob)
	if o.Remarked {
		s.notes = append(s.notes, gain)
		return s
	}
	if q := a.Measured; q != nil && q.Question.Rounded && g.s.Knobs.Turns == 0 && longer {
		gain = exposure.Lasting(q.Question.PlannedS) + " stay round already. " + gain
	}
	s.text += " " + gain
	return s
}

// gainText weighs the turn of a knob against its cost in the job's own figure; longer is whether it lengthens exposures.
func (g *Guide) gainText(a answer.Finding, k knobs.Knob) (text string, longer bool) {
	which := "This turn"
	if g.s.Knobs.Turns > 0 {
		which = "Another turn"
	}
	what := exposure.TurnAltitude
	if k == knobs.Azimuth {
		what = exposure.TurnAzimuth
	}
	from, to := gainOf(a, what)
	if to < worthwhile*from {
		_, to = gainOf(a, exposure.TurnBoth)
		if to >= worthwhile*from && from > 0 {
			return fmt.Sprintf("Both knobs together lengthen exposures from %s to %s and take about %s.", exposure.Lasting(from), exposure.Lasting(to), minutes(2*g.turnS())), true
		}
		if a.Measured != nil && a.Measured.Question.Rounded {
			return fmt.Sprintf("%s stay round as it stands: %s keeps the field from creeping over the night.", exposure.Lasting(a.Measured.Question.PlannedS), strings.ToLower(which)), false
		}
		return which + " lengthens no exposure; it keeps the field from creeping over the night.", false
	}
	return fmt.Sprintf("%s lengthens exposures from %s to %s and takes about %s.", which, exposure.Lasting(from), exposure.Lasting(to), minutes(g.turnS())), true
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

// handS is how long a hand is at a knob and the clamps (common practice, no source).
const handS = 60

// turnS is what one more turn costs in seconds: the hand, the picture after it and three untouched ones.
func (g *Guide) turnS() float64 { return handS + 4*g.paceS() }

// paceS is the time from picture to picture.
func (g *Guide) paceS() float64 {
	if m := g.base.Measured; m != nil && m.Question.Forecast.PerPicture > 0 {
		return m.Question.Forecast.PerPicture.Seconds()
	}
	return usualPaceS
}

// usualPaceS: ten pictures in three minutes (design §7).
const usualPaceS = 20

func minutes(s float64) string {
	n := max(1, int(math.Ceil(s/60-0.25)))
	if n == 1 {
		return "one minute"
	}
	return fmt.Sprintf("%d minutes", n)
}

func (g *Guide) untouchedWords(a answer.Finding) told {
	measure := string(align.Measure)
	switch o := g.s.Order; {
	case o != nil && o.Kind == knobs.Wait:
		return told{kind: measure, text: o.Text}
	case g.again == nil && a.Measured != nil:
		return told{kind: measure, text: fmt.Sprintf("Nothing more to turn: the axis is %s off. Tighten the clamps and measure once more untouched.", off(a.Measured))}
	case g.again == nil:
		return told{kind: measure, text: "Tighten the clamps and measure once more untouched."}
	}
	s := g.effort(*g.again, g.fresh)
	s.text = "Tightened? Measure once more. " + s.text
	return s
}

// off is how far an axis is from its aim, with its error.
func off(m *answer.Measured) string {
	return align.Arc(m.Deviation.Total) + " ± " + align.Arc(m.Axis.WorstSigma())
}

func (g *Guide) doneWords(a answer.Finding) told {
	s := told{kind: string(align.Shoot)}
	m := a.Measured
	if m == nil {
		return g.measuringWords(a)
	}
	if fault, ok := faultOf(a); ok {
		return told{kind: string(align.Measure), text: fault}
	}
	q, off := m.Question, "the axis is "+off(m)+" off"
	switch planned := exposure.Lasting(q.PlannedS); {
	case q.LongestS > 0 && !q.Rounded:
		s.text = fmt.Sprintf("Start, but with shorter exposures: stars stay round for %s%s, not for %s, and turning the axis would not help (%s).", exposure.Lasting(q.LongestS), q.Rests, planned, off)
	case q.LongestS > 0:
		s.text = fmt.Sprintf("Start now: %s stay round%s; %s.", planned, q.Room(), off)
	default:
		s.text = fmt.Sprintf("Start now: nothing is left to turn; %s.", off)
	}
	if from, to := gainOf(a, exposure.TurnBoth); from > 0 && to >= worthwhile*from {
		s.notes = append(s.notes, fmt.Sprintf("Another turn lengthens exposures from %s to %s and takes about %s.", exposure.Lasting(from), exposure.Lasting(to), minutes(2*g.turnS())))
	}
	return s
}

// measuringWords: what keeps the axis from being known, or what is missing yet.
func (g *Guide) measuringWords(a answer.Finding) told {
	measure := string(align.Measure)
	switch {
	case g.s.Remark != "" && (usedIn(a) < 2 || ready(a)):
		return told{kind: measure, text: g.s.Remark}
	case g.changed():
		return told{kind: measure, text: changedText + " Take at least " + pictures(g.missing()) + ", hands off."}
	case a.Err != nil && !g.merelyFew(a):
		return told{kind: measure, text: g.sentence(a.Err)}
	}
	if fault, ok := faultOf(a); ok {
		return told{kind: measure, text: fault}
	}
	s := g.effort(a, g.window)
	if g.s.Remark != "" && usedIn(a) < leastPictures {
		s.text = g.s.Remark + " " + s.text
	}
	return s
}

// faultOf is what is amiss with the mount itself and to be put right first, however well the axis is known.
func faultOf(a answer.Finding) (string, bool) {
	stop, ok := a.Stop()
	return stop.Told(a.Voice), ok
}

// merelyFew is whether nothing is amiss but that there are few pictures yet.
func (g *Guide) merelyFew(a answer.Finding) bool {
	return usedIn(a) > 0 && (errors.Is(a.Err, align.ErrFewPictures) || errors.Is(a.Err, align.ErrNoAxis) && usedIn(a) < leastPictures)
}

// sentence is an error and its ways out.
func (g *Guide) sentence(err error) string {
	text := g.o.Answer.Voice.Reason(err)
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:] + "."
}

// sentences counts the sentences of a text.
func sentences(text string) int { return 1 + strings.Count(strings.TrimSpace(text), ". ") }
