package main

import (
	"errors"
	"io"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/cmd/trueturn/plot"
	"trueturn/ephem"
)

// tonight answers.
func (f *face) tonight(o *outing, now time.Time) error {
	n, err := o.plan(now.UTC())
	if err != nil {
		var date *ephem.DateError
		if errors.As(err, &date) {
			return &usageError{"the night of " + o.date.Format(time.DateOnly) + " is not within the years 1900 to 2100", "choose a date from 1900-01-02 to 2100-12-30", err}
		}
		if isNightQuestion(err) {
			return &usageError{err.Error(), hint(err), err}
		}
		return err
	}
	if o.svg != "" {
		drawing := plot.File("The night of "+n.Date, n.heights.chart(n.chartWords()))
		if err := writeFile(o.svg, func(w io.Writer) error { _, err := w.Write(drawing); return err }); err != nil {
			return err
		}
	}
	if f.json {
		return writeJSON(f.out, n.tonightReport)
	}
	f.sayNight(n)
	return nil
}

// dateAt is the date of the afternoon before the night that is, or comes next, at an instant: until noon by mean solar time it is
// the day before.
func dateAt(site ephem.Site, now time.Time) time.Time {
	local := now.UTC().Add(time.Duration(site.Longitude.Deg() / 15 * float64(time.Hour)))
	return local.Add(-12 * time.Hour).Truncate(24 * time.Hour)
}

// plan works the night out.
func (o *outing) plan(now time.Time) (night, error) {
	if o.date.IsZero() {
		o.date = dateAt(*o.site, now)
	}
	a, err := o.almanac()
	if err != nil {
		return night{}, err
	}
	n := night{exposure: o.exposure, pause: o.pause, limitDeg: o.minAltitudeDeg}
	n.tonightReport = o.report(a)
	n.heights = o.heights(a)
	n.look(a)
	n.moonlight(a)
	at := a.whenNeeded(now)
	n.Axis = o.survey(moonAt(a.site, at).direction)
	if o.target != nil && !a.windowFrom.IsZero() {
		if n.AimForTarget, err = o.aim(a.windowFrom); err != nil {
			return night{}, err
		}
	}
	n.Sky, err = o.compare(a.integrationS)
	return n, err
}

// whenNeeded is when the axis is measured: now, if the night is on, else when it gets dark.
func (a almanac) whenNeeded(now time.Time) time.Time {
	switch {
	case now.After(a.noon) && now.Before(a.noon.Add(24*time.Hour)):
		return now
	case !a.darkFrom.IsZero():
		return a.darkFrom
	case !a.sunset.IsZero():
		return a.sunset
	}
	return a.noon.Add(12 * time.Hour)
}

// report is the almanac as JSON has it.
func (o *outing) report(a almanac) tonightReport {
	r := tonightReport{
		Date: o.date.Format(time.DateOnly), SunsetUTC: atUTC(a.sunset), CivilUTC: atUTC(a.civil), NauticalUTC: atUTC(a.nautical),
		DarkFromUTC: atUTC(a.darkFrom), DarkToUTC: atUTC(a.darkTo), SunriseUTC: atUTC(a.sunrise),
		Moon:      moonReport{Illuminated: a.illuminated, RiseUTC: atUTC(a.moonRise), SetUTC: atUTC(a.moonSet)},
		Exposures: a.exposures, IntegrationS: a.integrationS, Notes: a.notes,
	}
	if r.Notes == nil {
		r.Notes = []string{}
	}
	if o.target == nil {
		return r
	}
	place := o.place()
	t := &targetReport{Name: o.target.String(), RADeg: place.RA.Deg(), DecDeg: place.Dec.Deg(), BestUTC: atUTC(a.best), MeridianUTC: atUTC(a.meridian)}
	if !a.best.IsZero() {
		t.BestAltitudeDeg = &a.bestDeg
	}
	if !a.windowFrom.IsZero() {
		t.Window = []*utc{atUTC(a.windowFrom), atUTC(a.windowTo)}
	}
	at := a.best
	if at.IsZero() {
		at = a.noon.Add(12 * time.Hour)
	}
	m, p := moonAt(a.site, at).direction, a.target(at)
	t.MoonDistanceDeg = math.Atan2(r3.Norm(r3.Cross(m, p)), r3.Dot(m, p)) * 180 / math.Pi
	r.Target = t
	return r
}

// How often heights are worked out for the drawing, and how much of the day is shown about the night.
const (
	heightEvery = 5 * time.Minute
	dayShown    = time.Hour
)

// heights samples the night, from an hour before sunset to an hour after sunrise, or the whole day where there is none.
func (o *outing) heights(a almanac) heights {
	from, to := a.noon, a.noon.Add(24*time.Hour)
	if !a.sunset.IsZero() && !a.sunrise.IsZero() && a.sunset.Before(a.sunrise) {
		from, to = a.sunset.Add(-dayShown), a.sunrise.Add(dayShown)
	}
	h := heights{limitDeg: o.minAltitudeDeg, darkFrom: a.nightFrom, darkTo: a.nightTo, windowFrom: a.windowFrom, windowTo: a.windowTo, zone: o.zone}
	for t := from; !t.After(to); t = t.Add(heightEvery) {
		h.at = append(h.at, t)
		h.sun = append(h.sun, a.sunDeg(t))
		h.moon = append(h.moon, a.moonDeg(t))
		if o.target != nil {
			h.target = append(h.target, a.targetDeg(t))
		}
	}
	if o.target != nil {
		h.name = o.target.String()
	}
	return h
}

// starsDeg is the Sun's altitude at which the first bright stars can be photographed (common practice, no source).
const starsDeg = -6

// look goes through the whole day for how high the target gets and whether stars are seen.
func (n *night) look(a almanac) {
	n.highestDeg = -90
	for t := a.noon; t.Before(a.noon.Add(24 * time.Hour)); t = t.Add(heightEvery) {
		n.stars = n.stars || a.sunDeg(t) < starsDeg
		if n.Target != nil {
			n.highestDeg = max(n.highestDeg, a.targetDeg(t))
		}
	}
}

// moonlight finds when the Moon is up while pictures are taken.
func (n *night) moonlight(a almanac) {
	from, to := a.windowFrom, a.windowTo
	if n.Target == nil {
		from, to = a.nightFrom, a.nightTo
	}
	if from.IsZero() || to.IsZero() {
		return
	}
	for t := from; !t.After(to); t = t.Add(time.Minute) {
		if a.moonDeg(t) > 0 {
			if !n.moonUp {
				n.moonUp, n.moonFrom = true, t
			}
			n.moonTo = t
			if to.Sub(t) < time.Minute {
				n.moonTo = to
			}
		}
	}
}

// chartWords say what the drawing shows, for those who do not see it.
func (n night) chartWords() string {
	switch t := n.Target; {
	case t != nil && t.Window != nil:
		return "Above the limit in the dark from " + n.clock(t.Window[0]) + " to " + n.clock(t.Window[1]) + "."
	case t != nil:
		return "Never above the limit in the dark."
	}
	return "The night is shaded."
}
