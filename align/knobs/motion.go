package knobs

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Axes are the axes the knobs turn about, horizon frame.
type Axes struct {
	Vertical r3.Vec `json:"vertical"` // of the azimuth knob; its upper end
	Hinge    r3.Vec `json:"hinge"`    // of the altitude knob; a right-handed turn raises the elevated end
	// Covariance of small shifts, radians²: of Vertical toward Hinge and toward
	// Vertical × Hinge, of Hinge toward Vertical and toward Vertical × Hinge.
	Covariance [4][4]float64 `json:"covariance"`
}

// How badly a mount may stand or be made (common practice, no source).
const (
	baseLean   = 2 * ephem.Degree   // of the base, in each direction
	hingeSkew  = 1 * ephem.Degree   // of the hinge from square to the azimuth axis
	headSkew   = 3 * ephem.Degree   // of the hinge from square to the mount's axis
	forgetting = 0.1 * ephem.Degree // by which every turn loosens what was learnt: joints give
)

// guessAxes are the knobs' axes of a level mount, with the errors a real one has. The hinge is
// square to the azimuth axis and to the mount's: when the base leans along it by p,
// it sinks by p and turns about the plumb line by p·tan(altitude).
func guessAxes(elevated r3.Vec) Axes {
	across, _ := turn.Tangent(elevated)
	// For an axis toward north the hinge points east: elevated × up.
	x := Axes{Vertical: r3.Vec{Z: 1}, Hinge: across}
	lean, square, skew := sq(baseLean.Rad()), sq(hingeSkew.Rad()), sq(headSkew.Rad())
	steep := min(steepest, math.Abs(elevated.Z)/max(math.Hypot(elevated.X, elevated.Y), 1e-3))
	x.Covariance = [4][4]float64{
		{lean, 0, -lean, lean * steep},
		{0, lean, 0, 0},
		{-lean, 0, lean + square, -lean * steep},
		{lean * steep, 0, -lean * steep, lean*steep*steep + skew},
	}
	return x
}

// steepest bounds the tangent of an axis's altitude: above 84° the hinge's bearing is open anyway.
const steepest = 10

func sq(x float64) float64 { return x * x }

// shifted are the axes moved by small shifts, in the order of Axes.Covariance.
func (x Axes) shifted(p []float64) (vertical, hinge r3.Vec) {
	along := r3.Unit(r3.Cross(x.Vertical, x.Hinge))
	e, z := r3.Cross(along, x.Vertical), r3.Cross(x.Hinge, along)
	vertical = r3.Add(x.Vertical, r3.Add(r3.Scale(p[0], e), r3.Scale(p[1], along)))
	hinge = r3.Add(x.Hinge, r3.Add(r3.Scale(p[2], z), r3.Scale(p[3], along)))
	return r3.Unit(vertical), r3.Unit(hinge)
}

// head is K of the package comment, and the hinge after it.
func head(vertical, hinge r3.Vec, altitude, azimuth float64) (k turn.Turn, after r3.Vec) {
	az := turn.About(vertical, unit.Angle(-azimuth)) // clockwise seen from above is left-handed
	after = az.Apply(hinge)
	return az.Then(turn.About(after, unit.Angle(altitude))), after
}

// step is a change of attitude to be explained.
type step struct {
	from, to turn.Turn
	weight   *r3.Mat // inverse covariance of the turn between them, horizon frame
	axis     r3.Vec  // end toward the north pole, before
	tracked  float64 // Δθ by the clock
	axes     Axes
}

// unknowns of a step, in this order: altitude, azimuth, τ, then the four shifts of the axes.
const (
	atAltitude = iota
	atAzimuth
	atClutch
	atAxes
	unknowns = atAxes + 4
)

// misfit is what a solution leaves over, horizon frame, radians.
func (s step) misfit(q []float64) r3.Vec {
	vertical, hinge := s.axes.shifted(q[atAxes:])
	k, _ := head(vertical, hinge, q[atAltitude], q[atAzimuth])
	model := k.Inverse().Then(turn.About(s.axis, unit.Angle(s.tracked+q[atClutch]))).Then(s.from)
	return model.Then(s.to.Inverse()).Log()
}

// motion is a step explained.
type motion struct {
	kind   hypothesis
	q      [unknowns]float64
	cov    *mat.SymDense
	axes   Axes    // as the step shows them, hinge carried along
	score  float64 // −2 ln of the probability
	skewed bool    // under a clock that is off
}

