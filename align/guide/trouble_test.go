package guide

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/knobs"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/star"
	"trueturn/ephem/amiss"
)

func text(t testing.TB, v any) string {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestRestart: a session goes on from its state after every single picture, and nobody could tell.
func TestRestart(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 3, tilted(2, 200))
	shots := map[string]drift.Shot{}
	find := func(name string) (drift.Shot, bool) { s, ok := shots[name]; return s, ok }
	guide := New(g.options())
	again := guide
	for range 22 {
		v := guide.View()
		switch {
		case v.Live.Phase == Measuring && g.taken < len(swings), v.Live.Phase == Untouched && g.taken%3 == 0:
			g.swing(swings[g.taken%len(swings)])
		case v.Live.Phase == Turning && g.taken == 5:
			g.obey(guide, -0.5)
		case v.Live.Phase == Turning:
			g.obey(guide, 0.9)
		}
		s := g.shoot()
		shots[s.File] = s
		for _, x := range []*Guide{guide, again} {
			if err := x.Add(context.Background(), s); err != nil {
				t.Fatal(err)
			}
		}
		if a, b := text(t, guide.View()), text(t, again.View()); a != b {
			t.Fatalf("after picture %d the session that was restarted parts from the other:\n%s\n%s", g.taken, b, a)
		}
		var s2 State
		if err := json.Unmarshal([]byte(text(t, guide.State())), &s2); err != nil {
			t.Fatal(err)
		}
		var err error
		if again, err = Resume(g.options(), s2, find); err != nil {
			t.Fatal(err)
		}
		if a, b := text(t, guide.View()), text(t, again.View()); a != b {
			t.Fatalf("picture %d (%s): restarted\n%s\nbefore\n%s", g.taken, guide.View().Live.Phase, b, a)
		}
	}
}

// TestRestartWithoutPictures: lost pictures cost the measurement, not the session.
func TestRestartWithoutPictures(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 3)
	guide := g.measured()
	again, err := Resume(g.options(), guide.State(), func(string) (drift.Shot, bool) { return drift.Shot{}, false })
	if err != nil {
		t.Fatal(err)
	}
	if v := again.View(); v.Live.Phase != Measuring || len(v.Frames) != g.taken || v.Live.Level != nil {
		t.Errorf("%s with %d frames of %d: %s", v.Live.Phase, len(v.Frames), g.taken, v.Live.Instruction)
	}
	_, err = Resume(g.options(), State{Version: 99}, nil)
	if !errors.Is(err, ErrState) || amiss.Ways(err) == nil {
		t.Errorf("a state of another form: %v", err)
	}
}

// TestHands: what the hand did wrong is said at once.
func TestHands(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		share float64 // of what was asked
		kind  string
		says  string
	}{
		{"as asked", 1, "turn", "axis"},
		{"halfway", 0.5, "turn", "base"},
		{"the wrong way", -0.4, "wrong way", "the wrong way [the base turned"},
		{"much too far", 1.6, "overshot", "too far ["},
		{"nothing", 0, "turn", "base so far [48.0′]"},
	} {
		for _, latitude := range []float64{46, -33} {
			t.Run(fmt.Sprintf("%s, latitude %.0f°", c.name, latitude), func(t *testing.T) {
				g := newRig(t, latitude, 9, tilted(2, 10))
				guide := g.measured()
				if v := guide.View(); v.Live.Knob != "azimuth" || v.Live.Kind != "turn" {
					t.Fatalf("asked %s: %s", v.Live.Knob, v.Live.Instruction)
				}
				before := guide.View().Live.Level.AzimuthArcmin
				g.obey(guide, c.share)
				v := g.add(guide)
				if v.Live.Phase != Turning || v.Live.Kind != c.kind || !strings.Contains(v.Live.Instruction, c.says) {
					t.Errorf("%s, %s: %s", v.Live.Phase, v.Live.Kind, v.Live.Instruction)
				}
				if moved := v.Live.Level.AzimuthArcmin - before; (moved-48*c.share)*(moved-48*c.share) > 9 { // the axis found is off by a minute, the base by 2°
					t.Errorf("the bubble moved by %.1f′, the knob by %.1f′", moved, 48*c.share)
				}
				if g.missedBy(v) > fourSigma {
					t.Errorf("the axis is off by %.1f of its errors", g.missedBy(v))
				}
			})
		}
	}
}

