package align

import (
	"context"
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
	"trueturn/ephem/say"
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
	s.Field.FWHM, s.Field.Elongation = math.Hypot(cam.FWHM, 0.7)*(1+0.01*r.NormFloat64()), 1
	if n := len(lit); n > 0 { // the middle star's path is much like the others'
		s.Field.Elongation = elongated(math.Hypot(lit[n/2].TrailX, lit[n/2].TrailY), cam.FWHM)
		s.Field.FWHM *= math.Sqrt(s.Field.Elongation)
	}
	if len(s.Field.Stars) < 3 {
		s.Field.Condition = star.NoStars
		s.Err = drift.ErrNoStars
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
	q := elongated(trail, cam.FWHM)
	way := math.Mod(math.Atan2(ts.TrailY, ts.TrailX)+math.Pi, math.Pi)
	return star.Star{X: ts.MeanX + e*r.NormFloat64(), Y: ts.MeanY + e*r.NormFloat64(), XErr: e, YErr: e,
		Flux: ts.Electrons, FWHM: cam.FWHM * math.Sqrt(q), FWHMErr: e, TrailPx: trail, TrailPxErr: 3 * e,
		Elongation: q, ElongationErr: e / cam.FWHM, Angle: unit.Angle(way), AngleErr: unit.Angle(min(e/max(trail, 1e-9), 0.9))}
}

// elongated is how much longer than wide a star of a width is drawn by a path.
func elongated(path, fwhm float64) float64 { return math.Sqrt(1 + path*path*8*math.Ln2/(12*fwhm*fwhm)) }

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
		if s.Kind.Of() != OfMeasure {
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
		fmt.Fprintf(&b, "\n  %s (%d from %s): %s", s.Kind, len(s.Files), first, s.Says)
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
	n := 3
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

// TestWithoutSite: what the stars alone tell.
func TestWithoutSite(t *testing.T) {
	for _, c := range []struct {
		name  string
		set   func(e *simulate.Evening)
		mix   func(t testing.TB, e simulate.Evening, q drift.Sequence)
		want  string
		first int
	}{
		{"sound", func(*simulate.Evening) {}, nil, "[]", 0},
		{"5° off", func(e *simulate.Evening) { e.Mount.AzimuthError = unit.AngleFromDeg(5) }, nil, "[]", 0},
		{"no motor", func(e *simulate.Evening) { e.Mount.Rate = 0 }, nil, "[not turning]", 0},
		{"no mount", func(e *simulate.Evening) { e.Mount.Tripod = true }, nil, "[not turning]", 0},
		{"backward", func(e *simulate.Evening) { e.Mount.Rate = -1 }, nil, "[wrong hemisphere]", 0},
		{"half rate", func(e *simulate.Evening) { e.Mount.Rate = 0.5 }, nil, "[wrong rate]", 0},
		{"another field", func(*simulate.Evening) {}, strange, "[other field]", 5},
		{"crop", func(e *simulate.Evening) { e.Handling.Crops = []simulate.Crop{{Frame: 4, Factor: 1.5}} }, nil, "[re-aimed]", 4},
		{"cloud", func(e *simulate.Evening) { e.Conditions.Clouds.Gaps = []int{2, 3} }, nil, "[cloud]", 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, lat := range []float64{46, -33} {
				e := restless(practice(t, lat), 4)
				e.Count = 8
				c.set(&e)
				q := sessionOf(t, e)
				if c.mix != nil {
					c.mix(t, e, q)
				}
				found := Situations(q, nil, nil, nil)
				if got := fmt.Sprint(kindsOf(found)); got != c.want {
					t.Errorf("latitude %v: got %s, want %s%s", lat, got, c.want, texts(found))
				} else if c.want != "[]" && found[0].Files[0] != e.File(c.first) {
					t.Errorf("latitude %v: first picture %s, want %s", lat, found[0].Files[0], e.File(c.first))
				}
			}
		})
	}
}

// TestWeakDirection: one patch leaves its own hour circle's direction weak – altitude on the
// meridian, azimuth six hours from it (design §4) – and the patch advised must cure it.
func TestWeakDirection(t *testing.T) {
	for _, c := range []struct {
		name            string
		latitude        float64
		azimuth, height float64
		weak            say.Key
		toward          []float64 // azimuths
	}{
		{"north, meridian", 46, 180, 45, "mostly tilt", []float64{90, 270}},
		{"north, east", 46, 75, 25, "mostly base", []float64{0, 180, 360}},
		{"north, west", 46, 285, 25, "mostly base", []float64{0, 180, 360}},
		{"south, meridian", -33, 0, 45, "mostly tilt", []float64{90, 270}},
		{"south, east", -33, 105, 25, "mostly base", []float64{0, 180, 360}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, err := practice(t, c.latitude).Aimed(horizontal(c.azimuth, c.height))
			if err != nil {
				t.Fatal(err)
			}
			// A long lens on a small camera: fine across the view, coarse about it.
			e.Camera = simulate.Small(300, 4, 3.9, 6000, 4000)
			e.Count = 10
			s := estimatedSession(t, e)
			if along, ratio := weakAlong(*s.a); along.Key != c.weak || ratio < 2 {
				t.Errorf("weak along %q by %.1f, want %s", along, ratio, c.weak)
			}
			at, _ := s.otherPatch()
			if !slices.ContainsFunc(c.toward, func(az float64) bool { return math.Abs(at.Azimuth.Deg()-az) < 67.5 }) {
				t.Errorf("the cure is toward %.0f°, want one of %v", at.Azimuth.Deg(), c.toward)
			}
			if cure := s.cure(); cure.Key != "pictures toward" || cure.With[0] != say.Wind(at.Azimuth) {
				t.Errorf("the cure is %v, want %v", cure, at)
			}
			target, roll, err := e.Seen(at, e.MidOf(5))
			if err != nil {
				t.Fatal(err)
			}
			e.Handling.ReAims = []simulate.ReAim{{Frame: 5, Target: target, Roll: roll}}
			if before, after := s.a.WorstSigma(), estimatedSession(t, e).a.WorstSigma(); after > 0.8*before {
				t.Errorf("half the pictures on the patch advised leave ± %.3f′ of ± %.3f′", after.Min(), before.Min())
			} else {
				t.Logf("± %.3f′ becomes ± %.3f′ with half the pictures on the patch advised", before.Min(), after.Min())
			}
		})
	}
}

