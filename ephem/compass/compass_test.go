package compass

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

func midYear(year float64) time.Time {
	begin := time.Date(int(year), 1, 1, 0, 0, 0, 0, time.UTC)
	return begin.Add(begin.AddDate(1, 0, 0).Sub(begin) / 2)
}

func place(t *testing.T, lat, lon, heightM float64) ephem.Site {
	t.Helper()
	s, err := ephem.NewSite(lat, lon, heightM)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestAgainstFORTRAN: testdata/authorities/compass_igrf.csv holds what the IAGA's own program prints, D to 0.01° and H to 1 nT (how it
// came there: compass_igrf.py). Tolerance: half of the last digit of D, and half a nanotesla across the needle, as the program
// rounds the components; 1 nT of H.
func TestAgainstFORTRAN(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "authorities", "compass_igrf.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 40 {
		t.Fatalf("%d lines, %v", len(all), err)
	}
	for i, record := range all[1:] {
		var v [6]float64
		for j := range v {
			if v[j], err = strconv.ParseFloat(record[j], 64); err != nil {
				t.Fatal(err)
			}
		}
		name := fmt.Sprintf("compass_igrf.csv:%d", i+3)
		got, err := At(place(t, v[0], v[1], v[2]*1000), midYear(v[3]))
		if math.Abs(v[0]) == 90 {
			if !errors.Is(err, ErrNoNorth) {
				t.Errorf("%s: %v, want %v", name, err, ErrNoNorth)
			}
			continue
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		rounding := 0.0051 + 0.5/v[5]*180/math.Pi
		if d := math.Remainder(got.Declination.Deg()-v[4], 360); math.Abs(d) > rounding {
			t.Errorf("%s: declination %.4f°, want %.2f° ± %.4f°", name, got.Declination.Deg(), v[4], rounding)
		}
		if math.Abs(got.HorizontalNT-v[5]) > 1 {
			t.Errorf("%s: %.1f nT, want %.0f", name, got.HorizontalNT, v[5])
		}
	}
}

// TestAgainstWMM: the World Magnetic Model 2025 is another model of the same field; its report's test values for 2025.0 at the
// ellipsoid (NOAA and BGS; from memory) differ from ours by less than a fifth of the error claimed for either.
func TestAgainstWMM(t *testing.T) {
	for _, row := range []struct{ lat, lon, want float64 }{{80, 0, 1.28}, {0, 120, -0.16}, {-80, -120, 68.78}} {
		got, err := At(place(t, row.lat, row.lon, 0), time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		if d := got.Declination.Deg() - row.want; math.Abs(d) > got.Sigma.Deg()/5 {
			t.Errorf("%v, %v: %.2f°, want %.2f° within %.2f°", row.lat, row.lon, got.Declination.Deg(), row.want, got.Sigma.Deg()/5)
		}
	}
}

// TestDates: the library panics at 2030.0 and for dates that are none; nothing of that may reach anybody.
func TestDates(t *testing.T) {
	site := place(t, 46, 7.75, 1600)
	for _, row := range []struct {
		name string
		at   time.Time
		ok   bool
	}{
		{"first instant", time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC), true},
		{"last second", time.Date(2029, 12, 31, 23, 59, 59, 0, time.UTC), true},
		{"before", time.Date(1899, 12, 31, 23, 59, 59, 0, time.UTC), false},
		{"last nanosecond, which rounds up", time.Date(2029, 12, 31, 23, 59, 59, 999999999, time.UTC), false},
		{"the end", time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), false},
		{"another zone's 2029", time.Date(2029, 12, 31, 23, 0, 0, 0, time.FixedZone("", -5*3600)), false},
		{"zero", time.Time{}, false},
		{"far future", time.Date(292277026596, 1, 1, 0, 0, 0, 0, time.UTC), false},
	} {
		f, err := At(site, row.at)
		if (err == nil) != row.ok || err != nil && (!errors.Is(err, ErrDate) || amiss.Ways(err) == nil) {
			t.Errorf("%s: %v", row.name, err)
		}
		if err == nil && math.IsNaN(f.Declination.Rad()+f.Sigma.Rad()+f.PerYear.Rad()) {
			t.Errorf("%s: %+v", row.name, f)
		}
	}
}

