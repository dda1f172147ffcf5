package words

import (
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/knobs"
)

// TestTurns: what a hand is asked, as anyone can check it at the mount: facing the elevated pole, clockwise seen from above is to the right, which is east in the
// north and west in the south, in both hemispheres.
func TestTurns(t *testing.T) {
	t.Parallel()
	min := unit.AngleFromMin
	for _, c := range []struct {
		south bool
		o     knobs.Options
		r     knobs.Request
		want  string
	}{
		{false, knobs.Options{ArcminPerTurnAltitude: 30}, knobs.Request{Knob: knobs.Altitude, Turn: min(12.3), Beyond: 0}, "Raise the tilt by 12′ (0.4 of a turn of the knob)."},
		{false, knobs.Options{LegMM: 600}, knobs.Request{Knob: knobs.Altitude, Turn: min(-12.3), Beyond: min(3)}, "Lower the tilt by 12′ (2.1 mm at the leg): go about 3.0′ too low, then up."},
		{false, knobs.Options{}, knobs.Request{Knob: knobs.Azimuth, Turn: min(-48), Beyond: 0}, "Turn the base 48′ anticlockwise seen from above (left when facing the pole, toward west; 1.5 Moon widths)."},
		{true, knobs.Options{RimMM: 100}, knobs.Request{Knob: knobs.Azimuth, Turn: min(48), Beyond: min(3)}, "Turn the base 48′ clockwise seen from above (right when facing the pole, toward west; 1.4 mm at its rim): go about 3.0′ past that and come back anticlockwise."},
		{true, knobs.Options{ArcminPerTurnAzimuth: 48}, knobs.Request{Knob: knobs.Azimuth, Turn: min(-48), Beyond: 0}, "Turn the base 48′ anticlockwise seen from above (left when facing the pole, toward east; one turn of the knob)."},
	} {
		s := knobs.State{South: c.south, Options: c.o, Asked: &c.r, Body: r3.Vec{Z: 1}}
		if got := Line(s.Instruct().Says); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
