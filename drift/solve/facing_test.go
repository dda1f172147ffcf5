package solve

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Facing looks along the picture's middle, and another lens does not change that.
func TestFacingLooksAlongTheMiddle(t *testing.T) {
	const rounding = 1e-12
	r := rand.New(rand.NewPCG(61, 1))
	p := Pose{randomTurn(r), phone()}
	if off := r3.Norm(r3.Sub(p.Facing().Inverse().Apply(r3.Vec{Z: 1}), p.Centre())); off > rounding {
		t.Errorf("z is %.2g off the middle", off)
	}
	if r3.Norm(r3.Sub(p.Attitude.Inverse().Apply(r3.Vec{Z: 1}), p.Centre())) < 1e-3 {
		t.Error("the optical axis is the middle: nothing was put to the test")
	}
	q := p.through(Lens{Width: 4032, Height: 3024, FocalPx: 2900, CentreX: -20, CentreY: 3})
	if off := p.Facing().Inverse().Then(q.Facing()).Angle().Rad(); off > rounding {
		t.Errorf("through another lens the picture looks %.2g elsewhere", off)
	}
	straight := Pose{p.Attitude, tele()}
	if straight.Facing() != straight.Attitude {
		t.Error("an optical axis in the middle looks elsewhere than the picture")
	}
}

// How the unknowns turn the picture is what small changes of them do.
func TestFacingFollowsTheUnknowns(t *testing.T) {
	r := rand.New(rand.NewPCG(62, 2))
	p := Pose{randomTurn(r), phone()}
	d := p.Lens.facing()
	for k := range maxUnknowns {
		h := 1e-6
		if k == centreX || k == centreY {
			h *= p.Lens.FocalPx
		}
		var x [maxUnknowns]float64
		x[k] = h
		v := turnBy(p.Facing(), p.step(x).Facing())
		got := d.turn(&x)
		for i, want := range [3]float64{v.X, v.Y, v.Z} {
			const firstOrder = 0.01 // share: the optical axis lies 1/200 off the middle
			if math.Abs(got[i]-want) > firstOrder*h {
				t.Errorf("unknown %d turns the picture about axis %d by %.3f of its change, want %.3f", k, i, got[i]/h, want/h)
			}
		}
	}
}

// aside is scenery taken by a lens whose optical axis lies off the middle, px: every star stands so much aside.
func (d drawn) aside(dx, dy float64) (moved drawn, facing turn.Turn) {
	moved = d
	moved.field.Stars = append(d.field.Stars[:0:0], d.field.Stars...)
	for i := range moved.field.Stars {
		moved.field.Stars[i].X += dx
		moved.field.Stars[i].Y += dy
	}
	n := math.Hypot(dx, dy)
	if n == 0 {
		return moved, d.attitude
	}
	// The middle stands at (−dx, −dy) from the axis; the turn that brings it there is about the axis across.
	return moved, d.attitude.Then(turn.Exp(r3.Scale(math.Atan(n/d.focalPx)/n, r3.Vec{X: -dy, Y: dx})))
}

// What one picture states is true: of wide views with the optical axis off the middle and in it, of lenses that bend, and of narrow views.
func TestOnePicturesErrorsAreTrue(t *testing.T) {
	const fields = 60
	for _, c := range []struct {
		name    string
		degrees float64
		stars   int
		aside   float64 // 1σ, half diagonals: priorCentre is what is expected
	}{
		{"84°, off", 84, 300, 0.005}, {"84°, middle", 84, 300, 0}, {"84°, off, few", 84, 30, 0.005},
		{"60°, off", 60, 300, 0.005}, {"60°, middle", 60, 300, 0}, {"10°, off", 10, 60, 0.005}, {"10°, middle", 10, 60, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(63, 3))
			var p pulls
			for range fields {
				d := scenery{4032, 3024, c.degrees, c.stars, 0, 0, 0.2, 0.2, 0, false, 0}.draw(r)
				d, facing := d.aside(c.aside*2520*r.NormFloat64(), c.aside*2520*r.NormFloat64())
				sol, err := Solve(context.Background(), d.field, Hint{FocalPx: d.focalPx})
				if err != nil {
					t.Fatal(err)
				}
				v := turnBy(facing, sol.Facing())
				for k, x := range [3]float64{v.X, v.Y, v.Z} {
					p.add(x, math.Sqrt(sol.Covariance.At(k, k)))
				}
			}
			if p.rms() < 0.85 || p.rms() > 1.15 { // the owner's bounds; 180 normal deviates give 1 ± 0.05
				t.Errorf("errors are %.2f of what is stated", p.rms())
			}
		})
	}
}

