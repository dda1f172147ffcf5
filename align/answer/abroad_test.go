package answer

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/ephem"
)

// roundingCost is what a site rounded to 0.01° may cost the error of the axis, minutes of arc.
const roundingCost = 0.1

// The axis is measured against a pole over the same horizon, so that a site half a hundredth of a degree off costs it next
// to nothing, though over that horizon both stand 0.3′ elsewhere.
func TestRoundedSiteCostsLittle(t *testing.T) {
	for _, latitude := range []float64{46, -33, 68} {
		_, q, site := practice(t, latitude, func(*simulate.Evening) {})
		exact := New(q, Options{Site: &site})
		if exact.Err != nil {
			t.Fatal(exact.Err)
		}
		worst := 0.0
		for _, corner := range [][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			off := site
			off.Latitude += unit.AngleFromDeg(0.005 * corner[0])
			off.Longitude += unit.AngleFromDeg(0.005 * corner[1])
			a := New(q, Options{Site: &off})
			if a.Err != nil {
				t.Fatal(a.Err)
			}
			azimuth := (a.Error.AzimuthArcmin - exact.Error.AzimuthArcmin) * math.Cos(exact.Axis.AltitudeDeg*math.Pi/180)
			worst = max(worst, math.Hypot(a.Error.AltitudeArcmin-exact.Error.AltitudeArcmin, azimuth))
		}
		t.Logf("at %g° it costs %.4f′", latitude, worst)
		if worst > roundingCost {
			t.Errorf("at %g° it costs %.3f′, want below %g′", latitude, worst, roundingCost)
		}
	}
}

// What leaves the device tells the place to 0.01°, not even the height of the pole tells more, and what the hand has to
// turn is that of the true place. Expected is what would have been measured at the rounded one.
func TestAnswerAbroad(t *testing.T) {
	for _, latitude := range []float64{46.01499, -33.01499} {
		_, q, site := practice(t, latitude, func(*simulate.Evening) {})
		site.Longitude = unit.AngleFromDeg(7.00499)
		a := New(q, Options{Site: &site, Aim: align.AimTrue})
		b := a.Abroad()
		if *b.Error != *a.Error || *a.Site != site {
			t.Errorf("error %+v became %+v, the site %v", *a.Error, *b.Error, *a.Site)
		}
		// The height of the pole is the latitude, by its definition.
		if place := [3]float64{b.Site.Latitude.Deg(), b.Site.Longitude.Deg(), b.Aim.AltitudeDeg}; math.Abs(place[0]-math.Copysign(math.Abs(latitude)-0.00499, latitude)) > 1e-9 ||
			math.Abs(place[1]-7) > 1e-9 || math.Abs(place[2]-math.Abs(place[0])) > 1e-5 {
			t.Errorf("%g° is told as %v", latitude, place)
		}
		there, err := ephem.NewSite(b.Site.Latitude.Deg(), b.Site.Longitude.Deg(), site.HeightM)
		if err != nil {
			t.Fatal(err)
		}
		want := New(q, Options{Site: &there, Aim: align.AimTrue})
		if d := 60 * math.Abs(b.Axis.AltitudeDeg-want.Axis.AltitudeDeg); d > roundingCost {
			t.Errorf("the axis is told %.3f′ off", d)
		}
		s, err := a.Session()
		if err != nil {
			t.Fatal(err)
		}
		if s.Site.LatitudeDeg != math.Round(latitude*100)/100 || s.Site.LongitudeDeg != 7 || *s.Answer.Aim != *b.Aim || math.Abs(s.Mount.AxisAltitudeDeg-b.Axis.AltitudeDeg) > 1e-9 {
			t.Errorf("saved are %+v, %+v and an axis at %v, want %v", s.Site, *s.Answer.Aim, s.Mount.AxisAltitudeDeg, b.Axis.AltitudeDeg)
		}
	}
}