// TestReading: a needle that points 10° east of north makes true north read 350°: declination is added to what the compass shows to
// get the true azimuth (common practice, no source).
func TestReading(t *testing.T) {
	for _, row := range []struct{ declination, azimuth, want float64 }{
		{10, 0, 350}, {-10, 0, 10}, {10, 180, 170}, {-10, 359, 9}, {-120, 0, 120}, {0, 0, 0},
	} {
		f := Field{Declination: unit.AngleFromDeg(row.declination)}
		if got := f.Reading(unit.AngleFromDeg(row.azimuth)).Deg(); math.Abs(got-row.want) > 1e-9 {
			t.Errorf("declination %v°, azimuth %v°: reads %v°, want %v°", row.declination, row.azimuth, got, row.want)
		}
	}
}

// TestSigma: the formula of the World Magnetic Model 2025 by hand (from memory), and never more than all the way round.
func TestSigma(t *testing.T) {
	for _, row := range []struct{ horizontalNT, year, wantDeg float64 }{
		{20000, 2026, 0.3755}, {40000, 2026, 0.2932}, {5000, 2026, 1.1142}, {20000, 1950, 0.4723}, {0, 2026, 180}, {1e-9, 1950, 180},
	} {
		if got := sigma(row.horizontalNT, row.year).Deg(); math.Abs(got-row.wantDeg) > 0.0001 {
			t.Errorf("%g nT in %g: %.4f°, want %.4f°", row.horizontalNT, row.year, got, row.wantDeg)
		}
	}
}

// TestTrust: at the magnetic pole of 2020 (NOAA; from the file of the FORTRAN program) a compass fails, in Europe it points.
func TestTrust(t *testing.T) {
	for _, row := range []struct {
		name     string
		lat, lon float64
		want     Trust
	}{{"magnetic pole", 86.494, 162.867, Fails}, {"between", 80.7, -72.7, Sluggish}, {"Alps", 46, 7.75, Points}} {
		f, err := At(place(t, row.lat, row.lon, 0), midYear(2020))
		if err != nil || f.Trust() != row.want {
			t.Errorf("%s: %v (%.0f nT), %v, want %v", row.name, f.Trust(), f.HorizontalNT, err, row.want)
		}
	}
	if (Field{HorizontalNT: math.NaN()}).Trust() != Fails {
		t.Error("an unknown field is trusted")
	}
}

func FuzzAt(f *testing.F) {
	f.Add(46.0, 7.75, 1600.0, int64(1795600000), int64(0))
	f.Add(-90.0, 180.0, -500.0, int64(1893455999), int64(999999999))
	f.Add(math.NaN(), math.Inf(1), 1e300, int64(math.MinInt64), int64(-1))
	f.Add(89.99, -180.0, 9000.0, int64(-2208988800), int64(0))
	f.Fuzz(func(t *testing.T, lat, lon, heightM float64, s, ns int64) {
		site := ephem.Site{Latitude: unit.AngleFromDeg(lat), Longitude: unit.AngleFromDeg(lon), HeightM: heightM}
		field, err := At(site, time.Unix(s, ns))
		if err != nil {
			return
		}
		if !(math.Abs(field.Declination.Deg()) <= 180) || !(field.Sigma > 0) || !(field.HorizontalNT >= 0) || math.IsNaN(field.PerYear.Rad()) {
			t.Errorf("%+v", field)
		}
	})
}

func ExampleAt() {
	site, _ := ephem.ParseSite("46.02,7.75,1620")
	f, _ := At(site, time.Date(2026, 11, 25, 21, 30, 0, 0, time.UTC))
	fmt.Printf("the needle points %.1f° ± %.1f° east of north; true north reads %.0f°\n", f.Declination.Deg(), f.Sigma.Deg(), f.Reading(0).Deg())
	// Output: the needle points 3.4° ± 0.4° east of north; true north reads 357°
}
