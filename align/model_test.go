package align

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// usual is the covariance of a phone's attitude: half an arcsecond across the view, three about it.
var usual = func() (c [3][3]float64) {
	const sec = math.Pi / 180 / 3600
	c[0][0], c[1][1], c[2][2] = sq(0.5*sec), sq(0.5*sec), sq(3*sec)
	c[0][1], c[1][0] = 0.2*sq(0.5*sec), 0.2*sq(0.5*sec)
	return c
}()

// turned is a model of two groups, turned about an axis by the given angles, without noise, with
// its unknowns at the truth.
func turned(axis r3.Vec, deg ...float64) *model {
	m := &model{shared: map[int]int{}, axis: []r3.Vec{axis}, link: []float64{0}}
	looks := [2]turn.Turn{turn.About(r3.Unit(r3.Vec{X: 1, Y: 0.4, Z: -0.2}), 1.1), turn.About(r3.Unit(r3.Vec{X: -0.3, Y: 1, Z: 0.5}), 2.3)}
	w, _ := turn.Invert(turn.Mat(usual))
	half := len(deg) / 2
	for i, d := range deg {
		c0 := looks[0]
		if i >= half {
			c0 = looks[1]
		}
		m.theta = append(m.theta, d*math.Pi/180)
		m.obs = append(m.obs, observation{c: turn.About(axis, unit.AngleFromDeg(d)).Then(c0), weight: w})
		m.used = append(m.used, true)
	}
	m.blocks = []block{{members: upTo(len(deg))[:half], c0: looks[0]}, {members: upTo(len(deg))[half:], c0: looks[1]}}
	return m
}

var slanted = r3.Unit(r3.Vec{X: 0.1, Y: 0.7, Z: 0.71})

// TestColumns: the model's derivatives are those of its attitudes, by differences.
func TestColumns(t *testing.T) {
	m := turned(slanted, 0, 11, 25, -4, 40, 3)
	m.shared = map[int]int{0: 0}
	m.bias = []r3.Vec{{}}
	const h, tolerance = 1e-6, 1e-8 // the second order of a step, with margin
	for bi := range m.blocks {
		for _, i := range m.blocks[bi].members {
			before := m.predicted(&m.blocks[bi], i)
			idx, cols := m.columns(bi, i)
			for k, at := range idx {
				x := mat.NewVecDense(m.size(), nil)
				n := m.clone()
				x.SetVec(at, h)
				n.shift(x)
				moved := before.Inverse().Then(n.predicted(&n.blocks[bi], i)).Log()
				if d := r3.Norm(r3.Sub(r3.Scale(1/h, moved), cols[k])); d > tolerance+2*h {
					t.Errorf("picture %d, unknown %d: derivative %v, by differences %v", i, at, cols[k], r3.Scale(1/h, moved))
				}
			}
		}
	}
}

// shift is apply with the angles held.
func (m *model) shift(x mat.Vector) {
	theta := append([]float64(nil), m.theta...)
	m.bias = append([]r3.Vec(nil), m.bias...)
	m.apply(x)
	m.theta = theta
}

// TestConverge: without noise the truth comes back from a poor start, to rounding.
func TestConverge(t *testing.T) {
	const within = 1e-9 // radians
	for name, m := range map[string]*model{
		"a swing":            turned(slanted, 0, 20, -30, 0, 35, 10),
		"three minutes":      turned(slanted, 0, 0.25, 0.5, 0, 0.2, 0.75),
		"a steep axis":       turned(r3.Unit(r3.Vec{X: 0.01, Y: 0.02, Z: 1}), 0, 20, 5, 0, -15, 10),
		"an axis level east": turned(r3.Unit(r3.Vec{X: 1, Y: 0.01}), 0, 20, 5, 0, -15, 10),
	} {
		t.Run(name, func(t *testing.T) {
			truth := m.axis[0]
			m.axis[0] = r3.Unit(r3.Add(truth, r3.Vec{X: 0.05, Y: -0.03, Z: 0.04}))
			for b := range m.blocks {
				m.blocks[b].c0 = m.blocks[b].c0.Then(turn.Exp(r3.Vec{X: 0.01, Y: -0.02, Z: 0.015}))
			}
			if _, ok := m.converge(); !ok {
				t.Fatal("no solution")
			}
			if d := r3.Norm(r3.Sub(m.axis[0], truth)); d > within {
				t.Errorf("axis off by %.2g rad", d)
			}
		})
	}
}

// TestTangent: the first vector points where azimuth grows, the second up, both across.
func TestTangent(t *testing.T) {
	for _, az := range []float64{0, 45, 90, 179, 180, 270, 359} {
		for _, alt := range []float64{-60, 0, 45, 89} {
			h := horizontalOf(az, alt)
			a := h.Direction()
			across, up := turn.Tangent(a)
			const step, tolerance = 1e-6, 1e-5
			if az2 := horizontalOf(az+step, alt).Direction(); r3.Dot(r3.Sub(az2, a), across) <= 0 {
				t.Errorf("azimuth %v altitude %v: across does not point to growing azimuth", az, alt)
			}
			if alt2 := horizontalOf(az, alt+step).Direction(); math.Abs(r3.Norm(r3.Sub(alt2, a))-r3.Dot(r3.Sub(alt2, a), up)) > tolerance*step {
				t.Errorf("azimuth %v altitude %v: up does not point up", az, alt)
			}
			if d := math.Abs(r3.Dot(across, up)) + math.Abs(r3.Dot(across, a)) + math.Abs(r3.Dot(up, a)); d > 1e-12 {
				t.Errorf("azimuth %v altitude %v: not square, %g", az, alt, d)
			}
		}
	}
	if across, up := turn.Tangent(r3.Vec{Z: 1}); r3.Norm(across) != 1 || r3.Norm(up) != 1 {
		t.Error("no pair at the zenith")
	}
}
