package posdef_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"trueturn/drift/posdef"
)

// A factor inverts as gonum does (drift/solve's system is held to it further); what stands above the diagonal is not read.
func TestInverse(t *testing.T) {
	const rounding = 1e-12
	nan := math.NaN()
	l := [3][3]float64{{4, nan, nan}, {2, 5, nan}, {-1, 0.5, 3}}
	var inv [3][3]float64
	var want mat.Dense
	if !posdef.Factor(l[:], 0) || want.Inverse(mat.NewSymDense(3, []float64{4, 2, -1, 2, 5, 0.5, -1, 0.5, 3})) != nil {
		t.Fatal("not solved")
	}
	posdef.Inverse(l[:], inv[:])
	if got := mat.NewDense(3, 3, slices.Concat(inv[0][:], inv[1][:], inv[2][:])); !mat.EqualApprox(got, &want, rounding) {
		t.Errorf("%v, gonum has %v", mat.Formatted(got), mat.Formatted(&want))
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
