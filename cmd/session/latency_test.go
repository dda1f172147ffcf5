//go:build unix

package session

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/cmd/session/evening"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// BenchmarkLatency is the bar of the live page: a new 12-megapixel picture is told of within twice the time its decoding
// takes, one picture in flight, all cores. Decoding and the whole way, from the offer to the notice on the board, are taken in turns;
// their medians are compared by the clock, and by the processor (cpu) for machines that have other work:
//
//	go test -run - -bench Latency -benchtime 12x ./cmd/session
//
// The pictures are grey, which halves the decoder's work and leaves all other the same: a phone's, in colour, has more time.
func BenchmarkLatency(b *testing.B) {
	for _, c := range []struct {
		name     string
		before   int        // pictures the session has already
		altitude unit.Angle // axis error
	}{
		{"the first pictures", 0, 2},
		{"a full window", 44, 2},
		{"turning", 20, 40},
	} {
		b.Run(c.name, func(b *testing.B) { benchLatency(b, newTwelve(b, c.before, c.altitude)) })
	}
}

// renderedEach is how many pictures of a session are rendered; then it begins again.
const renderedEach = 6

// twelve is a session of 12-megapixel pictures.
type twelve struct {
	before []drift.Shot // measured without pictures, to fill the window
	files  [][]byte
}

func newTwelve(b *testing.B, before int, altitudeMin unit.Angle) twelve {
	b.Helper()
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		b.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 25, 21, 29, 0, 0, time.UTC))
	if err != nil {
		b.Fatal(err)
	}
	e = e.Realistic()
	e.Camera.ZeroPoint *= 9 // some two hundred stars
	e.Count, e.Every = before+renderedEach, 20*time.Second
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(float64(altitudeMin)), unit.AngleFromMin(1)
	run, err := e.Begin()
	if err != nil {
		b.Fatal(err)
	}
	w := twelve{before: starsAlone(b, run, before)}
	for i := before; i < e.Count; i++ {
		plane, meta, err := run.Frame(b.Context(), i)
		if err != nil {
			b.Fatal(err)
		}
		var buf bytes.Buffer
		if err := frame.Encode(&buf, plane, meta, frame.JPEG); err != nil {
			b.Fatal(err)
		}
		w.files = append(w.files, buf.Bytes())
	}
	return w
}

// starsAlone are shots as if measured on a run's pictures, with noise.
func starsAlone(b *testing.B, run *simulate.Run, count int) (shots []drift.Shot) {
	b.Helper()
	const noisePx, most = 0.1, 200
	r := rand.New(rand.NewPCG(1, 2))
	e := run.Evening()
	for i := range count {
		lit, err := run.Stars(i)
		if err != nil {
			b.Fatal(err)
		}
		c := run.Clock(i)
		s := drift.Shot{File: fmt.Sprintf("before-%d.jpg", i), Clock: &c, Width: e.Camera.Width, Height: e.Camera.Height,
			Field: star.Field{Width: e.Camera.Width, Height: e.Camera.Height, FWHM: 3, Elongation: 1.02}}
		for _, l := range lit[:min(most, len(lit))] {
			s.Field.Stars = append(s.Field.Stars, star.Star{X: l.MeanX + noisePx*r.NormFloat64(), Y: l.MeanY + noisePx*r.NormFloat64(),
				XErr: noisePx, YErr: noisePx, Flux: l.Electrons, FWHM: 3, FWHMErr: 0.1, Elongation: 1.02, ElongationErr: 0.05})
		}
		sol, err := solve.Solve(b.Context(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx})
		if err != nil {
			b.Fatal(err)
		}
		s.Solution = &sol
		shots = append(shots, s)
	}
	return shots
}

// spent is the time of the clock and of the processor.
type spent struct{ clock, cpu []time.Duration }

func (s *spent) time(do func()) {
	start, busy := time.Now(), processorTime()
	do()
	s.clock, s.cpu = append(s.clock, time.Since(start)), append(s.cpu, processorTime()-busy)
}

func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func middle(d []time.Duration) float64 { return slices.Sorted(slices.Values(d))[len(d)/2].Seconds() }

func benchLatency(b *testing.B, t twelve) {
	var decoding, whole spent
	var w *working
	i, listed := len(t.files), 0
	for b.Loop() {
		b.StopTimer()
		if i == len(t.files) {
			if w != nil {
				w.stop()
			}
			w = work(b, "", filepath.Join(b.TempDir(), "session"), func(n *bench) {
				if err := n.guide.Add(context.Background(), t.before...); err != nil {
					b.Fatal(err)
				}
			})
			i, listed = 0, len(t.before)
		}
		p := evening.File(b, filepath.Join(b.TempDir(), fmt.Sprintf("sky-%d.jpg", i)), t.files[i])
		decoding.time(func() {
			if _, err := frame.Decode(bytes.NewReader(t.files[i]), frame.Options{}); err != nil {
				b.Fatal(err)
			}
		})
		i, listed = i+1, listed+1
		b.StartTimer()
		whole.time(func() {
			w.must(p)
			w.frames(listed)
		})
	}
	w.stop()
	last, _ := w.board.Look()
	if f := last.View.Frames[len(last.View.Frames)-1]; f.Matched < 100 {
		b.Fatalf("of the last picture %d stars were recognised; it says %q", f.Matched, f.WhyNot)
	}
	b.ReportMetric(middle(decoding.clock)*1000, "ms-decode")
	b.ReportMetric(middle(whole.clock)*1000, "ms-told")
	b.ReportMetric(middle(whole.clock)/middle(decoding.clock), "told÷decode")
	b.ReportMetric(middle(whole.cpu)/middle(decoding.cpu), "told-cpu÷decode-cpu")
	b.ReportMetric(float64(len(last.Seq.Shots)), "window")
}
