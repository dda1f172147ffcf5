package align

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/simulate"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// exact is an attitude known without the stars: only its time counts here.
type exact struct{}

func (exact) Given(float64) (turn.Turn, [3][3]float64) {
	return turn.Identity(), [3][3]float64{{1e-12, 0, 0}, {0, 1e-12, 0}, {0, 0, 1e-12}}
}

// angles is a series of angles about the axis as an estimator would hand it on.
type angles struct {
	ratio, noiseSec    float64
	everyS             float64
	count              int
	wobbleSec, periodS float64
	phase              float64
	stamp              time.Duration
	event              func(i int, theta unit.Angle) unit.Angle // may be nil
}

func (g angles) series(r *rand.Rand) (Input, Axis) {
	start := time.Date(2026, 3, 3, 21, 0, 0, 0, time.UTC)
	in, a := Input{}, Axis{Direction: r3.Vec{Y: 1}}
	begin := r.Float64()
	for i := range g.count {
		t := begin + float64(i)*g.everyS
		theta := unit.Angle(g.ratio*ephem.SiderealRadPerS*t) + unit.AngleFromSec(g.wobbleSec/2*math.Sin(2*math.Pi*t/g.periodS+g.phase)+g.noiseSec*r.NormFloat64())
		if g.event != nil {
			theta = g.event(i, theta)
		}
		stamp := start.Add(time.Duration(t * float64(time.Second)))
		if g.stamp > 0 {
			stamp = stamp.Truncate(g.stamp)
		}
		in.Samples = append(in.Samples, Sample{Mid: stamp, Attitude: exact{}})
		a.Theta = append(a.Theta, theta)
		a.ThetaSigma = append(a.ThetaSigma, unit.AngleFromSec(g.noiseSec))
		a.Stray, a.Group = append(a.Stray, false), append(a.Group, 0)
	}
	return in, a
}

// TestTrackingRate: the error stated must cover what wobble, stamps and noise do, and the rate must stand up
// to what hands and gears do in between.
func TestTrackingRate(t *testing.T) {
	swing := func(at int, deg float64) func(int, unit.Angle) unit.Angle {
		return func(i int, theta unit.Angle) unit.Angle {
			if i >= at {
				theta += unit.AngleFromDeg(deg)
			}
			return theta
		}
	}
	for _, c := range []struct {
		name  string
		g     angles
		sigma float64 // at most so much
	}{
		{"three minutes", angles{ratio: 1, noiseSec: 1, everyS: 20, count: 10, wobbleSec: 40, periodS: 480}, 0.025},
		{"three minutes, whole seconds", angles{ratio: 1, noiseSec: 1, everyS: 20.07, count: 10, wobbleSec: 40, periodS: 480, stamp: time.Second}, 0.025},
		{"half an hour", angles{ratio: 1, noiseSec: 1, everyS: 30, count: 60, wobbleSec: 40, periodS: 600}, 0.0015},
		{"two hours at the solar rate", angles{ratio: simulate.RateSolar, noiseSec: 1, everyS: 120, count: 60, wobbleSec: 40, periodS: 480}, 0.0002},
		{"half rate", angles{ratio: 0.5, noiseSec: 1, everyS: 20, count: 10, wobbleSec: 40, periodS: 480}, 0.025},
		{"backward", angles{ratio: -1, noiseSec: 1, everyS: 20, count: 10, wobbleSec: 40, periodS: 480}, 0.025},
		{"swing in the middle", angles{ratio: 1, noiseSec: 1, everyS: 20, count: 12, wobbleSec: 40, periodS: 480, event: swing(6, 35)}, 0.04},
		{"clutch gives 4′ once", angles{ratio: 1, noiseSec: 1, everyS: 20, count: 12, wobbleSec: 40, periodS: 480, event: swing(5, -4.0/60)}, 0.04},
		{"motor stands for three pictures", angles{ratio: 1, noiseSec: 1, everyS: 20, count: 12, wobbleSec: 40, periodS: 480, event: func(i int, th unit.Angle) unit.Angle {
			return th - unit.AngleFromSec(15.041*20*float64(min(i, 3)))
		}}, 0.03},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(5, 6))
			const runs = 300
			var squares, sigma float64
			for k := range runs {
				c.g.phase = 2 * math.Pi * float64(k) / runs
				in, a := c.g.series(r)
				got, ok := TrackingRate(in, a)
				if !ok {
					t.Fatal("no rate")
				}
				squares += sq2((got.SiderealRatio - c.g.ratio) / got.Sigma)
				sigma = max(sigma, got.Sigma)
			}
			if sigma > c.sigma {
				t.Errorf("standard error up to %.5f, want at most %.5f", sigma, c.sigma)
			}
			// A wobble at the edge of what is reckoned with, at the worst period, may just reach the
			// stated error in the root mean square; 1.1 leaves room for the 300 draws.
			if pull := math.Sqrt(squares / runs); pull > 1.1 {
				t.Errorf("scatter is %.2f times the stated error", pull)
			} else {
				t.Logf("standard error %.5f, scatter %.2f of it", sigma, pull)
			}
		})
	}
}

func TestNoTrackingRate(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	swung := angles{ratio: 1, noiseSec: 1, everyS: 30, count: 4, periodS: 1, event: func(i int, th unit.Angle) unit.Angle {
		return th + unit.AngleFromDeg([]float64{0, 25, -40, 15}[i])
	}}
	uneven := angles{ratio: 1, noiseSec: 1, everyS: 30, count: 8, periodS: 1, event: func(i int, th unit.Angle) unit.Angle {
		return th + unit.AngleFromMin(7*math.Sin(float64(i*i)))
	}}
	for name, g := range map[string]angles{"swung between all pictures": swung, "no two steps agree": uneven, "one picture": {ratio: 1, noiseSec: 1, count: 1, periodS: 1}} {
		in, a := g.series(r)
		if got, ok := TrackingRate(in, a); ok {
			t.Errorf("%s: got %+v, want none", name, got)
		}
	}
	if got, ok := TrackingRate(Input{}, Axis{}); ok {
		t.Errorf("nothing at all: got %+v", got)
	}
}
