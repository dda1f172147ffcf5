package face

import (
	"errors"
	"io"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/night"
)

// tonight answers.
func (f *face) tonight(o *outing, now time.Time) error {
	n, err := o.plan(now.UTC())
	if err != nil {
		if errors.Is(err, ephem.ErrDate) {
			return usage("the night of "+o.date.Format(time.DateOnly)+" is not within the years 1900 to 2100", "choose a date from 1900-01-02 to 2100-12-30", err)
		}
		if isNightQuestion(err) {
			return usage(err.Error(), hint(err), err)
		}
		return err
	}
	if o.svg != "" {
		drawing := plot.File("The night of "+n.Date, n.heights.chart(n.chartWords()))
		if o.svg == toStdout {
			_, err := f.out.Write(drawing)
			return err
		}
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

// plan works the night out.
func (o *outing) plan(now time.Time) (evening, error) {
	if o.date.IsZero() {
		o.date = night.DateAt(*o.site, now)
	}
	options := night.Options{MinAltitude: unit.AngleFromDeg(o.minAltitudeDeg), Exposure: o.exposure, Pause: o.pause}
	if o.target != nil {
		options.Target = &o.target.Direction
	}
	n, err := night.Of(*o.site, o.airHere(), o.date.Year(), o.date.Month(), o.date.Day(), options)
	if err != nil {
		return evening{}, err
	}
	e := evening{Night: n, outing: o, tonightReport: o.report(n), heights: o.heights(n)}
	if e.moonUp, err = o.moonlight(n); err != nil {
		return evening{}, err
	}
	moon, err := o.moonAt(whenNeeded(n, now))
	if err != nil {
		return evening{}, err
	}
	e.Axis = o.survey(moon)
	if n.Target != nil && n.Target.Window != nil {
		if e.AimForTarget, err = o.aim(n.Target.Window.From); err != nil {
			return evening{}, err
		}
	}
	if n.Exposures == 0 {
		if e.next, err = o.next(options); err != nil {
			return evening{}, err
		}
		e.NextDate = e.next.date()
	}
	e.Sky, err = o.compare(n.IntegrationS)
	return e, err
}

// worthwhile is the least time in the dark worth going out for (common practice, no source).
const worthwhile = 30 * time.Minute

// later is the next night that does; zero where there is none within a year.
type later struct {
	on    time.Time // the calendar date, midnight UTC
	span  night.Span
	least time.Duration
}

// date is as JSON has it; nil where there is none.
func (l *later) date() *string {
	if l == nil || l.on.IsZero() {
		return nil
	}
	s := l.on.Format(time.DateOnly)
	return &s
}

// next is the first night of the coming year in which pictures can be taken for a worthwhile time; nil where the years end
// that the theories hold for.
func (o *outing) next(options night.Options) (*later, error) {
	l := &later{least: max(worthwhile, o.exposure)}
	n, on, ok, err := night.Next(*o.site, o.airHere(), o.date.AddDate(0, 0, 1), 366, options, l.least)
	switch {
	case errors.Is(err, ephem.ErrDate):
		return nil, nil
	case err != nil:
		return nil, err
	case ok:
		l.on, l.span = on, *n.Use()
	}
	return l, nil
}

// moonAt is where the Moon stands (east, north, up).
func (o *outing) moonAt(t time.Time) (r3.Vec, error) {
	sky, err := ephem.NewSky(*o.site, o.airHere(), t)
	if err != nil {
		return r3.Vec{}, err
	}
	return sky.Moon().Direction, nil
}

// whenNeeded is when the axis is measured: now, if the night is on, else when it gets dark.
func whenNeeded(n night.Night, now time.Time) time.Time {
	switch {
	case now.After(n.Noon) && now.Before(n.NextNoon):
		return now
	case n.Dark != nil:
		return n.Dark.From
	case n.Sunset != nil:
		return *n.Sunset
	}
	return n.Noon.Add(n.NextNoon.Sub(n.Noon) / 2)
}

// report is the night as JSON has it.
func (o *outing) report(n night.Night) tonightReport {
	r := tonightReport{
		Date: o.date.Format(time.DateOnly), SunsetUTC: (*utc)(n.Sunset), CivilUTC: (*utc)(n.CivilEnd), NauticalUTC: (*utc)(n.NauticalEnd),
		DarkFromUTC: (*utc)(n.DarkFrom), DarkToUTC: (*utc)(n.DarkTo), SunriseUTC: (*utc)(n.Sunrise),
		Moon:      moonReport{Illuminated: n.Moon.Illuminated, RiseUTC: (*utc)(n.Moon.Rise), SetUTC: (*utc)(n.Moon.Set)},
		Exposures: n.Exposures, IntegrationS: n.IntegrationS, Notes: []string{},
	}
	for _, note := range n.Notes {
		r.Notes = append(r.Notes, words.Line(note))
	}
	if n.Target == nil {
		return r
	}
	place := o.place()
	t := &targetReport{Name: o.target.String(), RADeg: place.RA.Deg(), DecDeg: place.Dec.Deg(),
		BestUTC: (*utc)(n.Target.Best), MeridianUTC: (*utc)(n.Target.Meridian), MoonDistanceDeg: n.Target.MoonSeparation.Deg()}
	if n.Target.Best != nil {
		height := n.Target.BestAltitude.Deg()
		t.BestAltitudeDeg = &height
	}
	if w := n.Target.Window; w != nil {
		t.Window = []utc{utc(w.From), utc(w.To)}
	}
	r.Target = t
	return r
}

// dayShown is how much of the day is drawn before sunset and after sunrise.
const dayShown = time.Hour

// heights are those of the night to draw, from an hour before sunset to an hour after sunrise, or from noon to noon.
func (o *outing) heights(n night.Night) heights {
	from, to := n.Noon, n.NextNoon
	if n.Sunset != nil && n.Sunrise != nil {
		from, to = n.Sunset.Add(-dayShown), n.Sunrise.Add(dayShown)
	}
	h := heights{limitDeg: o.minAltitudeDeg, zone: o.zone}
	if n.Dark != nil {
		h.darkFrom, h.darkTo = n.Dark.From, n.Dark.To
	}
	if n.Target != nil {
		h.name = o.target.String()
		if w := n.Target.Window; w != nil {
			h.windowFrom, h.windowTo = w.From, w.To
		}
	}
	for _, at := range n.Heights {
		if at.Time.Before(from) || at.Time.After(to) {
			continue
		}
		h.at = append(h.at, at.Time)
		h.sun, h.moon = append(h.sun, at.Sun.Deg()), append(h.moon, at.Moon.Deg())
		if n.Target != nil {
			h.target = append(h.target, at.Target.Deg())
		}
	}
	return h
}

// starsDeg is the Sun's altitude at which the first bright stars can be photographed (common practice, no source).
const starsDeg = -6

// moonlight is when the Moon is up while pictures are taken, from its first minute to its last; nil if it is not.
func (o *outing) moonlight(n night.Night) (*night.Span, error) {
	taken := n.Use()
	if taken == nil {
		return nil, nil
	}
	var up *night.Span
	for t := taken.From; ; t = t.Add(time.Minute) {
		if t.After(taken.To) {
			t = taken.To
		}
		moon, err := o.moonAt(t)
		if err != nil {
			return nil, err
		}
		if moon.Z > 0 {
			if up == nil {
				up = &night.Span{From: t}
			}
			up.To = t
		}
		if !t.Before(taken.To) {
			return up, nil
		}
	}
}

// chartWords say what the drawing shows, for those who do not see it.
func (n evening) chartWords() string {
	switch t := n.tonightReport.Target; {
	case t != nil && t.Window != nil:
		return words.Say("chart: above the limit", n.window())
	case t != nil:
		return words.Say("chart: never above")
	}
	return words.Say("chart: the night")
}
