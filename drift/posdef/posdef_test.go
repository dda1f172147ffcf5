package posdef_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"trueturn/drift/posdef"
)

// Against gonum's own factors; what stands above the diagonal is not read.
func TestAgainstGonum(t *testing.T) {
	const rounding = 1e-9
	r := rand.New(rand.NewPCG(7, 8))
	for n := 1; n <= 7; n++ {
		a, want := mat.NewSymDense(n, nil), mat.NewDense(n, n, nil)
		for range 3 * n {
			v := mat.NewVecDense(n, nil)
			for k := range n {
				v.SetVec(k, r.NormFloat64())
			}
			a.SymRankOne(a, 1, v)
		}
		var l, inv [7][7]float64
		for i := range n {
			for k := range n {
				l[i][k] = math.NaN()
				if k <= i {
					l[i][k] = a.At(i, k)
				}
			}
		}
		if !posdef.Factor(l[:n], 0) || want.Inverse(a) != nil {
			t.Fatalf("%d unknowns: not solved", n)
		}
		posdef.Inverse(l[:n], inv[:])
		for i := range n {
			for k := range n {
				if math.Abs(inv[i][k]-want.At(i, k)) > rounding {
					t.Errorf("%d unknowns: inverse[%d][%d] = %g, want %g", n, i, k, inv[i][k], want.At(i, k))
				}
			}
		}
	}
}

func TestFactorRefuses(t *testing.T) {
	for name, a := range map[string][2][3]float64{
		"nothing":     {},
		"singular":    {{1}, {1, 1}},
		"indefinite":  {{1}, {2, 1}},
		"infinite":    {{math.Inf(1)}, {0, 1}},
		"not numbers": {{math.NaN()}, {0, 1}},
	} {
		if posdef.Factor(a[:], 0) {
			t.Errorf("%s: factored", name)
		}
	}
}
