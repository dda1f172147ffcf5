package night

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Limits of the Sun's middle, and refraction at the horizon, by convention (Meeus, ch. 15, p.
// 101–102; Explanatory Supplement to the Astronomical Almanac, 1992, ch. 9).
var (
	sunDown           = unit.AngleFromMin(-50)
	civil             = unit.AngleFromDeg(-6)
	nautical          = unit.AngleFromDeg(-12)
	dark              = unit.AngleFromDeg(-18)
	horizonRefraction = unit.AngleFromMin(34)
)

// sun fills in what the Sun does.
func (w *watch) sun(n *Night) {
	for _, e := range []struct {
		limit    unit.Angle
		down, up **time.Time
	}{
		{sunDown, &n.Sunset, &n.Sunrise}, {civil, &n.CivilEnd, &n.CivilStart},
		{nautical, &n.NauticalEnd, &n.NauticalStart}, {dark, &n.DarkFrom, &n.DarkTo},
	} {
		*e.down, *e.up = ends(w.crossings(sunAbove(e.limit)))
	}
	n.SunHighest, n.SunLowest = w.sunRange()
	if s := w.spans(sunAbove(dark), n, false); len(s) > 0 {
		n.Dark = longest(s)
	}
	n.noteSun()
}

// sunRange is how high and low the Sun gets, its turning points between looks included.
func (w *watch) sunRange() (highest, lowest unit.Angle) {
	altitude := func(l look) float64 { return l.sun.Altitude().Rad() }
	highest, lowest = -math.Pi/2, math.Pi/2
	least := 0
	for i, l := range w.looks {
		a := l.sun.Altitude()
		highest = max(highest, a) // at a noon, or within a step of it
		if a < lowest {
			lowest, least = a, i
		}
	}
	from, to := w.looks[max(least-1, 0)].at, w.looks[min(least+1, len(w.looks)-1)].at
	lowest = min(lowest, unit.Angle(altitude(w.look(w.lowest(from, to, altitude)))))
	return highest, lowest
}

// noteSun says why times of the Sun are missing.
func (n *Night) noteSun() {
	switch {
	case n.Sunset != nil && n.Sunrise != nil:
	case n.SunLowest >= sunDown:
		n.note(say.Of("the Sun does not set", height(n.SunLowest)))
	case n.SunHighest < sunDown:
		n.note(say.Of("the Sun does not rise", say.Degrees(-n.SunHighest)))
	case n.Sunset != nil:
		n.note(say.Of("the Sun sets and does not rise again"))
	default:
		n.note(say.Of("the Sun is down from noon on"))
	}
	switch {
	case n.SunLowest >= sunDown:
	case n.Dark == nil:
		n.note(say.Of("it does not get dark", say.Degrees(-n.SunLowest), say.Degrees(-dark)))
	case n.DarkFrom == nil && n.DarkTo == nil:
		n.note(say.Of("it is dark all day"))
	case n.DarkFrom == nil:
		n.note(say.Of("it is dark from noon on"))
	case n.DarkTo == nil:
		n.note(say.Of("it is still dark at the next noon"))
	}
}

func (n *Night) note(l say.Line) { n.Notes = append(n.Notes, l) }

// ends are the first fall among crossings and the first rise after it, or where there is no
// fall, or no rise after it, the first rise at all.
func ends(cs []crossing) (down, up *time.Time) {
	down, up = both(cs)
	if down == nil {
		return down, up
	}
	for _, c := range cs {
		if c.up && c.at.After(*down) {
			return down, &c.at
		}
	}
	return down, up
}

// both is the first fall and the first rise among crossings.
func both(cs []crossing) (down, up *time.Time) {
	for _, c := range cs {
		if c.up && up == nil {
			up = &c.at
		}
		if !c.up && down == nil {
			down = &c.at
		}
	}
	return down, up
}

// spans are the stretches, from noon to noon, in which q is at or above zero, or else below.
func (w *watch) spans(q quantity, n *Night, above bool) []Span {
	var spans []Span
	in := q(w.looks[0]) >= 0 == above
	from := n.Noon
	for _, c := range w.crossings(q) {
		if in && c.at.After(from) {
			spans = append(spans, Span{from, c.at})
		}
		in, from = c.up == above, c.at
	}
	if in && n.NextNoon.After(from) {
		spans = append(spans, Span{from, n.NextNoon})
	}
	return spans
}

func longest(spans []Span) *Span {
	var best *Span
	for i, s := range spans {
		if best == nil || s.Length() > best.Length() {
			best = &spans[i]
		}
	}
	return best
}

// common are the stretches that lie in s and in one of many.
func common(s Span, many []Span) []Span {
	var out []Span
	for _, m := range many {
		from, to := m.From, m.To
		if from.Before(s.From) {
			from = s.From
		}
		if to.After(s.To) {
			to = s.To
		}
		if from.Before(to) {
			out = append(out, Span{from, to})
		}
	}
	return out
}

