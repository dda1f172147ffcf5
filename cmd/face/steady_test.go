package face

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
)

// swapped is a file that somebody writes another picture into as soon as its head has been read.
type swapped struct {
	*os.File
	t    *testing.T
	path string
	text []byte // nil: not any more
}

func (s *swapped) Read(b []byte) (int, error) {
	n, err := s.File.Read(b[:min(len(b), 512)])
	if s.text != nil {
		put(s.t, s.path, s.text)
		s.text = nil
	}
	return n, err
}

// put writes a file in place; its time moves on however coarse the disk's clock is.
func put(t *testing.T, path string, text []byte) {
	t.Helper()
	at := time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)
	if info, err := os.Stat(path); err == nil {
		at = info.ModTime().Add(2 * time.Second)
	}
	if err := errors.Join(os.WriteFile(path, text, 0o600), os.Chtimes(path, at, at)); err != nil {
		t.Fatal(err)
	}
}

// starless is a FITS file without stars: its header tells the clock, its pixels the light.
func starless(t *testing.T, hour int, light float32) []byte {
	t.Helper()
	p := frame.Plane{Width: 64, Height: 48, Pix: make([]float32, 64*48)}
	for i := range p.Pix {
		p.Pix[i] = light + float32(i%7)/1e4
	}
	var b bytes.Buffer
	m := frame.Metadata{Clock: frame.Clock{Start: time.Date(2026, 11, 20, hour, 0, 0, 0, time.UTC), Exposure: time.Second}}
	if err := frame.Encode(&b, p, m, frame.FITS); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestChangedFiles: a picture another is written over while it is read is read once more, and never taken for a mixture of both;
// one that keeps changing is refused. The same size each time: the clock of the file alone tells.
func TestChangedFiles(t *testing.T) {
	old, fresh := starless(t, 20, 0.1), starless(t, 22, 0.3)
	for _, whole := range []int64{wholeMost, 0} { // read at once, and as it is decoded
		for _, c := range []struct {
			times int
			hour  int // 0: refused
		}{{0, 20}, {1, 22}, {2, 0}, {1 << 30, 0}} {
			path := filepath.Join(t.TempDir(), "sky.fits")
			put(t, path, old)
			opened := 0
			open := func() (io.ReadSeekCloser, error) {
				f, err := os.Open(path)
				if err != nil {
					return nil, err
				}
				over := fresh
				if opened++; opened > c.times {
					over = nil
				}
				return steady(&swapped{f, t, path, over}, whole)
			}
			s, err := drift.MeasureOne(context.Background(), drift.Source{Name: "sky.fits", Open: open}, drift.Options{})
			if err != nil {
				t.Fatal(err)
			}
			switch {
			case c.hour == 0:
				if err := s.NamedErr(); !errors.Is(err, drift.ErrChanged) || !s.Unread() || hint(err) == "" || !strings.HasPrefix(err.Error(), "sky.fits: ") {
					t.Errorf("changed %d times: %v", c.times, err)
				}
			case s.Clock == nil || s.Clock.Start.Hour() != c.hour || (s.Field.Background > 0.2) != (c.hour == 22):
				t.Errorf("changed %d times: clock %v, light %.2f, %v", c.times, s.Clock, s.Field.Background, s.Err)
			}
		}
	}
}
