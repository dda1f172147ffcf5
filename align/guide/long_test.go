package guide

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
)

// night is pictures of a tracking mount, its axis well aimed.
func night(t testing.TB, n int) (*rig, []drift.Shot) {
	g := newRig(t, 46, 1, func(e *simulate.Evening) {
		e.Count, e.Every = n, 20*time.Second
		e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(1), unit.AngleFromMin(-2)
	})
	shots := make([]drift.Shot, 0, n)
	for range n {
		shots = append(shots, g.shoot())
	}
	return g, shots
}

// TestThousand: a thousand pictures keep a window's worth of shots, ends and reference among them, and a line each.
func TestThousand(t *testing.T) {
	t.Parallel()
	const n = 1000
	g, shots := night(t, 200)
	for len(shots) < n { // the same hour again, each an instant later: what matters here is their number
		s := shots[len(shots)-200]
		shots = append(shots, later(s, fmt.Sprintf("%d-%s", len(shots)/200, s.File), time.Millisecond))
	}
	guide := New(g.options())
	for i := 0; i < n; i += 50 {
		if err := guide.Add(context.Background(), shots[i:i+50]...); err != nil {
			t.Fatal(err)
		}
		s := guide.State()
		if held := len(s.Window) + len(s.Fresh); held > 2*mostShots || len(guide.View().Frames) != i+50 || len(guide.Sequence().Shots) > mostShots {
			t.Fatalf("after %d pictures %d shots are held, %d lines", i+50, held, len(guide.View().Frames))
		}
	}
	if s := guide.State(); s.Window[0] != shots[0].File {
		t.Errorf("the first picture is gone: %v", s.Window[:3])
	}
}

// among finds a shot by its file's name.
func among(shots []drift.Shot) func(string) (drift.Shot, bool) {
	return func(name string) (drift.Shot, bool) {
		for _, s := range shots {
			if s.File == name {
				return s, true
			}
		}
		return drift.Shot{}, false
	}
}

// addTo measures one more picture given to a session as it stands.
func addTo(b *testing.B, o Options, state State, shots []drift.Shot, next drift.Shot) {
	for b.Loop() {
		b.StopTimer()
		again, err := Resume(o, state, among(shots))
		if err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		if err := again.Add(context.Background(), next); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAdd: one more picture of fifty sighted stars while measuring, with a window that fills, is full and is thinned, and
// while turning.
func BenchmarkAdd(b *testing.B) {
	for _, n := range []int{10, mostShots, 4 * mostShots} {
		g, shots := night(b, n+1)
		guide := New(g.options())
		guide.Add(context.Background(), shots[:n]...)
		b.Run(fmt.Sprintf("measuring/%d", n), func(b *testing.B) { addTo(b, g.options(), guide.State(), shots, shots[n]) })
	}
	g := newRig(b, 46, 1)
	guide := g.measured()
	g.obey(guide, 1)
	g.add(guide)
	shots := append(guide.Sequence().Shots, *guide.last)
	next := g.shoot()
	b.Run("turning", func(b *testing.B) { addTo(b, g.options(), guide.State(), shots, next) })
}

// BenchmarkView: what every browser costs.
func BenchmarkView(b *testing.B) {
	g, shots := night(b, 100)
	guide := New(g.options())
	guide.Add(context.Background(), shots...)
	for b.Loop() {
		guide.View()
	}
}
