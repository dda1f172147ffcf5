package align_test

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem"
)

// besidePole is an axis a degree above and a degree and a half east of a site's elevated pole.
func besidePole(s ephem.Site) r3.Vec {
	h := ephem.Horizontal{Altitude: unit.AngleFromDeg(math.Abs(s.Latitude.Deg()) + 1), Azimuth: unit.AngleFromDeg(1.5)}
	if s.Latitude < 0 {
		h.Azimuth = unit.AngleFromDeg(178.5)
	}
	return h.Direction()
}

func siteAt(t *testing.T, lat, lon float64) ephem.Site {
	t.Helper()
	s, err := ephem.NewSite(lat, lon, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The closed forms against the sky itself, held to ERFA elsewhere (ephem): the star at which the axis points is the same
// whatever place and time it is looked up for. Without air, which the closed forms leave as it is.
func TestClockAndSiteMoveTheAxis(t *testing.T) {
	at := time.Date(2026, 11, 25, 21, 30, 0, 0, time.UTC)
	vacuum := ephem.Air{}
	// Annual aberration turns with the sky; the daily one, 0.3″ at most, does not, nor is the pole of date quite that of aberration.
	const agree = 1 * ephem.Arcsec
	for _, row := range []struct {
		name         string
		lat, lon     float64
		toLat, toLon float64
		later        time.Duration
	}{
		{"an hour", 46, 7.75, 46, 7.75, time.Hour},
		{"five and a half hours back", 46, 7.75, 46, 7.75, -330 * time.Minute},
		{"an hour in the south", -33.9, 18.4, -33.9, 18.4, time.Hour},
		{"a degree of latitude", 46, 7.75, 47, 7.75, 0},
		{"east", 46, 7.75, 46, 22.75, 0},
		{"west across the date line", 46, -178, 46, 178, 0},
		{"the other hemisphere", 46, 7.75, -46, 7.75, 0},
		{"exchanged", 46, 7.75, 7.75, 46, 0},
		{"from the south", -33.9, 18.4, 33.9, -18.4, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			from, to := siteAt(t, row.lat, row.lon), siteAt(t, row.toLat, row.toLon)
			here, err := ephem.NewSky(from, vacuum, at)
			if err != nil {
				t.Fatal(err)
			}
			there, err := ephem.NewSky(to, vacuum, at.Add(row.later))
			if err != nil {
				t.Fatal(err)
			}
			axis := besidePole(from)
			want := there.True(here.ICRS(axis))
			got := align.ClockMoves(axis, align.NorthPole(from.Latitude), row.later)
			if row.later == 0 {
				got = align.SiteMoves(axis, from, to)
				if (row.lat < 0) != (row.toLat < 0) {
					want = r3.Scale(-1, want)
				}
			}
			if off := unit.Angle(r3.Norm(r3.Sub(got, want))); off > agree {
				t.Errorf("%s from where the sky puts it", align.Arc(off))
			}
		})
	}
}

// An hour turns an axis 60′ from the pole by 15.041°: 2·60′·sin(7.52°) = 15.7′ (design §3 says 16′).
func TestHourAtADegree(t *testing.T) {
	north := align.NorthPole(unit.AngleFromDeg(46))
	high := ephem.Horizontal{Altitude: unit.AngleFromDeg(47)}.Direction()
	moved := r3.Sub(align.ClockMoves(high, north, time.Hour), high)
	if got := unit.Angle(2 * math.Asin(r3.Norm(moved)/2)).Min(); math.Abs(got-15.706) > 0.01 {
		t.Errorf("moved by %.3f′, want 15.71′", got)
	}
	if moved.X >= 0 {
		t.Error("an axis above the pole must go west, as the stars do there")
	}
}
