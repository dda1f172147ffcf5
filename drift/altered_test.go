package drift

import (
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"trueturn/ephem/amiss"
)

// TestAlteredIsSaid: where a picture cannot be measured, and its file shows that it is not as the camera took it, both are said.
func TestAlteredIsSaid(t *testing.T) {
	for file, want := range map[string]string{
		"any_plain.jpg":      "",
		"any_screenshot.png": "screenshot",
		"any_panorama.jpg":   "panorama",
		"any_smaller.jpg":    "smaller copy",
	} {
		src := Source{Name: file, Open: func() (io.ReadSeekCloser, error) { return os.Open("frame/testdata/" + file) }}
		s, err := MeasureOne(context.Background(), src, Options{})
		if err != nil || !errors.Is(s.Err, ErrNoStars) {
			t.Fatal(file, err, s.Err)
		}
		said := strings.Contains(amiss.Voice(nil).Reason(s.Err), "as the camera saved it")
		if !strings.Contains(s.Err.Error(), want) || said != (want != "") || (s.Altered != "") != (want != "") {
			t.Errorf("%s: %s", file, amiss.Voice(nil).Reason(s.Err))
		}
	}
}
