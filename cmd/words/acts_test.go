package words

import (
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/knobs"
	"trueturn/ephem/say"
)

// actMost is how many words are read at a glance.
const actMost = 9

// TestActsAtAGlance: whatever is asked fits a glance, with the longest of what may stand in it.
func TestActsAtAGlance(t *testing.T) {
	turns := knobs.Options{ArcminPerTurnAltitude: 40, ArcminPerTurnAzimuth: 40}
	gaps := []any{12, say.Longest(time.Hour), turns.Measure(knobs.Altitude, unit.AngleFromMin(90)), knobs.Options{RimMM: 80}.Measure(knobs.Azimuth, unit.AngleFromMin(90)),
		knobs.Options{}.Measure(knobs.Azimuth, unit.AngleFromMin(1)), turns.Measure(knobs.Altitude, unit.AngleFromMin(1)), knobs.Options{LegMM: 600}.Measure(knobs.Altitude, unit.AngleFromMin(12))}
	for key := range acts {
		if !strings.HasPrefix(string(key), "act: ") {
			continue
		}
		for _, gap := range gaps {
			if _, number := gap.(int); number != strings.Contains(string(key), "more") {
				continue
			}
			text := Line(say.Line{Key: key, With: []any{gap}})
			if n := len(strings.Fields(text)); n > actMost || n == 0 || strings.HasSuffix(text, ".") {
				t.Errorf("%s: %d words: %s", key, n, text)
			}
		}
	}
}
