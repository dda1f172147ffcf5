package align

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// measured makes a sequence from a run's exact star places with noise added, in
// place of rendering and measuring pictures.
func measured(t testing.TB, run *simulate.Run, count int, noisePx float64, stars int, r *rand.Rand) drift.Sequence {
	t.Helper()
	var q drift.Sequence
	for i := range count {
		s := drift.Shot{File: run.Evening().File(i), Clock: &frame.Clock{Start: run.Evening().StartOf(i), Exposure: run.Evening().Exposure}}
		cam := run.Evening().Camera
		s.Width, s.Height = cam.Width, cam.Height
		s.Field = star.Field{Width: cam.Width, Height: cam.Height}
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		for _, ts := range lit {
			if len(s.Field.Stars) == stars {
				break
			}
			s.Field.Stars = append(s.Field.Stars, star.Star{
				X: ts.X + noisePx*r.NormFloat64(), Y: ts.Y + noisePx*r.NormFloat64(), XErr: noisePx, YErr: noisePx, Flux: ts.Electrons})
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: cam.FocalPx})
		if err != nil {
			t.Fatalf("picture %d: %v", i, err)
		}
		s.Solution = &sol
		q.Shots = append(q.Shots, s)
	}
	return q
}

const runs = 30

func TestY(t *testing.T) {
	cases := []struct {
		name string
		set  func(e *simulate.Evening) (noise float64, stars int)
	}{
		{"clean", func(e *simulate.Evening) (float64, int) { *e = e.Clean(); return 0.03, 200 }},
		{"0.15px 50", func(e *simulate.Evening) (float64, int) { *e = e.Clean(); return 0.15, 50 }},
		{"0.15px 50 breath", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.Handling.Breathing = 5e-4
			return 0.15, 50
		}},
		{"0.15px 50 wander .1", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.Handling.Wander = 0.1
			return 0.15, 50
		}},
		{"0.15px 50 wander .3", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.Handling.Wander = 0.3
			return 0.15, 50
		}},
		{"0.15px 50 cat 3", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.CatalogScatter = unit.AngleFromSec(3)
			return 0.15, 50
		}},
		{"realistic", func(e *simulate.Evening) (float64, int) { *e = e.Realistic(); return 0.15, 50 }},
		{"realistic swing", func(e *simulate.Evening) (float64, int) {
			*e = e.Realistic()
			e.Count = 4
			e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(25), unit.AngleFromDeg(-55), unit.AngleFromDeg(30)}
			return 0.15, 50
		}},
		{"clean swing", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.Count = 3
			e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(25), unit.AngleFromDeg(-50)}
			return 0.03, 200
		}},
		{"clean swing cat 3", func(e *simulate.Evening) (float64, int) {
			*e = e.Clean()
			e.Count = 3
			e.CatalogScatter = unit.AngleFromSec(3)
			e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(25), unit.AngleFromDeg(-50)}
			return 0.03, 200
		}},
	}
	for _, c := range cases {
		for _, lat := range []float64{46, -33} {
			site, _ := ephem.NewSite(lat, 7, 500)
			var chi2, ss, sg [2]float64
			var in1 [2]int
			var wander, cats float64
			n, breaks := 0, 0
			for seed := range uint64(runs) {
				e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
				if err != nil {
					t.Fatal(err)
				}
				e.Mount.AltitudeError = unit.AngleFromMin(25)
				e.Mount.AzimuthError = unit.AngleFromMin(-48)
				noise, stars := c.set(&e)
				e.Seed = seed
				run, err := e.Begin()
				if err != nil {
					t.Fatal(err)
				}
				r := rand.New(rand.NewPCG(seed, 2))
				q := measured(t, run, e.Count, noise, stars, r)
				h, err := q.Horizon(site, e.Air)
				if err != nil {
					t.Fatal(err)
				}
				a, err := Estimate(FromHorizon(h))
				if err != nil {
					t.Fatal(err)
				}
				truth := run.Axis(e.Count - 1)
				d := [2]float64{(a.Altitude() - truth.Altitude).Min(), (a.Azimuth() - truth.Azimuth).Min()}
				s := [2]float64{a.AltitudeSigma().Min(), a.AzimuthSigma().Min()}
				for k := range 2 {
					chi2[k] += sq(d[k] / s[k])
					ss[k] += sq(d[k])
					sg[k] += sq(s[k])
					if math.Abs(d[k]) < s[k] {
						in1[k]++
					}
				}
				wander += a.WanderPx
				cats += h.CatalogueSigma * 206265
				breaks += len(a.Breaks)
				n++
			}
			f := float64(n)
			t.Logf("%-20s lat %v: pull %.2f %.2f inside %d %d scatter %.2f %.2f sigma %.2f %.2f wander %.3f cat %.2f breaks %d", c.name, lat, math.Sqrt(chi2[0]/f), math.Sqrt(chi2[1]/f), in1[0], in1[1],
				math.Sqrt(ss[0]/f), math.Sqrt(ss[1]/f), math.Sqrt(sg[0]/f), math.Sqrt(sg[1]/f), wander/f, cats/f, breaks)
		}
	}
}

func sq(x float64) float64 { return x * x }
