package solve

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// A camera looks along Look with Up on top, and its errors are those stated, widened by a wander of
// so many of them: the variance of a sum of independent errors is the sum of the variances.
func TestGivenAttitude(t *testing.T) {
	sec := unit.AngleFromSec
	g := Given{Look: r3.Unit(r3.Vec{X: 1, Y: 2, Z: 3}), Up: r3.Vec{Z: 1}, Pixel: sec(5), Errors: Errors{Across: sec(7), About: sec(600)}}
	const rounding = 1e-12
	if z := g.Pose().Attitude.Apply(g.Look); r3.Norm(r3.Sub(z, r3.Vec{Z: 1})) > rounding {
		t.Errorf("the camera sees its middle at %v", z)
	}
	if up := g.Pose().Attitude.Apply(g.Up); math.Abs(up.X) > rounding || up.Y >= 0 {
		t.Errorf("up is seen at %v, want it at falling y", up)
	}
	for _, wanderPx := range []float64{0, 0.07, 3} {
		_, cov := g.Attitude().Given(wanderPx)
		wander := wanderPx * g.Pixel.Rad()
		want := [3]float64{math.Hypot(sec(7).Rad(), wander), math.Hypot(sec(7).Rad(), wander), sec(600).Rad()}
		for k := range want {
			const share = 1e-6 // of rounding in the inverse of a nearly singular matrix
			if got := math.Sqrt(cov[k][k]); math.Abs(got/want[k]-1) > share {
				t.Errorf("wander %g px, axis %d: σ = %g, want %g", wanderPx, k, got, want[k])
			}
		}
	}
	if !g.Solution().Listed() {
		t.Error("a given attitude has sightings")
	}
}
