package ephem

import (
	"math"
	"testing"
	"time"
)

// Meeus, Astronomical Algorithms, 2nd ed., chapter 7: example 7.a, p. 61 (launch
// of Sputnik 1) and the table on p. 62.
func TestJulianDate(t *testing.T) {
	const halfMillisecondDays = 0.0005 / 86400
	for _, c := range []struct {
		name string
		time time.Time
		want float64
	}{
		{"4.81 October 1957", time.Date(1957, 10, 4, 19, 26, 24, 0, time.UTC), 2436116.31},
		{"2000 January 1.5", time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC), 2451545.0},
		{"1987 January 27.0", time.Date(1987, 1, 27, 0, 0, 0, 0, time.UTC), 2446822.5},
		{"1988 June 19.5", time.Date(1988, 6, 19, 12, 0, 0, 0, time.UTC), 2447332.0},
		{"1900 January 1.0", time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC), 2415020.5},
	} {
		if got, _, err := JulianDates(c.time); err != nil || math.Abs(got-c.want) > halfMillisecondDays {
			t.Errorf("%s: %.6f, %v, want %.6f", c.name, got, err, c.want)
		}
	}
}

// ΔT = TT − UT: Meeus, table 10.A, p. 79 (1950, 1990), and 32.184 s + 37 leap
// seconds since 2017 (IERS Bulletin C).
func TestDeltaT(t *testing.T) {
	const polynomialS, extrapolatedS = 1, 35 // as JulianDates promises
	for _, c := range []struct {
		year             int
		seconds, withinS float64
	}{
		{1950, 29.1, polynomialS}, {1990, 56.9, polynomialS}, {2026, 69.2, extrapolatedS},
	} {
		ut, tt, err := JulianDates(time.Date(c.year, 1, 1, 0, 0, 0, 0, time.UTC))
		if d := (tt - ut) * 86400; err != nil || math.Abs(d-c.seconds) > c.withinS {
			t.Errorf("%d: %.1f s, %v, want %.1f s", c.year, d, err, c.seconds)
		}
	}
}
