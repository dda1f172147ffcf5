package wobble

import (
	"math"
	"math/rand/v2"
	"time"

	"github.com/soniakeys/unit"
)

// run is an invented series whose truth is known.
type run struct {
	n                  int
	cadence            float64
	exposure           float64
	sigma              float64
	p2p, period, third float64
	rate               float64
}

var begin = time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)

func (r run) points(seed uint64) []Point {
	rd := rand.New(rand.NewPCG(seed, 77))
	phase := rd.Float64() * 2 * math.Pi
	at := rd.Float64()
	var ps []Point
	for range r.n {
		a := 0.0
		const sub = 20
		for k := range sub {
			tt := at + r.exposure*((float64(k)+.5)/sub-.5)
			a += r.rate * tt / sub
			if r.period > 0 {
				x := 2*math.Pi*tt/r.period + phase
				a += r.p2p / 2 * (math.Sin(x) + r.third*math.Sin(3*x)) / sub
			}
		}
		a += r.sigma * rd.NormFloat64()
		ps = append(ps, Point{Time: begin.Add(time.Duration(at * 1e9)), Angle: unit.AngleFromSec(a), Sigma: unit.AngleFromSec(r.sigma),
			Exposure: time.Duration(r.exposure * 1e9)})
		at += r.cadence
	}
	return ps
}

func (r run) truth() (p2p, rate float64) {
	t := newTable()
	p, s := t.extent([]float64{0, r.p2p / 2, 0, 0, 0, r.p2p / 2 * r.third})
	return p, s * 2 * math.Pi / r.period
}
