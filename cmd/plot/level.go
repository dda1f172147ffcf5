package plot

import (
	"fmt"
	"math"
	"strings"
	"trueturn/cmd/markup"

	"github.com/soniakeys/unit"
)

// Tube is one tube of a mason's level. Its marks enclose what may be left, its bubble stands where the knob is and is as
// long as the measurement is unsure: wholly between the marks, nothing is left to turn; wholly
// outside, there surely is. Each tube stands by itself; the two are not joined.
type Tube struct {
	Name      string     // what is levelled, a few words
	Standing  bool       // else lying
	Value     unit.Angle // to the right, or up; NaN: not measured, and no bubble is drawn
	Sigma     unit.Angle // one standard error; the bubble spans two on either side
	Stands    unit.Angle // the marks' distance from the middle; 0 or NaN: unknown, no marks
	Low, High string     // words at its ends: left and right, or below and above
	Turning   bool       // a hand is wanted here: the bubble's place of rest is outlined, and the way there hatched
	Reach     unit.Angle // from the middle to an end; 0: as far as value and marks ask for
}

// bubbleSigmas is how many standard errors the bubble reaches from its middle: with two, nineteen of twenty
// measurements have the truth inside it (normal distribution, 95.4 %).
const bubbleSigmas = 2

// leastBubble is the half length in units below which a bubble could not be seen.
const leastBubble = 7.0

// Measures of a tube in units: half its length, and half its width.
const (
	halfLying    = 166.0
	halfStanding = 130.0
	halfWidth    = 22.0
)

// shape is a tube's measures in arcminutes.
type shape struct{ value, sigma, stands, reach float64 }

func (t Tube) shape() shape {
	s := shape{t.Value.Min(), math.Abs(t.Sigma.Min()), math.Abs(t.Stands.Min()), math.Abs(t.Reach.Min())}
	if !finite(s.sigma) {
		s.sigma = 0
	}
	if !finite(s.stands) {
		s.stands = 0
	}
	if !finite(s.reach) || s.reach == 0 {
		s.reach = 1.1 * max(2*s.stands, 0.5)
		if finite(s.value) {
			s.reach = max(s.reach, 1.15*(math.Abs(s.value)+bubbleSigmas*s.sigma))
		}
		s.reach = min(s.reach, mostReach)
	}
	return s
}

// tubeRound is the radius of the tube's ends, in units of the drawing.
const tubeRound = 20

// mostReach in arcminutes: nothing is farther off than half a turn.
const mostReach = 180 * 60

// SVG draws the tube.
func (t Tube) SVG() markup.Safe {
	s := t.shape()
	var p *pen
	var l lie
	if t.Standing {
		p = figure("plot standing", 170, 2*halfStanding+60, t.Name, t.detail(s))
		l = lie{true, 120, halfStanding + 30, halfStanding / s.reach}
	} else {
		p = figure("plot", 360, 126, t.Name, t.detail(s))
		l = lie{false, 180, 50, halfLying / s.reach}
	}
	half := s.reach * l.perMinute
	l.bar(p, "tube", -half, half, halfWidth, tubeRound)
	t.marks(p, l, s)
	t.way(p, l, s)
	t.bubble(p, l, s)
	t.numbers(p, l, s)
	t.ends(p, l, half)
	return p.close()
}

// lie is how a tube lies on the drawing: positions along it count from its middle, to the right or up.
type lie struct {
	standing  bool
	x, y      float64 // its middle
	perMinute float64 // units an arcminute
}

// bar is a rounded bar along the tube.
func (l lie) bar(p *pen, class string, from, to, half, radius float64) {
	b := box{l.x + from, l.y - half, l.x + to, l.y + half}
	if l.standing {
		b = box{l.x - half, l.y - to, l.x + half, l.y - from}
	}
	p.rect(class, b, min(radius, (to-from)/2))
}

// across is a line across the tube, from one distance beside its middle line to another.
func (l lie) across(p *pen, class string, along, from, to float64) {
	if l.standing {
		p.line(class, l.x-to, l.y-along, l.x-from, l.y-along)
		return
	}
	p.line(class, l.x+along, l.y+from, l.x+along, l.y+to)
}

