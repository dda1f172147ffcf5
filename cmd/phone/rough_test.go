package main

import (
	"math"
	"strings"
	"testing"
)

// TestRough: the aim by a phone's sensors, worked out by hand: a pole 46.0° high, a needle that points 3° east of north, so
// that the pole lies at 357° on it. The bump of the camera lifts the top edge by 0.8°, and the sensor's zero is 0.5° off.
func TestRough(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	pole := 357.0
	for _, c := range []struct {
		what             string
		tilt             float64
		turned, bearing  *float64
		tiltOff, baseOff float64
		sigma            float64
		says             []string
		bearingIsUnknown bool
	}{
		{"read once: bump and zero are in it", 45 + 0.8 + 0.5, nil, at(10), 0.3, 13, 1, []string{"tilt is right", "within 60′", "13° ± 6° too far right", "end for end"}, false},
		{"read twice: they are out", 45 + 0.8 + 0.5, at(-45 + 0.8 + 0.5), at(350), -1, -7, 0.3, []string{"60′ ± 18′ too low: raise", "7.0° ± 6.0° too far left: turn the base right"}, false},
		{"across north", 46, at(-46), at(2), 0, 5, 0.3, []string{"tilt is right", "base is right"}, false},
		{"no needle", 47, at(-47), nil, 1, 0, 0.3, []string{"60′ ± 18′ too high", "does not tell which way"}, true},
	} {
		l := laid{tiltDeg: c.tilt, turnedDeg: c.turned, bearing: c.bearing, poleDeg: 46, poleBearing: &pole}
		tilt, sigma, base := l.off()
		if math.Abs(tilt.Deg()-c.tiltOff) > 1e-9 || math.Abs(sigma.Deg()-c.sigma) > 1e-9 {
			t.Errorf("%s: tilt %.3f ± %.3f, want %.3f ± %.3f", c.what, tilt.Deg(), sigma.Deg(), c.tiltOff, c.sigma)
		}
		if (base == nil) != c.bearingIsUnknown || base != nil && math.Abs(base.Deg()-c.baseOff) > 1e-9 {
			t.Errorf("%s: base %v, want %.3f", c.what, base, c.baseOff)
		}
		text, html := l.says()
		for _, want := range c.says {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q does not say %q", c.what, text, want)
			}
		}
		if got, want := strings.Count(html, "<svg xmlns"), map[bool]int{true: 1, false: 2}[c.bearingIsUnknown]; got != want {
			t.Errorf("%s: %d tubes", c.what, got)
		}
	}
}
