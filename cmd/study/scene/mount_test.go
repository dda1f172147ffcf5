package scene

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// A mount that points at the true pole and turns with the sky keeps a star where it is, north and south, wherever it
// is aimed. The sky is ephem's without air, itself held to ERFA (ephem/reference_test.go).
func TestTrueMountKeepsStars(t *testing.T) {
	// In 20 minutes aberration, diurnal and annual, changes by less than 0.03″ and nutation by less.
	const aberrationSec = 0.05
	start := time.Date(2026, 11, 26, 21, 0, 0, 0, time.UTC)
	for _, lat := range []float64{52, 5, -33} {
		site, err := ephem.NewSite(lat, 7, 300)
		if err != nil {
			t.Fatal(err)
		}
		m := Mount{Axis: AxisAt(site.Latitude, 0, 0), Rate: 1}
		for _, dec := range []float64{-60, 0, 40, 85} {
			first := Facing(Pointing(site.Latitude, unit.AngleFromDeg(dec), unit.AngleFromDeg(-35)), unit.AngleFromDeg(70))
			var was [2]r3.Vec
			for i, after := range []time.Duration{0, 20 * time.Minute} {
				sky, err := ephem.NewSky(site, ephem.Air{TemperatureC: 10}, start.Add(after))
				if err != nil {
					t.Fatal(err)
				}
				a := m.Carried(first, after, 0)
				forward, right := sky.ICRS(a.Forward), sky.ICRS(a.Right)
				if i == 0 {
					was = [2]r3.Vec{forward, right}
					continue
				}
				for k, v := range [2]r3.Vec{forward, right} {
					if off := r3.Norm(r3.Sub(v, was[k])) * 206265; off > aberrationSec {
						t.Errorf("latitude %g°, declination %g°: direction %d moved by %.2f″", lat, dec, k, off)
					}
				}
			}
		}
	}
}

// Hour angle and declination as ephem tells them: west is positive.
func TestPointing(t *testing.T) {
	const closesSec = 0.001 // ephem's way there and back closes to 0.0001″
	site, err := ephem.NewSite(-33, 18, 0)
	if err != nil {
		t.Fatal(err)
	}
	sky, err := ephem.NewSky(site, ephem.Air{TemperatureC: 10}, time.Date(2026, 6, 1, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range [][2]float64{{-60, 50}, {20, -40}, {0, 0.5}} {
		hour, dec := sky.HourAngle(sky.ICRS(Pointing(site.Latitude, unit.AngleFromDeg(want[0]), unit.AngleFromDeg(want[1]))))
		if off := math.Hypot(dec.Deg()-want[0], hour.Rad()*180/math.Pi-want[1]) * 3600; off > closesSec {
			t.Errorf("declination %g°, hour angle %g°: ephem has %.4f°, %.4f°", want[0], want[1], dec.Deg(), hour.Rad()*180/math.Pi)
		}
	}
}

// A knob's turn: by the definition of azimuth and altitude, north and south.
func TestAxisAt(t *testing.T) {
	const rounding = 1e-9
	for _, lat := range []float64{46, -33} {
		end := AxisAt(unit.AngleFromDeg(lat), unit.AngleFromMin(25), unit.AngleFromMin(48))
		pole := 0.0
		if lat < 0 {
			end, pole = r3.Scale(-1, end), 180
		}
		h := ephem.HorizontalOf(end)
		if up, aside := h.Altitude.Deg()-math.Abs(lat), h.Azimuth.Deg()-pole; math.Abs(up*60-25) > rounding || math.Abs(aside*60-48) > rounding {
			t.Errorf("latitude %g°: %.6f′ up and %.6f′ aside, want 25 and 48", lat, up*60, aside*60)
		}
	}
}

// Hands that swing the axis westward by an hour do what the sky does in an hour; the picture's "up" is the zenith's side,
// and a roll leans it clockwise.
func TestCarriedAndFacing(t *testing.T) {
	const rounding = 1e-12
	m := Mount{Axis: AxisAt(unit.AngleFromDeg(46), 0, 0), Rate: 1}
	look := Pointing(unit.AngleFromDeg(46), 0, 0)
	hour := time.Duration(math.Round(math.Pi / 12 / EarthRadPerS * 1e9))
	turned, held := m.Carried(Facing(look, 0), 0, unit.AngleFromDeg(15)), m.Carried(Facing(look, 0), hour, 0)
	if r3.Norm(r3.Sub(turned.Forward, held.Forward)) > rounding*1e3 || turned.Forward.X >= 0 {
		t.Errorf("a swing of 15° looks at %v, an hour of tracking at %v; west wanted", turned.Forward, held.Forward)
	}
	a := Facing(r3.Vec{Y: 1}, unit.AngleFromDeg(90)) // facing north, leaning clockwise: up is east
	if r3.Norm(r3.Add(a.Down, r3.Vec{X: 1})) > rounding || r3.Norm(r3.Sub(r3.Cross(a.Right, a.Down), a.Forward)) > rounding {
		t.Errorf("facing north with up leaning to the right: %+v", a)
	}
}
