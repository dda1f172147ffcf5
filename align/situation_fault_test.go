package align

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
)

// fault is one trouble switched on.
type fault struct {
	name  string
	set   func(e *simulate.Evening)
	want  Kind
	first int    // index of the first picture named; −1: any
	also  []Kind // what may rightly be named besides
	mix   func(t testing.TB, e simulate.Evening, q drift.Sequence)
}

func swings(deg ...float64) (list []unit.Angle) {
	for _, d := range deg {
		list = append(list, unit.AngleFromDeg(d))
	}
	return list
}

func faults() []fault {
	min, deg := unit.AngleFromMin, unit.AngleFromDeg
	aimAt := func(e *simulate.Evening, i int, az, alt float64) {
		target, roll, err := e.Seen(horizontal(az, alt), e.MidOf(i))
		if err != nil {
			panic(err) // the test's own table
		}
		e.Handling.ReAims = append(e.Handling.ReAims, simulate.ReAim{Frame: i, Target: target, Roll: roll})
	}
	return []fault{
		{"motor off", func(e *simulate.Evening) { e.Mount.Rate = simulate.RateOff }, KindNotTurning, 0, nil, nil},
		{"tripod", func(e *simulate.Evening) { e.Mount.Tripod = true }, KindNotTurning, 0, nil, nil},
		{"motor off, swung by hand", func(e *simulate.Evening) {
			e.Mount.Rate = simulate.RateOff
			e.Mount.Swings = swings(0, 0, 0, 25, 0, 0, -50, 0, 0, 20)
		}, KindNotTurning, 0, nil, nil},
		{"hemisphere", func(e *simulate.Evening) { e.Mount.Rate = simulate.RateWrongHemisphere }, KindWrongHemisphere, 0, nil, nil},
		{"half rate", func(e *simulate.Evening) { e.Mount.Rate = simulate.RateHalf }, KindWrongRate, 0, nil, nil},
		{"lunar rate, 40 min", func(e *simulate.Evening) { e.Mount.Rate = simulate.RateLunar; e.Every = 4 * time.Minute; e.Count = 11 }, KindWrongRate, 0, nil, nil},
		{"solar rate, 2 h", func(e *simulate.Evening) { e.Mount.Rate = simulate.RateSolar; e.Every = 5 * time.Minute; e.Count = 25 }, KindWrongRate, 0, nil, nil},
		{"play at the start", func(e *simulate.Evening) { e.Mount.Play = 50 * time.Second }, KindPlay, 3, nil, nil},
		{"play after a swing", func(e *simulate.Evening) {
			e.Wait = 2 * time.Minute
			e.Mount.Play = 70 * time.Second
			e.Mount.Swings = swings(0, 0, 0, 0, 30)
		}, KindPlay, -1, nil, nil},
		{"tripod knocked 5′", func(e *simulate.Evening) { e.Mount.Knocks = []simulate.Knock{{Frame: 5, Size: min(5)}} }, KindKnock, 5, nil, nil},
		{"camera knocked 3′", func(e *simulate.Evening) {
			e.Mount.Knocks = []simulate.Knock{{Frame: 6, Size: min(3), Camera: true}}
		}, KindKnock, 6, nil, nil},
		{"tripod knocked 8′ between swings", func(e *simulate.Evening) {
			e.Mount.Knocks = []simulate.Knock{{Frame: 5, Size: min(8)}}
			e.Mount.Swings = swings(0, 0, 30, 0, 0, 0, -55, 0, 20, 0)
		}, KindKnock, 5, nil, nil},
		{"re-aimed", func(e *simulate.Evening) { aimAt(e, 5, 110, 40) }, KindReAimed, 5, nil, nil},
		{"crop", func(e *simulate.Evening) { e.Handling.Crops = []simulate.Crop{{Frame: 4, Factor: 1.7}} }, KindReAimed, 4, nil, nil},
		{"clutch slips 20′", func(e *simulate.Evening) { e.Mount.Slip = min(20) }, KindSlipping, -1, nil, nil},
		{"ball slips 20′", func(e *simulate.Evening) { e.Mount.BallSlip = min(20) }, KindSlipping, -1, []Kind{KindKnock}, nil},
		{"holder creeps 6′ with swings", func(e *simulate.Evening) {
			e.Mount.Flexure = min(6)
			e.Mount.Swings = swings(0, 0, 30, 0, -55, 0, 40, 0, -20, 0)
		}, KindFlexure, 0, nil, nil},
		{"holder sags 6′, re-aimed", func(e *simulate.Evening) {
			e.Mount.Sag = min(6)
			e.Mount.Swings = swings(0, 0, 30, 0, -55, 0, 40, 0, -20, 0)
			aimAt(e, 5, 100, 40)
		}, KindFlexure, 0, []Kind{KindReAimed}, nil},
		{"cloud gap", func(e *simulate.Evening) { e.Conditions.Clouds.Gaps = []int{4, 5} }, KindCloud, 4, nil, nil},
		// A stray far away may mislead the estimator's judgement of its neighbours.
		{"another field", func(*simulate.Evening) {}, KindOtherField, 5, []Kind{KindKnock, KindReAimed}, strange},
		{"low", func(e *simulate.Evening) {
			low, err := e.Aimed(horizontal(120, 18))
			if err != nil {
				panic(err)
			}
			*e = low
		}, KindLowAltitude, 0, nil, nil},
		{"stacked, tripod", func(e *simulate.Evening) { e.Mount.Tripod = true; e.Handling.Stacked = simulate.StackedRound }, KindStacked, 1, []Kind{KindNotTurning}, nil},
		{"stacked, wrong hemisphere", func(e *simulate.Evening) {
			e.Mount.Rate = -1
			e.Handling.Stacked = simulate.StackedRound
		}, KindStacked, 1, []Kind{KindWrongHemisphere}, nil},
		{"stacked standing, tripod", func(e *simulate.Evening) { e.Mount.Tripod = true; e.Handling.Stacked = simulate.StackedStanding }, KindStacked, 0, []Kind{KindNotTurning, KindKnock}, nil},
		{"stacked standing, 4° off", func(e *simulate.Evening) {
			e.Mount.AzimuthError = deg(4)
			e.Count, e.Every = 15, time.Minute
			e.Handling.Stacked = simulate.StackedStanding
		}, KindStacked, 0, []Kind{KindWrongRate, KindKnock}, nil},
	}
}

