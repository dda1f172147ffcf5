package star

import (
	"context"
	"fmt"
	"math"
	"testing"

	"trueturn/drift/frame"
)

// nightSky renders the picture the benchmarks use: 4000 × 3000 pixels, vignetting, a dark hillside, count stars.
func nightSky(w, h, count int) frame.Plane {
	s := newScene(w, h, 1, func(x, y float64) float64 {
		dx, dy := x/float64(w)-0.5, y/float64(h)-0.5
		sky := 400 * (1 - 0.8*(dx*dx+dy*dy))
		if y > float64(h)*(0.85+0.03*math.Sin(x/300)) {
			sky = 40
		}
		return sky
	})
	for range count {
		e := 1500 * math.Pow(1-s.rng.Float64(), -1/1.2)
		s.add(gauss{1.3}, s.rng.Float64()*float64(w), s.rng.Float64()*float64(h)*0.8, math.Min(e, 3e5))
	}
	return s.develop(5, 20000)
}

// BenchmarkFind: megapixels a second, by the size of the picture and the number of workers.
//
//	go test -run '^$' -bench Find -count 6 ./drift/star
func BenchmarkFind(b *testing.B) {
	for _, side := range []struct{ w, h, stars int }{{1600, 1200, 300}, {4000, 3000, 2000}, {8000, 6000, 8000}} {
		p := nightSky(side.w, side.h, side.stars)
		mpx := float64(len(p.Pix)) / 1e6
		for _, workers := range []int{1, 2} {
			b.Run(fmt.Sprintf("%.0fMpx/%dworkers", mpx, workers), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					f, err := Find(context.Background(), p, Options{Workers: workers})
					if err != nil || len(f.Stars) < 200 {
						b.Fatal(err, len(f.Stars))
					}
				}
				b.ReportMetric(mpx*float64(b.N)/b.Elapsed().Seconds(), "Mpx/s")
			})
		}
	}
}
