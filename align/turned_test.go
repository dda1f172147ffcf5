package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
)

// twoSets are two sets of seven pictures in one folder, the knobs turned between them, the camera put back on its target or
// not.
func twoSets(t testing.TB, e simulate.Evening, altitude, azimuth unit.Angle, reAimed bool, first, second []unit.Angle) (drift.Sequence, *simulate.Run) {
	t.Helper()
	e.Count = 14
	e.Mount.Swings = append(append(make([]unit.Angle, 0, 14), first...), make([]unit.Angle, 7-len(first))...)
	e.Mount.Swings = append(e.Mount.Swings, unit.AngleFromDeg(2.75)) // what the motor does in eleven minutes
	if len(second) > 1 {
		e.Mount.Swings = append(e.Mount.Swings, second[1:]...)
	}
	if altitude != 0 || azimuth != 0 {
		e.Mount.Knobs = []simulate.Knob{{Frame: 7, Altitude: altitude, Azimuth: azimuth}}
	}
	if reAimed {
		e.Handling.ReAims = []simulate.ReAim{{Frame: 7, Target: e.Target, Roll: e.Roll}}
	}
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return measured(t, run, e.Count, 0.15, 60, rand.New(rand.NewPCG(1, 2))), run
}

// Two parts that fit well alone and badly together are two axes, also where the camera was put back on its target: the later
// pictures count, whatever either part can tell by itself, and it is said what the turn did.
func TestTurned(t *testing.T) {
	t.Parallel()
	swung := degrees(0, 24, 0, 18, 0, -39, 0)
	min := unit.AngleFromMin
	for _, c := range []struct {
		name          string
		first, second []unit.Angle
		alt, az       unit.Angle
		reAimed       bool
		kind          Kind
	}{
		{"both knobs, both parts swung, aimed anew", swung, swung, min(-52), min(100), true, KindTurned},
		{"both knobs, both parts swung", swung, swung, min(-52), min(100), false, KindTurned},
		{"both knobs, first part swung, aimed anew", swung, nil, min(-52), min(100), true, KindTurned},
		{"both knobs, first part swung", swung, nil, min(-52), min(100), false, KindTurned},
		{"both knobs, second part swung, aimed anew", nil, swung, min(-52), min(100), true, KindTurned},
		{"both knobs, tracked, aimed anew", nil, nil, min(-52), min(100), true, KindTurned},
		{"both knobs, tracked", nil, nil, min(-52), min(100), false, KindTurned},
		{"tilt, aimed anew", swung, swung, min(-20), 0, true, KindTurned},
		{"base", swung, swung, 0, min(12), false, KindTurned},
		{"a camera put back a little off", swung, swung, 0, 0, true, KindKnock},
		{"the same, tracked", nil, nil, 0, 0, true, KindKnock},
	} {
		for _, lat := range bothHemispheres {
			t.Run(fmt.Sprintf("%s at %.0f°", c.name, lat), func(t *testing.T) {
				e := practiceAt(t, lat)
				e.Mount.AltitudeError, e.Mount.AzimuthError = min(55), min(-95)
				e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(100), Period: 480 * time.Second}
				q, run := twoSets(t, e, c.alt, c.az, c.reAimed, c.first, c.second)
				h, err := q.Horizon(e.Site, e.Air)
				if err != nil {
					t.Fatal(err)
				}
				a, err := Estimate(FromHorizon(h))
				if err != nil {
					t.Fatal(err)
				}
				if x := chi(a, run.Axis(13)); x > threeSigma {
					t.Errorf("off by %.2f′, %.1f of its errors", off(a, run.Axis(13)).Min(), x)
				}
				found := Situations(q, &h, &a, nil)
				if !names(found, c.kind) || names(found, KindFlexure) || c.kind == KindTurned && names(found, KindKnock) {
					t.Errorf("want %s; found%s", c.kind, texts(found))
				}
				if len(a.Breaks) != 1 || a.Breaks[0].Before != 7 {
					t.Fatalf("parted at %+v", a.Breaks)
				}
				m := a.Breaks[0].Moved
				if da, dz := (m.Altitude - c.alt).Rad(), (m.Azimuth - c.az).Rad(); math.Abs(da) > 3.5*m.AltitudeSigma.Rad()+2e-5 || math.Abs(dz) > 3.5*m.AzimuthSigma.Rad()+2e-5 {
					t.Errorf("the turn: %.2f′ ± %.2f′ up and %.2f′ ± %.2f′ clockwise, want %.0f′ and %.0f′", m.Altitude.Min(), m.AltitudeSigma.Min(), m.Azimuth.Min(), m.AzimuthSigma.Min(), c.alt.Min(), c.az.Min())
				}
			})
		}
	}
}
