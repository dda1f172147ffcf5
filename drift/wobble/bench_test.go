package wobble

import "testing"

func BenchmarkFit(b *testing.B) {
	for _, c := range []struct {
		name string
		run  run
	}{
		{"60 points", run{n: 60, cadence: 25, sigma: 2, p2p: 44, period: 480, third: .3, rate: 15.041}},
		{"2000 points", run{n: 2000, cadence: 5, sigma: 2, p2p: 44, period: 480, third: .3, rate: 15.041}},
	} {
		b.Run(c.name, func(b *testing.B) {
			ps := c.run.points(1)
			for b.Loop() {
				if _, err := Fit(ps, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
