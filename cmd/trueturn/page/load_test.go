package page

import (
	"fmt"
	"net"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
)

// stalled is a browser that has asked for the events and reads nothing of them.
func (s *served) stalled() net.Conn {
	s.t.Helper()
	c := s.dial()
	s.t.Cleanup(func() { c.Close() })
	if err := c.(*net.TCPConn).SetReadBuffer(4 << 10); err != nil {
		s.t.Fatal(err)
	}
	fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", s.path, s.host)
	return c
}

// TestFiftyBrowsers: forty are told every word, each before the next is spoken, while ten take nothing; when all are gone
// nothing of them is left.
func TestFiftyBrowsers(t *testing.T) {
	const (
		living, stalling = 40, 10
		words            = 8
		wordBytes        = 400 << 10 // the state after a thousand pictures; the buffers on the way hold less than two
	)
	s := serve(t)
	var stuck []net.Conn
	for range stalling {
		stuck = append(stuck, s.stalled())
	}
	var browsers []*listener
	for range living {
		l := s.listen()
		l.c.SetDeadline(time.Now().Add(5 * time.Minute)) // no measure of speed: it ends a test that hangs
		browsers = append(browsers, l)
	}
	eventually(t, "all fifty follow", func() bool { return len(s.page.streams) == living+stalling })
	text := `{"n":"` + strings.Repeat("x", wordBytes) + `"}`
	for i := range words {
		serial := uint64(1000 + i)
		s.post(serial, text)
		var g errgroup.Group
		for _, b := range browsers {
			g.Go(func() error { return b.hears(fmt.Sprint(serial)) })
		}
		if err := g.Wait(); err != nil {
			t.Fatalf("word %d: %v", i, err)
		}
	}
	for _, b := range browsers {
		b.c.Close()
	}
	for _, c := range stuck {
		c.Close()
	}
	eventually(t, "all places are free", func() bool { return len(s.page.streams) == 0 })
	eventually(t, "nobody is left running", func() bool {
		all := make([]byte, 4<<20)
		return !strings.Contains(string(all[:runtime.Stack(all, true)]), "(*stream).follow")
	})
}

// hears reads on to an event; the listener's deadline ends it.
func (l *listener) hears(id string) error {
	for {
		line, err := l.body.ReadString('\n')
		if err != nil {
			return fmt.Errorf("waiting for %s: %w", id, err)
		}
		if got, ok := strings.CutPrefix(strings.TrimSpace(line), "id: "); ok && got == id {
			break
		}
	}
	for { // and all of it
		if line, err := l.body.ReadString('\n'); err != nil || line == "\n" {
			return err
		}
	}
}
