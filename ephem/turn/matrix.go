package turn

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mat is the rotation matrix of t.
func (t Turn) Mat() *r3.Mat {
	x, y, z := t.Rows()
	return r3.NewMat([]float64{x.X, x.Y, x.Z, y.X, y.Y, y.Z, z.X, z.Y, z.Z})
}

// Mat is m, given row by row, to calculate with.
func Mat(m [3][3]float64) *r3.Mat { return r3.NewMat(slices.Concat(m[0][:], m[1][:], m[2][:])) }

// Invert is the inverse of m and m's determinant; where that is 0 the inverse has no finite elements.
func Invert(m *r3.Mat) (inv *r3.Mat, det float64) {
	x, y, z := m.VecRow(0), m.VecRow(1), m.VecRow(2)
	det = r3.Dot(x, r3.Cross(y, z))
	inv = new(r3.Mat)
	for k, c := range [3]r3.Vec{r3.Cross(y, z), r3.Cross(z, x), r3.Cross(x, y)} {
		inv.Set(0, k, c.X/det)
		inv.Set(1, k, c.Y/det)
		inv.Set(2, k, c.Z/det)
	}
	return inv, det
}
