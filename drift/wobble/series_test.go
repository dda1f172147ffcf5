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
	cadence, jitter    float64
	exposure           float64
	sigma              float64
	p2p, period, third float64
	step               float64
	rate               float64
	timer              bool
}

var begin = time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)

func (r run) points(seed uint64) []Point {
	rd := rand.New(rand.NewPCG(seed, 77))
	phase := rd.Float64() * 2 * math.Pi
	at := rd.Float64()
	var ps []Point
	for range r.n {
		t := at
		if r.timer {
			t = at + r.jitter*rd.NormFloat64()
		}
		a := 0.0
		const sub = 20
		for k := range sub {
			tt := t + r.exposure*((float64(k)+.5)/sub-.5)
			a += r.rate * tt / sub
			if r.period > 0 {
				x := 2*math.Pi*tt/r.period + phase
				a += r.p2p / 2 * (math.Sin(x) + r.third*math.Sin(3*x)) / sub
			}
		}
		a += r.sigma * rd.NormFloat64()
		stamp := t
		if r.step > 0 {
			stamp = math.Floor(t/r.step) * r.step
		}
		ps = append(ps, Point{Time: begin.Add(time.Duration(stamp * 1e9)), Angle: unit.AngleFromSec(a), Sigma: unit.AngleFromSec(r.sigma),
			Exposure: time.Duration(r.exposure * 1e9)})
		at += r.cadence
		if !r.timer {
			at += r.jitter * rd.NormFloat64()
		}
	}
	return ps
}

func (r run) truth() (p2p, rate float64) {
	t := newTable()
	p, s := t.extent([]float64{0, r.p2p / 2, 0, 0, 0, r.p2p / 2 * r.third})
	return p, s * 2 * math.Pi / r.period
}

func duration(s float64) time.Duration { return time.Duration(s * 1e9) }

func (r run) options() Options { return Options{StampStep: duration(r.step)} }