// TestBeforeTheTouch: what is taken before anybody touches a knob betters the measurement, also when the axis
// is swung.
func TestBeforeTheTouch(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{46, -33} {
		g := newRig(t, latitude, 4)
		guide := New(g.options())
		v := guide.View()
		for v.Live.Phase != Turning {
			v = g.add(guide)
		}
		sigma, n := v.Axis.AltitudeSigmaArcmin, g.taken
		for _, deg := range []float64{0, 28, -45} {
			g.swing(deg)
			v = g.add(guide)
		}
		if v.Live.Phase != Turning || v.Axis.AltitudeSigmaArcmin > sigma/5 || usedIn(v.Finding) != n+3 {
			t.Errorf("latitude %.0f°: %s, ± %.2f′ after ± %.2f′, %d pictures used of %d", latitude, v.Live.Phase, v.Axis.AltitudeSigmaArcmin, sigma, usedIn(v.Finding), n+3)
		}
		if g.missedBy(v) > fourSigma {
			t.Errorf("latitude %.0f°: the axis is off by %.1f of its errors", latitude, g.missedBy(v))
		}
	}
}

// TestSwungUntouched: once the clamps are tight a swing is as welcome as in the first measurement.
func TestSwungUntouched(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{46, -33} {
		g := newRig(t, latitude, 5)
		guide := g.measured()
		for i := 0; guide.View().Live.Phase == Turning && i < 6; i++ {
			g.obey(guide, 1)
			g.add(guide)
		}
		v := guide.View()
		for i := 0; v.Live.Phase == Untouched && i < len(swings); i++ {
			g.swing(swings[i])
			v = g.add(guide)
		}
		if v.Live.Phase != Done || v.Axis.AltitudeSigmaArcmin > 1 || usedIn(guide.base) > len(swings) || g.missedBy(v) > fourSigma {
			t.Errorf("latitude %.0f°: %s, ± %.1f′ by %d pictures: %s", latitude, v.Live.Phase, v.Axis.AltitudeSigmaArcmin, usedIn(guide.base), v.Live.Instruction)
		}
	}
}

// TestSlip: a camera that moved on its holder ends the measurement, and the next one leads on.
func TestSlip(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 6)
	guide := g.measured()
	g.obey(guide, 0.5)
	g.add(guide)
	g.e.Mount.Knocks = append(g.e.Mount.Knocks, simulate.Knock{Frame: g.taken, Size: unit.AngleFromDeg(8), Camera: true})
	v := g.add(guide)
	for i := 0; v.Live.Phase == Turning && i < 2; i++ {
		v = g.add(guide)
	}
	if v.Live.Phase != Measuring || v.Live.Level != nil || !strings.Contains(v.Live.Instruction, "swung") {
		t.Fatalf("%s: %s", v.Live.Phase, v.Live.Instruction)
	}
	for i := 0; v.Live.Phase == Measuring && i < len(swings); i++ {
		g.swing(swings[i])
		v = g.add(guide)
	}
	if v.Live.Phase != Turning || g.missedBy(v) > fourSigma {
		t.Errorf("measured afresh: %s, %s", v.Live.Phase, v.Live.Instruction)
	}
}

// TestTightening: clamps that push the axis aside call the hand back.
func TestTightening(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 7)
	guide := g.measured()
	v := guide.View()
	for i := 0; v.Live.Phase == Turning && i < 6; i++ {
		g.obey(guide, 1)
		v = g.add(guide)
	}
	if v.Live.Phase != Untouched {
		t.Fatalf("%s: %s", v.Live.Phase, v.Live.Instruction)
	}
	g.add(guide)
	g.turn(unit.AngleFromMin(30), 0)
	if v = g.add(guide); v.Live.Phase != Turning || v.Live.Knob != "altitude" {
		t.Errorf("after a push of 30′: %s, %s", v.Live.Phase, v.Live.Instruction)
	}
}

