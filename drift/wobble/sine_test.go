package wobble

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"
)

// A pure sine fits at twice its period as well, as a second harmonic without a
// first. That is no other period.
func TestPureSineIsMeasured(t *testing.T) {
	const (
		seeds  = 40
		enough = 38 // of 40: noise may favour another period now and then
	)
	measured := 0
	for seed := range uint64(seeds) {
		r := rand.New(rand.NewPCG(seed, 2))
		var ps []Point
		start := time.Date(2026, 11, 20, 20, 0, 5, 0, time.UTC)
		for i := range 60 {
			at := float64(i) * 25
			w := 22 * math.Sin(2*math.Pi*at/480+float64(seed))
			ps = append(ps, Point{Time: start.Add(time.Duration(at * 1e9)), Sigma: unit.AngleFromSec(1.5),
				Angle: unit.AngleFromSec(15.041*at + w + 1.5*r.NormFloat64()), Exposure: 10 * time.Second})
		}
		res, err := Fit(ps, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if res.State == Measured && math.Abs(res.PeriodS/480-1) < 0.03 {
			measured++
		} else {
			t.Logf("seed %d: %s", seed, res.Note)
		}
	}
	if measured < enough {
		t.Errorf("measured in %d of %d series", measured, seeds)
	}
}
