package align

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

var evening = time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)

// TestPoleAims: the true pole stands at the latitude, the refracted one above it by the air's share.
func TestPoleAims(t *testing.T) {
	for _, lat := range []float64{60, 46, 10, 0, -33, -70} {
		site := invented(t, lat)
		air := ephem.StandardAir(site.HeightM)
		high, err := NewAim(AimTrue, site, air, evening, nil)
		if err != nil {
			t.Fatal(err)
		}
		seen, err := NewAim(AimRefracted, site, air, evening, nil)
		if err != nil {
			t.Fatal(err)
		}
		const within = unit.Angle(1e-9)
		if d := high.Altitude() - unit.AngleFromDeg(math.Abs(lat)); math.Abs(d.Rad()) > within.Rad() {
			t.Errorf("latitude %v: the true pole stands at %v", lat, high.Altitude().Deg())
		}
		if south := math.Cos(high.Azimuth().Rad()) < 0; south != (lat < 0) {
			t.Errorf("latitude %v: azimuth %v", lat, high.Azimuth().Deg())
		}
		if back := air.Refraction().True(seen.Altitude()); math.Abs((back-high.Altitude()).Sec()) > 0.05 && lat != 0 {
			t.Errorf("latitude %v: the refracted pole less its refraction is off by %.3f″", lat, (back - high.Altitude()).Sec())
		}
	}
}

// drifted is how far the target and four stars 6° from it stray in a camera that turns about axis
// (north end), rms over three hours. The angle about the axis is free, as guiding leaves it: every instant
// is turned back until the target has the same angle about the axis. From the sky alone.
func drifted(t *testing.T, site ephem.Site, axis r3.Vec, target Target) unit.Angle {
	t.Helper()
	s := ephem.Direction(target.RA, target.Dec)
	x := r3.Unit(r3.Cross(s, r3.Vec{X: 0.3, Y: 0.2, Z: 0.93}))
	stars := []r3.Vec{s}
	for _, about := range []r3.Vec{x, r3.Cross(s, x)} {
		for _, by := range []float64{6, -6} {
			stars = append(stars, turn.About(about, unit.AngleFromDeg(by)).Apply(s))
		}
	}
	east := r3.Unit(r3.Vec{X: axis.Y, Y: -axis.X})
	up := r3.Cross(east, axis)
	var sum [5]r3.Vec
	var squares, n float64
	for k := range 19 {
		sky, err := ephem.NewSky(site, ephem.StandardAir(site.HeightM), evening.Add(time.Duration(k)*10*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		middle := sky.Apparent(s)
		back := turn.About(axis, unit.Angle(math.Atan2(r3.Dot(middle, up), r3.Dot(middle, east)))) // east × up = −axis
		for i, star := range stars {
			v := back.Apply(sky.Apparent(star))
			sum[i] = r3.Add(sum[i], v)
			squares += r3.Norm2(v)
		}
		n++
	}
	for _, v := range sum {
		squares -= r3.Norm2(v) / n
	}
	return unit.Angle(math.Sqrt(max(0, squares) / n / float64(len(stars))))
}

// TestFieldAim: about the axis of the field the target and the stars around it drift less than about the
// refracted pole (the question of E. S. King).
func TestFieldAim(t *testing.T) {
	for _, lat := range bothHemispheres {
		site := invented(t, lat)
		air := ephem.StandardAir(site.HeightM)
		sky, err := ephem.NewSky(site, air, evening)
		if err != nil {
			t.Fatal(err)
		}
		for _, look := range []ephem.Horizontal{horizontalOf(110, 35), horizontalOf(180, 50), horizontalOf(0, 50), horizontalOf(150, 20)} {
			ra, dec := ephem.RADec(sky.ICRS(look.Direction()))
			target := Target{ra, dec}
			north := func(kind AimKind) r3.Vec {
				a, err := NewAim(kind, site, air, evening, &target)
				if err != nil {
					t.Fatal(err)
				}
				if lat < 0 {
					return r3.Scale(-1, a.Direction)
				}
				return a.Direction
			}
			field, refracted := drifted(t, site, north(AimField), target), drifted(t, site, north(AimRefracted), target)
			t.Logf("latitude %v, looking to %.0f°: field %.1f″, refracted %.1f″", lat, look.Azimuth.Deg(), field.Sec(), refracted.Sec())
			if field >= refracted {
				t.Errorf("latitude %v, looking to %.0f°, %.0f° high: %.1f″ about the field's axis, %.1f″ about the refracted pole",
					lat, look.Azimuth.Deg(), look.Altitude.Deg(), field.Sec(), refracted.Sec())
			}
		}
	}
}

func TestAimRefusals(t *testing.T) {
	site := invented(t, 46)
	air := ephem.StandardAir(500)
	below := Target{0, unit.AngleFromDeg(-80)}
	for name, f := range map[string]func() error{
		"a field without a target":   func() error { _, err := NewAim(AimField, site, air, evening, nil); return err },
		"a target under the horizon": func() error { _, err := NewAim(AimField, site, air, evening, &below); return err },
		"an unknown kind":            func() error { _, err := ParseAimKind("zenith"); return err },
	} {
		err := f()
		if !errors.Is(err, ErrAim) || amiss.Ways(err) == nil {
			t.Errorf("%s: error %v, want %v with a hint", name, err, ErrAim)
		}
	}
	if k, err := ParseAimKind(" Refracted "); err != nil || k != AimRefracted {
		t.Errorf("Refracted reads as %q, %v", k, err)
	}
	if k, err := ParseAimKind(""); err != nil || k != AimRefracted {
		t.Errorf("nothing reads as %q, %v", k, err)
	}
}

// TestDeviation: signs and the wrap of azimuth, north and south.
func TestDeviation(t *testing.T) {
	cases := []struct {
		name      string
		axis, aim ephem.Horizontal
		alt, az   float64 // degrees
	}{
		{"too high, north", horizontalOf(0, 47), horizontalOf(0, 46), 1, 0},
		{"too low, south", horizontalOf(180, 32), horizontalOf(180, 33), -1, 0},
		{"east of north is clockwise", horizontalOf(1, 46), horizontalOf(0, 46), 0, 1},
		{"west of north, across 360°", horizontalOf(359, 46), horizontalOf(0, 46), 0, -1},
		{"aim west, axis east of north", horizontalOf(0.5, 46), horizontalOf(359.5, 46), 0, 1},
		{"west of south is clockwise", horizontalOf(181, 33), horizontalOf(180, 33), 0, 1},
		{"east of south is anticlockwise", horizontalOf(179, 33), horizontalOf(180, 33), 0, -1},
		{"far off", horizontalOf(200, 20), horizontalOf(0, 46), -26, -160},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			a := Axis{Direction: c.axis.Direction(), Covariance: [2][2]float64{{1e-10, 0}, {0, 1e-10}}}
			d := a.Deviation(Aim{AimRefracted, c.aim.Direction()})
			const within = 1e-9
			if math.Abs(d.Altitude.Deg()-c.alt) > within || math.Abs(d.Azimuth.Deg()-c.az) > within {
				t.Errorf("altitude %+.6f°, azimuth %+.6f°, want %+g°, %+g°", d.Altitude.Deg(), d.Azimuth.Deg(), c.alt, c.az)
			}
			// The total by the law of cosines.
			s1, c1 := c.axis.Altitude.Sincos()
			s2, c2 := c.aim.Altitude.Sincos()
			want := math.Acos(s1*s2 + c1*c2*math.Cos(c.az*math.Pi/180))
			if math.Abs(d.Total.Rad()-want) > 1e-7 {
				t.Errorf("total %.6f°, want %.6f°", d.Total.Deg(), want*180/math.Pi)
			}
		})
	}
}

