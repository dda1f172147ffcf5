// Package simulate renders the pictures of a small tracking mount whose truth
// is known: for tests, for the demonstration and for practice.
//
// Start with [Practice], which gives an [Evening] ready to render; change its
// fields, then call [Evening.Begin] and ask the [Run] for pictures
// ([Run.Frame]), for the stars' exact places without a picture ([Run.Stars])
// and for everything that was put in ([Run.Truth]).
//
//	e := simulate.Practice(site, start)
//	e.Mount.AltitudeError = unit.AngleFromMin(25)
//	run, err := e.Begin()
//	plane, meta, err := run.Frame(ctx, 0)
//
// It is deterministic: the same Evening gives the same pictures, in any order
// and on any number of processors. It shares no code with the packages that
// measure pictures, so that a fault cannot hide on both sides; only the sky
// itself (package ephem) and the file's metadata (package frame) are common.
//
// Frames and signs are the project's: horizon frame east, north, up; camera
// frame x right, y down, z forward; angles as in the description of [Mount].
package simulate

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// Target is a place in the sky, ICRS.
type Target struct {
	RA  unit.RA
	Dec unit.Angle
}

func (t Target) direction() r3.Vec { return ephem.Direction(t.RA, t.Dec) }

// Evening is everything about a sequence of pictures. It is a value: change a
// copy as you like. [Practice] gives one with sensible fields.
type Evening struct {
	Site  ephem.Site
	Air   ephem.Air
	Start time.Time     // UTC: the motor starts, and the camera is aimed
	Wait  time.Duration // from Start to the first picture
	Every time.Duration // from the start of one picture to that of the next

	Exposure time.Duration
	Count    int

	// Target stands in the middle of the picture at Start + Exposure/2, with
	// the picture's "up" at position angle Roll, from north through east.
	Target Target
	Roll   unit.Angle

	Camera     Camera
	Mount      Mount
	Handling   Handling
	Conditions Conditions

	// CatalogScatter moves every star by this much, rms in each coordinate, from
	// its place in the catalogue: what missing proper motions do to a solver.
	CatalogScatter unit.Angle

	First  int            // pictures this camera has taken before: counts on in names and in chance
	Name   string         // first part of the files' names; "" for "sky"
	Suffix string         // of the files' names, with its dot; "" for ".jpg"
	Zone   *time.Location // zone the camera's clock is set to; nil for UTC
	Geotag bool           // the files know the site
	Seed   uint64
}

// Practice is an evening nobody has to think about: a phone of 115 mm
// equivalent on a sound mount, aimed half way up the sky on the side away from
// the pole, ten pictures in three minutes. The errors are those of NewSky.
func Practice(site ephem.Site, start time.Time) (Evening, error) {
	e := Evening{
		Site: site, Air: ephem.StandardAir(site.HeightM),
		Start: start, Every: 20 * time.Second, Exposure: 15 * time.Second, Count: 10,
		Camera:     Phone(115, 12),
		Mount:      Mount{Rate: RateSidereal},
		Handling:   Handling{StampStep: time.Millisecond},
		Conditions: Village(),
		Seed:       1,
	}
	away := unit.Angle(math.Pi)
	if site.Latitude < 0 {
		away = 0
	}
	return e.Aimed(ephem.Horizontal{Azimuth: away, Altitude: unit.AngleFromDeg(48)})
}

// Aimed is the evening with its target at a direction seen from the site at the
// middle of the first picture, the camera held upright.
func (e Evening) Aimed(h ephem.Horizontal) (Evening, error) {
	var err error
	e.Target, e.Roll, err = e.Seen(h, e.aimedAt())
	return e, err
}

// Seen is the place in the sky that stands in a direction at an instant, and
// the roll with which a camera aimed there stands upright: what a [ReAim]
// needs.
func (e Evening) Seen(h ephem.Horizontal, at time.Time) (Target, unit.Angle, error) {
	sky, err := e.sky(at)
	if err != nil {
		return Target{}, 0, err
	}
	v := sky.ICRS(h.Direction())
	higher := sky.ICRS(ephem.Horizontal{Azimuth: h.Azimuth, Altitude: h.Altitude + nearby}.Direction())
	ra, dec := ephem.RADec(v)
	return Target{ra, dec}, positionAngle(v, higher), nil
}

// nearby is a step across the sky small enough to be a tangent.
const nearby = unit.Angle(1e-4)

// positionAngle is the direction from one place to another close by, from north
// through east, 0 to 2π.
func positionAngle(at, to r3.Vec) unit.Angle {
	north, east := tangents(at)
	return unit.Angle(math.Atan2(r3.Dot(to, east), r3.Dot(to, north))).Mod1()
}

// tangents are the unit vectors toward north and east at a place of the ICRS.
// At a pole they are those of its right ascension as given.
func tangents(at r3.Vec) (north, east r3.Vec) {
	ra, dec := ephem.RADec(at)
	sa, ca := ra.Sincos()
	sd, cd := dec.Sincos()
	return r3.Vec{X: -sd * ca, Y: -sd * sa, Z: cd}, r3.Vec{X: -sa, Y: ca}
}

// Turned is the evening that follows: after the last picture the knobs are
// turned so that the elevated end goes up by altitude and clockwise seen from
// above by azimuth – about the axes the knobs really have, see Mount.BaseTilt –
// and after the pause as many pictures are taken again. The camera stays
// clamped, the motor runs on. What was tied to the number of a picture (swings,
// knocks, re-aiming, crops, cloud gaps) belongs to the evening before and is not repeated.
func (e Evening) Turned(altitude, azimuth unit.Angle, pause time.Duration) Evening {
	e.Wait += e.span() + pause
	knobs := e.Mount.Knobs
	e.Mount.Knobs = nil
	for _, k := range knobs {
		k.Frame = 0
		e.Mount.Knobs = append(e.Mount.Knobs, k)
	}
	e.Mount.Knobs = append(e.Mount.Knobs, Knob{0, altitude, azimuth})
	e.Mount.Swings, e.Mount.Knocks = nil, nil
	e.Handling.ReAims, e.Handling.Crops, e.Handling.Capped = nil, nil, nil
	e.Conditions.Clouds.Gaps = nil
	e.First += e.Count
	return e
}

// File is the base name of picture i, counted from 0: "sky-001.jpg" is the
// first.
func (e Evening) File(i int) string {
	name, suffix := e.Name, e.Suffix
	if name == "" {
		name = "sky"
	}
	if suffix == "" {
		suffix = ".jpg"
	}
	return fmt.Sprintf("%s-%03d%s", name, e.First+i+1, suffix)
}

// StartOf is the true instant at which the exposure of picture i begins.
func (e Evening) StartOf(i int) time.Time {
	return e.Start.Add(e.Wait + time.Duration(i)*e.Every).UTC()
}

// MidOf is the middle of the exposure of picture i.
func (e Evening) MidOf(i int) time.Time { return e.StartOf(i).Add(e.Exposure / 2) }

// aimedAt is the instant at which the target stands in the middle.
func (e Evening) aimedAt() time.Time { return e.Start.Add(e.Exposure / 2) }

// span is the time from the first picture's start to the last one's end.
func (e Evening) span() time.Duration {
	return time.Duration(e.Count-1)*e.Every + e.Exposure
}

// through is how far the run has come at an instant: 0 at the start of the
// first picture, 1 at the end of the last.
func (e Evening) through(at time.Time) float64 {
	return at.Sub(e.StartOf(0)).Seconds() / e.span().Seconds()
}
