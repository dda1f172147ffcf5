package solve

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/star"
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
	if n < fields/2 { // with so few stars many are refused
		t.Errorf("%d of %d fields recognised: too few to judge by", n, fields)
	}
	if pull := math.Sqrt(sum / float64(n)); pull > atMost {
		t.Errorf("the middle is off by %.2f of the stated errors over %d fields, want at most %.2f", pull, n, atMost)
	}
}

// Where all stars stand at one side and a false spot lies at the other, not far from where a star is expected, a lens that
// bends a little makes a star of it. The stated error must own to that: off by at most four of them (one in 3000 by chance).
func TestOneFalseStarIsOwnedTo(t *testing.T) {
	r := rand.New(rand.NewPCG(45, 46))
	fooled := 0
	for range 12 {
		sc := scenery{1152, 864, 75, 13, 0, 0, 0.5, 0.1, 0, false, 0.66}
		d := sc.draw(r)
		h := Hint{FocalPx: d.focalPx}
		honest, err := Solve(context.Background(), d.field, h)
		if err != nil {
			continue
		}
		x, y := farLeft(honest.Pose)
		for aside := 3.0; aside < 10; aside += 2 {
			f := d.field
			f.Stars = append(append(f.Stars[:0:0], f.Stars...), star.Star{X: x + aside, Y: y, XErr: 0.5, YErr: 0.5})
			sol, err := Solve(context.Background(), f, h)
			if err != nil {
				continue
			}
			off := math.Acos(min(1, r3.Dot(d.attitude.Inverse().Apply(r3.Vec{Z: 1}), sol.Centre())))
			stated := math.Sqrt(sol.Covariance.At(0, 0) + sol.Covariance.At(1, 1))
			if off > wrongAbove {
				fooled++
			}
			if off > 4*stated {
				t.Errorf("a false star %.0f px aside: off by %.2f°, %.1f of what is stated", aside, off*180/math.Pi, off/stated)
			}
		}
	}
	if fooled == 0 {
		t.Error("no false star was taken for a true one: nothing was put to the test")
	}
}

// wrongAbove (radians, 0.1°) is what a false star must have done to count as taken.
const wrongAbove = 0.1 * math.Pi / 180

// farLeft is where the brightest star of the leftmost fifth is expected.
func farLeft(p Pose) (x, y float64) {
	for _, e := range p.expectedStars(nil, 200) {
		if e.x < 0.2*float64(p.Lens.Width) {
			return e.x, e.y
		}
	}
	return 0, 0
}