// strange puts a picture of another evening's field in.
func strange(t testing.TB, e simulate.Evening, q drift.Sequence) {
	o, err := e.Aimed(horizontal(120, 35))
	if err != nil {
		t.Fatal(err)
	}
	q.Shots[5] = sessionOf(t, o).Shots[5]
}

// TestFaults switches on one trouble at a time. TRUETURN_STUDY=n tries n seeds in every light and prints how often
// each is named; TRUETURN_FAULT picks one by name.
func TestFaults(t *testing.T) {
	looks, n := []string{"village"}, 1
	if s := os.Getenv("TRUETURN_STUDY"); s != "" {
		fmt.Sscan(s, &n)
		looks = []string{"clean", "village", "realistic"}
	}
	for _, f := range faults() {
		if !strings.Contains(f.name, os.Getenv("TRUETURN_FAULT")) {
			continue
		}
		for _, look := range looks {
			t.Run(f.name+"/"+look, func(t *testing.T) { f.tryOften(t, look, n) })
		}
	}
}

// tryOften counts how often the fault is named, and what is named wrongly besides.
func (f fault) tryOften(t *testing.T, look string, n int) {
	good, total := 0, 0
	odd := map[Kind]int{}
	for at, lat := range []float64{46, -33} {
		if n == 1 && len(f.name)%2 == at { // a quick run tries one hemisphere for each fault
			continue
		}
		for seed := range uint64(n) {
			e := restless(lights[look](practice(t, lat)), seed+1)
			f.set(&e)
			e.Every = e.Every.Truncate(time.Second)
			q := sessionOf(t, e)
			if f.mix != nil {
				f.mix(t, e, q)
			}
			_, found := judge(t, e, q)
			total++
			hit, strange := f.judge(found, e)
			for _, k := range strange {
				odd[k]++
			}
			if hit {
				good++
			}
			if n == 1 && (!hit || len(strange) > 0) {
				t.Errorf("latitude %v: want %s from picture %d, and of others %v at most; found%s", lat, f.want, f.first+1, f.also, texts(found))
			}
		}
	}
	t.Logf("%d of %d named, besides %v", good, total, odd)
}

// lights are how well the stars can be measured.
var lights = map[string]func(simulate.Evening) simulate.Evening{
	"clean": simulate.Evening.Clean, "village": func(e simulate.Evening) simulate.Evening { return e }, "realistic": simulate.Evening.Realistic}

// judge is whether the fault was named with the right first picture, and which kinds were named wrongly.
func (f fault) judge(found []Situation, e simulate.Evening) (hit bool, odd []Kind) {
	for _, s := range found {
		switch {
		case s.Kind == f.want:
			hit = hit || f.first < 0 || len(s.Files) > 0 && s.Files[0] == e.File(f.first)
		case s.Kind.Of() == OfMeasure || slices.Contains(f.also, s.Kind):
		default:
			odd = append(odd, s.Kind)
		}
	}
	return hit, odd
}

// EachFault lends the sessions of the table, in the village's light, to tests outside the package.
func EachFault(t *testing.T, f func(t *testing.T, e simulate.Evening, q drift.Sequence)) {
	for _, x := range faults() {
		t.Run(x.name, func(t *testing.T) {
			e := restless(practice(t, 46), 1)
			x.set(&e)
			e.Every = e.Every.Truncate(time.Second)
			q := sessionOf(t, e)
			if x.mix != nil {
				x.mix(t, e, q)
			}
			f(t, e, q)
		})
	}
}
