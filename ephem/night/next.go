package night

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// Next is the first night, of so many from a calendar date on, in which it is dark for at least so long on end, and with a
// target in which that stands above the limit in the dark so long; ok is false where none of them is. The date is midnight
// UTC of the calendar date on whose afternoon the night begins. Nights are as [Of] works them out, with its errors.
//
// # How it is found
//
// A year of nights worked out whole would take seconds. Most are dismissed by two circles: over one night Sun and target keep their
// declination and turn evenly, so that one look at midnight tells where they stand all night, the Sun to [sunSlack] and the
// target to [airSlack]. A night that could do within these is worked out.
func Next(site ephem.Site, air ephem.Air, date time.Time, nights int, o Options, least time.Duration) (n Night, on time.Time, ok bool, err error) {
	if err := o.check(); err != nil {
		return Night{}, time.Time{}, false, err
	}
	w := &watch{site: site, air: air, target: o.Target}
	for i := range nights {
		on := date.AddDate(0, 0, i)
		could := w.could(on, o, least)
		if w.err != nil {
			return Night{}, time.Time{}, false, w.err
		}
		if !could {
			continue
		}
		n, err := Of(site, air, on.Year(), on.Month(), on.Day(), o)
		if err != nil {
			return Night{}, time.Time{}, false, err
		}
		if s := n.Use(); s != nil && s.Length() >= least {
			return n, on, true, nil
		}
	}
	return Night{}, time.Time{}, false, nil
}

// Use is the stretch pictures are taken in: the target's best window, or without a target the darkness; nil where there is
// none.
func (n *Night) Use() *Span {
	if n.Target != nil {
		return n.Target.Window
	}
	return n.Dark
}

// What the two circles leave out: the Sun's declination changes by 0.4° a day, half of it from midnight to noon; refraction,
// which lifts the target, is under 0.6° above the horizon and cut off a degree below (package ephem).
const (
	sunSlack = 0.3 * ephem.Degree
	airSlack = 1.2 * ephem.Degree
)

// could is whether a night is worth working out.
func (w *watch) could(on time.Time, o Options, least time.Duration) bool {
	s, ok := w.sky(on.Add(24*time.Hour - solarLead(w.site)))
	if !ok {
		return false
	}
	sun := w.circle(s.Sun().Direction, 2*math.Pi/86400)
	star := circle{mean: 1} // always overhead
	if w.target != nil {
		star = w.circle(s.True(*w.target), ephem.SiderealRadPerS)
	}
	lowest := math.Sin((dark + sunSlack).Rad())
	highest := math.Sin(max(-math.Pi/2, (o.MinAltitude - airSlack).Rad()))
	var longest, run time.Duration
	const half = 12*time.Hour + 30*time.Minute // the equation of time, 16 minutes at most, moves the noons
	for t := -half; t <= half; t += Step {
		if sun.at(t) > lowest || star.at(t) < highest {
			run = 0
			continue
		}
		run += Step // one more than the steps between, for the ends
		longest = max(longest, run)
	}
	return longest > 0 && longest+Step >= least // the slack alone makes the shortest stretch longer than a step
}

// circle is a body that keeps its declination: the sine of its altitude is mean + swing · cos(hour angle).
type circle struct {
	mean, swing float64
	hourAngle   float64 // at midnight, radians
	radPerS     float64
}

// circle is that of a direction (east, north, up) at midnight.
func (w *watch) circle(v r3.Vec, radPerS float64) circle {
	sin, cos := w.site.Latitude.Sincos()
	sinDec := v.Z*sin + v.Y*cos
	return circle{mean: sin * sinDec, swing: cos * math.Sqrt(max(0, 1-sinDec*sinDec)), hourAngle: w.hourAngle(v), radPerS: radPerS}
}

// at is the sine of the altitude at a time from midnight.
func (c circle) at(t time.Duration) float64 {
	return c.mean + c.swing*math.Cos(c.hourAngle+c.radPerS*t.Seconds())
}
