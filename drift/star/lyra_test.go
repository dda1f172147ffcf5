package star

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// The stars of two pictures from a standing tripod moved along smooth curves. What is left after a fit of second order
// is the two position errors: their stated size is checked on a real, compressed picture.
func TestRealPullsBetweenPictures(t *testing.T) {
	a, b := find(t, realPicture(t, "lyra-tripod/lyra_58.jpg"), Options{}), find(t, realPicture(t, "lyra-tripod/lyra_59.jpg"), Options{})
	type pair struct{ p, q *Star }
	var pairs []pair
	for i := range a.Stars {
		p := &a.Stars[i]
		if q := at(b.Stars, p.X+2.35, p.Y+4.75, 2); q != nil && (p.Flags|q.Flags)&(Saturated|Blend|Edge) == 0 {
			pairs = append(pairs, pair{p, q})
		}
	}
	if len(pairs) < 200 {
		t.Fatalf("only %d stars in both pictures", len(pairs))
	}
	terms := func(s *Star) []float64 {
		x, y := s.X/2000-1, s.Y/1300-1
		return []float64{1, x, y, x * x, x * y, y * y}
	}
	for axis, name := range []string{"x", "y"} {
		m, v := mat.NewDense(len(pairs), 6, nil), mat.NewVecDense(len(pairs), nil)
		errs := make([]float64, len(pairs))
		for i, k := range pairs {
			d := k.q.X - k.p.X
			errs[i] = math.Hypot(k.p.XErr, k.q.XErr)
			if axis == 1 {
				d, errs[i] = k.q.Y-k.p.Y, math.Hypot(k.p.YErr, k.q.YErr)
			}
			for j, f := range terms(k.p) {
				m.Set(i, j, f/errs[i])
			}
			v.SetVec(i, d/errs[i])
		}
		var c, r mat.VecDense
		if err := c.SolveVec(m, v); err != nil {
			t.Fatal(err)
		}
		r.MulVec(m, &c)
		var pulls, px []float64
		for i := range pairs {
			pull := math.Abs(v.AtVec(i) - r.AtVec(i))
			pulls, px = append(pulls, pull), append(px, pull*errs[i])
		}
		spread := 1.4826 * median(pulls)
		t.Logf("%s: %d pairs, robust scatter %.3f px, %.2f of the stated errors", name, len(pairs), 1.4826*median(px), spread)
		// Compression ties the errors of neighbouring pixels in ways no noise model holds: a third either way.
		if spread < 0.67 || spread > 1.33 {
			t.Errorf("%s: errors scatter by %.2f of what is stated", name, spread)
		}
	}
}