// moon fills in what the Moon does.
func (w *watch) moon(n *Night) {
	n.Moon.Set, n.Moon.Rise = both(w.crossings(moonAbove))
	n.Moon.UpAtStart = moonAbove(w.looks[0]) >= 0
	if s, ok := w.sky(n.middle()); ok {
		n.Moon.Illuminated = s.MoonIlluminated()
	}
	switch up := n.Moon.UpAtStart; {
	case n.Moon.Rise != nil && n.Moon.Set != nil:
	case n.Moon.Rise == nil && n.Moon.Set == nil && up:
		n.note(say.Of("the Moon does not set"))
	case n.Moon.Rise == nil && n.Moon.Set == nil:
		n.note(say.Of("the Moon does not rise"))
	case n.Moon.Rise == nil:
		n.note(say.Of("the Moon is up at noon"))
	default:
		n.note(say.Of("the Moon does not set before the next noon"))
	}
}

// middle of the night: half-way between the noons.
func (n *Night) middle() time.Time { return n.Noon.Add(n.NextNoon.Sub(n.Noon) / 2) }

// aim fills in what the target does.
func (w *watch) aim(n *Night, limit unit.Angle) {
	t := &Target{Meridian: w.meridian()}
	n.Target = t
	day := Span{n.Noon, n.NextNoon}
	_, highest := w.highest(day)
	t.Highest = highest
	high := w.spans(targetAbove(limit), n, true)
	if n.Dark != nil {
		t.Windows = common(*n.Dark, high)
		t.Window = longest(t.Windows)
	}
	if s := n.bestWithin(w); s != nil {
		if at, altitude := w.highest(*s); altitude >= 0 {
			t.Best, t.BestAltitude = &at, altitude
		}
	}
	at := n.middle()
	if t.Best != nil {
		at = *t.Best
	}
	l := w.look(at)
	if s, ok := w.sky(at); ok {
		p := s.True(*w.target)
		t.MoonSeparation = unit.Angle(math.Atan2(r3.Norm(r3.Cross(p, l.moon.Direction)), r3.Dot(p, l.moon.Direction)))
	}
	n.noteTarget(limit)
}

// bestWithin is when the target is worth looking at: in the dark, else while the Sun is
// down.
func (n *Night) bestWithin(w *watch) *Span {
	if n.Dark != nil {
		return n.Dark
	}
	return longest(w.spans(sunAbove(sunDown), n, false))
}

func (n *Night) noteTarget(limit unit.Angle) {
	switch t := n.Target; {
	case t.Highest < 0:
		n.note(say.Of("the target never rises", say.Degrees(unit.AngleFromDeg(math.Floor(-t.Highest.Deg())))))
	case t.Highest < limit:
		n.note(say.Of("the target stays under the limit", say.Degrees(t.Highest), say.Degrees(limit)))
	case n.Dark != nil && t.Window == nil:
		n.note(say.Of("the target is up while it is not dark", say.Degrees(limit)))
	case len(t.Windows) > 1:
		n.note(say.Of("the target is above the limit more than once", say.Times(len(t.Windows))))
	}
	if n.Dark == nil && n.Target.Best != nil {
		n.note(say.Of("the target's best time is not dark"))
	}
}

// meridian is when the target passes the meridian, above the pole or away from it. A
// sidereal day is shorter than the one from noon to noon, so it always does; of two
// passages it is the first.
func (w *watch) meridian() *time.Time {
	hour := func(l look) float64 { return w.hourAngle(l.target) }
	for i := 1; i < len(w.looks); i++ {
		// A passage of the lower meridian goes from π to −π.
		if a, b := hour(w.looks[i-1]), hour(w.looks[i]); a < 0 && b >= 0 && b-a < math.Pi {
			t := w.settle(w.looks[i-1].at, w.looks[i].at, hour)
			return &t
		}
	}
	return nil
}

// highest is when in a span the target is seen highest.
func (w *watch) highest(s Span) (time.Time, unit.Angle) {
	altitude := func(t time.Time) unit.Angle { return ephem.HorizontalOf(w.look(t).target).Altitude }
	best, top := s.From, altitude(s.From)
	see := func(t time.Time) {
		if t.Before(s.From) || t.After(s.To) {
			return
		}
		if a := altitude(t); a > top {
			best, top = t, a
		}
	}
	see(s.To)
	for i := 1; i+1 < len(w.looks); i++ {
		before, at, after := w.looks[i-1], w.looks[i], w.looks[i+1]
		if at.target.Z >= before.target.Z && at.target.Z >= after.target.Z {
			see(w.lowest(before.at, after.at, func(l look) float64 { return -ephem.HorizontalOf(l.target).Altitude.Rad() }))
		}
	}
	return best.Round(time.Millisecond).UTC(), top
}

// height is how high something stands, or how far below the horizon.
func height(a unit.Angle) say.Line {
	if a < 0 {
		return say.Of("so far below the horizon", say.Degrees(-a))
	}
	return say.Of("so high", say.Degrees(a))
}
