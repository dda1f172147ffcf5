package guide

import (
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/drift/wobble"
)

// TestKnobsKnowTheGear: how far the motor may be off the clock is judged by the gear as measured, else as told.
func TestKnobsKnowTheGear(t *testing.T) {
	told := &exposure.Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(90)}
	for _, row := range []struct {
		name     string
		measured *wobble.Result
		told     *exposure.Wobble
		wantSec  float64
	}{
		{"nobody has said", nil, nil, 0},
		{"told", nil, told, 90},
		{"measured", &wobble.Result{State: wobble.Measured, PeakToPeak: unit.AngleFromSec(40)}, nil, 40},
		{"measured goes before told", &wobble.Result{State: wobble.Measured, PeakToPeak: unit.AngleFromSec(40)}, told, 40},
		{"told goes before what was not seen", &wobble.Result{State: wobble.Unseen, PeakToPeak: unit.AngleFromSec(5)}, told, 90},
	} {
		g := &Guide{o: Options{Answer: answer.Options{Gear: row.told}}}
		got := g.knobOptions(answer.Finding{Measured: &answer.Measured{}, Gear: row.measured}).WobblePeakToPeak.Sec()
		if d := got - row.wantSec; d < -1e-9 || d > 1e-9 {
			t.Errorf("%s: %.1f″, want %.1f″", row.name, got, row.wantSec)
		}
	}
}