// marks are the two lines the exposure stands, or the middle alone where that is not known.
func (t Tube) marks(p *pen, l lie, s shape) {
	if s.stands == 0 {
		l.across(p, "mark", 0, -halfWidth, halfWidth)
		return
	}
	half := s.stands * l.perMinute
	if end := s.reach * l.perMinute; half > end { // the exposure stands more than the tube shows
		l.bar(p, "stands", 1-end, end-1, halfWidth-1, tubeRound-1)
		return
	}
	round := tubeRound - (s.reach*l.perMinute - half) // near the tube's round ends a square one would lie outside
	l.bar(p, "stands", -half, half, halfWidth, max(0, round))
	for _, at := range []float64{-half, half} {
		l.across(p, "limit", at, -halfWidth-7, halfWidth+7)
	}
}

// hatching is the distance between two strokes of a way.
const hatching = 9.0

// way is where the bubble must come to rest, as a hollow outline, and the way there, hatched.
func (t Tube) way(p *pen, l lie, s shape) {
	if !t.Turning || !finite(s.value) {
		return
	}
	at, half := s.bubble(l)
	for along := half + hatching; along < math.Abs(at)-half; along += hatching {
		l.slant(p, "way", math.Copysign(along, at), halfWidth-8)
	}
	l.bar(p, "rest", -half, half, halfWidth-6, 16)
}

// slant is a stroke across the tube, not square to it.
func (l lie) slant(p *pen, class string, along, half float64) {
	const lean = 4
	if l.standing {
		p.line(class, l.x-half, l.y-along-lean, l.x+half, l.y-along+lean)
		return
	}
	p.line(class, l.x+along-lean, l.y+half, l.x+along+lean, l.y-half)
}

// bubble is where it stands, and half its length: against an end when the knob is farther off than the tube reaches.
func (s shape) bubble(l lie) (at, half float64) {
	end := s.reach*l.perMinute - 3
	half = min(max(bubbleSigmas*s.sigma*l.perMinute, leastBubble), end)
	return max(-end+half, min(end-half, s.value*l.perMinute)), half
}

// bubble draws it.
func (t Tube) bubble(p *pen, l lie, s shape) {
	if !finite(s.value) {
		return
	}
	at, half := s.bubble(l)
	l.bar(p, "bubble", at-half, at+half, halfWidth-6, 16)
	l.across(p, "core", at, -halfWidth+10, halfWidth-10)
}

// numbers stand below a lying tube, left of a standing one.
func (t Tube) numbers(p *pen, l lie, s shape) {
	unitOf, sign := 1.0, "′"
	switch {
	case s.reach < 1:
		unitOf, sign = 1.0/60, "″"
	case s.reach > 120:
		unitOf, sign = 60, "°"
	}
	// The words at the ends say which side is which; the numbers need no sign.
	k := scale{low: -s.reach / unitOf * 0.98, high: s.reach / unitOf * 0.98}
	for _, m := range k.plainTicks(6, func(v float64) float64 { return v }) {
		along := m.at * unitOf * l.perMinute
		m.label = strings.TrimPrefix(m.label, "−")
		l.across(p, "axis", along, halfWidth+2, halfWidth+8)
		if l.standing {
			p.text("number", before, l.x-halfWidth-12, l.y-along+5, m.label+sign)
			continue
		}
		half := textWidth(m.label+sign) / 2
		p.text("number", middle, max(half, min(360-half, l.x+along)), l.y+halfWidth+24, m.label+sign)
	}
}

// ends are the words at the ends.
func (t Tube) ends(p *pen, l lie, half float64) {
	if l.standing {
		p.text("label", middle, l.x, l.y-half-10, t.High)
		p.text("label", middle, l.x, l.y+half+20, t.Low)
		return
	}
	p.text("label", after, l.x-half, l.y+halfWidth+48, t.Low)
	p.text("label", before, l.x+half, l.y+halfWidth+48, t.High)
}

// detail is the tube in words.
func (t Tube) detail(s shape) string {
	if !finite(s.value) {
		return "Not measured."
	}
	side := t.High
	if s.value < 0 {
		side = t.Low
	}
	words := fmt.Sprintf("The bubble stands %.1f arcminutes toward “%s”, ± %.1f.", math.Abs(s.value), side, s.sigma)
	if s.stands == 0 {
		return words + " What the exposure can take is not known."
	}
	return words + fmt.Sprintf(" The marks stand at %.1f arcminutes on either side.", s.stands)
}
