package solve

import "trueturn/drift/posdef"

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
	l = s.a
	return l, posdef.Factor(l[:s.n], 1e-14)
}

// solve gives x; false where the equations do not determine it.
func (s *system) solve() (x [maxUnknowns]float64, ok bool) {
	l, ok := s.cholesky()
	if !ok {
		return x, false
	}
	return posdef.Solve(l[:s.n], s.b), true
}

// inverse gives A⁻¹, the covariance of x when the weights were true.
func (s *system) inverse() (inv [maxUnknowns][maxUnknowns]float64, ok bool) {
	l, ok := s.cholesky()
	if !ok {
		return inv, false
	}
	posdef.Inverse(l[:s.n], inv[:])
	return inv, true
}
