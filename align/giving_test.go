package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/simulate"
	"trueturn/ephem"
)

// The study of cameras that are not held rigidly. Asked of each kind of session: does the stated 1σ cover the axis as the
// project defines it (package comment), how often is the giving seen, how often is it taken for a knock? The small study
// runs always; the full one by
//
//	TRUETURN_STUDY=200 go test ./align -run TestGiving -v -timeout 90m
//
// Where the camera merely tracks one patch, what goes evenly with time cannot be told from an axis, by nobody: those rows
// say how far the ± is then from the truth (cooling by 0.3′ in ten minutes: 2.3′ wrong at ± 0.6′); a swing mends it. Where it
// misses besides: a ball that creeps in steps, of which the large ones are told as knocks and the small ones not seen; a
// leg that settles is covered too often (82 to 88 %), its time constant being one of those tried; a bend too small to be
// seen moves the best swings (0.3′ of sag at 135 mm, azimuth covered by 50 %) by the 0.3″ they state. Rigid sessions lose
// nothing: within 4 % of what they are without stories.

// turnedAbout is the axis as the project defines it: as the mount stands at the end, with what the bending holder
// adds on the mean of the pictures.
func turnedAbout(run *simulate.Run) ephem.Horizontal {
	n := run.Evening().Count
	sum := run.Axis(n - 1).Direction()
	for i := range n {
		d := r3.Sub(run.TurnsAbout(i).Direction(), run.Axis(i).Direction())
		sum = r3.Add(sum, r3.Scale(1/float64(n), d))
	}
	return ephem.HorizontalOf(sum)
}

// sagged draws how a holder gives: the camera turns by rms for a change of gravity's direction by one unit.
func sagged(rms float64, friction float64) func(s *setup) {
	return func(s *setup) {
		for r := range 3 {
			for c := range 3 {
				s.e.Mount.Bend.K[r][c] = unit.AngleFromMin(rms / math.Sqrt(3) * s.r.NormFloat64())
			}
		}
		s.e.Mount.Bend.Friction = friction
	}
}

// relaxes is a part that gives way.
func relaxes(minutes float64, constant time.Duration, camera bool) func(s *setup) {
	return func(s *setup) {
		s.e.Mount.Relaxing = append(s.e.Mount.Relaxing, simulate.Relaxing{Size: unit.AngleFromMin(minutes), Constant: constant, Camera: camera})
	}
}

func creeps(minutes float64, steps int) func(s *setup) {
	return func(s *setup) { s.e.Mount.Creep = simulate.Creep{Size: unit.AngleFromMin(minutes), Steps: steps} }
}

func tenMinutes(s *setup) { s.anywhere(); s.e.Count = 30 }

// seven pictures, swung there and back.
func seven(s *setup) {
	s.aimed(s.away()-40+80*s.r.Float64(), 35+30*s.r.Float64())
	s.e.Count = 7
	at := 0.0
	s.e.Mount.Swings = make([]unit.Angle, 7)
	for i := 1; i < 7; i++ {
		to := [...]float64{0, 1, -1, 0.5, -0.5, 1, 0}[i] * (20 + 15*s.r.Float64())
		s.e.Mount.Swings[i] = unit.AngleFromDeg(to - at)
		at = to
	}
}

func allOf(sets ...func(s *setup)) func(s *setup) {
	return func(s *setup) {
		for _, f := range sets {
			f(s)
		}
	}
}

func longLens(s *setup) { s.e.Camera = simulate.Small(135, 2.8, 3.9, 6000, 4000) }

func givingKinds() (list []kind) {
	add := func(name string, set ...func(s *setup)) {
		list = append(list, kind{name: name, noisePx: 0.15, stars: 60, wander: 0.1, catalog: 1, set: allOf(set...)},
			kind{name: name + ", 135 mm", noisePx: 0.15, stars: 90, wander: 0.05, catalog: 1, set: allOf(append([]func(*setup){longLens}, set...)...)})
	}
	add("rigid, ten minutes", tenMinutes)
	add("rigid, seven swung", seven)
	add("rigid, three swung", (*setup).swung)
	for _, rms := range []float64{0.3, 2} {
		size := fmt.Sprintf("%g′", rms)
		add("sag "+size+", ten minutes", tenMinutes, sagged(rms, 0))
		add("sag "+size+", seven swung", seven, sagged(rms, 0))
		add("sag "+size+", three swung", (*setup).swung, sagged(rms, 0))
		add("sag "+size+" sticking, seven swung", seven, sagged(rms, 0.15))
		add("leg settles "+size+", ten minutes", tenMinutes, relaxes(rms, 4*time.Minute, false))
		add("leg settles "+size+", seven swung", seven, relaxes(rms, time.Minute, false))
		add("ball creeps "+size+" in 5 steps, ten minutes", tenMinutes, creeps(rms, 5))
		add("ball creeps "+size+" in 20 steps, ten minutes", tenMinutes, creeps(rms, 20))
		add("ball creeps "+size+" in 4 steps, seven swung", seven, creeps(rms, 4))
		add("cools by "+size+", ten minutes", tenMinutes, relaxes(rms, 20*time.Minute, true))
		add("cools by "+size+", seven swung", seven, relaxes(rms, 20*time.Minute, true))
	}
	return list
}