// TestLate: pictures that arrive out of order upset nothing.
func TestLate(t *testing.T) {
	t.Parallel()
	t.Run("while measuring the order says nothing", func(t *testing.T) {
		g := newRig(t, 46, 8)
		shots := []drift.Shot{}
		for range 5 {
			shots = append(shots, g.shoot())
		}
		inOrder, shuffled := New(g.options()), New(g.options())
		for _, i := range rand.New(rand.NewPCG(3, 3)).Perm(5) {
			shuffled.Add(context.Background(), shots[i])
		}
		for _, s := range shots {
			inOrder.Add(context.Background(), s)
		}
		if a, b := text(t, inOrder.View()), text(t, shuffled.View()); a != b {
			t.Errorf("shuffled\n%s\nin order\n%s", b, a)
		}
	})
	t.Run("a picture of before the turn, after the turn", func(t *testing.T) {
		g := newRig(t, 46, 8)
		guide := g.measured()
		late := g.shoot()
		g.obey(guide, 1)
		g.add(guide)
		before := guide.View()
		guide.Add(context.Background(), late)
		v := guide.View()
		if v.Live.Instruction != before.Live.Instruction || !reflect.DeepEqual(v.Live.Level, before.Live.Level) || v.Live.Serial != before.Live.Serial+1 {
			t.Errorf("%+v\nbefore %+v", v.Live, before.Live)
		}
		f := v.Frames[len(v.Frames)-2]
		if f.File != late.File || f.Used || !strings.Contains(f.WhyNot, "late") {
			t.Errorf("listed as %+v", f)
		}
	})
	t.Run("a picture of before the last turn, after tightening", func(t *testing.T) {
		g := newRig(t, 46, 8)
		guide := g.measured()
		late := g.shoot()
		for i := 0; guide.View().Live.Phase == Turning && i < 6; i++ {
			g.obey(guide, 1)
			g.add(guide)
		}
		g.add(guide)
		guide.Add(context.Background(), late)
		f := guide.View().Frames[guide.lineOf(late.File)]
		if s := guide.State(); s.Phase != Untouched || len(s.Fresh) != 1 || f.Used {
			t.Errorf("%s, untouched %v, listed as %+v", s.Phase, s.Fresh, f)
		}
	})
	t.Run("the same picture twice counts once", func(t *testing.T) {
		g := newRig(t, 46, 8)
		guide, s := New(g.options()), g.shoot()
		guide.Add(context.Background(), s, s)
		guide.Add(context.Background(), s)
		if n := len(guide.View().Frames); n != 1 {
			t.Errorf("listed %d times", n)
		}
	})
}

// TestFaults: what is amiss with the mount is said instead of a number of pictures.
func TestFaults(t *testing.T) {
	t.Parallel()
	deg := unit.AngleFromDeg
	for _, c := range []struct {
		name     string
		latitude float64
		set      func(*simulate.Evening)
		says     string
		axis     bool
	}{
		{"motor off", 46, func(e *simulate.Evening) { e.Mount.Rate, e.Mount.Wobble = 0, simulate.Wobble{} }, "switch the motor on", false},
		{"motor off in the south", -33, func(e *simulate.Evening) { e.Mount.Rate, e.Mount.Wobble = 0, simulate.Wobble{} }, "switch the motor on", false},
		{"hemisphere switch", 46, func(e *simulate.Evening) { e.Mount.Rate = -1 }, "motor runs backward", true},
		{"clamp gives way", 46, func(e *simulate.Evening) { e.Count, e.Mount.BallSlip = 12, deg(3) }, "camera gave way", true},
		{"axis far off", 46, func(e *simulate.Evening) { e.Mount.AltitudeError, e.Mount.AzimuthError = deg(-20), deg(30) }, "by hand", true},
		{"half the rate", 46, func(e *simulate.Evening) { e.Mount.Rate = 0.5 }, "half rate", true},
		{"beneath the zenith", 89, func(e *simulate.Evening) {
			for _, s := range swings {
				e.Mount.Swings = append(e.Mount.Swings, deg(s))
			}
		}, "zenith", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, c.latitude, 1, c.set)
			guide := New(g.options())
			v := guide.View()
			for i := 0; i < 12 && !strings.Contains(v.Live.Instruction, c.says); i++ {
				if v = g.add(guide); v.Live.Question != nil { // so far off, place and clock are asked for first
					guide.Settle(v.Live.Question.Number)
					v = guide.View()
				}
			}
			if v.Live.Phase != Measuring || !strings.Contains(v.Live.Instruction, c.says) || (v.Live.Level != nil) != c.axis {
				t.Errorf("%s: %s", v.Live.Phase, v.Live.Instruction)
			}
		})
	}
}

