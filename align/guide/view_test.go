package guide

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"
)

// TestJSON: a view is the object of `align --json` with "live" beside, in every phase.
func TestJSON(t *testing.T) {
	t.Parallel()
	align := []string{"advice", "aim", "axis", "error", "exposure", "frames", "live", "periodic_error", "rate", "situations"}
	live := []string{"act", "headline", "instruction", "kind", "knob", "level", "phase", "question", "serial", "stage", "wants"}
	level := []string{"altitude_arcmin", "altitude_sigma_arcmin", "azimuth_arcmin", "azimuth_sigma_arcmin", "stands_arcmin"}
	g := newRig(t, 46, 1)
	guide := New(g.options())
	check := func(v View) {
		t.Helper()
		var got map[string]json.RawMessage
		var inner, bubbles map[string]json.RawMessage
		if err := json.Unmarshal([]byte(text(t, v)), &got); err != nil {
			t.Fatal(err)
		}
		json.Unmarshal(got["live"], &inner)
		json.Unmarshal(inner["level"], &bubbles)
		for _, c := range []struct {
			got  map[string]json.RawMessage
			want []string
		}{{got, align}, {inner, live}, {bubbles, level}} {
			if keys := slices.Sorted(maps.Keys(c.got)); len(keys) > 0 && !slices.Equal(keys, c.want) {
				t.Errorf("%s: keys %v, want %v", v.Live.Phase, keys, c.want)
			}
		}
		if string(got["frames"]) == "null" || string(got["situations"]) == "null" || v.Live.Instruction == "" {
			t.Errorf("%s: frames %s, situations %s, %q", v.Live.Phase, got["frames"], got["situations"], v.Live.Instruction)
		}
		if (v.Live.Level == nil) != (v.Axis == nil) {
			t.Errorf("%s: bubbles %v, axis %v", v.Live.Phase, v.Live.Level, v.Axis)
		}
	}
	seen := map[string]bool{}
	for range 14 {
		v := guide.View()
		check(v)
		seen[v.Live.Phase] = true
		switch v.Live.Phase {
		case Turning:
			g.obey(guide, 1)
		case Measuring, Untouched:
			g.swing(swings[g.taken%len(swings)])
		}
		g.add(guide)
	}
	if len(seen) != 5 {
		t.Errorf("phases seen: %v", seen)
	}
}

// TestCountedBubbles: the bubbles stand where the answer's error says, and the frames are those of the whole session.
func TestCountedBubbles(t *testing.T) {
	t.Parallel()
	g := newRig(t, -33, 1)
	guide := g.measured()
	g.obey(guide, 1)
	v := g.add(guide)
	if v.Live.Level.AltitudeArcmin != v.Error.AltitudeArcmin || v.Live.Level.AzimuthSigmaArcmin != v.Axis.AzimuthSigmaArcmin {
		t.Errorf("bubbles %+v, error %+v, axis %+v", v.Live.Level, v.Error, v.Axis)
	}
	if v.Live.Level.StandsArcmin <= 0 {
		t.Error("the tubes have no marks")
	}
	if len(v.Frames) != g.taken || !v.Frames[g.taken-1].Used {
		t.Errorf("%d frames of %d", len(v.Frames), g.taken)
	}
	if len(guide.Sequence().Shots) != g.taken-1 {
		t.Errorf("%d shots in the measurement of %d", len(guide.Sequence().Shots), g.taken-1)
	}
}
