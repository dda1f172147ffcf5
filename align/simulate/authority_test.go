package simulate

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// Everything between a star's right ascension and its pixel, against astropy:
// testdata/tripod_astropy.csv, made by the script beside it.
func TestTripodAgreesWithAstropy(t *testing.T) {
	// ephem agrees with ERFA to 0.4″, and both ends of the camera's aim and of
	// the star may differ: 0.5″ at 31″ a pixel.
	const tolerancePx = 0.5 / 31
	for _, s := range []struct {
		name                   string
		latDeg, lonDeg, height float64
	}{{"north", 47.2, 11.4, 600}, {"south", -33.4, 18.9, 250}} {
		t.Run(s.name, func(t *testing.T) {
			r := begin(t, tripodOfAstropy(t, s.latDeg, s.lonDeg, s.height))
			rows := astropyRows(t, s.name)
			if len(rows) != 20 {
				t.Fatalf("%d rows", len(rows))
			}
			for _, row := range rows {
				m, err := r.moment(row.after/180*9, 0.5)
				if err != nil {
					t.Fatal(err)
				}
				var x, y float64
				for _, c := range r.near(0, m, 2000) {
					if int(c.HIP) == row.hip {
						x, y, _ = m.place(c.Direction)
					}
				}
				if d := math.Hypot(x-row.x, y-row.y); d > tolerancePx {
					t.Errorf("HIP %d after %d s at %.3f, %.3f; astropy %.3f, %.3f", row.hip, row.after, x, y, row.x, row.y)
				}
			}
		})
	}
}

// tripodOfAstropy is the camera of the script.
func tripodOfAstropy(t *testing.T, latDeg, lonDeg, height float64) Evening {
	t.Helper()
	e := small(t)
	var err error
	if e.Site, err = ephem.NewSite(latDeg, lonDeg, height); err != nil {
		t.Fatal(err)
	}
	e.Air = ephem.Air{TemperatureC: 5, PressureHPa: 940}
	e.Start = time.Date(2026, 1, 10, 20, 0, 0, 0, time.UTC)
	e.Camera = Camera{Width: 2000, Height: 1500, FocalPx: 6644.5, FWHM: 2.5, ZeroPoint: 1e5, FullScale: 1e3}
	e.Mount = Mount{Tripod: true}
	e.Target = Target{unit.RAFromDeg(65), unit.AngleFromDeg(18)}
	sky, err := e.sky(e.aimedAt())
	if err != nil {
		t.Fatal(err)
	}
	h := ephem.HorizontalOf(sky.Apparent(e.Target.direction()))
	if _, e.Roll, err = e.Seen(h, e.aimedAt()); err != nil { // upright
		t.Fatal(err)
	}
	return e
}

type astropyRow struct {
	after, hip int
	x, y       float64
}

func astropyRows(t *testing.T, site string) (list []astropyRow) {
	t.Helper()
	f, err := os.Open("testdata/tripod_astropy.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, cells := range table[1:] {
		if cells[0] != site {
			continue
		}
		var v [4]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(cells[k+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		list = append(list, astropyRow{int(v[0]), int(v[1]), v[2], v[3]})
	}
	return list
}
