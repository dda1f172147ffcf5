// Package posdef solves normal equations of a few unknowns held in arrays, by Cholesky's factors: a star's fit and
// the search for what a picture shows solve millions, and gonum's matrices would allocate for each.
//
// Start with [Factor]. Of a matrix the lower triangle alone is read, and the first rows as many as are given.
package posdef

import "math"

// Row of a matrix.
type Row interface {
	~[3]float64 | ~[7]float64 | ~[10]float64
}

// Factor puts L of A = L Lᵀ in the place of A; false where a pivot is no more than least of what stands on the diagonal,
// so that A is not positive definite to working accuracy.
func Factor[R Row](a []R, least float64) bool {
	for i := range a {
		row := &a[i]
		for j := range a[:i+1] {
			s, above := (*row)[j], &a[j]
			for k := range j {
				s -= (*row)[k] * (*above)[k]
			}
			if j < i {
				(*row)[j] = s / (*above)[j]
				continue
			}
			if !(s > least*(*row)[i]) {
				return false
			}
			(*row)[i] = math.Sqrt(s)
		}
	}
	return true
}

// Solve is x of L Lᵀ x = b.
func Solve[R Row](l []R, b R) R {
	for i := range l {
		row, x := &l[i], b[i]
		for k := range i {
			x -= (*row)[k] * b[k]
		}
		b[i] = x / (*row)[i]
	}
	for i := len(l) - 1; i >= 0; i-- {
		x := b[i]
		for k := i + 1; k < len(l); k++ {
			x -= l[k][i] * b[k]
		}
		b[i] = x / l[i][i]
	}
	return b
}

// Inverse writes the inverse of L Lᵀ, the covariance of x where the weights were true.
func Inverse[R Row](l, inv []R) {
	for i := range l {
		var e R
		e[i] = 1
		inv[i] = Solve(l, e)
	}
}
