package solve

import "math"

// unknowns of one picture, in the order the normal equations hold them.
const (
	turnX = iota // rotation of the attitude about the camera's axes, radians
	turnY
	turnZ
	lnFocal // relative change of focal length
	distK1
	distK2
	distP1
	distP2
	centreX // of the optics, px
	centreY
	maxUnknowns
)

// frameUnknowns are the picture's own (attitude and scale); the rest, the
// distortion and the optical centre, may be shared by a group of pictures.
const frameUnknowns = lnFocal + 1

// system holds normal equations A x = b of at most maxUnknowns unknowns.
type system struct {
	n int
	a [maxUnknowns][maxUnknowns]float64
	b [maxUnknowns]float64
}

// addPair takes in a whitened sighting: two equations of one weight.
func (s *system) addPair(q *linearised, w float64) {
	for i := range s.n {
		wx, wy := w*q.jx[i], w*q.jy[i]
		s.b[i] = s.b[i] + wx*q.ex + wy*q.ey
		to := s.a[i][:i+1]
		for j := range to {
			to[j] = to[j] + wx*q.jx[j] + wy*q.jy[j]
		}
	}
}

// prior says that unknown i is value ± sigma.
func (s *system) prior(i int, value, sigma float64) {
	w := 1 / (sigma * sigma)
	s.a[i][i] += w
	s.b[i] += w * value
}

// cholesky is the lower triangle L of A = L Lᵀ; false where A is not positive
// definite.
func (s *system) cholesky() (l [maxUnknowns][maxUnknowns]float64, ok bool) {
	for i := range s.n {
		for j := 0; j <= i; j++ {
			sum := s.a[i][j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = sum / l[j][j]
				continue
			}
			if !(sum > 1e-14*s.a[i][i]) {
				return l, false
			}
			l[i][i] = math.Sqrt(sum)
		}
	}
	return l, true
}

// substitute solves L Lᵀ x = b.
func substitute(l *[maxUnknowns][maxUnknowns]float64, n int, b [maxUnknowns]float64) [maxUnknowns]float64 {
	for i := range n {
		for k := range i {
			b[i] -= l[i][k] * b[k]
		}
		b[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= l[k][i] * b[k]
		}
		b[i] /= l[i][i]
	}
	return b
}

// solve gives x; false where the equations do not determine it.
func (s *system) solve() (x [maxUnknowns]float64, ok bool) {
	l, ok := s.cholesky()
	if !ok {
		return x, false
	}
	return substitute(&l, s.n, s.b), true
}

// inverse gives A⁻¹, the covariance of x when the weights were true.
func (s *system) inverse() (inv [maxUnknowns][maxUnknowns]float64, ok bool) {
	l, ok := s.cholesky()
	if !ok {
		return inv, false
	}
	for j := range s.n {
		var e [maxUnknowns]float64
		e[j] = 1
		col := substitute(&l, s.n, e)
		for i := range s.n {
			inv[i][j] = col[i]
		}
	}
	return inv, true
}
