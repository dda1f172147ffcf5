package ephem

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/meeus/v3/julian"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Worked examples of J. Meeus, Astronomical Algorithms, 2nd ed. (1998), by number
// and page, put through this package's own steps. They are printed to 0.001″ or
// 0.0001 s; half a unit of the last digit is the tolerance, or what is named.

// siderealTime is that of Greenwich as the sky turns by it: the right ascension of the date that stands overhead there.
func siderealTime(t *testing.T, at time.Time) unit.Time {
	t.Helper()
	sky, err := NewSky(Site{}, Air{}, at)
	if err != nil {
		t.Fatal(err)
	}
	ra, _ := RADec(precession(sky.tt).Then(nutationTurn(sky.tt)).Apply(sky.up))
	return ra.Time()
}

func TestMeeusSiderealTime(t *testing.T) {
	const lastDigitS, lastDigit3S = 0.00006, 0.0006
	for _, c := range []struct {
		name   string
		time   time.Time
		want   unit.Time
		within float64
	}{
		{"example 12.a, p. 88", time.Date(1987, 4, 10, 0, 0, 0, 0, time.UTC), unit.NewTime(' ', 13, 10, 46.1351), lastDigitS},
		// The mean time of example 12.b, p. 89, made apparent on p. 95.
		{"example 13.b, p. 95", time.Date(1987, 4, 10, 19, 21, 0, 0, time.UTC), unit.NewTime(' ', 8, 34, 56.853), lastDigit3S},
	} {
		if d := (siderealTime(t, c.time) - c.want).Sec(); d > c.within || d < -c.within {
			t.Errorf("%s: %.5f s beside the book's", c.name, d)
		}
	}
}

// Example 22.a, p. 148: 1987 April 10, 0h TD. The frame made of the printed
// angles is the frame we make.
func TestMeeusNutation(t *testing.T) {
	const lastDigitsArcsec = 0.001 // three angles, each to 0.0005″
	x, z := r3.Vec{X: 1}, r3.Vec{Z: 1}
	Δψ, ε0, ε := unit.AngleFromSec(-3.788), unit.NewAngle(' ', 23, 26, 27.407), unit.NewAngle(' ', 23, 26, 36.850)
	want := turn.About(x, -ε0).Then(turn.About(z, Δψ)).Then(turn.About(x, ε))
	got := nutationTurn(2446895.5)
	if d := got.Inverse().Then(want).Angle().Sec(); d > lastDigitsArcsec {
		t.Errorf("%.4f″ beside the book's", d)
	}
	// And by its effect, so that a sign wrong in both could not hide: nutation in
	// longitude moves a star on the ecliptic along it, in obliquity off the equator.
	equinox := got.Apply(r3.Vec{X: 1})
	ra, dec := RADec(equinox)
	wantRA, wantDec := Δψ.Sec()*ε.Cos(), Δψ.Sec()*ε.Sin()
	if d := unit.Angle(ra).Sec() - 360*3600 - wantRA; d > lastDigitsArcsec || d < -lastDigitsArcsec {
		t.Errorf("the equinox is moved by %.4f″ in right ascension", d+wantRA)
	}
	if d := dec.Sec() - wantDec; d > lastDigitsArcsec || d < -lastDigitsArcsec {
		t.Errorf("the equinox is moved by %.4f″ in declination", dec.Sec())
	}
}

// θ Persei with its proper motion to 2028 November 13.19 TD, as the book has it.
func thetaPersei() (r3.Vec, float64) {
	return Direction(unit.RAFromDeg(41.054063), unit.AngleFromDeg(49.227750)), julian.CalendarGregorianToJD(2028, 11, 13.19)
}

// Example 21.b, p. 135.
func TestMeeusPrecession(t *testing.T) {
	const lastDigitsArcsec = 0.004 // a millionth of a degree
	star, tt := thetaPersei()
	want := Direction(unit.RAFromDeg(41.547214), unit.AngleFromDeg(49.348483))
	if d := separation(precession(tt).Apply(star), want).Sec(); d > lastDigitsArcsec {
		t.Errorf("%.4f″ beside the book's", d)
	}
}

// Example 23.b, p. 156: the same star's apparent place by the expression of Ron
// and Vondrák, the one used here; example 23.a, p. 153, has the same to 0.02″.
func TestMeeusApparentPlace(t *testing.T) {
	// Right ascension to 0.001 s (0.007″ on the sky), declination to 0.01″; the book
	// adds the parts to first order, which leaves out some 0.005″.
	const lastDigitsArcsec = 0.015
	star, tt := thetaPersei()
	want := Direction(unit.NewRA(2, 46, 14.392), unit.NewAngle(' ', 49, 21, 7.45))
	got := precession(tt).Then(nutationTurn(tt)).Apply(newAberration(earthVelocity(tt)).apply(star))
	if d := separation(got, want).Sec(); d > lastDigitsArcsec {
		t.Errorf("%.4f″ beside the book's", d)
	}
}

// Example 13.b, p. 95: Venus from the US Naval Observatory, longitude west there,
// azimuth from the south.
func TestMeeusHorizontal(t *testing.T) {
	// Four decimals; the printed inputs, worked with all digits, give 68.0336° where
	// the book has 68.0337°: one unit for its roundings on the way, half for its last.
	const lastDigitsDeg = 0.00015
	site := Site{Latitude: unit.NewAngle(' ', 38, 55, 17), Longitude: unit.NewAngle('-', 77, 3, 56)}
	greenwich := siderealTime(t, time.Date(1987, 4, 10, 19, 21, 0, 0, time.UTC))
	venus := Direction(unit.NewRA(23, 9, 16.641), unit.NewAngle('-', 6, 43, 11.61))
	got := HorizontalOf(horizonTurn(site, greenwich).Apply(venus))
	if math.Abs(got.Azimuth.Deg()-(68.0337+180)) > lastDigitsDeg || math.Abs(got.Altitude.Deg()-15.1249) > lastDigitsDeg {
		t.Errorf("azimuth %.5f°, altitude %.5f°", got.Azimuth.Deg(), got.Altitude.Deg())
	}
}
