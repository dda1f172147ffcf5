package exposure

import (
	"context"
	"io"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
)

// TestRealTripod: a real picture exposed for 8 s on a tripod (../shared/frames/README.md: 24.219″ a pixel, middle at δ = 32.88°,
// moving by 15.3 ± 0.3″ a second of right ascension) is known for what it is, through its lens's own faults.
func TestRealTripod(t *testing.T) {
	const path = "../../../shared/frames/lyra-tripod/lyra_58.jpg"
	if _, err := os.Stat(path); err != nil {
		t.Skip("real pictures are not here: ", err)
	}
	src := drift.Source{Name: "lyra_58.jpg", Open: func() (io.ReadSeekCloser, error) { return os.Open(path) }}
	zone := time.FixedZone("", -4*3600)
	seq, err := drift.Measure(context.Background(), []drift.Source{src}, drift.Options{Frame: frame.Options{Zone: zone}})
	if err != nil {
		t.Fatal(err)
	}
	v := judge(t, Shots(seq), Question{})
	if v.Round != 0 || v.Causes[0].Cause != CauseRA || !slices.Equal(v.Causes[0].Behind, []Origin{OriginMotor}) {
		t.Errorf("%d round, %+v", v.Round, v.Causes)
	}
	// What the sky's turning makes of the trail, to 10 %: the lens draws stars long as well.
	want := 8 * 15.041 * math.Cos(32.88*math.Pi/180) / 24.219
	share := v.Causes[0].Share * v.excessPx2
	near(t, "path along right ascension", math.Sqrt(share), want, 0.1)
}
