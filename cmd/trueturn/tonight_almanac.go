package main

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// almanac is what of a night the heavens decide. Times are zero where they do not happen.
type almanac struct {
	site                      ephem.Site
	air                       ephem.Air
	noon                      time.Time // mean noon of the date, where the night begins; it ends 24 h later
	sunset, civil, nautical   time.Time
	darkFrom, darkTo, sunrise time.Time
	nightFrom, nightTo        time.Time // the dark hours: the same, or the ends of a day that is dark throughout
	moonRise, moonSet         time.Time
	illuminated               float64
	notes                     []string

	towards              r3.Vec // of the target, ICRS
	best, meridian       time.Time
	bestDeg              float64
	windowFrom, windowTo time.Time
	exposures            int
	integrationS         float64
}

// How closely a day is looked through for crossings: what is crossed forth and back within a step is missed.
const (
	scanEvery = time.Minute
	settled   = 100 * time.Millisecond
)

func (a almanac) end() time.Time { return a.noon.Add(24 * time.Hour) }

func (a almanac) sunDeg(t time.Time) float64  { return sunAt(a.site, t).altitudeDeg() }
func (a almanac) moonDeg(t time.Time) float64 { return moonAt(a.site, t).altitudeDeg() }

// target is where the target is seen, refraction included.
func (a almanac) target(t time.Time) r3.Vec {
	sky, err := ephem.NewSky(a.site, a.air, t)
	if err != nil {
		return r3.Vec{}
	}
	return sky.Apparent(a.towards)
}

func (a almanac) targetDeg(t time.Time) float64 { return sighted{direction: a.target(t)}.altitudeDeg() }

// almanac works a night out. The error is an [*ephem.DateError] where the night leaves 1900 to 2100.
func (o *outing) almanac() (almanac, error) {
	a := almanac{site: *o.site, air: o.airHere(), noon: o.noon()}
	for _, t := range []time.Time{a.noon, a.end()} {
		if _, err := ephem.NewSky(a.site, a.air, t); err != nil {
			return a, err
		}
	}
	a.sunTimes()
	a.moonTimes()
	from, to := a.nightFrom, a.nightTo
	if o.target != nil {
		a.towards = o.target.Direction
		a.targetTimes(o.minAltitudeDeg)
		from, to = a.windowFrom, a.windowTo
	}
	if !from.IsZero() && to.Sub(from) >= o.exposure {
		a.exposures = int((to.Sub(from) + o.pause) / (o.exposure + o.pause))
		a.integrationS = float64(a.exposures) * o.exposure.Seconds()
	}
	return a, nil
}

// noon is mean noon of the date at the site.
func (o *outing) noon() time.Time {
	return o.date.Add(12*time.Hour - time.Duration(o.site.Longitude.Deg()/15*float64(time.Hour)))
}

// scan is a quantity through the day, minute by minute.
func (a almanac) scan(f func(time.Time) float64) []float64 {
	var v []float64
	for t := a.noon; !t.After(a.end()); t = t.Add(scanEvery) {
		v = append(v, f(t))
	}
	return v
}

// falls are the instants at which f, scanned before, falls below zero; rises those at which it gets back.
func (a almanac) crossings(v []float64, f func(time.Time) float64) (falls, rises []time.Time) {
	for i := 1; i < len(v); i++ {
		if v[i-1] >= 0 == (v[i] >= 0) {
			continue
		}
		at := settle(a.noon.Add(time.Duration(i-1)*scanEvery), a.noon.Add(time.Duration(i)*scanEvery), f)
		if v[i] < 0 {
			falls = append(falls, at)
		} else {
			rises = append(rises, at)
		}
	}
	return falls, rises
}

// settle halves the time between two instants, on whose sides of a crossing f differs.
func settle(from, to time.Time, f func(time.Time) float64) time.Time {
	up := f(from) >= 0
	for to.Sub(from) > settled {
		mid := from.Add(to.Sub(from) / 2)
		if f(mid) >= 0 == up {
			from = mid
		} else {
			to = mid
		}
	}
	return to
}

func first(ts []time.Time) time.Time {
	if len(ts) == 0 {
		return time.Time{}
	}
	return ts[0]
}

func last(ts []time.Time) time.Time {
	if len(ts) == 0 {
		return time.Time{}
	}
	return ts[len(ts)-1]
}

// sunTimes finds sunset, twilights, darkness and sunrise, and says of those that are not why.
func (a *almanac) sunTimes() {
	sun := a.scan(a.sunDeg)
	below := func(limit float64) (falls, rises []time.Time) {
		v := make([]float64, len(sun))
		for i := range sun {
			v[i] = sun[i] - limit
		}
		return a.crossings(v, func(t time.Time) float64 { return a.sunDeg(t) - limit })
	}
	down, up := below(sunDownDeg)
	a.sunset, a.sunrise = first(down), last(up)
	civil, _ := below(civilDeg)
	nautical, _ := below(nauticalDeg)
	a.civil, a.nautical = first(civil), first(nautical)
	dark, light := below(darkDeg)
	a.darkFrom, a.darkTo = first(dark), last(light)
	a.nightFrom, a.nightTo = a.darkFrom, a.darkTo
	lowest, highest := sun[0], sun[0]
	for _, s := range sun {
		lowest, highest = min(lowest, s), max(highest, s)
	}
	a.sunNotes(lowest, highest)
}

