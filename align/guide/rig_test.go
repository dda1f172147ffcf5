package guide

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// The evenings below are invented. A simulated mount's exact star places and trails get noise and are
// solved as pictures are; nothing is rendered.

// rig is a mount in the dark and its camera.
type rig struct {
	t       testing.TB
	e       simulate.Evening
	r       *rand.Rand
	near    []solve.Pose
	noisePx float64
	stars   int
	fwhm    float64
	taken   int
}

var evening = time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)

// newRig is a practice evening at a latitude, nobody's hand on it.
func newRig(t testing.TB, latitudeDeg float64, seed uint64, set ...func(*simulate.Evening)) *rig {
	t.Helper()
	site, err := ephem.NewSite(latitudeDeg, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, evening)
	if err != nil {
		t.Fatal(err)
	}
	e.Count, e.Seed = 60, seed
	e.Handling.Wander = 0.1
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second, Phase: unit.Angle(seed % 7)}
	for _, f := range set {
		f(&e)
	}
	return &rig{t: t, e: e, r: rand.New(rand.NewPCG(seed, 7)), noisePx: 0.15, stars: 50, fwhm: 2.6}
}

func (g *rig) run() *simulate.Run {
	g.t.Helper()
	run, err := g.e.Begin()
	if err != nil {
		g.t.Fatal(err)
	}
	return run
}

// options know the site.
func (g *rig) options() Options {
	site := g.e.Site
	return Options{Answer: answer.Options{Site: &site, Planned: 30 * time.Second}}
}

// shoot takes the next picture.
func (g *rig) shoot() drift.Shot {
	g.t.Helper()
	run, i := g.run(), g.taken
	g.taken++
	clock := run.Clock(i)
	s := drift.Shot{File: g.e.File(i), Clock: &frame.Clock{Start: clock.Start, Exposure: clock.Exposure},
		Width: g.e.Camera.Width, Height: g.e.Camera.Height}
	s.Field = star.Field{Width: s.Width, Height: s.Height, FWHM: g.fwhm, Elongation: 1.05}
	lit, err := run.Stars(i)
	if err != nil {
		g.t.Fatal(err)
	}
	for _, ts := range lit[:min(g.stars, len(lit))] {
		s.Field.Stars = append(s.Field.Stars, g.seen(ts))
	}
	sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: g.e.Camera.FocalPx, Near: g.near, NearWithin: unit.AngleFromDeg(2)})
	if err != nil {
		g.t.Fatalf("picture %d: %v", i, err)
	}
	s.Solution, g.near = &sol, []solve.Pose{sol.Pose}
	return s
}

// seen is a star as it would be measured: its place with noise, its shape as its trail draws it out.
func (g *rig) seen(ts simulate.TrueStar) star.Star {
	trail := math.Hypot(ts.TrailX, ts.TrailY)
	e := exposure.ElongationOf(trail, g.fwhm) * (1 + 0.02*math.Abs(g.r.NormFloat64()))
	return star.Star{X: ts.X + g.noisePx*g.r.NormFloat64(), Y: ts.Y + g.noisePx*g.r.NormFloat64(), XErr: g.noisePx, YErr: g.noisePx,
		Flux: ts.Electrons, FluxErr: ts.Electrons / 50, FWHM: g.fwhm * math.Sqrt(e), FWHMErr: 0.02 * g.fwhm, Elongation: e, ElongationErr: 0.03, TrailPx: trail, TrailPxErr: 0.1,
		Angle: unit.Angle(math.Mod(math.Atan2(ts.TrailY, ts.TrailX)+math.Pi, math.Pi))}
}
