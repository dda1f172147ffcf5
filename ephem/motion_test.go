package ephem

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// ERFA's pmsafe with the same motions.
func TestMovedAgreesWithERFA(t *testing.T) {
	// 50 years of 0.05″ a year along a great circle, or along coordinates, near
	// the pole; ten digits.
	const secondOrderArcsec = 1e-3
	var w worst
	for _, r := range reference(t, "ephem_motion.csv") {
		got := Moved(r.star(), int32(r.number("hip")), r.time())
		want := Direction(unit.RA(r.angle("moved_ra")), r.angle("moved_dec"))
		w.see(separation(got, want).Sec(), r.place)
	}
	w.under(t, "moved by proper motion", secondOrderArcsec)
}

// Polaris, 2000.0 to 2050 and 2100: Meeus, Astronomical Algorithms, 2nd ed.,
// p. 135–136. The book takes the motion of the FK5 (a mean over a century of
// Polaris' 30-year orbit), which differs from Hipparcos' by 7 milliseconds of
// arc a year.
func TestPolarisAgreesWithMeeus(t *testing.T) {
	const fk5ArcsecPerYear = 0.007
	start := Direction(unit.NewRA(2, 31, 48.704), unit.NewAngle(' ', 89, 15, 50.72))
	for _, c := range []struct {
		year float64
		ra   unit.RA
		dec  unit.Angle
	}{
		{2050, unit.NewRA(3, 48, 16.43), unit.NewAngle(' ', 89, 27, 15.38)},
		{2100, unit.NewRA(5, 53, 29.17), unit.NewAngle(' ', 89, 32, 22.18)},
	} {
		years := c.year - 2000
		at := time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC).Add(time.Duration(years * 365.25 * 24 * float64(time.Hour)))
		got := precession(base.JulianYearToJDE(c.year)).Apply(Moved(start, 11767, at))
		if d := separation(got, Direction(c.ra, c.dec)).Sec(); d > fk5ArcsecPerYear*years {
			t.Errorf("%g: %.2f″ from the book's place", c.year, d)
		}
		still := precession(base.JulianYearToJDE(c.year)).Apply(start)
		if d := separation(still, Direction(c.ra, c.dec)).Sec(); d < fk5ArcsecPerYear*years {
			t.Errorf("%g: the motion makes no difference, so this test can tell nothing", c.year)
		}
	}
}

func TestOtherStarsStayWhereTheyAre(t *testing.T) {
	v := r3.Unit(r3.Vec{X: 1, Y: 2, Z: 3})
	if _, ok := ProperMotion(91262); ok || Moved(v, 91262, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) != v {
		t.Error("a star without a known motion was moved")
	}
	// The pole itself, where east is undefined, must not become NaN.
	if m := Moved(r3.Vec{Z: 1}, 11767, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)); math.IsNaN(r3.Norm(m)) {
		t.Error("a star on the pole is lost")
	}
}