var targets = []struct {
	text     string
	ra, dec  float64 // degrees
	readable bool
}{
	{"279.23,38.78", 279.23, 38.78, true},
	{" 279.23 , +38.78 ", 279.23, 38.78, true},
	{"18:36:56,+38:47:01", 279.233333333, 38.783611111, true},
	{"18h36m56s,+38d47m01s", 279.233333333, 38.783611111, true},
	{"18h36m56s,-38°47′01″", 279.233333333, -38.783611111, true},
	{"5:30,-0:30", 82.5, -0.5, true},
	{"0,−90", 0, -90, true},
	{"360,90", 360, 90, true},
	{"", 0, 0, false},
	{"279.23", 0, 0, false},
	{"279.23;38.78", 0, 0, false},
	{"361,0", 0, 0, false},
	{"-1,0", 0, 0, false},
	{"10,91", 0, 0, false},
	{"NaN,0", 0, 0, false},
	{"10,Inf", 0, 0, false},
	{"25:00:00,0", 0, 0, false},
	{"10:61:00,0", 0, 0, false},
	{"1:2:3:4,0", 0, 0, false},
	{"10,20,30", 0, 0, false},
	{"Vega,38", 0, 0, false},
}

func TestParseTarget(t *testing.T) {
	for _, c := range targets {
		got, err := ParseTarget(c.text)
		if c.readable != (err == nil) {
			t.Errorf("%q: error %v", c.text, err)
			continue
		}
		if err != nil {
			if !errors.Is(err, ErrTarget) || amiss.Ways(err) == nil {
				t.Errorf("%q: error %v is no ErrTarget with a hint", c.text, err)
			}
			continue
		}
		const within = 1e-8
		if math.Abs(math.Remainder(got.RA.Deg()-c.ra, 360)) > within || math.Abs(got.Dec.Deg()-c.dec) > within {
			t.Errorf("%q: %v, %v, want %v, %v", c.text, got.RA.Deg(), got.Dec.Deg(), c.ra, c.dec)
		}
	}
}

func FuzzParseTarget(f *testing.F) {
	for _, c := range targets {
		f.Add(c.text)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseTarget(s)
		if err != nil {
			if !errors.Is(err, ErrTarget) || amiss.Ways(err) == nil {
				t.Errorf("%q: error %v is no ErrTarget with a hint", s, err)
			}
			return
		}
		if ra, dec := got.RA.Deg(), got.Dec.Deg(); !(ra >= 0 && ra <= 360) || !(math.Abs(dec) <= 90) {
			t.Errorf("%q reads as %v, %v", s, ra, dec)
		}
	})
}

// TestHolding: the camera that holds a target looks at it, with the other star along x.
func TestHolding(t *testing.T) {
	z, b := horizontalOf(100, 40).Direction(), horizontalOf(101, 41).Direction()
	c := holding(z, b)
	if d := r3.Norm(r3.Sub(c.Apply(z), r3.Vec{Z: 1})); d > 1e-12 {
		t.Errorf("the target stands %v from the middle", d)
	}
	if v := c.Apply(b); v.X <= 0 || math.Abs(v.Y) > 1e-12 {
		t.Errorf("the other star stands at %v", v)
	}
	var _ turn.Turn = c
}
