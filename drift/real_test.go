package drift

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"
)

func realSources(t *testing.T, pattern string) []Source {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join("..", "..", "shared", "frames", pattern))
	if len(files) == 0 {
		t.Skip("the real pictures are not on this machine (../shared/frames)")
	}
	var srcs []Source
	for _, f := range files {
		srcs = append(srcs, Source{filepath.Base(f), func() (io.ReadSeekCloser, error) { return os.Open(f) }})
	}
	return srcs
}

func TestX(t *testing.T) {
	for _, p := range []string{"lyra-tripod/*.jpg", "star-sensor/*.tiff", "no-stars/*.png"} {
		o := Options{}
		o.Frame.Zone = time.FixedZone("", -4*3600)
		t0 := time.Now()
		q, err := Measure(context.Background(), realSources(t, p), o)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(time.Since(t0))
		for _, s := range q.Shots {
			t.Log(s.File, s.Width, s.Height, len(s.Field.Stars), len(s.Field.Suspects), s.Field.FWHM, s.Field.Elongation, s.Field.Condition, s.Err, s.ClockErr)
			if sol := s.Solution; sol != nil {
				ra, dec := sol.RADec()
				t.Logf("   %.4f %.4f roll %.2f scale %.3f rms %.3f n %d odds %.0f k1 %.4f mirrored %v", ra.Deg(), dec.Deg(), sol.Roll().Deg(), sol.Lens.Scale().Sec(), sol.RMSPx, len(sol.Sightings), sol.LogOdds, sol.Lens.K1, sol.Mirrored)
			}
		}
	}
}
