package solve

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Given is an attitude that was measured elsewhere: known with an error, not by its stars.
//
// # The model
//
// The middle of the picture is known to Across along both axes of the view, the turn about the line of
// sight to About; the three errors are independent. What wanders from picture to picture beyond that – a gust,
// an error stated too small – is counted in pixels everywhere else, and no pixel is known here. The
// standard error of the place takes its part: one pixel is Across. The wander's usual size (0.07, see
// align/wander.go) then adds a quarter of a percent to the error, and a table whose scatter is
// several times what it states is found out and believed no more than it deserves.
type Given struct {
	Look  r3.Vec     // unit vector along which the picture's middle looks
	Up    r3.Vec     // a direction the picture's "up" (falling y) leans to, not along Look; of any length
	Pixel unit.Angle // the size given to a pixel: the usual Across of its table
	Errors
}

// Errors are standard errors of an attitude.
type Errors struct{ Across, About unit.Angle }

// Pose looks where g does. Its lens has no picture, only the focal length that goes with g.Pixel.
func (g Given) Pose() Pose {
	z := r3.Unit(g.Look)
	x := r3.Cross(z, g.Up)
	if r3.Norm(x) < 1e-9 {
		x = r3.Cross(z, r3.Vec{X: 0.6, Y: 0.8})
	}
	x = r3.Unit(x)
	return Pose{Attitude: turn.FromRows(x, r3.Cross(z, x), z), Lens: Lens{Width: 1, Height: 1, FocalPx: 1 / math.Tan(g.Pixel.Rad())}}
}

// Solution is g as a picture's, with no sightings. Look and Up are then in the ICRS.
func (g Given) Solution() Solution {
	a, r := g.Across.Rad(), g.About.Rad()
	return Solution{Pose: g.Pose(), Covariance: mat.NewSymDense(3, []float64{a * a, 0, 0, 0, a * a, 0, 0, 0, r * r})}
}

// Attitude is g as a measurement, in the frame of Look and Up.
func (g Given) Attitude() Attitude {
	a := Attitude{Pose: g.Pose()}
	var w [3]float64
	for k, sigma := range [3]float64{g.Across.Rad(), g.Across.Rad(), g.About.Rad()} {
		w[k] = 1 / (sigma * sigma)
		a.info[k][k] = w[k]
	}
	// A picture shifted along x looks like a camera turned about y, along y like one turned the
	// other way about x: measured = true + J·shift, and the information is that of both together.
	p := g.Pixel.Rad()
	j := [2]struct {
		turn int
		by   float64
	}{{1, p}, {0, -p}}
	for k, s := range j {
		a.info[3+k][3+k] = s.by * s.by * w[s.turn]
		a.info[3+k][s.turn] = s.by * w[s.turn]
		a.info[s.turn][3+k] = s.by * w[s.turn]
	}
	return a
}

// Listed is whether an attitude was measured elsewhere, so that no star stands behind it.
func (s Solution) Listed() bool { return len(s.Sightings) == 0 }