// sunNotes says why times are missing.
func (a *almanac) sunNotes(lowest, highest float64) {
	switch {
	case lowest >= sunDownDeg:
		a.notes = append(a.notes, "the Sun does not set")
	case highest < darkDeg:
		a.nightFrom, a.nightTo = a.noon, a.end()
		a.notes = append(a.notes, "it is dark all day; exposures are counted from noon to noon")
	case highest < sunDownDeg:
		a.notes = append(a.notes, "the Sun does not rise")
	}
	if lowest >= darkDeg && lowest < sunDownDeg {
		a.notes = append(a.notes, fmt.Sprintf("it does not get dark: the Sun stands %.1f° below the horizon at the most, and darkness begins at 18°", -lowest))
	}
	if !a.nightFrom.IsZero() && a.nightTo.IsZero() {
		a.nightTo = a.end()
	}
	if a.nightFrom.IsZero() && !a.nightTo.IsZero() {
		a.nightFrom = a.noon
	}
}

// Altitudes of the Sun, in degrees, at which the twilights end (common definitions).
const (
	civilDeg    = -6
	nauticalDeg = -12
)

// moonTimes finds the first rise and set of the Moon from noon to noon.
func (a *almanac) moonTimes() {
	above := func(t time.Time) float64 {
		m := moonAt(a.site, t)
		return m.altitudeDeg() - moonLimbDeg(m)
	}
	v := a.scan(above)
	sets, rises := a.crossings(v, above)
	a.moonSet, a.moonRise = first(sets), first(rises)
	switch {
	case len(sets)+len(rises) > 0:
	case v[0] >= 0:
		a.notes = append(a.notes, "the Moon does not set from noon to noon")
	default:
		a.notes = append(a.notes, "the Moon does not rise from noon to noon")
	}
	mid := a.noon.Add(12 * time.Hour)
	a.illuminated = illuminated(sunAt(a.site, mid), moonAt(a.site, mid))
}

// targetTimes finds the meridian, the best time and the longest window in the dark.
func (a *almanac) targetTimes(limitDeg float64) {
	a.meridian = a.crossesMeridian()
	from, to := a.nightFrom, a.nightTo
	if from.IsZero() {
		from, to = a.sunset, a.sunrise
	}
	if from.IsZero() || !from.Before(to) {
		return
	}
	a.best = from
	var opened time.Time
	shut := func(at time.Time) {
		if !opened.IsZero() && at.Sub(opened) > a.windowTo.Sub(a.windowFrom) {
			a.windowFrom, a.windowTo = opened, at
		}
		opened = time.Time{}
	}
	over := func(t time.Time) float64 { return a.targetDeg(t) - limitDeg }
	for t, before := from, from; ; {
		if a.targetDeg(t) > a.targetDeg(a.best) {
			a.best = t
		}
		switch up := over(t) >= 0; {
		case up && opened.IsZero() && t.Equal(from):
			opened = from
		case up && opened.IsZero():
			opened = settle(before, t, over)
		case !up && !opened.IsZero():
			shut(settle(before, t, over))
		}
		if !t.Before(to) {
			break
		}
		before = t
		if t = t.Add(scanEvery); t.After(to) {
			t = to
		}
	}
	shut(to)
	if a.nightFrom.IsZero() {
		a.windowFrom, a.windowTo = time.Time{}, time.Time{}
	}
	if m := a.meridian; m.After(from) && m.Before(to) && a.targetDeg(m) > a.targetDeg(a.best) {
		a.best = m
	}
	if a.bestDeg = a.targetDeg(a.best); a.bestDeg < 0 {
		a.best = time.Time{}
		a.notes = append(a.notes, "the target is below the horizon all night")
	}
}

// crossesMeridian is when the target passes the meridian above the pole or away from it, its upper passage.
func (a almanac) crossesMeridian() time.Time {
	hour := func(t time.Time) float64 {
		sky, err := ephem.NewSky(a.site, a.air, t)
		if err != nil {
			return math.NaN()
		}
		h, _ := sky.HourAngle(a.towards)
		return h.Rad()
	}
	const step = 10 * time.Minute
	for t := a.noon; t.Before(a.end()); t = t.Add(step) {
		if h := hour(t); h < 0 && h > -1 && hour(t.Add(step)) >= 0 {
			return settle(t, t.Add(step), hour)
		}
	}
	return time.Time{}
}
