package exposure

import (
	"cmp"
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/say"
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

// limitSays is what a limit is called in a sentence.
var limitSays = map[Limit]say.Key{LimitNone: say.Key("limit: nothing known"), LimitAxis: say.Key("limit: the axis"), LimitWobble: say.Key("limit: the gear"),
	LimitRate: say.Key("limit: the rate"), LimitRotation: say.Key("limit: the turning field"), LimitRefraction: say.Key("limit: the air"), LimitSky: say.Key("limit: the sky")}

// Says names the limit, to stand in a sentence; nothing where it is not one of them.
func (l Limit) Says() say.Line { return say.Of(limitSays[l]) }

// Gain is something that would help.
type Gain struct {
	What          string     // [TurnAzimuth], [TurnAltitude], …
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
	TurnAltitude = "altitude"
	TurnAzimuth  = "azimuth"
	TurnBoth     = "both knobs"
	TurnAxis     = "axis"
	MeasureAxis  = "measure"
	SetRate      = "rate"
)

// changeSays is what a change is called where a sentence begins.
var changeSays = map[string]say.Key{TurnBoth: say.Key("turning both knobs"), TurnAxis: say.Key("turning the axis to the pole"),
	MeasureAxis: say.Key("measuring the axis better"), SetRate: say.Key("setting the rate right")}

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

// advise settles the advice.
func (f *Forecast) advise(p Plan) {
	g, longest := f.simplest(), say.Seconds(f.LongestS)
	switch {
	case f.Endless:
		f.Advice = f.Says()
	case p.Mount.Tripod:
		f.Advice = say.Of("the sky limits a tripod", longest)
	case g != nil:
		if g.ToS < g.plan.end() {
			g.ThenLimitedBy = g.plan.limit()
		}
		f.Advice = g.says()
	case f.LimitedBy == LimitWobble && f.Gear == GearUsual:
		f.Advice = say.Of("nothing to turn gains", longest, say.Of("limit: the unseen gear"))
	case f.LimitedBy == LimitWobble:
		f.Advice = say.All(say.Of("nothing to turn gains", longest, say.Of(limitSays[LimitWobble])), say.Of("a shorter lens gains"))
	default:
		f.Advice = say.Of("nothing to turn gains", longest, say.Of(limitSays[f.LimitedBy]))
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

// says is what a gain makes of the exposures, and what limits them then.
func (g Gain) says() say.Line {
	from, to := say.Seconds(g.FromS), say.LongestOf(g.ToS)
	if g.ToS >= g.plan.end() {
		return say.Of("gain", g.named(), from, to)
	}
	return say.Of("gain up to a limit", g.named(), from, to, say.Of(limitSays[g.ThenLimitedBy]))
}

// named is what is to be done, with the turn of a single knob: that of both, the size on the sky, is no knob's.
func (g Gain) named() say.Line {
	by := unit.Angle(math.Abs(g.Turn.Rad()))
	switch {
	case g.What == TurnAltitude:
		return say.Of("turning the tilt", by)
	case g.What == TurnAzimuth:
		return say.Of("turning the base", by)
	case g.What == TurnAxis && by > 0:
		return say.Of("turning the axis to the pole by", by)
	}
	return say.Of(changeSays[g.What])
}
