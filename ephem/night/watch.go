package night

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// watch looks at the sky over one site, instant by instant. The first error ends what it
// sees; every later look repeats it as NaN.
type watch struct {
	site   ephem.Site
	air    ephem.Air
	target *r3.Vec
	looks  []look
	err    error
}

// look is the sky at one instant.
type look struct {
	at     time.Time
	sun    ephem.Body
	moon   ephem.Body
	target r3.Vec // as seen
}

// quantity is what crosses its limit at zero, in radians; nanSky where there is no sky.
type quantity func(look) float64

func (w *watch) sky(t time.Time) (ephem.Sky, bool) {
	s, err := ephem.NewSky(w.site, w.air, t)
	if err != nil && w.err == nil {
		w.err = err
	}
	return s, err == nil
}

func (w *watch) look(t time.Time) look {
	s, ok := w.sky(t)
	if !ok {
		return look{at: t}
	}
	l := look{at: t, sun: s.Sun(), moon: s.Moon()}
	if w.target != nil {
		l.target = s.Apparent(*w.target)
	}
	return l
}

// scan looks at the sky every Step from one noon to the next, both included.
func (w *watch) scan(from, to time.Time) {
	for t := from; t.Before(to) && w.err == nil; t = t.Add(Step) {
		w.looks = append(w.looks, w.look(t))
	}
	w.looks = append(w.looks, w.look(to))
}

func (w *watch) heights() []Height {
	h := make([]Height, len(w.looks))
	for i, l := range w.looks {
		h[i] = Height{Time: l.at, Sun: l.sun.Altitude(), Moon: l.moon.Altitude()}
		if w.target != nil {
			h[i].Target = ephem.HorizontalOf(l.target).Altitude
		}
	}
	return h
}

// noonNear is when the Sun crosses the meridian, above the pole or away from it, within
// half an hour of mean noon, which the equation of time (16 min at most) does not reach.
// The hour angle is that about the Earth's axis, so it exists at the poles too.
func (w *watch) noonNear(mean time.Time) time.Time {
	const reach = 30 * time.Minute
	from, to := mean.Add(-reach), mean.Add(reach)
	return w.settle(from, to, func(l look) float64 { return w.hourAngle(l.sun.Direction) })
}

// hourAngle of a direction (east, north, up), −π to π, positive west of the meridian.
func (w *watch) hourAngle(v r3.Vec) float64 {
	sin, cos := w.site.Latitude.Sincos()
	return math.Atan2(-v.X, v.Z*cos-v.Y*sin)
}

// settled is how closely a time is found.
const settled = 10 * time.Millisecond

// settle halves a span at whose ends q differs in sign until the crossing is known; the
// instant returned is rounded to a millisecond.
func (w *watch) settle(from, to time.Time, q quantity) time.Time {
	below := q(w.look(from)) < 0
	for to.Sub(from) > settled && w.err == nil {
		mid := from.Add(to.Sub(from) / 2)
		if q(w.look(mid)) < 0 == below {
			from = mid
		} else {
			to = mid
		}
	}
	return from.Add(to.Sub(from) / 2).Round(time.Millisecond).UTC()
}

// crossing is a time at which a quantity passes zero.
type crossing struct {
	at time.Time
	up bool
}

// crossings finds every passage through zero from noon to noon, in order.
func (w *watch) crossings(q quantity) []crossing {
	v := make([]float64, len(w.looks))
	for i, l := range w.looks {
		v[i] = q(l)
	}
	var found []crossing
	for i := 1; i < len(v); i++ {
		from, to := w.looks[i-1].at, w.looks[i].at
		if v[i-1] < 0 != (v[i] < 0) {
			found = append(found, crossing{w.settle(from, to, q), v[i-1] < 0})
			continue
		}
		if turn, ok := w.graze(v, i, q); ok {
			up := v[i] < 0 // it comes up over zero and goes again, or the reverse
			found = append(found, crossing{w.settle(from, turn, q), up}, crossing{w.settle(turn, to, q), !up})
		}
	}
	return found
}

// graze looks between two instants on the same side of zero for one on the other side:
// only where q turns round between them or at their neighbours, and could reach that far.
func (w *watch) graze(v []float64, i int, q quantity) (time.Time, bool) {
	sign := 1.0 // with it the search is for a least value below zero
	if v[i] < 0 {
		sign = -1
	}
	before, after := v[i-1], v[i]
	if i > 1 {
		before = v[i-2]
	}
	if i+1 < len(v) {
		after = v[i+1]
	}
	least := sign * min(sign*v[i-1], sign*v[i])
	// Falling on the way in and rising on the way out, or at the end of the scan.
	if sign*(v[i-1]-before) > 0 || sign*(after-v[i]) < 0 || math.Abs(least) > deepest.Rad() {
		return time.Time{}, false
	}
	t := w.lowest(w.looks[i-1].at, w.looks[i].at, func(l look) float64 { return sign * q(l) })
	return t, q(w.look(t)) < 0 != (v[i] < 0)
}

// deepest is more than any altitude can fall below its neighbours' within half a Step and
// come back: the sky turns by 0.7° in it, and a body that passes the zenith
// does so there and back.
const deepest = 1 * ephem.Degree

// lowest is where a function with one valley between two instants is least (golden
// section).
func (w *watch) lowest(from, to time.Time, q quantity) time.Time {
	const golden = 0.6180339887498949
	inner := func(share float64) time.Time { return from.Add(time.Duration(share * float64(to.Sub(from)))) }
	a, b := inner(1-golden), inner(golden)
	qa, qb := q(w.look(a)), q(w.look(b))
	for to.Sub(from) > settled && w.err == nil {
		if qa < qb {
			to, b, qb = b, a, qa
			a = inner(1 - golden)
			qa = q(w.look(a))
		} else {
			from, a, qa = a, b, qb
			b = inner(golden)
			qb = q(w.look(b))
		}
	}
	return from.Add(to.Sub(from) / 2)
}

// sunAbove is how far the Sun's middle truly stands above a limit.
func sunAbove(limit unit.Angle) quantity {
	return func(l look) float64 { return (l.sun.Altitude() - limit).Rad() }
}

// moonAbove is how far the Moon's upper edge truly stands above −34′.
func moonAbove(l look) float64 {
	return (l.moon.Altitude() + l.moon.Semidiameter + horizonRefraction).Rad()
}

// targetAbove is how far the target is seen above a limit.
func targetAbove(limit unit.Angle) quantity {
	return func(l look) float64 { return (ephem.HorizontalOf(l.target).Altitude - limit).Rad() }
}
