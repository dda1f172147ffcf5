package night

import (
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Options say what is to be photographed, and how. The zero Options ask for Sun and Moon
// alone.
type Options struct {
	Target      *r3.Vec       // ICRS direction at its place on the date; nil: none
	MinAltitude unit.Angle    // as seen, below which the target is of no use
	Exposure    time.Duration // zero: exposures are not counted
	Pause       time.Duration // from the end of an exposure to the start of the next
}

// Night is what the sky does between two noons. Times are UTC; nil is what does not
// happen, and Notes say why.
type Night struct {
	Noon, NextNoon time.Time // the Sun on the meridian, between which all else is looked for

	Sunset, CivilEnd, NauticalEnd, DarkFrom *time.Time
	DarkTo, NauticalStart, CivilStart       *time.Time
	Sunrise                                 *time.Time
	SunHighest, SunLowest                   unit.Angle // true altitude of its middle

	// When the Sun is below −18°; nil if it never is. Unlike DarkFrom and DarkTo, its ends
	// are the noons where darkness outlasts them.
	Dark *Span

	Moon   Moon
	Target *Target // nil without Options.Target

	// How many fit into the target's best window, or without a target into the darkness,
	// and their light together.
	Exposures    int
	IntegrationS float64

	Heights []Height // every Step from noon to noon
	Notes   []say.Line
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

// Length of the stretch.
func (s Span) Length() time.Duration { return s.To.Sub(s.From) }

// Moon is what the Moon does.
type Moon struct {
	Illuminated float64    // share of its disc, in the middle of the night
	Rise, Set   *time.Time // the first of each from noon to noon
	UpAtStart   bool       // above the horizon at the first noon
}

// Target is what a target does.
type Target struct {
	// Best is when it stands highest in the dark, or if there is no darkness while the Sun
	// is down. It is nil if that does not happen either, or the target stays below the horizon.
	Best           *time.Time
	BestAltitude   unit.Angle // as seen, at Best
	Highest        unit.Angle // as seen, day and night
	Meridian       *time.Time // crossing the meridian at its upper passage
	MoonSeparation unit.Angle // from the Moon, as seen from the site, at Best or in the middle of the night

	Window  *Span  // the longest stretch above the limit in the dark; nil if there is none
	Windows []Span // all of them
}

// Height is where everything stands at one instant.
type Height struct {
	Time      time.Time
	Sun, Moon unit.Angle // true altitude of the middle
	Target    unit.Angle // altitude as seen; zero without a target
}

// Step is the time between two Heights.
const Step = 5 * time.Minute

// Of works the night out that begins on the afternoon of a calendar date at the site's
// mean solar time. Errors are [ephem.ErrSite], [ephem.ErrAir], an
// [ErrOption], or [ephem.ErrDate] where a part of the night is outside the years
// 1900 to 2100.
//
// Against astropy's built-in ephemeris times agree to a few seconds, and where a body
// grazes its limit to 0.05′ of the Sun's and 0.5′ of the Moon's altitude.
func Of(site ephem.Site, air ephem.Air, year int, month time.Month, day int, o Options) (Night, error) {
	if err := o.check(); err != nil {
		return Night{}, err
	}
	w := &watch{site: site, air: air, target: o.Target}
	mean := time.Date(year, month, day, 12, 0, 0, 0, time.UTC).Add(-solarLead(site))
	n := Night{Noon: w.noonNear(mean), NextNoon: w.noonNear(mean.Add(24 * time.Hour))}
	w.scan(n.Noon, n.NextNoon)
	if w.err != nil {
		return Night{}, w.err
	}
	n.Heights = w.heights()
	w.sun(&n)
	w.moon(&n)
	if o.Target != nil {
		w.aim(&n, o.MinAltitude)
	}
	n.count(o)
	return n, w.err
}

// solarLead is how far the mean solar time of a site is ahead of UTC.
func solarLead(site ephem.Site) time.Duration {
	return time.Duration(site.Longitude.Deg() / 15 * float64(time.Hour)).Round(time.Millisecond)
}

// DateAt is the calendar date, as midnight UTC, of the night in which an instant lies: until
// mean noon at the site it is that of the day before.
func DateAt(site ephem.Site, t time.Time) time.Time {
	return t.UTC().Add(solarLead(site) - 12*time.Hour).Truncate(24 * time.Hour)
}

// count says how many exposures fit: n exposures have n−1 pauses between them.
func (n *Night) count(o Options) {
	span := n.Use()
	if span == nil || o.Exposure <= 0 {
		return
	}
	n.Exposures = int((span.Length() + o.Pause) / (o.Exposure + o.Pause))
	n.IntegrationS = float64(n.Exposures) * o.Exposure.Seconds()
}
