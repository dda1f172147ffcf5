package turn

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// rounding is what a dozen multiplications of unit numbers may lose.
const rounding = 1e-14

func randomVec(r *rand.Rand) r3.Vec {
	return r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
}

func TestAboutIsRightHanded(t *testing.T) {
	got := About(r3.Vec{Z: 3}, unit.AngleFromDeg(90)).Apply(r3.Vec{X: 1})
	if d := r3.Norm(r3.Sub(got, r3.Vec{Y: 1})); d > rounding {
		t.Errorf("a quarter turn about z takes x to %v, want y", got)
	}
}

// Rodrigues' formula is the textbook definition, written without quaternions.
func TestApplyAgreesWithRodrigues(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		k, v, a := r3.Unit(randomVec(r)), randomVec(r), 7*r.Float64()-3.5
		want := r3.Add(r3.Add(r3.Scale(math.Cos(a), v), r3.Scale(math.Sin(a), r3.Cross(k, v))),
			r3.Scale(r3.Dot(k, v)*(1-math.Cos(a)), k))
		got := About(k, unit.Angle(a)).Apply(v)
		if d := r3.Norm(r3.Sub(got, want)); d > 10*rounding {
			t.Fatalf("off by %g", d)
		}
	}
}

func TestLogUndoesExp(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, size := range []float64{0, 1e-13, 1e-7, 0.01, 1, 3, math.Pi - 1e-9} {
		w := r3.Scale(size, r3.Unit(randomVec(r)))
		if d := r3.Norm(r3.Sub(Exp(w).Log(), w)); d > 1e-14+1e-15/math.Max(math.Pi-size, 1e-8) {
			t.Errorf("size %g: off by %g", size, d)
		}
	}
}

func TestThenAndInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 100 {
		a, b, v := Exp(randomVec(r)), Exp(randomVec(r)), randomVec(r)
		if d := r3.Norm(r3.Sub(a.Then(b).Apply(v), b.Apply(a.Apply(v)))); d > 20*rounding {
			t.Fatalf("Then is off by %g", d)
		}
		if d := r3.Norm(r3.Sub(a.Inverse().Apply(a.Apply(v)), v)); d > 20*rounding {
			t.Fatalf("Inverse is off by %g", d)
		}
	}
}

func TestRowsRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 200 {
		a := Exp(r3.Scale(2, randomVec(r)))
		if d := a.Then(FromRows(a.Rows()).Inverse()).Angle().Rad(); d > 1000*rounding {
			t.Fatalf("FromRows(Rows) is off by %g", d)
		}
	}
}

func TestInvert(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 100 {
		var a, m, unity r3.Mat
		for k := range 9 {
			a.Set(k/3, k%3, r.NormFloat64())
		}
		m.Mul(&a, a.T())
		m.Add(&m, Mat([3][3]float64{{0.1, 0, 0}, {0, 0.1, 0}, {0, 0, 0.1}}))
		inv, det := Invert(&m)
		if want := mat.Det(&m); math.Abs(det-want) > 1e-9*math.Abs(want) {
			t.Errorf("determinant %g, gonum has %g", det, want)
		}
		if unity.Mul(&m, inv); !mat.EqualApprox(&unity, r3.Eye(), 1e-8) {
			t.Fatalf("M·M⁻¹ is %v", mat.Formatted(&unity))
		}
	}
}
