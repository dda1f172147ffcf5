package solve

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A dozen stars in a wide view tell little of its lens, and the stated error of the middle must own to that: over many
// fields, off by what is stated (definition of a standard error; two axes, so the squares add to two).
func TestFewStarsInWideFieldsOwnToTheirErrors(t *testing.T) {
	const fields = 120
	// The squares' mean of 120 pairs of normal deviates scatters by 1/√120 = 9 %, its root by 5 %: three of those, and
	// as much for a distortion drawn evenly where the prior is a bell.
	const atMost = 1.30
	r := rand.New(rand.NewPCG(41, 42))
	var sum float64
	n := 0
	for range fields {
		sc := scenery{1152, 864, 75 + 13*r.Float64(), 8 + r.IntN(8), 0.1, 0, 0.1, 0.3, 0.12*r.Float64() - 0.06, false, 0.4}
		d := sc.draw(r)
		// An optical axis off the middle, as lenses have it: all stars stand so much aside.
		const asidePx = 0.004 * 720
		dx, dy := asidePx*r.NormFloat64(), asidePx*r.NormFloat64()
		for i := range d.field.Stars {
			d.field.Stars[i].X += dx
			d.field.Stars[i].Y += dy
		}
		middle := d.attitude.Inverse().Apply(r3.Unit(r3.Vec{X: -dx, Y: -dy, Z: d.focalPx}))
		sol, err := Solve(context.Background(), d.field, Hint{FocalPx: d.focalPx})
		if err != nil {
			continue
		}
		n++
		off := math.Acos(min(1, r3.Dot(middle, sol.Centre())))
		sum += off * off / (sol.Covariance.At(0, 0) + sol.Covariance.At(1, 1))
	}
	if n < fields*3/4 {
		t.Errorf("%d of %d fields recognised: too few to judge by", n, fields)
	}
	if pull := math.Sqrt(sum / float64(n)); pull > atMost {
		t.Errorf("the middle is off by %.2f of the stated errors over %d fields, want at most %.2f", pull, n, atMost)
	}
}
