package exposure

import (
	"context"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
)

// TestRealTripod: a real picture exposed for 8 s on a tripod (../shared/frames/README.md: 24.219″ a pixel, middle at δ = 32.88°,
// moving by 15.3 ± 0.3″ a second of right ascension) is known for what it is, through its lens's own faults, whether the zone of its
// clock is known or not.
func TestRealTripod(t *testing.T) {
	const path = "../../../shared/frames/lyra-tripod/lyra_58.jpg"
	if _, err := os.Stat(path); err != nil {
		t.Skip("real pictures are not here: ", err)
	}
	src := drift.Source{Name: "lyra_58.jpg", Open: func() (io.ReadSeekCloser, error) { return os.Open(path) }}
	for _, zone := range []*time.Location{time.FixedZone("", -4*3600), nil} {
		seq, err := drift.Measure(context.Background(), []drift.Source{src}, drift.Options{Frame: frame.Options{Zone: zone}})
		if err != nil {
			t.Fatal(err)
		}
		v := judge(t, Shots(seq), Question{})
		if v.Round != 0 || !v.Still || v.Causes[0].Cause != CauseRA || !slices.Equal(v.Causes[0].Behind, []Origin{OriginStill}) {
			t.Errorf("%d round, %+v", v.Round, v.Causes)
		}
		noBlame(t, v)
		// What the sky's turning makes of the trail: 4.17 px in the middle. Over the picture it is longer, as a pinhole's scale
		// grows by 1/cos²θ outward and the declination changes; by up to 3 % at the stars' middle distance, 12° off.
		want := 8 * 15.041 * math.Cos(32.88*math.Pi/180) / 24.219
		near(t, "trail", v.Frames[0].TrailPx, want, 0.03)
		share := v.Causes[0].Share * v.excessPx2
		near(t, "path along right ascension", math.Sqrt(share), want, 0.05)
	}
}

// noBlame holds a verdict on a standing camera to blaming neither axis nor motor.
func noBlame(t testing.TB, v Verdict) {
	t.Helper()
	text := v.Advice.String()
	for _, c := range v.Causes {
		text += " " + c.Says.String()
	}
	for _, word := range []string{"axis", "motor", "gear", "rate "} {
		if strings.Contains(text, word) {
			t.Errorf("it says %q of a camera that stood: %s", word, text)
		}
	}
	if !strings.Contains(v.Advice.String(), "standing camera") {
		t.Errorf("the advice does not say that the camera stood: %v", v.Advice)
	}
}
