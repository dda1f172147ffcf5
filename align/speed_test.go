package align

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"trueturn/align/simulate"
	"trueturn/ephem"
)

// BenchmarkEstimate is the joint fit for sessions of some lengths.
func BenchmarkEstimate(b *testing.B) {
	for _, n := range []int{3, 10, 40, 160, 640} {
		e, err := simulate.Practice(invented(b, 46), time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
		if err != nil {
			b.Fatal(err)
		}
		e.Count = n
		run, err := e.Begin()
		if err != nil {
			b.Fatal(err)
		}
		q, _ := sessionFrom(b, run, n, 0.15, 60, rand.New(rand.NewPCG(1, 2)))
		h, err := q.Horizon(e.Site, ephem.StandardAir(e.Site.HeightM))
		if err != nil {
			b.Fatal(err)
		}
		in := FromHorizon(h)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Estimate(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