// estimatedSession is a session with its axis.
func estimatedSession(t *testing.T, e simulate.Evening) *session {
	q := sessionOf(t, e)
	h, err := q.Horizon(e.Site, e.Air)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Estimate(FromHorizon(h))
	if err != nil {
		t.Fatal(err)
	}
	return newSession(q, &h, &a)
}

// TestTooShort: degrees turned count, not minutes.
func TestTooShort(t *testing.T) {
	e := practice(t, 46).Realistic()
	e.Count = 4
	if _, found := judge(t, e, sessionOf(t, e)); !names(found, KindTooShort) {
		t.Errorf("a minute at a quarter of a degree is enough?%s", texts(found))
	}
	e.Mount.Swings = swings(0, 25, -50, 24)
	if _, found := judge(t, e, sessionOf(t, e)); names(found, KindTooShort) {
		t.Errorf("a minute with swings is too short?%s", texts(found))
	}
}

// TestNothingToJudge: the poorest sequences name nothing and upset nothing.
func TestNothingToJudge(t *testing.T) {
	e := practice(t, 46)
	e.Count = 2
	two := sessionOf(t, e)
	timeless := sessionOf(t, e)
	for i := range timeless.Shots {
		timeless.Shots[i].Clock = nil
	}
	same := drift.Sequence{Shots: []drift.Shot{two.Shots[0], two.Shots[0], two.Shots[0], two.Shots[0], two.Shots[0], two.Shots[0]}}
	for name, q := range map[string]drift.Sequence{
		"none": {}, "unmeasured": {Shots: make([]drift.Shot, 3)}, "one": {Shots: two.Shots[:1]}, "two": two, "no clock": timeless, "the same six times": same,
	} {
		t.Run(name, func(t *testing.T) {
			if found := Situations(q, nil, nil, nil); len(found) > 0 {
				t.Errorf("found%s", texts(found))
			}
			h, err := q.Horizon(e.Site, e.Air)
			if err != nil {
				t.Fatal(err)
			}
			a, err := Estimate(FromHorizon(h))
			for _, axis := range []*Axis{nil, &a} {
				if found := Situations(q, &h, axis, err); len(kindsOf(found)) > 0 {
					t.Errorf("found%s", texts(found))
				}
			}
		})
	}
}

func horizontal(azimuthDeg, altitudeDeg float64) ephem.Horizontal {
	return ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuthDeg), Altitude: unit.AngleFromDeg(altitudeDeg)}
}