func (m motion) altitude() unit.Angle      { return unit.Angle(m.q[atAltitude]) }
func (m motion) azimuth() unit.Angle       { return unit.Angle(m.q[atAzimuth]) }
func (m motion) clutch() unit.Angle        { return unit.Angle(m.q[atClutch]) }
func (m motion) sigma(at int) unit.Angle   { return unit.Angle(math.Sqrt(m.cov.At(at, at))) }
func (m motion) of(k Knob) unit.Angle      { return unit.Angle(m.q[k.index()]) }
func (m motion) sigmaOf(k Knob) unit.Angle { return m.sigma(k.index()) }

// explain finds the likeliest knob turns under priors of the given widths; false
// where the equations find no end: nothing like that happened.
func (s step) explain(h hypothesis, w widths) (motion, bool) {
	m := motion{kind: h}
	prior, logPrior, ok := s.prior(w)
	if !ok {
		return m, false
	}
	for range 25 {
		n, g, _ := s.normal(m.q[:], prior)
		var chol mat.Cholesky
		x := mat.NewVecDense(unknowns, nil)
		if !chol.Factorize(n) || chol.SolveVecTo(x, g) != nil {
			return m, false
		}
		for i := range m.q {
			m.q[i] += x.AtVec(i)
		}
		if settled(x) {
			m.finish(s, prior, logPrior)
			return m, true
		}
	}
	return m, false
}

// settled is whether a further step no longer matters: a hundredth of a second of arc in
// the knobs, a few in the direction of their axes.
func settled(x *mat.VecDense) bool {
	for i := range unknowns {
		least := 5e-8
		if i >= atAxes {
			least = 2e-5
		}
		if math.Abs(x.AtVec(i)) > least {
			return false
		}
	}
	return true
}

// prior is the inverse covariance of the unknowns and its logarithmic determinant.
func (s step) prior(w widths) (*mat.SymDense, float64, bool) {
	p := mat.NewSymDense(unknowns, nil)
	for i, width := range [3]unit.Angle{w.altitude, w.azimuth, w.clutch} {
		p.SetSym(i, i, 1/sq(width.Rad()))
	}
	cov, inv := mat.NewSymDense(4, nil), mat.NewSymDense(4, nil)
	for r := range 4 {
		for c := range r + 1 {
			cov.SetSym(r, c, s.axes.Covariance[r][c])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) || chol.InverseTo(inv) != nil {
		return nil, 0, false
	}
	for r := range 4 {
		for c := range r + 1 {
			p.SetSym(atAxes+r, atAxes+c, inv.At(r, c))
		}
	}
	if !chol.Factorize(p) {
		return nil, 0, false
	}
	return p, chol.LogDet(), true
}

// normal are the normal equations at q, and χ² there.
func (s step) normal(q []float64, prior *mat.SymDense) (*mat.SymDense, *mat.VecDense, float64) {
	r := s.misfit(q)
	wr := s.weight.MulVec(r)
	chi2 := r3.Dot(r, wr)
	var cols [unknowns]r3.Vec
	const h = 1e-6 // radians: misfits are smooth over degrees, rounding is 1e-16
	for i := range cols {
		var up, down [unknowns]float64
		copy(up[:], q)
		copy(down[:], q)
		up[i], down[i] = up[i]+h, down[i]-h
		cols[i] = r3.Scale(1/(2*h), r3.Sub(s.misfit(up[:]), s.misfit(down[:])))
	}
	n, g := mat.NewSymDense(unknowns, nil), mat.NewVecDense(unknowns, nil)
	for i := range cols {
		pull := 0.0
		for j := range unknowns {
			pull += prior.At(i, j) * q[j]
		}
		chi2 += q[i] * pull
		g.SetVec(i, -r3.Dot(cols[i], wr)-pull)
		wc := s.weight.MulVec(cols[i])
		for j := range i + 1 {
			n.SetSym(i, j, prior.At(i, j)+r3.Dot(cols[j], wc))
		}
	}
	return n, g, chi2
}

// finish reads errors, probability and the knobs' axes off a solution.
func (m *motion) finish(s step, prior *mat.SymDense, logPrior float64) {
	n, _, chi2 := s.normal(m.q[:], prior)
	m.cov = mat.NewSymDense(unknowns, nil)
	var chol mat.Cholesky
	if !chol.Factorize(n) || chol.InverseTo(m.cov) != nil {
		m.score = math.Inf(1)
		return
	}
	m.score = chi2 + chol.LogDet() - logPrior
	vertical, hinge := s.axes.shifted(m.q[atAxes:])
	_, hinge = head(vertical, hinge, m.q[atAltitude], m.q[atAzimuth])
	m.axes = Axes{Vertical: vertical, Hinge: hinge}
	for r := range 4 {
		for c := range 4 {
			m.axes.Covariance[r][c] = m.cov.At(atAxes+r, atAxes+c)
		}
		m.axes.Covariance[r][r] += sq(forgetting.Rad())
	}
}
