package session

import (
	"context"
	"fmt"
	"testing"

	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
)

// TestSessionInMemory: where nothing can be kept a session says what it says in a folder, and what its store holds is a
// session that goes on.
func TestSessionInMemory(t *testing.T) {
	e := evening.Eight(t)
	onDisk := work(t, "", t.TempDir(), quick)
	m := &store.Memory{}
	for i := range 5 {
		name := fmt.Sprintf("sky-%d.jpg", i)
		onDisk.must(e.Write(t, i, t.TempDir(), name))
		m.Send(store.Picture{Name: name, At: name}, e.JPEG[i])
	}
	want := onDisk.frames(5)
	for round := range 2 { // the second time nothing waits, and all is known
		o := options(t, "", "")
		o.Store = m
		n, err := New(o.Options)
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- n.Run(ctx) }()
		w := &working{bench: &bench{Session: n}, t: t, notes: o.notes}
		sameAnswer(t, w.until("all are measured", func(n *Word) bool { return len(n.View.Frames) == 5 && idle(n) }), want)
		stop()
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		if left := m.Waiting(); len(left) != 0 {
			t.Errorf("round %d: %v are left in the inbox", round, left)
		}
		if text, err := n.Report(); err != nil || len(text) == 0 {
			t.Errorf("the report: %v", err)
		}
	}
}