// Where nothing tells the optical centre, its prior does not reach what is stated of the picture: ten pixels of it would be a
// hundred times the error of a narrow view's middle.
func TestNarrowViewsOweNothingToTheCentre(t *testing.T) {
	const (
		stars = 100
		sigma = 0.2
		// A middle found from n stars is good to σ/√n. A tangential term, g = ξ² + 3η², passes for a part of it:
		// E[g]²/E[g²] = 0.70 over a picture of 4:3, which leaves 1/√0.30.
		freedom = 1.83
	)
	r := rand.New(rand.NewPCG(64, 4))
	d := scenery{4032, 3024, 10, stars, 0, 0, sigma, 0.2, 0, false, 0}.draw(r)
	sol, err := Solve(context.Background(), d.field, Hint{FocalPx: d.focalPx})
	if err != nil {
		t.Fatal(err)
	}
	least := sigma / math.Sqrt(float64(len(sol.Sightings))) / d.focalPx
	for k := range 2 {
		if got := math.Sqrt(sol.Covariance.At(k, k)); got < 0.8*least || got > freedom*least {
			t.Errorf("axis %d: stated to %.2f of what the stars' places allow", k, got/least)
		}
	}
}

// A lens bent the other way round – ideal to measured a polynomial, K1 5 %, tangential terms as they come – is not within the model. The error
// stated owns to it.
func TestLensesOfTheOtherConventionAreOwnedTo(t *testing.T) {
	const fields, half = 60, 2520.0
	r := rand.New(rand.NewPCG(65, 5))
	var p pulls
	for range fields {
		d := scenery{4032, 3024, 60, 0, 0, 0, 0.2, 0.2, 0, false, 0}
		d.stars = 300
		v := d.draw(r)
		t1, t2 := 0.0006*r.NormFloat64(), 0.0006*r.NormFloat64()
		for i := range v.field.Stars {
			s := &v.field.Stars[i]
			x, y := (s.X-2015.5)/half, (s.Y-1511.5)/half
			q := x*x + y*y
			s.X += half * (0.05*q*x + 2*t1*x*y + t2*(q+2*x*x))
			s.Y += half * (0.05*q*y + t1*(q+2*y*y) + 2*t2*x*y)
		}
		sol, err := Solve(context.Background(), v.field, Hint{FocalPx: v.focalPx})
		if err != nil {
			t.Fatal(err)
		}
		e := turnBy(v.attitude, sol.Facing())
		p.add(e.X, math.Sqrt(sol.Covariance.At(0, 0)))
		p.add(e.Y, math.Sqrt(sol.Covariance.At(1, 1)))
	}
	if p.rms() < 0.7 || p.rms() > 1.3 { // a third of the lenses hardly mix, so that the deviates are no even ones
		t.Errorf("errors are %.2f of what is stated", p.rms())
	}
}

// The mixed term is what turning a polynomial round leaves in κ and τ together, to the first order in each.
func TestMixedTerms(t *testing.T) {
	const kappa, tau1, tau2 = 1e-3, 2e-4, -1e-4
	l := Lens{Width: 4001, Height: 3001}
	half := l.halfDiagonal()
	undone := func(k, a, b, mx, my float64) (x, y float64) { // the other polynomial, turned round by iteration
		x, y = mx, my
		for range 60 {
			q := x*x + y*y
			x, y = mx-(k*q*x+a*(q+2*x*x)+2*b*x*y), my-(k*q*y+b*(q+2*y*y)+2*a*x*y)
		}
		return x, y
	}
	for _, m := range [][2]float64{{0.8, 0.6}, {-0.5, 0.3}, {0.1, -0.7}} {
		var x, y float64
		for _, part := range []struct{ sign, k, t float64 }{{1, kappa, 1}, {-1, kappa, 0}, {-1, 0, 1}, {1, 0, 0}} {
			px, py := undone(part.k, part.t*tau1, part.t*tau2, m[0], m[1])
			x, y = x+part.sign*half*px, y+part.sign*half*py
		}
		l.K1, l.P1, l.P2 = -kappa, -tau1, -tau2
		u, v := l.mixed(m[0], m[1], m[0]*m[0]+m[1]*m[1])
		const nextOrder = 0.02 // share: some ten times κ
		if size := math.Hypot(x, y); math.Hypot(u-x, v-y) > nextOrder*size {
			t.Errorf("at %v: %.3g, %.3g px, want %.3g, %.3g", m, u, v, x, y)
		}
	}
}
