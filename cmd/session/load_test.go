package session

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"
	"trueturn/cmd/session/evening"
	"trueturn/drift"
)

// BenchmarkThousandPictures: what a picture costs when the session is young and when it is old, from measured stars to the word on the
// board, the disk included. The metrics are milliseconds of a picture among the second hundred and among the last, and
// their ratio.
func BenchmarkThousandPictures(b *testing.B) {
	const count, hundred = 1000, 100
	dir, e := b.TempDir(), evening.Eight(b)
	for round := range b.N {
		o := options(b, "", filepath.Join(dir, fmt.Sprintf("session-%d", round)))
		n, err := newBench(o)
		if err != nil {
			b.Fatal(err)
		}
		first := n.measure(context.Background(), e.Write(b, 0, dir, "sky.jpg"), 1)
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
		n.end()
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
