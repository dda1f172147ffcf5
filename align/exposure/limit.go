package exposure

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Limit is what ends an exposure.
type Limit string

// The limits. Field rotation comes from the axis too, but shows at the edges alone.
const (
	LimitNone       Limit = ""
	LimitAxis       Limit = "axis error"
	LimitWobble     Limit = "periodic error"
	LimitRate       Limit = "rate"
	LimitRotation   Limit = "field rotation"
	LimitRefraction Limit = "refraction"
	LimitSky        Limit = "sky turning (tripod)"
)

// inWords for a sentence "beyond that … limits".
var inWords = map[Limit]string{LimitNone: "nothing", LimitAxis: "the axis", LimitWobble: "the gear", LimitRate: "the motor's rate",
	LimitRotation: "the turning of the field", LimitRefraction: "refraction", LimitSky: "the turning sky"}

// Gain is something that would help.
type Gain struct {
	What          string     // "turning the azimuth", "turning the altitude", "turning both", "measuring the axis better", …
	Turn          unit.Angle // of a knob, wanted: up, or clockwise seen from above, positive; of both, the size; 0 where nothing is turned
	FromS, ToS    float64
	ThenLimitedBy Limit // only of the gain advised

	plan Plan // after it
}

// limits finds what ends the exposure: of the things that could be taken away, the one without which it would be longest.
func (f *Forecast) limits(p Plan) {
	if f.Endless {
		if f.Gear == GearUsual { // what is not known of it ends the forecast
			f.LimitedBy = LimitWobble
		}
		return
	}
	f.LimitedBy = p.limit()
	f.Gains = p.gains(f.LongestS)
}

// rotationShare: the turning of the field is named in the axis's place when leaving it out alone gains half, as
// logarithms go, of what a perfect axis gains.
const rotationShare = 0.5

func (p Plan) limit() Limit {
	if p.Mount.Tripod {
		return LimitSky
	}
	now := newTrial(p, rough).longest()
	best, limit := now, LimitNone
	for _, l := range []Limit{LimitAxis, LimitWobble, LimitRate, LimitRefraction} {
		q, changed := p.freeOf(l)
		if !changed {
			continue
		}
		if s := newTrial(q, rough).longest(); s > best || limit == LimitNone {
			best, limit = s, l
		}
	}
	if limit != LimitAxis || now <= 0 || now >= p.end() {
		return limit
	}
	q := p
	q.unturned = true
	if math.Log(newTrial(q, rough).longest()/now) > rotationShare*math.Log(best/now) {
		return LimitRotation
	}
	return limit
}

// freeOf is the plan without one thing that may limit it; changed is false where it was not there.
func (p Plan) freeOf(l Limit) (q Plan, changed bool) {
	q = p
	switch l {
	case LimitAxis:
		q.Mount.Axis = p.aimed()
		return q, p.Mount.Axis.known() || p.Mount.Axis.Size > 0 || p.Mount.Axis.SizeSigma > 0
	case LimitWobble:
		q.Mount.Wobble = nil
		return q, p.Mount.Wobble != nil
	case LimitRate:
		q.Mount.RateError, q.Mount.RateSigma = 0, 0
		return q, p.Mount.RateError != 0 || p.Mount.RateSigma > 0
	case LimitRefraction:
		q.View.Refraction = nil
		if a := p.Mount.Axis; a.known() { // its error from the pole as seen becomes that from the true one
			lift := turn.Exp(r3.Cross(p.View.aim(), p.View.Pole))
			q.Mount.Axis.Direction = lift.Apply(a.Direction)
		}
		return q, p.View.Refraction != nil
	}
	return q, false
}

// aimed is the axis that points at the pole as seen.
func (p Plan) aimed() Axis {
	d := p.View.aim()
	if p.View.South {
		d = r3.Scale(-1, d)
	}
	return Axis{Direction: d}
}

// smallGain: what lengthens an exposure by less than a tenth is not worth a word.
const smallGain = 1.1

// gains are the changes that lengthen the exposure, most first. They are compared roughly, and what they make of the exact
// length is taken in proportion.
func (p Plan) gains(exactS float64) (list []Gain) {
	now := newTrial(p, rough).longest()
	for _, c := range p.changes() {
		to := newTrial(c.plan, rough).longest()
		if to < smallGain*now || now == 0 {
			continue
		}
		g := Gain{What: c.what, Turn: c.turn, FromS: exactS, ToS: to, plan: c.plan}
		if end := c.plan.end(); to < end {
			g.ToS = math.Min(to*exactS/now, end)
		}
		list = append(list, g)
	}
	slices.SortStableFunc(list, func(a, b Gain) int { return cmp.Compare(b.ToS, a.ToS) })
	return list
}

type change struct {
	what string
	turn unit.Angle
	plan Plan
}

// What can be changed.
const (
	TurnAltitude = "turning the altitude"
	TurnAzimuth  = "turning the azimuth"
	TurnBoth     = "turning both knobs onto the pole"
	TurnAxis     = "turning the axis to the pole"
	MeasureAxis  = "measuring the axis better"
	SetRate      = "setting the rate right"
)

