package align

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/simulate"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// nightly is a swung session at a site of which the Sun is known to be down, by the simulator's own clock.
func nightly(t *testing.T, lat float64, set func(e *simulate.Evening)) (simulate.Evening, *simulate.Run) {
	t.Helper()
	e := practiceAt(t, lat)
	e.Count = 9
	e.Mount.Swings = degrees(0, 25, 20, -45, -30, 60, 0, -30, 0)
	set(&e)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return e, run
}

// placeOf is what is said of place and clock at a site.
func placeOf(t *testing.T, e simulate.Evening, run *simulate.Run, site ephem.Site) []Situation {
	t.Helper()
	q := measured(t, run, e.Count, 0.03, 200, rand.New(rand.NewPCG(5, 6)))
	h, err := q.Horizon(site, e.Air)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Estimate(FromHorizon(h))
	if err != nil {
		t.Fatal(err)
	}
	return newSession(q, &h, &a).placeAndClock()
}

// The sky says little of place and clock, and nothing wrong: with the Sun up or the air lifting otherwise it asks, and a
// sound session is never asked.
func TestPlaceAndClock(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		set  func(e *simulate.Evening)
		site func(s ephem.Site) ephem.Site
		kind Kind    // empty: nothing is said
		says say.Key // among others
	}{
		{name: "sound"},
		{name: "clock twelve hours fast", set: func(e *simulate.Evening) { e.Handling.ClockError = 12 * time.Hour }, kind: KindClock, says: "below the horizon"},
		{name: "longitude on the other side", site: func(s ephem.Site) ephem.Site { s.Longitude += unit.AngleFromDeg(170); return s }, kind: KindClock, says: "below the horizon"},
		{name: "latitude's sign", site: func(s ephem.Site) ephem.Site { s.Latitude = -s.Latitude; return s }, kind: KindSite, says: "with latitude's sign changed"},
	} {
		for _, lat := range bothHemispheres {
			t.Run(c.name, func(t *testing.T) {
				set := c.set
				if set == nil {
					set = func(*simulate.Evening) {}
				}
				e, run := nightly(t, lat, set)
				site := e.Site
				if c.site != nil {
					site = c.site(site)
				}
				found := placeOf(t, e, run, site)
				switch {
				case c.kind == "" && len(found) > 0, c.kind != "" && (len(found) != 1 || found[0].Kind != c.kind || !strings.Contains(found[0].Says.String(), string(c.says))):
					t.Errorf("latitude %v: want %q %q, found%s", lat, c.kind, c.says, texts(found))
				}
			})
		}
	}
}

// The zenith of another place and a slow clock, from the closed form, against the sky worked out there and then.
func TestOverheadZenith(t *testing.T) {
	for _, lat := range bothHemispheres {
		e, run := nightly(t, lat, func(*simulate.Evening) {})
		q := measured(t, run, e.Count, 0.03, 200, rand.New(rand.NewPCG(5, 6)))
		h, err := q.Horizon(e.Site, e.Air)
		if err != nil {
			t.Fatal(err)
		}
		s := newSession(q, &h, nil)
		skies, err := s.overheads()
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range []alternative{{site: e.Site, shift: 90 * time.Minute}, {site: e.Site, shift: -5 * time.Hour},
			{site: ephem.Site{Latitude: -e.Site.Latitude, Longitude: 2, HeightM: 500}, shift: time.Hour}} {
			sky, err := ephem.NewSky(a.site, e.Air, s.in.Samples[0].Mid.Add(a.shift))
			if err != nil {
				t.Fatal(err)
			}
			got, want := skies[0].zenith(e.Site, a), sky.ICRS(r3.Vec{Z: 1})
			const second = 60 // ″: aberration differs by up to 41″, refraction of the pole is rounded
			if off := unit.Angle(r3.Norm(r3.Sub(got, want))).Sec(); off > second {
				t.Errorf("latitude %v, %v: %.0f″ off", lat, a.shift, off)
			}
		}
	}
}
