package ephem

import (
	"math"
	"testing"

	"github.com/soniakeys/meeus/v3/refraction"
	"github.com/soniakeys/unit"
)

// airs are the ends of what ParseAir lets pass, and what lies between.
var airs = []Air{
	{}, {10, 1010}, {-5, 835}, {coldestC, highestHPa}, {coldestC, 500}, {hottestC, highestHPa}, {hottestC, 300}, StandardAir(highestM),
}

// ERFA prints its own constants for dry air at 0.55 µm: ephem_refco.csv.
func TestRefractionConstantsAgreeWithERFA(t *testing.T) {
	// Same formulas with constants written to six digits.
	const digitsArcsec = 1e-4
	var a, b worst
	for _, r := range reference(t, "ephem_refco.csv") {
		got := Air{r.number("temperature_c"), r.number("pressure_hpa")}.Refraction()
		a.see(got.A.Sec()-r.number("a_arcsec"), r.place)
		b.see(got.B.Sec()-r.number("b_arcsec"), r.place)
	}
	a.under(t, "A", digitsArcsec)
	b.under(t, "B", digitsArcsec)
}

// Ray tracing through a model atmosphere, as printed in the notes of ERFA's
// refco: 1005 hPa, 7 °C, 80 % humidity, 0.574 µm.
func TestRefractionAgreesWithRayTracing(t *testing.T) {
	// Our air is dry and the light of 0.55 µm. By the same dispersion formula the
	// colour makes 0.16 % more of refraction, and 8 hPa of vapour left out 0.11 %
	// (11.27 against 78.9 of refractivity for each hectopascal).
	const dryAndGreen, ofThat = 1.0027, 0.0002
	r := Air{7, 1005}.Refraction()
	for _, c := range []struct{ zenithDeg, arcsec, formula float64 }{
		{10, 10.27, 0.01}, {20, 21.19, 0.02}, {30, 33.61, 0.02}, {45, 58.16, 0.04}, {60, 100.51, 0.06},
		{70, 158.63, 0.1}, {76, 229.45, 0.1}, {80, 319.13, 0.7},
	} {
		seen := unit.AngleFromDeg(90 - c.zenithDeg)
		got := (seen - r.True(seen)).Sec()
		if d := math.Abs(got - dryAndGreen*c.arcsec); d > c.formula+ofThat*c.arcsec {
			t.Errorf("zenith distance %g°: %.2f″, traced %.2f″", c.zenithDeg, got, dryAndGreen*c.arcsec)
		}
	}
}

// Bennett's formula at the horizon and example 16.a: Meeus, Astronomical
// Algorithms, 2nd ed., p. 106–107 (standard air there: 10 °C, 1010 hPa).
func TestRefractionNearTheHorizon(t *testing.T) {
	r := Air{10, 1010}.Refraction()
	for _, c := range []struct {
		name            string
		seenDeg         float64
		minutes, within float64
	}{
		{"horizon", 0, 34.5, 0.1},
		{"example 16.a", 0.5, 28.754, 0.001},
	} {
		seen := unit.AngleFromDeg(c.seenDeg)
		if got := (seen - r.True(seen)).Min(); math.Abs(got-c.minutes) > c.within {
			t.Errorf("%s: %.3f′, want %.3f′", c.name, got, c.minutes)
		}
	}
}

// How far the two-term formula may be trusted low down: against Bennett's
// improved formula, good to 0.9″ (Meeus, p. 107).
func TestFormulaFailsLowDownAsPromised(t *testing.T) {
	r := Air{10, 1010}.Refraction()
	for _, c := range []struct{ seenDeg, promisedArcsec float64 }{{14, 2}, {10, 3}, {7, 7}, {5, 26}, {4, 35}, {3, 5}, {1, 5}, {0, 5}} {
		seen := unit.AngleFromDeg(c.seenDeg)
		if d := (seen - r.True(seen) - refraction.Bennett2(seen)).Sec(); math.Abs(d) > c.promisedArcsec {
			t.Errorf("%g°: %.1f″ from Bennett, promised %g″", c.seenDeg, d, c.promisedArcsec)
		}
	}
}

func TestApparentSolvesTheFormula(t *testing.T) {
	// Two Newton steps leave less than this even in the densest air; see lift.
	const solvedArcsec = 1e-5
	for _, air := range airs {
		r := air.Refraction()
		for deg := 5.0; deg < 90; deg += 0.01 {
			seen := unit.AngleFromDeg(deg)
			tan := 1 / seen.Tan()
			lower := seen - r.A.Mul(tan) - r.B.Mul(tan*tan*tan)
			if d := (r.Apparent(lower) - seen).Sec(); math.Abs(d) > solvedArcsec {
				t.Fatalf("%+v: seen at %.2f°, solved %g″ beside it", air, deg, d)
			}
		}
	}
}

func TestRefractionThereAndBackFromZenithToNadir(t *testing.T) {
	const closedArcsec = 1e-5 // as above
	for _, air := range airs {
		r := air.Refraction()
		for deg := -90.0; deg <= 90; deg += 0.01 {
			truly := unit.AngleFromDeg(deg)
			if d := (r.True(r.Apparent(truly)) - truly).Sec(); !(math.Abs(d) <= closedArcsec) {
				t.Fatalf("%+v: %.2f° comes back %g″ beside itself", air, deg, d)
			}
		}
	}
}

// A higher star is seen higher, everywhere; refraction itself grows from the
// zenith down to well below the horizon, without steps.
func TestRefractionIsMonotonicAndSmooth(t *testing.T) {
	const stepDeg = 0.001
	for _, air := range airs {
		r := air.Refraction()
		lift := func(deg float64) float64 {
			a := unit.AngleFromDeg(deg)
			return (a - r.True(a)).Deg()
		}
		for deg := -90.0; deg < 90; deg += stepDeg {
			a, b := lift(deg), lift(deg+stepDeg)
			if b-a >= stepDeg {
				t.Fatalf("%+v: two true altitudes are seen at %.3f°", air, deg)
			}
			// Refraction falls by 0.22 of the altitude gained at the horizon in standard
			// air, 0.37 in the densest: more than half would be a step, not a slope.
			if a-b > stepDeg/2 {
				t.Fatalf("%+v: a step of %g° at %.3f°", air, a-b, deg)
			}
			if deg > -3 && b > a+1e-15 {
				t.Fatalf("%+v: refraction grows upward at %.3f°", air, deg)
			}
			if a < 0 || a > 1.6 {
				t.Fatalf("%+v: refraction of %g° at %.3f°", air, a, deg)
			}
		}
	}
}

func TestVacuumDoesNotRefract(t *testing.T) {
	r := Air{TemperatureC: 10}.Refraction()
	for _, deg := range []float64{-90, -10, 0, 4, 30, 90} {
		if a := unit.AngleFromDeg(deg); r.Apparent(a) != a || r.True(a) != a {
			t.Errorf("%g° is moved", deg)
		}
	}
}

func TestRefractionOfNaNEnds(t *testing.T) {
	r := Air{10, 1010}.Refraction()
	nan := unit.Angle(math.NaN())
	if a := r.Apparent(nan); !math.IsNaN(a.Rad()) {
		t.Errorf("NaN becomes %v", a)
	}
	// Impossible air, used without asking NewSky, is held at the nearest possible.
	for _, air := range []Air{{-400, 1000}, {10, -5}, {1e9, 1e9}} {
		if x := air.Refraction().True(1); math.IsNaN(x.Rad()) || math.Abs(x.Rad()-1) > 0.01 {
			t.Errorf("%+v: %v", air, x)
		}
	}
}
