package drift

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"testing"

	"trueturn/drift/frame"
)

// TestRoom: small pictures share the room, a large one waits until those before it have left.
func TestRoom(t *testing.T) {
	const large, small = frame.MostBytes/2 + 1, frame.MostBytes / 8
	none, cancel := context.WithCancel(context.Background())
	cancel() // who would have to wait is told so
	for _, c := range []struct {
		name   string
		before []int64
		then   int64
		waits  bool
	}{
		{"alone", nil, frame.MostBytes, false},
		{"small ones together", []int64{small, small, small}, small, false},
		{"a large one beside a small one", []int64{small}, large, false},
		{"two large ones", []int64{large}, large, true},
		{"the largest beside a small one", []int64{small}, frame.MostBytes, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			room := NewRoom()
			var in []*place
			for _, n := range c.before {
				p := &place{room: room}
				if err := p.take(context.Background(), n); err != nil {
					t.Fatal(err)
				}
				in = append(in, p)
			}
			p := &place{room: room}
			if waits := !room.bytes.TryAcquire(c.then); waits != c.waits {
				t.Errorf("waits: %v", waits)
			} else if !waits {
				room.bytes.Release(c.then)
			}
			if c.waits && !errors.Is(p.take(none, c.then), context.Canceled) {
				t.Error("waits beyond the end of its context")
			}
			for _, q := range in {
				q.leave()
			}
			if err := p.take(context.Background(), c.then); err != nil {
				t.Fatal(err)
			}
			if err := p.take(context.Background(), c.then/2); err != nil || p.taken != c.then/2 { // in place of the former
				t.Errorf("%d are taken, %v", p.taken, err)
			}
			if err := p.take(context.Background(), frame.MostBytes); err != nil { // alone it need not wait for itself
				t.Fatal(err)
			}
			p.leave()
			p.leave()
			if !room.bytes.TryAcquire(frame.MostBytes) {
				t.Error("not all is given back")
			}
		})
	}
}

// TestMeasureKeepsToTheRoom: while there is none, a picture is not decoded; and it gives back what it took.
func TestMeasureKeepsToTheRoom(t *testing.T) {
	content, err := os.ReadFile("frame/testdata/base.jpg")
	if err != nil {
		t.Fatal(err)
	}
	room := NewRoom()
	ctx, cancel := context.WithCancel(context.Background())
	src := Source{Name: "base.jpg", Open: func() (io.ReadSeekCloser, error) {
		cancel()
		return struct {
			io.ReadSeeker
			io.Closer
		}{bytes.NewReader(content), io.NopCloser(nil)}, nil
	}}
	full := &place{room: room}
	if err := full.take(context.Background(), frame.MostBytes); err != nil {
		t.Fatal(err)
	}
	if s, err := MeasureOne(ctx, src, Options{Room: room}); !errors.Is(err, context.Canceled) || s.Width != 0 {
		t.Errorf("without room: %d pixels wide, %v", s.Width, err)
	}
	full.leave()
	cancel = func() {}
	if s, err := MeasureOne(context.Background(), src, Options{Room: room}); err != nil || s.Width == 0 {
		t.Errorf("with room: %d pixels wide, %v", s.Width, err)
	}
	if !room.bytes.TryAcquire(frame.MostBytes) {
		t.Error("not all is given back")
	}
}
