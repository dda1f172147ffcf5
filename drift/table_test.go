package drift

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// erfaTable is a table of a mount's pictures that ERFA worked out (drift/track/testdata/positions.py), with the mount's axis.
func erfaTable(t *testing.T, name string) (track.Table, ephem.Site, ephem.Air, r3.Vec) {
	t.Helper()
	text, err := os.ReadFile("track/testdata/positions_" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	var lat, lon, height, temperature, pressure, alt, az float64
	if _, err := fmt.Sscanf(strings.Split(string(text), "\n")[1], "# site %f,%f,%f air %f,%f axis_altitude_deg %f axis_azimuth_deg %f", &lat, &lon, &height, &temperature, &pressure, &alt, &az); err != nil {
		t.Fatal(err)
	}
	site, err := ephem.NewSite(lat, lon, height)
	if err != nil {
		t.Fatal(err)
	}
	table, err := track.ParseTable(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	axis := ephem.Horizontal{Altitude: unit.AngleFromDeg(alt), Azimuth: unit.AngleFromDeg(az)}
	return table, site, ephem.Air{TemperatureC: temperature, PressureHPa: pressure}, axis.Direction()
}

func fromTable(t *testing.T, table track.Table, o Options) Sequence {
	t.Helper()
	q, err := FromTable(context.Background(), table, o)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// A listed direction becomes the attitude it says, at the time it says.
func TestListedDirectionsBecomeAttitudes(t *testing.T) {
	const rounding = 1e-9
	table, _, _, _ := erfaTable(t, "tracked_north")
	o := Options{}
	o.Frame.ClockOffset = 7 * time.Second
	q := fromTable(t, table, o)
	if len(q.Shots) != len(table.Directions) {
		t.Fatalf("%d shots of %d directions", len(q.Shots), len(table.Directions))
	}
	for i, s := range q.Shots {
		d := table.Directions[i]
		ra, dec := s.Solution.RADec()
		if math.Abs(ra.Rad()-d.RA.Rad()) > rounding || math.Abs(dec.Rad()-d.Dec.Rad()) > rounding || math.Abs(s.Solution.Roll().Rad()-d.Roll.Rad()) > rounding {
			t.Errorf("%s: at %.6f° %.6f° roll %.6f°, want %.6f° %.6f° %.6f°", s.File, ra.Deg(), dec.Deg(), s.Solution.Roll().Deg(), d.RA.Deg(), d.Dec.Deg(), d.Roll.Deg())
		}
		if got := s.Clock.Mid().Sub(d.Clock.Mid()); got != 7*time.Second {
			t.Errorf("%s: the clock is %v later, want 7 s", s.File, got)
		}
		if !s.Table || !s.Solution.Listed() {
			t.Errorf("%s: it is not marked as listed", s.File)
		}
	}
}

// Seen from the site, what ERFA's mount turned about its axis turns about that axis here: the middle keeps its distance from it
// and between pictures all turn about it.
func TestListedDirectionsTurnAboutTheAxis(t *testing.T) {
	const (
		middleArcsec = 0.3 // the series of package ephem are good to some hundredths of a second of arc
		// Which way is up is read 0.02 rad from the middle, over which refraction, 60″·tan z, bends by half its second
		// derivative: 60″·tan z·sec² z·0.02, at 45° of height 2.4″.
		turnArcsec = 2.4
	)
	for _, name := range []string{"tracked_north", "tracked_south", "swung_north", "swung_south"} {
		table, site, air, axis := erfaTable(t, name)
		h, err := fromTable(t, table, Options{}).Horizon(site, air)
		if err != nil {
			t.Fatal(err)
		}
		if len(h.Sights) != len(table.Directions) || h.FieldCovariance[0] != nil || h.Common != nil {
			t.Errorf("%s: %d sights, field covariance %v, common errors %v", name, len(h.Sights), h.FieldCovariance, h.Common)
		}
		first := h.Sights[0].Attitude.Pose
		for i, s := range h.Sights {
			p := s.Attitude.Pose
			sky, err := ephem.NewSky(site, air, s.Mid)
			if err != nil {
				t.Fatal(err)
			}
			d := table.Directions[i]
			above := p.Attitude.Apply(sky.Apparent(r3.Unit(r3.Add(ephem.Direction(d.RA, d.Dec), r3.Scale(0.02, upAt(d))))))
			if above.Y >= 0 || math.Abs(above.X)*206265 > turnArcsec {
				t.Errorf("%s: what is above the middle in the sky is seen at %.5f, %.5f", name, above.X, above.Y)
			}
			if off := math.Acos(r3.Dot(p.Centre(), axis)) - math.Acos(r3.Dot(first.Centre(), axis)); math.Abs(off)*206265 > middleArcsec {
				t.Errorf("%s: the middle's distance from the axis changes by %.2f″", name, off*206265)
			}
			v := first.Attitude.Then(p.Attitude.Inverse()).Log() // of the camera, east, north, up
			if across := r3.Norm(r3.Cross(v, axis)); across*206265 > turnArcsec {
				t.Errorf("%s: the camera turns by %.2f″ across the axis, %.2f° about it", name, across*206265, r3.Norm(v)*180/math.Pi)
			}
			if want := math.Asin(p.Centre().Z); math.Abs(s.Altitude.Rad()-want) > 1e-9 {
				t.Errorf("%s: altitude %.4f°, want %.4f°", name, s.Altitude.Deg(), want*180/math.Pi)
			}
		}
	}
}

// A direction without a roll has celestial north up, to 6°/cos δ and a radian at most; what the table states of its errors stays.
func TestRollsNotTold(t *testing.T) {
	for _, c := range []struct{ decDeg, aboutDeg float64 }{{0, 6}, {60, 12}, {-60, 12}, {89, 180 / math.Pi}, {90, 180 / math.Pi}} {
		text := fmt.Sprintf("mid_utc,ra_deg,dec_deg,sigma_arcsec\n2026-11-25T21:30:00Z,30.0000000,%.7f,7\n2026-11-25T21:31:00Z,31.0000000,%.7f,7\n", c.decDeg, c.decDeg)
		table, err := track.ParseTable(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		s := fromTable(t, table, Options{}).Shots[0].Solution
		if about := math.Sqrt(s.Covariance.At(2, 2)) * 180 / math.Pi; math.Abs(about-c.aboutDeg) > 1e-6 {
			t.Errorf("declination %g°: the roll is good to %.4f°, want %.4f°", c.decDeg, about, c.aboutDeg)
		}
		if across := math.Sqrt(s.Covariance.At(0, 0)) * 206264.806; math.Abs(across-7) > 1e-4 {
			t.Errorf("declination %g°: the place is good to %.4f″, want 7″", c.decDeg, across)
		}
		if roll := math.Remainder(s.Roll().Rad(), 2*math.Pi); math.Abs(c.decDeg) < 90 && math.Abs(roll) > 1e-9 {
			t.Errorf("declination %g°: rolled by %.3g, want north up", c.decDeg, roll)
		}
	}
}

// Listed stars are recognised as a picture's are, and what the table leaves open is said.
func TestListedStarsAreRecognised(t *testing.T) {
	const middleArcsec = 6 // the size is guessed: 0.2 px of 30″ for where the middle is
	table, site, air, axis := erfaTable(t, "stars_north")
	var told int
	o := Options{Lens: LensFlags{ScaleArcsecPerPx: 30}, Progress: func(Shot) { told++ }}
	q := fromTable(t, table, o)
	for _, s := range q.Shots {
		if s.Solution == nil || s.Solution.Listed() || !s.Table {
			t.Fatalf("%s: not recognised: %v", s.File, s.Err)
		}
	}
	if told != len(table.Fields) {
		t.Errorf("%d of %d pictures were told of", told, len(table.Fields))
	}
	for _, key := range []say.Key{"the table does not say how large pictures are", "the table does not state the stars' errors"} {
		if !slices.ContainsFunc(q.Notes, func(n say.Line) bool { return n.Key == key }) {
			t.Errorf("nothing is said of %q: %v", key, q.Notes)
		}
	}
	h, err := q.Horizon(site, air)
	if err != nil {
		t.Fatal(err)
	}
	first := h.Sights[0].Attitude.Pose
	for _, s := range h.Sights[1:] {
		if off := math.Acos(r3.Dot(s.Attitude.Pose.Centre(), axis)) - math.Acos(r3.Dot(first.Centre(), axis)); math.Abs(off)*206265 > middleArcsec {
			t.Errorf("the middle's distance from the axis changes by %.2f″", off*206265)
		}
	}
}

// What a table of stars does not state is guessed, and each guess is said: the size so that margins are alike, the error as 0.2 px and
// the last digit written (uniform: a step/√12).
func TestWhatTablesLeaveOpen(t *testing.T) {
	full := track.TableStar{X: 30, Y: 20, Flux: 5, SigmaPx: 0.1, FWHMPx: 3}
	bare := track.TableStar{X: 970, Y: 480, ResolutionPx: 0.5}
	of := func(width int, stars ...track.TableStar) track.Table {
		return track.Table{Fields: []track.TableField{{Width: width, Height: width, Stars: stars}}}
	}
	for _, c := range []struct {
		name  string
		table track.Table
		notes int
	}{{"all told", of(1000, full), 0}, {"no size", of(0, full), 1}, {"no flux and error", of(1000, bare), 2}, {"nothing", of(0, full, bare), 3}} {
		if got := missing(c.table); len(got) != c.notes {
			t.Errorf("%s: %d notes, want %d: %q", c.name, len(got), c.notes, got)
		}
	}
	if w, h := guessedSize(of(0, full, bare)); w != 1001 || h != 501 { // 970 and 30, 480 and 20, on either side
		t.Errorf("guessed %d × %d, want 1001 × 501", w, h)
	}
	if w, h := guessedSize(of(1000, bare)); w != 3 || h != 3 {
		t.Errorf("no picture lacks its size, and %d × %d is guessed", w, h)
	}
	f := fieldOf(of(1000, full, bare, track.TableStar{FWHMPx: 5}).Fields[0], 1000, 1000)
	if got := []float64{f.Stars[0].XErr, f.Stars[1].XErr, f.FWHM}; math.Abs(got[0]-0.1) > 1e-12 || math.Abs(got[1]-math.Hypot(0.2, 0.5/math.Sqrt(12))) > 1e-12 || got[2] != 5 {
		t.Errorf("errors %.4f and %.4f px, width %g", got[0], got[1], got[2])
	}
}

func TestTablesStopWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, name := range []string{"tracked_north", "stars_north"} {
		table, _, _, _ := erfaTable(t, name)
		if _, err := FromTable(ctx, table, Options{}); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, want context.Canceled", name, err)
		}
	}
}
