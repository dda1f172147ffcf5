package align

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// The sessions here are made from a run's exact star places with the noise the Cramér–Rao bound
// allows at best, in place of rendered pictures; invented data throughout.

// faintestPx: a star whose place cannot be had to this is not found (signal-to-noise about five).
const faintestPx = 0.22

// shotOf is picture i of a run as measured.
func shotOf(t testing.TB, run *simulate.Run, i int, r *rand.Rand) drift.Shot {
	t.Helper()
	e := run.Evening()
	clock := run.Clock(i)
	cam := e.Camera
	s := drift.Shot{File: e.File(i), Clock: &clock, Width: cam.Width, Height: cam.Height}
	s.Field = star.Field{Width: cam.Width, Height: cam.Height, Background: 0.01}
	lit, err := run.Stars(i)
	if err != nil {
		t.Fatal(err)
	}
	for _, ts := range lit {
		if ts.SigmaPx < faintestPx && len(s.Field.Stars) < 200 {
			s.Field.Stars = append(s.Field.Stars, starOf(ts, cam, r))
		}
	}
	s.Field.FWHM = math.Hypot(cam.FWHM, 0.7) * (1 + 0.01*r.NormFloat64())
	if len(s.Field.Stars) < 3 {
		s.Field.Condition = star.NoStars
		s.Err = &drift.ConditionError{Condition: star.NoStars}
		return s
	}
	sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: cam.FocalPx})
	if s.Err = err; err == nil {
		s.Solution = &sol
	}
	return s
}

// starOf is a star as measured: place and trail with errors.
func starOf(ts simulate.TrueStar, cam simulate.Camera, r *rand.Rand) star.Star {
	e := math.Max(ts.SigmaPx, 0.02)
	trail := math.Abs(math.Hypot(ts.TrailX, ts.TrailY) + 3*e*r.NormFloat64())
	return star.Star{X: ts.MeanX + e*r.NormFloat64(), Y: ts.MeanY + e*r.NormFloat64(), XErr: e, YErr: e,
		Flux: ts.Electrons, FWHM: cam.FWHM * math.Sqrt(math.Sqrt(1+trail*trail/(12*cam.FWHM*cam.FWHM/5.545))), TrailPx: trail, TrailPxErr: 3 * e}
}

func sessionOf(t testing.TB, e simulate.Evening) drift.Sequence {
	t.Helper()
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(e.Seed, 77))
	var q drift.Sequence
	for i := range e.Count {
		q.Shots = append(q.Shots, shotOf(t, run, i, r))
	}
	return q
}

// judge runs the estimator and the naming.
func judge(t testing.TB, e simulate.Evening, q drift.Sequence) (*Axis, []Situation) {
	t.Helper()
	h, err := q.Horizon(e.Site, e.Air)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Estimate(FromHorizon(h))
	if err != nil {
		return nil, Situations(q, &h, nil, err)
	}
	return &a, Situations(q, &h, &a, nil)
}

func practice(t testing.TB, lat float64) simulate.Evening {
	t.Helper()
	site, err := ephem.NewSite(lat, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Mount.AltitudeError = unit.AngleFromMin(25)
	e.Mount.AzimuthError = unit.AngleFromMin(-48)
	return e
}

// kindsOf lists the kinds found but for those that are no fault.
func kindsOf(all []Situation) []string {
	var list []string
	for _, s := range all {
		if s.Kind != KindTooShort && s.Kind != KindWeakDirection {
			list = append(list, string(s.Kind))
		}
	}
	return list
}

func texts(all []Situation) string {
	var b strings.Builder
	for _, s := range all {
		first := ""
		if len(s.Files) > 0 {
			first = s.Files[0]
		}
		fmt.Fprintf(&b, "\n  %s (%d from %s): %s", s.Kind, len(s.Files), first, s.Text)
	}
	return b.String()
}

// restless adds what a sound mount has anyway: wobble 44″/480 s at a phase of its own, stamps of whole
// seconds.
func restless(e simulate.Evening, seed uint64) simulate.Evening {
	e.Seed = seed
	e.Handling.StampStep = time.Second
	e.Every += time.Duration(seed%7) * 130 * time.Millisecond
	e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second, Phase: unit.AngleFromDeg(float64(seed * 67 % 360)), Third: 0.1}
	return e
}

// cleanEvenings are sound sessions of several kinds.
func cleanEvenings() map[string]func(e simulate.Evening) simulate.Evening {
	swing := func(deg ...float64) (list []unit.Angle) {
		for _, d := range deg {
			list = append(list, unit.AngleFromDeg(d))
		}
		return list
	}
	return map[string]func(e simulate.Evening) simulate.Evening{
		"village":   func(e simulate.Evening) simulate.Evening { return e },
		"clean":     func(e simulate.Evening) simulate.Evening { return e.Clean() },
		"realistic": func(e simulate.Evening) simulate.Evening { return e.Realistic() },
		"realistic swing": func(e simulate.Evening) simulate.Evening {
			e = e.Realistic()
			e.Count = 6
			e.Mount.Swings = swing(0, 0, 25, -55, 0, 28)
			return e
		},
		"clean swing": func(e simulate.Evening) simulate.Evening {
			e = e.Clean()
			e.Count = 5
			e.Mount.Swings = swing(0, 25, -50, 24)
			return e
		},
		"long": func(e simulate.Evening) simulate.Evening {
			e = e.Realistic()
			e.Count, e.Every = 25, 40*time.Second
			return e
		},
	}
}

// TestSoundSessions holds the rate of false alarms. TRUETURN_STUDY=n runs n sessions of each kind and site.
func TestSoundSessions(t *testing.T) {
	n := 4
	if s := os.Getenv("TRUETURN_STUDY"); s != "" {
		fmt.Sscan(s, &n)
	}
	sessions, alarms := 0, 0
	legit := map[Kind]int{}
	for name, set := range cleanEvenings() {
		for _, lat := range []float64{46, -33} {
			for seed := range uint64(n) {
				e := restless(set(practice(t, lat)), seed+1)
				_, found := judge(t, e, sessionOf(t, e))
				sessions++
				for _, s := range found {
					legit[s.Kind]++
				}
				if k := kindsOf(found); len(k) > 0 {
					alarms++
					t.Logf("%s, latitude %v, seed %d: %v%s", name, lat, seed, k, texts(found))
				}
			}
		}
	}
	t.Logf("%d sound sessions, %d false alarms; %v", sessions, alarms, legit)
	if allowed := sessions / 100; alarms > allowed {
		t.Errorf("%d false alarms in %d sound sessions, want at most %d", alarms, sessions, allowed)
	}
}

var _ = errors.Is
var _ = slices.Sort[[]int]

func horizontal(azimuthDeg, altitudeDeg float64) ephem.Horizontal {
	return ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuthDeg), Altitude: unit.AngleFromDeg(altitudeDeg)}
}
