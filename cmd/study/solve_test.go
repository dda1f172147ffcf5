package main

import (
	"math/rand/v2"
	"testing"
	"time"
)

// What a plan says must be in the list it draws: counts by the plan's own words.
func TestSolvePlansAreDrawn(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		p := usualField(r)
		p.diagonalDeg, p.stars, p.falseShare, p.lost, p.hidden, p.moon = solveBetween(r, 30, 90), 40, 0.5, 0.4, true, true
		d := p.draw(r)
		if d.known != 40 || len(d.field.Stars) != 80 {
			t.Errorf("%d true stars of %d in the list, want 40 of 80", d.known, len(d.field.Stars))
		}
		for i := 1; i < len(d.field.Stars); i++ {
			if d.field.Stars[i].Flux > d.field.Stars[i-1].Flux {
				t.Fatal("the list is not brightest first, as star.Field promises")
			}
		}
		narrow := usualField(r)
		narrow.diagonalDeg, narrow.stars, narrow.falseShare = 5, 150, 0
		if d := narrow.draw(r); d.known >= 150 || len(d.field.Stars) != 150 {
			t.Errorf("a field of 5° (12 square degrees, some 34 stars of the catalogue) has %d known stars of %d", d.known, len(d.field.Stars))
		}
	}
}

// The same draw with and without mirror: columns count from the other edge, and nothing else changes.
func TestSolveMirror(t *testing.T) {
	draw := func(mirrored bool) solvePlot {
		r := rand.New(rand.NewPCG(3, 4))
		p := usualField(r)
		p.mirrored = mirrored
		return p.draw(r)
	}
	plain, mirrored := draw(false), draw(true)
	for i, s := range plain.field.Stars {
		if m := mirrored.field.Stars[i]; m.X != 4031-s.X || m.Y != s.Y {
			t.Fatalf("star %d at %.2f, %.2f is mirrored to %.2f, %.2f", i, s.X, s.Y, m.X, m.Y)
		}
	}
}

// A solution is right or wrong by the truth of its own trial: the usual field is found, where it is, and a field held
// against another's truth is counted as wrong.
func TestSolveTellsRightFromWrong(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	d, other := usualField(r).draw(r), usualField(r).draw(r)
	sol, _, err := timedSolve(t.Context(), d.field, d.hint)
	if err != nil || sol == nil {
		t.Fatalf("the usual field was not recognised: %v", err)
	}
	if off := d.offBy(*sol).Deg(); off > wrongByDeg {
		t.Errorf("%.3f° off its truth", off)
	}
	if off := other.offBy(*sol).Deg(); off < wrongByDeg {
		t.Errorf("only %.3f° off another field's truth", off)
	}
}

// Counts and times by hand.
func TestSolveTally(t *testing.T) {
	var y solveTally
	for k := range 100 {
		y.add(solveOutcome{solved: k >= 2, wrong: k == 0, took: time.Duration(100-k) * time.Millisecond, offDeg: float64(k) / 1e4})
	}
	if y.trials != 100 || y.solved != 98 || y.wrong != 1 || y.worst != 0.0099 {
		t.Errorf("got %+v", y)
	}
	if got := y.percentile(0.95); got != 96*time.Millisecond { // 95 of 100 are shorter
		t.Errorf("the 95th percentile of 1 to 100 ms is %v", got)
	}
	if bad, err := y.failed(); bad != 2 || err != 1.4 { // √(0.02·0.98/100)
		t.Errorf("failed %v ± %v %%, want 2 ± 1.4", bad, err)
	}
}
