package align

import (
	"fmt"
	"os"
	"slices"
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
		{"another field", func(*simulate.Evening) {}, KindOtherField, 5, nil, strange},
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

// TestFaults switches on one trouble at a time.
func TestFaults(t *testing.T) {
	n := 1
	if s := os.Getenv("TRUETURN_STUDY"); s != "" {
		fmt.Sscan(s, &n)
	}
	looks := map[string]func(simulate.Evening) simulate.Evening{
		"clean": simulate.Evening.Clean, "village": func(e simulate.Evening) simulate.Evening { return e }, "realistic": simulate.Evening.Realistic}
	for _, f := range faults() {
		for _, look := range []string{"clean", "village", "realistic"} {
			good, total, odd := 0, 0, 0
			for _, lat := range []float64{46, -33} {
				for seed := range uint64(n) {
					e := practice(t, lat)
					e = restless(looks[look](e), seed+1)
					f.set(&e)
					e.Every = e.Every.Truncate(time.Second)
					q := sessionOf(t, e)
					if f.mix != nil {
						f.mix(t, e, q)
					}
					_, found := judge(t, e, q)
					total++
					hit := false
					for _, s := range found {
						switch {
						case s.Kind == f.want:
							hit = hit || f.first < 0 || len(s.Files) > 0 && s.Files[0] == e.File(f.first)
						case s.Kind == KindTooShort || s.Kind == KindWeakDirection || slices.Contains(f.also, s.Kind):
						default:
							odd++
						}
					}
					if hit {
						good++
					}
					if !hit || testing.Verbose() && n == 1 {
						t.Logf("%s/%s %v seed %d: hit %v%s", f.name, look, lat, seed, hit, texts(found))
					}
				}
			}
			t.Logf("== %s, %s: %d of %d named, %d odd", f.name, look, good, total, odd)
		}
	}
}