// tryGiving is one session; gave is whether the giving is seen.
func (k kind) tryGiving(t testing.TB, seed uint64) (o tried, gave bool) {
	t.Helper()
	run := k.begin(t, seed)
	e := run.Evening()
	a, err := axisOf(t, measured(t, run, e.Count, k.noisePx, k.stars, rand.New(rand.NewPCG(seed, 12))), e.Site)
	if err != nil {
		t.Errorf("%s, run %d: %v", k.name, seed, err)
		return o, false
	}
	x, y := missed(a, turnedAbout(run))
	o.pull[0], o.pull[1] = y/math.Sqrt(a.Covariance[1][1]), x/math.Sqrt(a.Covariance[0][0])
	vx, vy := weakest(a.Covariance)
	o.pull[2] = (x*vx + y*vy) / a.WorstSigma().Rad()
	o.sigmaMin, o.boundMin = a.WorstSigma().Min(), unit.Angle(math.Hypot(x, y)).Min()
	for _, b := range a.Breaks {
		if b.Knock {
			o.breaks++
		}
	}
	return o, a.Gave.Shown()
}

// studyGiving tries sessions, two at a time; median is of the stated error.
func (k kind) studyGiving(t testing.TB, sessions int) (all tally, seen int, median float64) {
	t.Helper()
	out, gave := make([]tried, sessions), make([]bool, sessions)
	var wg sync.WaitGroup
	for w := range 2 {
		wg.Go(func() {
			for i := w; i < sessions; i += 2 {
				out[i], gave[i] = k.tryGiving(t, uint64(i))
			}
		})
	}
	wg.Wait()
	var sigmas []float64
	for i, o := range out {
		all.add(o)
		sigmas = append(sigmas, o.sigmaMin)
		if gave[i] {
			seen++
		}
	}
	slices.Sort(sigmas)
	return all, seen, sigmas[sessions/2]
}

// TestGiving holds a few kinds to what chance allows, or runs them all.
func TestGiving(t *testing.T) {
	if os.Getenv("TRUETURN_STUDY") != "" {
		fullGiving(t)
		return
	}
	t.Parallel()
	// Of 24 sessions of a kind whose coverage lies within the target (60 to 76 %) chance puts fewer than 8 inside, or an rms
	// pull above 1.7, less than once in a hundred times.
	const sessions, fewest, mostPull = 24, 8, 1.7
	least := map[string]int{ // sessions in which it must be seen
		"sag 2′, seven swung": 2, "sag 2′ sticking, seven swung": 2, "leg settles 2′, ten minutes": 20, "leg settles 2′, seven swung": 20}
	for _, k := range givingKinds() {
		must, ok := least[k.name]
		if !ok {
			continue
		}
		t.Run(k.name, func(t *testing.T) {
			all, seen, _ := k.studyGiving(t, sessions)
			for n, what := range [...]string{"altitude", "azimuth", "the weak direction"} {
				if all.inside[n] < fewest || all.rms(all.pull[n]) > mostPull {
					t.Errorf("1σ in %s covers %d of %d sessions, rms pull %.2f", what, all.inside[n], sessions, all.rms(all.pull[n]))
				}
			}
			if all.breaks > 0 {
				t.Errorf("%d knocks seen that never were", all.breaks)
			}
			if seen < must {
				t.Errorf("seen in %d of %d sessions", seen, sessions)
			}
		})
	}
}

// fullGiving prints the table of the full study.
func fullGiving(t *testing.T) {
	sessions, err := strconv.Atoi(os.Getenv("TRUETURN_STUDY"))
	if err != nil || sessions < 1 {
		t.Fatalf("TRUETURN_STUDY: how many sessions of each kind?")
	}
	fmt.Println("| session | 1σ covers: altitude / azimuth / weak direction, % | rms pull: same | off (rms), stated 1σ (median) | seen, % | knocks seen per 100 |\n|---|---|---|---|---|---|")
	only := os.Getenv("TRUETURN_STUDY_ROW")
	for _, k := range givingKinds() {
		if only != "" && !slices.ContainsFunc(strings.Split(only, ";"), func(part string) bool { return strings.Contains(k.name, part) }) {
			continue
		}
		s, seen, median := k.studyGiving(t, sessions)
		fmt.Printf("| %s | %.0f / %.0f / %.0f | %.2f / %.2f / %.2f | %s, %s | %.0f | %.1f |\n", k.name, s.cover(0), s.cover(1), s.cover(2),
			s.rms(s.pull[0]), s.rms(s.pull[1]), s.rms(s.pull[2]), fine(s.rms(s.bound)), fine(median), 100*float64(seen)/s.n, 100*float64(s.breaks)/s.n)
	}
}
