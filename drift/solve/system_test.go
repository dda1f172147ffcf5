package solve

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// drawnSystem is a positive definite one of n unknowns, in full, and a right hand side.
func drawnSystem(n int, r *rand.Rand) (system, *mat.SymDense, *mat.VecDense) {
	s, a, b := system{n: n}, mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for range 3 * n {
		var q linearised
		for k := range n {
			q.jx[k], q.jy[k] = r.NormFloat64(), r.NormFloat64()
		}
		q.ex, q.ey = r.NormFloat64(), r.NormFloat64()
		w := r.Float64()
		s.addPair(&q, w)
		x, y := mat.NewVecDense(n, q.jx[:n]), mat.NewVecDense(n, q.jy[:n])
		a.SymRankOne(a, w, x)
		a.SymRankOne(a, w, y)
		b.AddScaledVec(b, w*q.ex, x)
		b.AddScaledVec(b, w*q.ey, y)
	}
	return s, a, b
}

// Normal equations are gathered, solved and inverted as gonum's matrices are.
func TestSystemAgainstGonum(t *testing.T) {
	const rounding = 1e-10
	r := rand.New(rand.NewPCG(91, 1))
	for _, n := range []int{1, 3, 4, 8, maxUnknowns} {
		s, a, b := drawnSystem(n, r)
		s.prior(n-1, 2, 0.5)
		a.SetSym(n-1, n-1, a.At(n-1, n-1)+4)
		b.SetVec(n-1, b.AtVec(n-1)+8)
		var want mat.VecDense
		var inverse mat.Dense
		if want.SolveVec(a, b) != nil || inverse.Inverse(a) != nil {
			t.Fatal("the drawn system is singular")
		}
		x, ok := s.solve()
		inv, okInv := s.inverse()
		if !ok || !okInv {
			t.Fatalf("%d unknowns: not solved", n)
		}
		for i := range n {
			if math.Abs(x[i]-want.AtVec(i)) > rounding {
				t.Errorf("%d unknowns: x[%d] = %g, want %g", n, i, x[i], want.AtVec(i))
			}
			for k := range n {
				if math.Abs(inv[i][k]-inverse.At(i, k)) > rounding {
					t.Errorf("%d unknowns: inverse[%d][%d] = %g, want %g", n, i, k, inv[i][k], inverse.At(i, k))
				}
			}
		}
	}
}

// Equations that do not settle their unknowns are refused.
func TestUndeterminedSystems(t *testing.T) {
	for name, s := range map[string]system{
		"empty":       {n: 3},
		"one short":   {n: 2, a: [maxUnknowns][maxUnknowns]float64{{1}, {1, 1}}},
		"indefinite":  {n: 2, a: [maxUnknowns][maxUnknowns]float64{{1}, {2, 1}}},
		"not numbers": {n: 1, a: [maxUnknowns][maxUnknowns]float64{{math.NaN()}}},
	} {
		if _, ok := s.solve(); ok {
			t.Errorf("%s: solved", name)
		}
		if _, ok := s.inverse(); ok {
			t.Errorf("%s: inverted", name)
		}
	}
}

// Each picture's own unknowns eliminated and put back give what all unknowns solved at once give.
func TestEliminationAgainstTheWholeSystem(t *testing.T) {
	const rounding, pictures = 1e-9, 3
	const shared = maxUnknowns - frameUnknowns
	r := rand.New(rand.NewPCG(92, 2))
	n := pictures*frameUnknowns + shared
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	own := make([]system, pictures)
	reduced := system{n: shared}
	for i := range own {
		s, sa, sb := drawnSystem(maxUnknowns, r)
		own[i] = s
		at := func(k int) int { // where unknown k of picture i stands in the whole
			if k < frameUnknowns {
				return i*frameUnknowns + k
			}
			return (pictures-1)*frameUnknowns + k
		}
		for k := range maxUnknowns {
			b.SetVec(at(k), b.AtVec(at(k))+sb.AtVec(k))
			for l := range k + 1 {
				a.SetSym(at(k), at(l), a.At(at(k), at(l))+sa.At(k, l))
			}
		}
		s.reduceInto(&reduced)
	}
	var want mat.VecDense
	if want.SolveVec(a, b) != nil {
		t.Fatal("the drawn system is singular")
	}
	x, ok := reduced.solve()
	if !ok {
		t.Fatal("the shared unknowns are not settled")
	}
	for i := range own {
		full, ok := own[i].given(x)
		if !ok {
			t.Fatalf("picture %d is not settled", i)
		}
		for k := range maxUnknowns {
			at := i*frameUnknowns + k
			if k >= frameUnknowns {
				at = (pictures-1)*frameUnknowns + k
			}
			if math.Abs(full[k]-want.AtVec(at)) > rounding {
				t.Errorf("picture %d: unknown %d is %g, want %g", i, k, full[k], want.AtVec(at))
			}
		}
	}
}
