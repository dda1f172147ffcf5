package page

import (
	"context"
	"fmt"
	"net"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"trueturn/drift"
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

// BenchmarkThousandPictures: what a picture costs when the session is young and when it is old, from measured stars to the word on the
// board, the disk included. The metrics are milliseconds of a picture among the second hundred and among the last, and
// their ratio.
func BenchmarkThousandPictures(b *testing.B) {
	const count, hundred = 1000, 100
	dir, e := b.TempDir(), anEvening(b)
	for round := range b.N {
		o, _ := options(b, "", filepath.Join(dir, fmt.Sprintf("session-%d", round)))
		n, err := newBench(o, newBoard())
		if err != nil {
			b.Fatal(err)
		}
		first := n.measure(context.Background(), e.write(b, 0, dir, "sky.jpg"), 1)
		var spent [count / hundred]time.Duration
		for i := range count {
			r := first
			r.shot, r.sum = at(first.shot, i), fmt.Sprint(i)
			r.file, _ = n.journal.claim(r.sum, fmt.Sprintf("sky-%04d.jpg", i))
			r.shot.File = r.file
			began := time.Now()
			n.apply(context.Background(), []outcome{r})
			spent[i/hundred] += time.Since(began)
		}
		n.finish(n.watchFolder(context.Background()))
		each := func(d time.Duration) float64 { return d.Seconds() * 1000 / hundred }
		young, old := each(spent[1]), each(spent[len(spent)-1])
		b.ReportMetric(young, "young-ms")
		b.ReportMetric(old, "old-ms")
		b.ReportMetric(old/young, "old/young")
	}
}

// at is a shot taken as number i of an evening.
func at(s drift.Shot, i int) drift.Shot {
	clock := *s.Clock
	clock.Start = clock.Start.Add(time.Duration(i) * 20 * time.Second)
	s.Clock = &clock
	return s
}
