package night

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// TestNext: the first night that does, against every night of a year looked at minute by minute with astropy
// (testdata/authorities/night_next.py, which leaves refraction out).
func TestNext(t *testing.T) {
	// Refraction lifts a target by 2′ at 25°, which one that climbs by a degree in five minutes does in ten seconds, and one
	// near its highest in a minute.
	const near = time.Minute
	for _, r := range reference(t, "night_next.csv") {
		t.Run(r.value["name"], func(t *testing.T) {
			r.t = t
			site, err := ephem.NewSite(r.number("lat"), r.number("lon"), r.number("height_m"))
			if err != nil {
				t.Fatal(err)
			}
			o := Options{}
			if r.value["ra_deg"] != "" {
				d := ephem.Direction(unit.RAFromDeg(r.number("ra_deg")), unit.AngleFromDeg(r.number("dec_deg")))
				o.Target, o.MinAltitude = &d, unit.AngleFromDeg(r.number("limit_deg"))
			}
			least := time.Duration(r.number("least_min")) * time.Minute
			n, on, ok, err := Next(site, ephem.StandardAir(site.HeightM), r.time("from", time.DateOnly), 366, o, least)
			if err != nil {
				t.Fatal(err)
			}
			if r.value["night"] == "never" {
				if ok {
					t.Errorf("found the night of %s, want none", on.Format(time.DateOnly))
				}
				return
			}
			if !ok || on.Format(time.DateOnly) != r.value["night"] {
				t.Fatalf("found %v, the night of %s, want that of %s", ok, on.Format(time.DateOnly), r.value["night"])
			}
			s := n.Use()
			for _, end := range []struct {
				got  time.Time
				want time.Time
			}{{s.From, r.time("begin_utc", time.RFC3339)}, {s.To, r.time("end_utc", time.RFC3339)}} {
				if d := end.got.Sub(end.want); d.Abs() > near {
					t.Errorf("from %v to %v, want from %s to %s", s.From, s.To, r.value["begin_utc"], r.value["end_utc"])
				}
			}
		})
	}
}

// TestNextMissesNone: no night that does is dismissed unseen: over months in which targets come and go, and darkness far
// north, every night is worked out whole.
func TestNextMissesNone(t *testing.T) {
	t.Parallel()
	nights := 40
	if testing.Short() {
		nights = 10
	}
	for _, c := range []struct {
		name                        string
		latitude, ra, dec, limitDeg float64
		date                        time.Time
		least                       time.Duration
	}{
		{"Orion comes back in the morning", 46, 83.85, -5.45, 25, time.Date(2026, 8, 25, 0, 0, 0, 0, time.UTC), 20 * time.Minute},
		{"far north, as darkness returns", 66, 10.7, 41.3, 25, time.Date(2026, 8, 20, 0, 0, 0, 0, time.UTC), 3 * time.Hour},
		{"low in the south, far south", -52, 270, 38, 0, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, err := ephem.NewSite(c.latitude, 20, 100)
			if err != nil {
				t.Fatal(err)
			}
			d := ephem.Direction(unit.RAFromDeg(c.ra), unit.AngleFromDeg(c.dec))
			air := ephem.StandardAir(100)
			o := Options{Target: &d, MinAltitude: unit.AngleFromDeg(c.limitDeg)}
			w := &watch{site: site, air: air, target: &d}
			does, could := 0, 0
			for i := range nights {
				on := c.date.AddDate(0, 0, i)
				n, err := Of(site, air, on.Year(), on.Month(), on.Day(), o)
				if err != nil {
					t.Fatal(err)
				}
				s := n.Use()
				good, worth := s != nil && s.Length() >= c.least, w.could(on, o, c.least)
				if good && !worth {
					t.Errorf("the night of %s is dismissed, and does from %v to %v", on.Format(time.DateOnly), s.From, s.To)
				}
				if good {
					does++
				}
				if worth {
					could++
				}
			}
			t.Logf("%d of %d nights do, %d were worth working out", does, nights, could)
			if !testing.Short() && (does == 0 || does == nights) {
				t.Errorf("%d of %d nights do: the change is not among them", does, nights)
			}
		})
	}
}

// TestNextEnds: with the years the theories hold for, and with what no night can do.
func TestNextEnds(t *testing.T) {
	site, err := ephem.NewSite(60, 20, 100)
	if err != nil {
		t.Fatal(err)
	}
	low := ephem.Direction(0, unit.AngleFromDeg(-60)) // never above the horizon there
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	if _, _, ok, err := Next(site, ephem.StandardAir(100), start, 366, Options{Target: &low}, time.Minute); ok || err != nil {
		t.Errorf("a target that never rises: %v, %v", ok, err)
	}
	if _, _, _, err := Next(site, ephem.StandardAir(100), time.Date(2100, 12, 20, 0, 0, 0, 0, time.UTC), 30, Options{Target: &low}, time.Minute); err == nil {
		t.Error("no error beyond the year 2100")
	}
	if _, _, _, err := Next(site, ephem.StandardAir(100), start, 1, Options{MinAltitude: unit.Angle(math.NaN())}, time.Minute); err == nil {
		t.Error("a limit that is no number was taken")
	}
}
