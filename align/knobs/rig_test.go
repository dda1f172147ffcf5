package knobs

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// The evenings below are invented. A simulated mount's exact star places get noise and are solved as
// pictures are; nothing is rendered.

// rig is a mount in the dark, its camera, and what the pictures so far have told.
type rig struct {
	t       testing.TB
	e       simulate.Evening
	r       *rand.Rand
	q       drift.Sequence
	air     ephem.Air
	near    []solve.Pose
	noisePx float64
	stars   int

	reference time.Time // of the picture the attitudes are carried on from
}

var evening = time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)

// measuring is how many pictures the first measurement takes.
const measuring = 4

// newRig is a practice evening at a latitude; the first measurement is swung by hand unless tracked.
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
	e.Count, e.Seed = 40, seed
	e.Handling.Wander = 0.1
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second, Phase: unit.Angle(seed % 7)}
	for _, d := range []float64{0, 20, 20, -35} {
		e.Mount.Swings = append(e.Mount.Swings, unit.AngleFromDeg(d))
	}
	for _, f := range set {
		f(&e)
	}
	return &rig{t: t, e: e, r: rand.New(rand.NewPCG(seed, 7)), air: ephem.StandardAir(500), noisePx: 0.15, stars: 50}
}

func (g *rig) run() *simulate.Run {
	g.t.Helper()
	run, err := g.e.Begin()
	if err != nil {
		g.t.Fatal(err)
	}
	return run
}

// shoot takes the next picture.
func (g *rig) shoot() {
	g.t.Helper()
	run, i := g.run(), len(g.q.Shots)
	clock := run.Clock(i)
	s := drift.Shot{File: g.e.File(i), Clock: &frame.Clock{Start: clock.Start, Exposure: clock.Exposure},
		Width: g.e.Camera.Width, Height: g.e.Camera.Height}
	s.Field = star.Field{Width: s.Width, Height: s.Height}
	lit, err := run.Stars(i)
	if err != nil {
		g.t.Fatal(err)
	}
	for _, ts := range lit[:min(g.stars, len(lit))] {
		s.Field.Stars = append(s.Field.Stars, star.Star{X: ts.X + g.noisePx*g.r.NormFloat64(), Y: ts.Y + g.noisePx*g.r.NormFloat64(),
			XErr: g.noisePx, YErr: g.noisePx, Flux: ts.Electrons})
	}
	sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: g.e.Camera.FocalPx, Near: g.near, NearWithin: unit.AngleFromDeg(2)})
	if err != nil {
		g.t.Fatalf("picture %d: %v", i, err)
	}
	s.Solution, g.near = &sol, []solve.Pose{sol.Pose}
	g.q.Shots = append(g.q.Shots, s)
}

// measure takes pictures without touching the knobs and finds the axis from them.
func (g *rig) measure(pictures int) Measurement {
	g.t.Helper()
	from := len(g.q.Shots)
	for range pictures {
		g.shoot()
	}
	return g.measured(from)
}

// measured is the axis from the pictures since one.
func (g *rig) measured(from int) Measurement {
	g.t.Helper()
	h, err := drift.Sequence{Shots: g.q.Shots[from:]}.Horizon(g.e.Site, g.air)
	if err != nil {
		g.t.Fatal(err)
	}
	m := Measurement{Input: align.FromHorizon(h)}
	if m.Axis, err = align.Estimate(m.Input); err != nil {
		g.t.Fatal(err)
	}
	m.Aim, err = align.NewAim(align.AimRefracted, g.e.Site, g.air, evening, nil)
	if err != nil {
		g.t.Fatal(err)
	}
	return m
}

// start measures and begins.
func (g *rig) start(o Options) State {
	g.t.Helper()
	s, err := Start(g.measure(measuring), o)
	if err != nil {
		g.t.Fatal(err)
	}
	g.reference = s.Reference.Mid
	return s
}

// picture takes one more, fitted with the lens of all.
func (g *rig) picture() Picture {
	g.t.Helper()
	g.shoot()
	h, err := g.q.Horizon(g.e.Site, g.air)
	if err != nil {
		g.t.Fatal(err)
	}
	last := h.Sights[len(h.Sights)-1]
	p := Picture{Mid: last.Mid, Attitude: last.Attitude, File: g.q.Shots[last.Shot].File}
	for _, x := range h.Sights {
		if x.Mid.Equal(g.reference) {
			p.Reference = x.Attitude
		}
	}
	return p
}

// turn turns the knobs before the next picture, by what the axis really does.
func (g *rig) turn(altitude, azimuth unit.Angle) {
	g.e.Mount.Knobs = append(g.e.Mount.Knobs, simulate.Knob{Frame: len(g.q.Shots), Altitude: altitude, Azimuth: azimuth})
}

// swing turns the axis about itself before the next picture.
func (g *rig) swing(by unit.Angle) {
	for len(g.e.Mount.Swings) <= len(g.q.Shots) {
		g.e.Mount.Swings = append(g.e.Mount.Swings, 0)
	}
	g.e.Mount.Swings[len(g.q.Shots)] = by
}

// truth is where the axis really is in the last picture.
func (g *rig) truth() ephem.Horizontal { return g.run().Axis(len(g.q.Shots) - 1) }

// missed is an axis less the truth on the sky, across and up.
func missed(a align.Axis, truth ephem.Horizontal) (across, up float64) {
	return math.Remainder((a.Azimuth()-truth.Azimuth).Rad(), 2*math.Pi) * math.Cos(truth.Altitude.Rad()), (a.Altitude() - truth.Altitude).Rad()
}

// chi is how far an axis lies off the truth in its own errors, √χ² of two degrees of freedom.
func chi(a align.Axis, truth ephem.Horizontal) float64 {
	x, y := missed(a, truth)
	c := a.Covariance
	det := c[0][0]*c[1][1] - c[0][1]*c[0][1]
	return math.Sqrt((x*x*c[1][1] - 2*x*y*c[0][1] + y*y*c[0][0]) / det)
}

func tilted(deg, towardDeg float64) func(*simulate.Evening) {
	return func(e *simulate.Evening) {
		e.Mount.BaseTilt, e.Mount.BaseTiltToward = unit.AngleFromDeg(deg), unit.AngleFromDeg(towardDeg)
	}
}

// BenchmarkNext: one picture, from attitude to instruction.
func BenchmarkNext(b *testing.B) {
	g := newRig(b, 46, 1)
	s := g.start(Options{})
	g.turn(0, unit.AngleFromMin(48))
	p := g.picture()
	for b.Loop() {
		s.Next(p)
	}
}
