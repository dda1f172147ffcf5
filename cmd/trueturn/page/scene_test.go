package page_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/cmd/trueturn/page"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

// scene is a simulated mount in the dark: its pictures are rendered when they are taken, and its knobs are
// turned as a test, or the page, asks.
type scene struct {
	t     testing.TB
	e     simulate.Evening
	taken int
	dir   string // where pictures are kept
}

// tonight is half an hour ago, for a session of yesterday is set aside.
func tonight() time.Time { return time.Now().UTC().Truncate(time.Minute).Add(-30 * time.Minute) }

// meridianHours is the right ascension that stands in the meridian of every scene when it begins, whenever the test is
// run, so that the same stars are in the pictures: a field with some seventy of them.
const meridianHours = 2.75

// longitudeWhere is the longitude at which a right ascension stands in the meridian (J. Meeus, Astronomical Algorithms, 2nd
// ed., eq. 12.4, p. 88, from memory; a minute of arc would do).
func longitudeWhere(hours float64, t time.Time) float64 {
	days := t.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Hours() / 24
	return math.Remainder(15*hours-(280.46061837+360.98564736629*days), 360)
}

// newScene has a long lens on few pixels, so that an evening is quick to render and solve; the axis is some degrees off, which is what it takes to spoil 30 s at
// so coarse a scale.
func newScene(t testing.TB, latitudeDeg float64, set ...func(*simulate.Evening)) *scene {
	t.Helper()
	start := tonight()
	site, err := ephem.NewSite(latitudeDeg, longitudeWhere(meridianHours, start), 500)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, start)
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = simulate.Phone(400, 1.5)
	e = e.Clean()
	e.Camera.FWHM = 1.8
	e.Count = 60
	e.Geotag = true
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(-190), unit.AngleFromMin(300)
	for _, f := range set {
		f(&e)
	}
	return &scene{t: t, e: e, dir: t.TempDir()}
}

// half of the world it plays in, for names.
func (s *scene) half() string {
	if s.e.Site.Latitude < 0 {
		return "south"
	}
	return "north"
}

// take takes the next picture and returns its path.
func (s *scene) take() string {
	s.t.Helper()
	run, err := s.e.Begin()
	if err != nil {
		s.t.Fatal(err)
	}
	plane, meta, err := run.Frame(context.Background(), s.taken)
	if err != nil {
		s.t.Fatal(err)
	}
	var buf bytes.Buffer
	if err := frame.Encode(&buf, plane, meta, frame.JPEG); err != nil {
		s.t.Fatal(err)
	}
	path := filepath.Join(s.dir, s.e.File(s.taken))
	if err := os.WriteFile(path, buf.Bytes(), 0o600); err != nil {
		s.t.Fatal(err)
	}
	s.taken++
	return path
}

// swing turns the camera about the axis by hand before the next picture.
func (s *scene) swing(degrees float64) {
	for len(s.e.Mount.Swings) <= s.taken {
		s.e.Mount.Swings = append(s.e.Mount.Swings, 0)
	}
	s.e.Mount.Swings[s.taken] = unit.AngleFromDeg(degrees)
}

// measured takes four pictures with swings between them, unequal, the last back near the start: enough for an axis.
func (s *scene) measured() (paths []string) {
	s.t.Helper()
	for _, d := range []float64{0, 20, 12, -30} {
		s.swing(d)
		paths = append(paths, s.take())
	}
	return paths
}

// turn turns the knobs before the next picture.
func (s *scene) turn(altitude, azimuth unit.Angle) {
	s.e.Mount.Knobs = append(s.e.Mount.Knobs, simulate.Knob{Frame: s.taken, Altitude: altitude, Azimuth: azimuth})
}

// The words a turn is asked in.
var (
	baseWords = regexp.MustCompile(`Turn the base ([0-9.]+)(°|′|″) (clockwise|anticlockwise) seen from above`)
	tiltWords = regexp.MustCompile(`(Raise|Lower) the tilt by ([0-9.]+)(°|′|″)`)
)

// obeyed is the turn a sentence asks for, as a person understands it; false where it asks for none.
func obeyed(sentence string) (altitude, azimuth unit.Angle, ok bool) {
	if m := baseWords.FindStringSubmatch(sentence); m != nil {
		return 0, angle(m[1], m[2], m[3] == "clockwise"), true
	}
	if m := tiltWords.FindStringSubmatch(sentence); m != nil {
		return angle(m[2], m[3], m[1] == "Raise"), 0, true
	}
	return 0, 0, false
}

func angle(number, mark string, positive bool) unit.Angle {
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		panic(fmt.Sprintf("the words of a turn let %q pass", number))
	}
	a := unit.AngleFromSec(v * map[string]float64{"°": 3600, "′": 60, "″": 1}[mark])
	if !positive {
		return -a
	}
	return a
}

// off is how far the axis really is from the pole as it is seen, at the last picture.
func (s *scene) off() unit.Angle {
	s.t.Helper()
	run, err := s.e.Begin()
	if err != nil {
		s.t.Fatal(err)
	}
	sky, err := ephem.NewSky(s.e.Site, s.e.Air, s.e.MidOf(s.taken-1))
	if err != nil {
		s.t.Fatal(err)
	}
	return between(run.Axis(s.taken-1), sky.RefractedPole())
}

func between(a, b ephem.Horizontal) unit.Angle {
	u, v := a.Direction(), b.Direction()
	return unit.Angle(math.Acos(min(1, u.X*v.X+u.Y*v.Y+u.Z*v.Z)))
}

// nearer is a mount set up with some care: a degree off.
func nearer(e *simulate.Evening) {
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(30), unit.AngleFromMin(-70)
}

// wanting are the options of somebody who plans an exposure.
func wanting(planned time.Duration) page.Options {
	var o page.Options
	o.Guide.Answer.Planned = planned
	return o
}
