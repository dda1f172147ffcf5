package solve

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// # Where the picture looks, and where its optics do
//
// An optical axis that lies c pixels off the picture's middle shows as a turn of the camera does, but for what perspective
// bends: to the first order in c the two differ by c·(a², ab), a and b being the tangents of the angles off the axis. Over 5° that
// is a fiftieth of a pixel for ten, over 80° seven. One picture therefore fits c as an unknown with its prior [priorCentre],
// as the joint fit does: where many stars of a wide view tell c, it is measured, and where nothing does, the prior's width is what the
// attitude of the optics ([Pose.Attitude]) is not known by. Where the *middle* of the picture looks and how the picture is turned
// about it ([Pose.Facing]) the stars tell in any case. That is what [Solution.Covariance] is of.

// Facing is the attitude of the picture rather than of its optics: z looks along the picture's middle, reached from the
// optical axis by the shortest arc. It serves to compare pictures.
func (p Pose) Facing() turn.Turn {
	return p.Attitude.Then(p.Lens.toMiddle())
}

// toMiddle carries the picture's middle to z.
func (l Lens) toMiddle() turn.Turn {
	m := l.Middle()
	axis := r3.Vec{X: m.Y, Y: -m.X} // m × z
	return turn.About(axis, unit.Angle(math.Atan2(r3.Norm(axis), m.Z)))
}

// through is the pose with another lens whose picture looks the same way.
func (p Pose) through(l Lens) Pose {
	return Pose{p.Facing().Then(l.toMiddle().Inverse()), l}
}

// facing is how a small change of the unknowns turns the picture: the rows, about the camera's axes x, y and z, of the
// derivatives of [Pose.Facing].
type facing [3][maxUnknowns]float64

// facing of a lens, to the first order in the angle between middle and optical axis (CentreX, CentreY)/FocalPx, a hundredth where it
// is large. The middle stands at (−CentreX, −CentreY)/FocalPx from the axis, and distortion does not reach it.
func (l Lens) facing() (d facing) {
	d[0][turnX], d[1][turnY], d[2][turnZ] = 1, 1, 1
	d[0][centreY], d[1][centreX] = -1/l.FocalPx, 1/l.FocalPx
	d[0][lnFocal], d[1][lnFocal] = l.CentreY/l.FocalPx, -l.CentreX/l.FocalPx
	return d
}

// turn is the picture's when the unknowns change by x.
func (d *facing) turn(x *[maxUnknowns]float64) []float64 {
	t := make([]float64, 3)
	for i := range t {
		for k := range x {
			t[i] += d[i][k] * x[k]
		}
	}
	return t
}

// covariance of the picture's turns about the axes i and j, cov being that of the unknowns.
func (d *facing) covariance(cov *[maxUnknowns][maxUnknowns]float64, i, j int) (sum float64) {
	for r := range cov {
		for c := range cov[r] {
			sum += d[i][r] * cov[r][c] * d[j][c]
		}
	}
	return sum
}