func (p Plan) changes() (list []change) {
	if p.Mount.Tripod {
		return nil
	}
	a := p.Mount.Axis
	switch {
	case a.known() && p.View.Refraction != nil:
		list = p.knobs()
	case a.known() || a.Size > 0:
		q, _ := p.freeOf(LimitAxis)
		list = append(list, change{TurnAxis, a.Size, q})
	}
	if a.Covariance[0][0]+a.Covariance[1][1] > 0 || a.SizeSigma > 0 {
		q := p
		q.Mount.Axis = p.certain().Mount.Axis
		list = append(list, change{MeasureAxis, 0, q})
	}
	if p.Mount.RateError != 0 {
		q := p
		q.Mount.RateError = 0
		list = append(list, change{SetRate, 0, q})
	}
	return list
}

// knobs are the turns of one knob or both that bring the axis to the pole as seen; the doubt stays.
func (p Plan) knobs() []change {
	axis, pole := ephem.HorizontalOf(p.Mount.Axis.Direction), ephem.HorizontalOf(p.aimed().Direction)
	dAlt := pole.Altitude - axis.Altitude
	dAz := unit.Angle(math.Remainder((pole.Azimuth - axis.Azimuth).Rad(), 2*math.Pi))
	at := func(alt, az unit.Angle) Plan {
		q := p
		q.Mount.Axis.Direction = ephem.Horizontal{Altitude: alt, Azimuth: az}.Direction()
		return q
	}
	size := unit.Angle(math.Hypot(dAlt.Rad(), dAz.Rad()*math.Cos(pole.Altitude.Rad())))
	return []change{
		{TurnAltitude, dAlt, at(pole.Altitude, axis.Azimuth)},
		{TurnAzimuth, dAz, at(axis.Altitude, pole.Azimuth)},
		{TurnBoth, size, at(pole.Altitude, pole.Azimuth)},
	}
}

// say writes the sentence of advice.
func (f *Forecast) say(p Plan) {
	g := f.simplest()
	switch {
	case f.Endless:
		f.Advice = fmt.Sprintf("Stars stay round for %s%s.", Lasting(f.LongestS), f.Rests())
	case p.Mount.Tripod:
		f.Advice = fmt.Sprintf("On a tripod the turning sky limits exposures to %s; a lens half as long gives twice that.", Seconds(f.LongestS))
	case g != nil:
		if g.ToS < g.plan.end() {
			g.ThenLimitedBy = g.plan.limit()
		}
		f.Advice = g.say()
	case f.LimitedBy == LimitWobble && f.Gear == GearUsual:
		f.Advice = fmt.Sprintf("Nothing you can turn gains more than a tenth: what limits exposures to %s is what is not known of the gear.", Seconds(f.LongestS))
	case f.LimitedBy == LimitWobble:
		f.Advice = fmt.Sprintf("The gear limits exposures to %s; nothing you can turn gains more than a tenth. A shorter lens does.", Seconds(f.LongestS))
	default:
		f.Advice = fmt.Sprintf("%s limits exposures to %s; nothing you can turn gains more than a tenth.", capital(inWords[f.LimitedBy]), Seconds(f.LongestS))
	}
}

// enough: a single knob is advised where it brings four fifths of what everything would.
const enough = 0.8

// simplest is the gain to advise, nil where there is none: a single knob where that is nearly as good as both.
func (f *Forecast) simplest() *Gain {
	for i := range f.Gains {
		g := &f.Gains[i]
		if (g.What == TurnAltitude || g.What == TurnAzimuth) && f.Gains[0].What == TurnBoth && g.ToS >= enough*f.Gains[0].ToS {
			return g
		}
	}
	if len(f.Gains) == 0 {
		return nil
	}
	return &f.Gains[0]
}

func (g Gain) say() string {
	by := ""
	if g.Turn != 0 && g.What != TurnBoth { // of both, the size on the sky is no knob's
		by = " by " + align.Arc(unit.Angle(math.Abs(g.Turn.Rad())))
	}
	words := fmt.Sprintf("%s%s takes you from %s to %s", capital(g.What), by, Seconds(g.FromS), Lasting(g.ToS))
	if g.ToS >= g.plan.end() {
		return words + "."
	}
	return words + fmt.Sprintf("; beyond that %s limits.", inWords[g.ThenLimitedBy])
}

// Lasting prints a longest exposure for a person; what is longer than an hour is not looked into.
func Lasting(s float64) string {
	if s >= LongestS {
		return "an hour and more"
	}
	return Seconds(s)
}

// Seconds prints an exposure for a person: tenths below ten seconds, minutes from ten minutes on.
func Seconds(s float64) string {
	switch {
	case s < 1:
		return fmt.Sprintf("%.2g s", s)
	case s < 9.95:
		return fmt.Sprintf("%.1f s", s)
	case s < 600:
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.0f min", s/60)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
