//go:build unix

package answer

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"runtime"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

// These benchmarks hold the way of a picture to the bar of the live page: from file to answer
// within twice the time its decoding takes. Machines and their load differ; what is
// reported are ratios of stages taken in turns within one run, of their medians:
//
//	go test -run - -bench Latency -benchtime 20x ./align/answer

// pictureFile renders a 12-megapixel picture of a realistic evening, as a file in memory.
func pictureFile(b *testing.B, colour bool) []byte {
	b.Helper()
	e := eveningOf(b, 1)
	run, err := e.Begin()
	if err != nil {
		b.Fatal(err)
	}
	plane, meta, err := run.Frame(context.Background(), 0)
	if err != nil {
		b.Fatal(err)
	}
	var grey bytes.Buffer
	if err := frame.Encode(&grey, plane, meta, frame.JPEG); err != nil {
		b.Fatal(err)
	}
	if colour {
		return coloured(b, grey.Bytes())
	}
	return grey.Bytes()
}

// eveningOf is an evening of count pictures that show hundreds of stars on a gear that is uneven.
func eveningOf(b *testing.B, count int) simulate.Evening {
	b.Helper()
	site, err := ephem.NewSite(46, 7, 500)
	if err != nil {
		b.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		b.Fatal(err)
	}
	e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second, Third: 0.15, Phase: 1}
	e = realistic(e)
	e.Camera.ZeroPoint *= 4
	e.Count, e.Every, e.Seed = count, 20*time.Second, 7
	return e
}

// coloured gives a grey file's picture the chroma of a phone's (4:2:0, noisy), and keeps its EXIF.
func coloured(b *testing.B, file []byte) []byte {
	b.Helper()
	img, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		b.Fatal(err)
	}
	grey := img.(*image.Gray)
	out := image.NewYCbCr(grey.Rect, image.YCbCrSubsampleRatio420)
	for y := range grey.Rect.Dy() {
		copy(out.Y[y*out.YStride:], grey.Pix[y*grey.Stride:][:grey.Rect.Dx()])
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range out.Cb {
		out.Cb[i], out.Cr[i] = uint8(126+rng.IntN(5)), uint8(126+rng.IntN(5))
	}
	var body bytes.Buffer
	if err := jpeg.Encode(&body, out, &jpeg.Options{Quality: 95}); err != nil {
		b.Fatal(err)
	}
	exif := 4 + int(file[4])<<8 + int(file[5]) // start of image, marker, its length
	return slices.Concat(file[:exif], body.Bytes()[2:])
}

// stages times the stages of one way, taken in turns, by the clock and by the processor.
type stages map[string][]time.Duration

func (s stages) time(name string, do func()) {
	start, busy := time.Now(), processorTime()
	do()
	s[name] = append(s[name], time.Since(start))
	s[name+"-cpu"] = append(s[name+"-cpu"], processorTime()-busy)
}

// processorTime is what this process has used of all cores.
func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func (s stages) median(name string) time.Duration {
	return slices.Sorted(slices.Values(s[name]))[len(s[name])/2]
}

func (s stages) report(b *testing.B, of string) {
	whole := s.median(of)
	b.ReportMetric(whole.Seconds()*1000, "ms-"+of)
	for name := range s {
		if name != of {
			b.ReportMetric(float64(s.median(name))/float64(whole), name+"÷"+of)
		}
	}
}

// BenchmarkLatencyPicture measures one picture at a time with all cores, against its decoding alone.
func BenchmarkLatencyPicture(b *testing.B) {
	for _, colour := range []bool{false, true} {
		b.Run(map[bool]string{false: "grey", true: "colour"}[colour], func(b *testing.B) {
			file := pictureFile(b, colour)
			source := drift.Source{Name: "sky.jpg", Open: func() (io.ReadSeekCloser, error) { return memory{bytes.NewReader(file)}, nil }}
			s := stages{}
			var shot drift.Shot
			for b.Loop() {
				s.time("decode", func() {
					if _, err := frame.Decode(bytes.NewReader(file), frame.Options{}); err != nil {
						b.Fatal(err)
					}
				})
				s.time("measure", func() { shot, _ = drift.MeasureOne(b.Context(), source, drift.Options{}) })
				if shot.Err != nil {
					b.Fatal(shot.Err)
				}
			}
			s.report(b, "decode")
			b.ReportMetric(float64(len(shot.Field.Stars)), "stars")
			b.ReportMetric(float64(len(shot.Solution.Sightings)), "recognised")
		})
	}
}

// BenchmarkLatencyAnswer is the rest of the way, for windows of several pictures.
func BenchmarkLatencyAnswer(b *testing.B) {
	for _, n := range []int{6, 20, 60} {
		e := eveningOf(b, n)
		run, err := e.Begin()
		if err != nil {
			b.Fatal(err)
		}
		q := brightest(b, run, 0.1, 400)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := stages{}
			b.ReportAllocs()
			for b.Loop() {
				runtime.GC()
				answerInStages(b, s, q, e)
			}
			for name := range s {
				b.ReportMetric(s.median(name).Seconds()*1000, "ms-"+name)
			}
			b.ReportMetric(float64(len(q.Shots[0].Solution.Sightings)), "recognised")
		})
	}
}

func answerInStages(b *testing.B, s stages, q drift.Sequence, e simulate.Evening) {
	var h drift.Horizon
	var a Answer
	var err error
	s.time("horizon", func() { h, err = q.Horizon(e.Site, e.Air) })
	if err == nil {
		s.time("estimate", func() { _, err = align.Estimate(align.FromHorizon(h)) })
	}
	s.time("answer", func() { a = New(q, Options{Site: &e.Site, Air: &e.Air}) })
	s.time("marshal", func() { _, err = json.Marshal(a) })
	if err != nil || a.Axis == nil {
		b.Fatal(err, a.Err)
	}
}
