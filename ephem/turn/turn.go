// Package turn holds rotations of three-dimensional frames.
//
// Start with [About] and [Turn.Apply]. A [Turn] carries vectors actively: it
// moves a direction, and when it stands for a change of frame (an attitude) it
// takes the components of a direction in the old frame to those in the new one.
package turn

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Turn is a rotation, held as a unit quaternion. The zero value is not a
// rotation; use [Identity].
type Turn struct{ q quat.Number }

// Identity turns nothing.
func Identity() Turn { return Turn{quat.Number{Real: 1}} }

// About is the right-handed turn by angle about axis, which need not be of unit
// length. A zero axis gives the identity.
func About(axis r3.Vec, angle unit.Angle) Turn {
	n := r3.Norm(axis)
	if n == 0 {
		return Identity()
	}
	return Exp(r3.Scale(angle.Rad()/n, axis))
}

// Exp is the turn whose rotation vector (axis times angle in radians) is w.
func Exp(w r3.Vec) Turn {
	a := r3.Norm(w)
	s := 0.5 // lim sin(a/2)/a
	if a > 1e-9 {
		s = math.Sin(a/2) / a
	}
	return Turn{quat.Number{Real: math.Cos(a / 2), Imag: s * w.X, Jmag: s * w.Y, Kmag: s * w.Z}}
}

// Log is the rotation vector of t, in radians, of length 0 to π.
func (t Turn) Log() r3.Vec {
	q := t.q
	if q.Real < 0 {
		q = quat.Scale(-1, q)
	}
	v := r3.Vec{X: q.Imag, Y: q.Jmag, Z: q.Kmag}
	n := r3.Norm(v)
	if n < 1e-12 {
		return r3.Scale(2, v)
	}
	return r3.Scale(2*math.Atan2(n, q.Real)/n, v)
}

// Apply turns v.
func (t Turn) Apply(v r3.Vec) r3.Vec {
	// v + 2w(u×v) + 2u×(u×v) with u the vector part: two cross products.
	u := r3.Vec{X: t.q.Imag, Y: t.q.Jmag, Z: t.q.Kmag}
	c := r3.Scale(2, r3.Cross(u, v))
	return r3.Add(v, r3.Add(r3.Scale(t.q.Real, c), r3.Cross(u, c)))
}

// Then is the turn that applies t first and u after it.
func (t Turn) Then(u Turn) Turn {
	q := quat.Mul(u.q, t.q)
	return Turn{quat.Scale(1/quat.Abs(q), q)}
}

// Inverse undoes t.
func (t Turn) Inverse() Turn { return Turn{quat.Conj(t.q)} }

// Angle is how far t turns, 0 to π.
func (t Turn) Angle() unit.Angle { return unit.Angle(r3.Norm(t.Log())) }

// Rows gives the rotation matrix row by row: the new frame's axes as seen in
// the old one.
func (t Turn) Rows() (x, y, z r3.Vec) {
	i := t.Inverse()
	return i.Apply(r3.Vec{X: 1}), i.Apply(r3.Vec{Y: 1}), i.Apply(r3.Vec{Z: 1})
}

// FromRows is the turn whose matrix has the rows x, y, z. They must be
// orthonormal and right-handed to working accuracy; the result is normalised.
func FromRows(x, y, z r3.Vec) Turn {
	// Shepperd's choice: divide by the largest of the four components.
	tr := x.X + y.Y + z.Z
	var q quat.Number
	switch {
	case tr >= x.X && tr >= y.Y && tr >= z.Z:
		q = quat.Number{Real: 1 + tr, Imag: z.Y - y.Z, Jmag: x.Z - z.X, Kmag: y.X - x.Y}
	case x.X >= y.Y && x.X >= z.Z:
		q = quat.Number{Real: z.Y - y.Z, Imag: 1 + x.X - y.Y - z.Z, Jmag: x.Y + y.X, Kmag: x.Z + z.X}
	case y.Y >= z.Z:
		q = quat.Number{Real: x.Z - z.X, Imag: x.Y + y.X, Jmag: 1 - x.X + y.Y - z.Z, Kmag: y.Z + z.Y}
	default:
		q = quat.Number{Real: y.X - x.Y, Imag: x.Z + z.X, Jmag: y.Z + z.Y, Kmag: 1 - x.X - y.Y + z.Z}
	}
	return Turn{quat.Scale(1/quat.Abs(q), q)}
}

// Tangent is an orthonormal pair across the unit vector a of the horizon frame (east, north, up): the first horizontal, toward
// growing azimuth, the second upward.
func Tangent(a r3.Vec) (across, up r3.Vec) {
	across = r3.Vec{X: a.Y, Y: -a.X}
	if r3.Norm(across) < 1e-12 {
		across = r3.Vec{X: 1}
	}
	across = r3.Unit(across)
	return across, r3.Cross(across, a)
}
