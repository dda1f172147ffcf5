package answer

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/ephem"
)

// over is the session's lens above another place of the sky.
func over(t *testing.T, s Session, site ephem.Site, target align.Target) (here, there exposure.View) {
	t.Helper()
	p, err := s.Plan()
	if err != nil {
		t.Fatal(err)
	}
	mid, err := time.Parse(time.RFC3339Nano, s.View.MidUTC)
	if err != nil {
		t.Fatal(err)
	}
	there, err = exposure.Above(p.View.Lens, site, ephem.StandardAir(site.HeightM), mid, target, unit.AngleFromDeg(s.View.RollDeg))
	if err != nil {
		t.Fatal(err)
	}
	return p.View, there
}

// westward is the place an hour and a half west of the session's, nearer to the equator.
func westward(s Session) align.Target {
	return align.Target{RA: unit.RAFromDeg(s.View.RADeg - 22), Dec: unit.AngleFromDeg(s.View.DecDeg * 0.7)}
}

// Where the pictures show no bend, the axis in another part of the sky is less sure by a usual one; it does not move.
func TestElsewhereLessSure(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) { e.Count = 8 })
	s, err := New(q, Options{Site: &site}).Session()
	if err != nil {
		t.Fatal(err)
	}
	here, there := over(t, s, site, westward(s))
	same, far := s.AxisAt(here, here), s.AxisAt(here, there)
	if same.Covariance != s.mount().Axis.Covariance {
		t.Errorf("here: %v, measured %v", same.Covariance, s.mount().Axis.Covariance)
	}
	grown := math.Sqrt(far.Covariance[1][1] - same.Covariance[1][1])
	if far.Direction != same.Direction || !(grown > 0) || grown > align.UsualBend.Rad() {
		t.Errorf("there: moved by %v, ± grown by %.2f′", far.Direction, unit.Angle(grown).Min())
	}
}

// A bend that was seen is kept with the session, and moves the axis elsewhere as it moves the simulated camera's.
func TestElsewhereBent(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) {
		e.Count = 12
		for _, deg := range []float64{0, 20, 15, -35, -30, 40, 20, -30, -20, 35, 0, -15} {
			e.Mount.Swings = append(e.Mount.Swings, unit.AngleFromDeg(deg))
		}
		e.Mount.Bend.K[0][0], e.Mount.Bend.K[1][1] = unit.AngleFromMin(6), unit.AngleFromMin(-6)
	})
	a := New(q, Options{Site: &site})
	if a.Err != nil || !a.Measured.Axis.Gave.Shown() {
		t.Fatalf("%v, %+v", a.Err, a.Measured)
	}
	if *a.Advice.Next == string(policy.Measure) {
		t.Errorf("a holder that merely bends: %s", a.Advice.NextText)
	}
	s, err := a.Session()
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	if err := s.Write(&file); err != nil {
		t.Fatal(err)
	}
	back, err := ReadSession(&file)
	if err != nil || back.Mount.Bend == nil {
		t.Fatalf("%v: the bend is lost", err)
	}
	here, there := over(t, back, site, westward(s))
	near, far := back.AxisAt(here, here), back.AxisAt(here, there)
	moved := align.Axis{Direction: near.Direction}.Apart(align.Axis{Direction: far.Direction})
	if !(moved.Min() > 0.05) || !(far.Covariance[0][0] > near.Covariance[0][0]) {
		t.Errorf("moved by %.2f′, %v against %v", moved.Min(), far.Covariance, near.Covariance)
	}
	target := westward(s)
	o := New(q, Options{Site: &site, Target: &target})
	said := strings.Contains(strings.Join(o.Advice.Notes, " "), "axis at the target")
	sigma := align.Axis{Covariance: far.Covariance}.WorstSigma()
	if told := moved > sigma; told != said {
		t.Errorf("moved by %.2f′ ± %.2f′ toward the target; said: %v", moved.Min(), sigma.Min(), said)
	}
	t.Logf("%.2f ± %.2f said %v", moved.Min(), sigma.Min(), said)
}

// Where the sky itself speaks against the clock, the question comes before the turn.
func TestSkyAsksFirst(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) {
		at, err := e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(10), Altitude: unit.AngleFromDeg(50)}) // never sets
		if err != nil {
			t.Fatal(err)
		}
		*e = at
		e.Count, e.Handling.ClockError = 8, -8*time.Hour // noon
		e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(20), 0, unit.AngleFromDeg(-40), 0, unit.AngleFromDeg(30), 0, 0}
	})
	a := New(q, Options{Site: &site})
	if a.Err != nil {
		t.Fatal(a.Err)
	}
	if len(a.Situations) == 0 || a.Situations[0].Kind != string(align.KindClock) || *a.Advice.Next == string(policy.Turn) || a.Measured.Question.Ask.Key != "sky against place or clock" {
		t.Errorf("%v, %q: %q", a.Situations, *a.Advice.Next, a.Advice.NextText)
	}
}

// A picture near the horizon does not spoil what the others tell.
func TestNearHorizonLeftOut(t *testing.T) {
	var low, high drift.Sequence
	_, high, site := practice(t, 46, func(e *simulate.Evening) { e.Count = 8 })
	_, low, _ = practice(t, 46, func(e *simulate.Evening) {
		at, err := e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(120), Altitude: unit.AngleFromDeg(5)})
		if err != nil {
			t.Fatal(err)
		}
		*e = at
		e.Count, e.Wait = 1, 5*time.Minute
	})
	alone := New(high, Options{Site: &site})
	low.Shots[0].File = "low.jpg"
	high.Shots = append(high.Shots, low.Shots[0])
	both := New(high, Options{Site: &site})
	if alone.Err != nil || both.Err != nil {
		t.Fatal(alone.Err, both.Err)
	}
	if f := both.Frames[len(both.Frames)-1]; f.Used || *both.Axis != *alone.Axis {
		t.Errorf("%+v: %+v, alone %+v", f, both.Axis, alone.Axis)
	}
}