// TestMended: once a fault is put right the pictures of before are left behind, whatever their number.
func TestMended(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{0, 0.5, -1} {
		bad := newRig(t, 46, 1, func(e *simulate.Evening) { e.Mount.Rate = rate })
		guide := New(bad.options())
		for range 5 {
			bad.add(guide)
		}
		good := newRig(t, 46, 1, func(e *simulate.Evening) { e.Start = e.Start.Add(4 * time.Minute) })
		v := guide.View()
		for i := 0; v.Live.Phase == Measuring && i < 2*len(swings); i++ {
			good.swing(swings[i%len(swings)])
			s := good.shoot()
			s.File = "mended-" + s.File
			guide.Add(context.Background(), s)
			v = guide.View()
		}
		if v.Live.Phase != Turning || good.missedBy(v) > fourSigma {
			t.Errorf("rate %.1f mended: %s: %s", rate, v.Live.Phase, v.Live.Instruction)
		}
	}
}

// broken is a picture nothing could be made of.
func broken(name string) drift.Shot {
	return drift.Shot{File: name, Err: errors.New("the file is cut short")}
}

// TestBroken: a picture that cannot be used is listed with the reason and changes nothing else; when the file
// proves sound later it counts.
func TestBroken(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 2)
	guide := New(g.options())
	guide.Add(context.Background(), broken("first.jpg"))
	if v := guide.View(); v.Live.Phase != Measuring || !strings.Contains(v.Live.Instruction, "cut short") || v.Frames[0].WhyNot != "the file is cut short" {
		t.Errorf("%s: %s, %+v", v.Live.Phase, v.Live.Instruction, v.Frames)
	}
	for i := 0; guide.View().Live.Phase != Turning && i < len(swings); i++ {
		g.swing(swings[i])
		g.add(guide)
	}
	before := guide.View()
	sound := g.shoot()
	guide.Add(context.Background(), broken(sound.File))
	v := guide.View()
	if v.Live.Phase != Turning || v.Live.Kind != string(knobs.Wait) || !strings.Contains(v.Live.Instruction, "cut short") || !reflect.DeepEqual(v.Live.Level, before.Live.Level) {
		t.Errorf("%+v", v.Live)
	}
	guide.Add(context.Background(), sound)
	if v = guide.View(); v.Live.Kind != "turn" || usedIn(v.Finding) != g.taken || len(v.Frames) != g.taken+1 {
		t.Errorf("once the file was whole: %d used of %d, %s", usedIn(v.Finding), g.taken, v.Live.Instruction)
	}
}

// TestTouched: a picture whose stars are drawn out by a hand moves no bubble; one drawn out by tracking does.
func TestTouched(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 2)
	guide := g.measured()
	before := guide.View()
	g.obey(guide, 1)
	s := g.shoot()
	s.Field.Stars = append([]star.Star(nil), s.Field.Stars...)
	for i := range s.Field.Stars {
		st := &s.Field.Stars[i]
		st.Elongation, st.FWHM, st.Angle = 1.5, st.FWHM*1.22, unit.AngleFromDeg(30)
	}
	guide.Add(context.Background(), s)
	v := guide.View()
	if v.Live.Kind != string(knobs.Wait) || !strings.Contains(v.Live.Instruction, "drawn out") || !reflect.DeepEqual(v.Live.Level, before.Live.Level) {
		t.Errorf("%s: %s", v.Live.Kind, v.Live.Instruction)
	}
	if v = g.add(guide); v.Live.Kind == string(knobs.Wait) || v.Live.Knob != "altitude" {
		t.Errorf("and the next: %s: %s", v.Live.Kind, v.Live.Instruction)
	}
}

// later puts a shot off; its attitude against the stars stays.
func later(s drift.Shot, name string, by time.Duration) drift.Shot {
	c := *s.Clock
	c.Start = c.Start.Add(by)
	s.File, s.Clock = name, &c
	return s
}

