package align

import (
	"math"
	"testing"

	"trueturn/ephem"
)

// TestGearThatStood: a gear that stands for a while after swings and then runs takes up play; one that still stands is a
// motor that is off.
func TestGearThatStood(t *testing.T) {
	t.Parallel()
	const dt, swing = 20, 0.5
	sky := ephem.SiderealRadPerS * dt
	for _, c := range []struct {
		name        string
		turns       []float64 // radians
		ratio       float64
		play, slips int
	}{
		{"stands after the swing, then runs", []float64{swing, 0, 0, 0, sky}, 1, 3, 0},
		{"runs again in the midst of a step", []float64{swing, 0, 0, 0.4 * sky, sky}, 1, 3, 0},
		{"still stands", []float64{swing, 0, 0, 0}, 0, 0, 0},
		{"slips while it runs", []float64{sky, sky, sky, -3 * sky, sky, sky}, 1, 0, 1},
	} {
		var steps []step
		for i, d := range c.turns {
			steps = append(steps, step{from: i, to: i + 1, dt: dt, dTheta: d, allow: 0.05 * sky})
		}
		ratio, ok := commonRatio(steps)
		if !ok || math.Abs(ratio-c.ratio) > 1e-9 {
			t.Errorf("%s: runs at %.2f of the stars' rate, want %.2f", c.name, ratio, c.ratio)
			continue
		}
		if math.Abs(ratio) < stillRatio {
			continue
		}
		if play, slips := lags(steps, ratio); len(play) != c.play || len(slips) != c.slips {
			t.Errorf("%s: %d of play, %d slips, want %d and %d", c.name, len(play), len(slips), c.play, c.slips)
		}
	}
}
