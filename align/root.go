package align

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// root is the triangular root of a symmetric positive matrix (Cholesky). That of mat also estimates the condition, which
// takes longer than all the rest where hundreds of small systems are solved.
type root struct{ t blas64.Triangular }

// rootOf overwrites a; false where a is not positive.
func rootOf(a *mat.SymDense) (root, bool) {
	t, ok := lapack64.Potrf(a.RawSymmetric())
	return root{t}, ok
}

// solve overwrites a right-hand side with the solution.
func (r root) solve(b *mat.VecDense) {
	lapack64.Potrs(r.t, blas64.General{Rows: b.Len(), Cols: 1, Stride: 1, Data: b.RawVector().Data})
}

// logDet is the logarithm of the matrix's determinant.
func (r root) logDet() (sum float64) {
	for i := range r.t.N {
		sum += 2 * math.Log(r.t.Data[i*r.t.Stride+i])
	}
	return sum
}