// TestOtherSession: one picture of another camera or hour is set aside, the second begins a measurement of its own.
func TestOtherSession(t *testing.T) {
	t.Parallel()
	wider := func(s drift.Shot, name string) drift.Shot {
		s.File, s.Width = name, s.Width+2
		return s
	}
	for _, c := range []struct {
		name  string
		other func(s drift.Shot, name string) drift.Shot
		why   string
		new   bool
	}{
		{"another camera", wider, "another lens", true},
		{"seven hours later", func(s drift.Shot, name string) drift.Shot { return later(s, name, 7*time.Hour) }, "six hours after", true},
		{"of the day before", func(s drift.Shot, name string) drift.Shot { return later(s, name, -24*time.Hour) }, "six hours before", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, 46, 2)
			guide := g.measured()
			was := guide.View()
			one, two := c.other(g.shoot(), "one.jpg"), c.other(g.shoot(), "two.jpg")
			guide.Add(context.Background(), one)
			v := guide.View()
			at := guide.lineOf("one.jpg")
			if v.Live.Phase != Turning || v.Live.Instruction != was.Live.Instruction || !strings.Contains(v.Frames[at].WhyNot, c.why) {
				t.Errorf("after one: %s, %+v", v.Live.Instruction, v.Frames[at])
			}
			guide.Add(context.Background(), two)
			if v = guide.View(); (v.Live.Phase == Measuring) != c.new || len(v.Frames) != g.taken {
				t.Errorf("after two: %s, %d frames", v.Live.Phase, len(v.Frames))
			}
		})
	}
}

// TestSwingNow: where tracking would not do, the swing is asked for before the third picture.
func TestSwingNow(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		planned time.Duration
		kind    string
		says    string
	}{
		{30 * time.Second, "measure", "so many more, hands off"},
		{20 * time.Minute, "swing", "swing now"},
	} {
		g := newRig(t, 46, 2)
		o := g.options()
		o.Answer.Planned = c.planned
		guide := New(o)
		for range 2 {
			if v := g.add(guide); v.Live.Kind != c.kind || !strings.Contains(v.Live.Instruction, c.says) {
				t.Errorf("%v planned, picture %d: %s: %s", c.planned, g.taken, v.Live.Kind, v.Live.Instruction)
			}
		}
	}
}

// TestViewIsAValue: later pictures leave a view as it was.
func TestViewIsAValue(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 2)
	guide := New(g.options())
	for range 6 {
		g.add(guide)
		v := guide.View()
		was := text(t, v)
		state := guide.State()
		stateWas := text(t, state)
		g.add(guide)
		if text(t, v) != was || text(t, state) != stateWas {
			t.Fatalf("picture %d changed what was handed out before", g.taken)
		}
	}
}

// TestStopped: the context's end is the only error, and nothing is lost by it.
func TestStopped(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 2)
	guide, s := New(g.options()), g.shoot()
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := guide.Add(ctx, s); !errors.Is(err, context.Canceled) || len(guide.View().Frames) != 0 {
		t.Errorf("%v, %d frames", err, len(guide.View().Frames))
	}
	if err := guide.Add(context.Background(), s); err != nil || len(guide.View().Frames) != 1 {
		t.Errorf("again: %v, %d frames", err, len(guide.View().Frames))
	}
}

// TestKnockedOnceDone: a knock after the last turn voids what the turns left, whether the untouched pictures are still
// being taken or the night has begun.
func TestKnockedOnceDone(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		phase string
	}{{"once tightened", Untouched}, {"in the night", Done}} {
		for seed := range uint64(4) {
			t.Run(fmt.Sprintf("%s, %d", c.name, seed), func(t *testing.T) {
				g := newRig(t, 46, 30+seed, tilted(2, 120))
				guide := g.measured()
				for i := 0; guide.View().Live.Phase != c.phase && i < 12; i++ {
					if guide.View().Live.Phase == Turning {
						g.obey(guide, 1)
					}
					g.add(guide)
				}
				g.e.Mount.Knocks = append(g.e.Mount.Knocks, simulate.Knock{Frame: g.taken, Size: unit.AngleFromMin(12)})
				for n := range 6 {
					v := g.add(guide)
					if v.Live.Level != nil && (n > 0 || c.phase == Untouched) && g.missedBy(v) > fourSigma { // in the night the knobs are not followed
						t.Errorf("%s, and the axis is off by %.1f of its errors", v.Live.Phase, g.missedBy(v))
					}
				}
				if c.phase == Done && guide.View().Live.Phase == Done {
					t.Errorf("nothing is said of it: %s", guide.View().Live.Instruction)
				}
			})
		}
	}
}
