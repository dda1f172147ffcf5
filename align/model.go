// Package align finds where a mount's axis points from the attitudes of the
// pictures taken on it, how sure that is, and what to turn.
//
// Start with [Estimate]; [Aim] says where the axis should point and [Advise]
// what to do about the difference.
//
// # The model
//
// A mount turns its camera about its axis â (unit vector east-north-up, the
// end toward the north pole): the attitude of picture i, carrying the horizon
// frame into the camera frame, is
//
//	C_i = exp(ε_i + b_f) · C₀ · Rot(â, θ_i)
//
// with C₀ constant within a group of pictures (nobody re-aimed the camera), θ_i
// free in every picture, ε_i the error of the attitude (covariance P_i, to which
// the wander of the optical centre belongs) and b_f an error all pictures of one
// star field share, of the catalogue. No clock enters: an uneven gear, a wrong rate or
// a swing by hand change θ_i only. The sum made least is
//
//	Σ_i r_iᵀ P_i⁻¹ r_i + Σ_f b_fᵀ B_f⁻¹ b_f + Σ_s |â_s − â_{s−1}|²/κ_s² + Σ_l |z_l|² + Σ_k y_k²
//
// with r_i = log(C_i · model⁻¹) in the camera frame. The third sum is for
// knocks: each parts the session into stands s with an axis of its own, which
// differs from the one before by about the size κ_s of the knock. z_l is where the optical
// centre of lens l lies off the picture's middle, in units of how far it usually does: focus that breathes
// shifts the picture in proportion. y_k are errors all pictures share, in standard deviations: of the refraction, and of where
// a field that was not recognised lies.
//
// First-order changes: C₀ by exp(c) moves r by −c; θ_i by δ moves r by −δ C₀â; the axis
// by exp(α) moves r by −(C₀ − C_i)α. A picture turned by θ from the middle of its group
// thus sees the axis with weight 2 sin(θ/2), and the part of α it cannot see at all is
// the one along which C₀'s own freedom lies.
//
// # Which axis
//
// No holder is rigid. Let the camera turn besides by small angles ε_i in its own frame,
//
//	C_i = exp(ε_i) · C₀ · Rot(â, θ_i),   ε_i = K g_i + w(t_i) + …
//
// with g_i = C_i(0, 0, −1) where gravity pulls in that frame and K a 3 × 3 matrix (elastic: the bend follows gravity at
// once and comes back with it). While θ grows by dθ, g turns by u × g dθ with u = C₀â, the camera by (u + K(u × g)) dθ:
// it turns about
//
//	â_i = â + C_i⁻¹ [K (u × g_i)] across u,
//
// and that axis, on the mean of the pictures, is the one stated: the axis about which the camera turned in these
// pictures, bending included. It is what must point at the pole for pictures taken near here. The mount's own axis â is another
// one by up to |K|, and so is the axis in another part of the sky ([Bend.At]). What settles or creeps, w(t), is not
// part of it, since it ends.
//
// What of K can be seen? Within one group g_i = g∥ u + g⊥ (e₁ cos θ + e₂ sin θ), so that across u the bend is
// p exp(iθ) + q exp(−iθ) with two complex numbers p and q (and a constant, which C₀ takes). p turns as an axis error
// does: no turn about the axis tells the two apart, and the axis stated takes it in. q turns the other way and moves the
// axis stated by −q exp(−2iθ): it is seen in swings of some tens of degrees by what it leaves over there, and in tracking
// neither is it seen nor does it matter. The other numbers of K take a camera aimed anew: only two patches of
// sky part â from K, and what the second patch then tells of the axis rests on the bend being small or learned. With lenses so
// long that roll is vague a swing shows one component only, in which p and q mix: then the size that holders
// usually have decides, through the stories below.
//
// What goes evenly with time cannot be told from an axis while one patch is merely tracked, by nobody; [Axis].Creep says
// what one pixel of it would do. Uneven motion is seen, and then the even part is not trusted either.
//
// # Stories
//
// How the camera gave is not known beforehand. So several accounts are told: a rigid mount; an elastic bend; a bend
// with friction (a random walk with the way of gravity); settling (exponentials of the camera or of tripod and
// mount); a random walk with time, which mostly goes one way as well; some of these together; each with sizes that
// step by three. A story's ε are linear in unknowns of zero mean and that size, so that each costs one Cholesky factor
// of the same normal equations. Its worth is the restricted likelihood with those unknowns integrated out, times how probable it
// is beforehand, and the answer is averaged over stories and over the wander of the optical centre: where
// nothing shows, the rigid story has nearly all the weight and the ± is that of a rigid mount.
//
// Knocks come last: of the jumps a rigid mount would need, one is believed only where it makes the whole of the
// stories more probable (sudden.go). So a bend or a settling leg is never cut into knocks.
package align

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Sample is one attitude as the estimator takes it.
type Sample struct {
	Mid      time.Time
	Attitude Attitude
	Lens     int // samples of different lenses never share a group
	Field    int // index into Input.FieldCovariance
	// Focus is what the attitude moves by (a small turn about the camera's axes, radians) for one standard
	// deviation of the place of the optical centre in x and in y: when focus changes the scale,
	// the picture grows about that centre, not about its middle. Zero where the scale
	// stood still.
	Focus [2]r3.Vec
	Pixel unit.Angle // one pixel at the picture's middle; 0 if unknown
}

// Attitude is a measured attitude whose optical centre may have wandered by a
// number of pixels (1σ): drift/solve's Attitude is one.
type Attitude interface {
	// Given returns the attitude (horizon frame to camera frame) and the covariance of a small turn about the
	// camera's axes, radians².
	Given(wanderPx float64) (turn.Turn, [3][3]float64)
}

// observation is a sample under an assumed wander.
type observation struct {
	c      turn.Turn
	weight *r3.Mat // inverse covariance
	logDet float64 // of the covariance
	field  int
	lens   int
	focus  [2]r3.Vec
}

// block is a group: observations on one C₀.
type block struct {
	members []int
	stand   int
	c0      turn.Turn
}

// model is the whole session at one point of the iteration.
type model struct {
	obs    []observation
	used   []bool
	theta  []float64
	blocks []block
	axis   []r3.Vec  // per stand
	link   []float64 // κ of stand s, s ≥ 1
	field  []*mat.SymDense
	shared map[int]int  // field → index among those with a covariance
	bias   []r3.Vec     // b_f of those
	focus  map[int]int  // lens → index among those whose focus moved
	centre [][2]float64 // where their optical centres are, in standard deviations
	common [][]r3.Vec   // per observation, what one standard deviation of each error all share turns it by
	alike  []float64    // those errors, in standard deviations
	giving *giving      // how the camera may give; nil: not at all
}

// observe fixes the wander.
func observe(samples []Sample, wanderPx float64) []observation {
	obs := make([]observation, len(samples))
	for i, s := range samples {
		c, cov := s.Attitude.Given(wanderPx)
		w, det := turn.Invert(turn.Mat(cov))
		obs[i] = observation{c: c, weight: w, logDet: math.Log(det), field: s.Field, lens: s.Lens, focus: s.Focus}
	}
	return obs
}

// layout of the unknowns: two per stand, three per block, three per shared field, two per lens that breathed,
// one per error that all share, then those of the giving.
func (m *model) size() int {
	if m.giving == nil {
		return m.atGiving()
	}
	return m.atGiving() + len(m.giving.coef)
}
func (m *model) atGiving() int     { return m.atAlike(len(m.alike)) }
func (m *model) atAlike(k int) int { return m.atCentre(len(m.centre)) + k }
func (m *model) atBlock(b int) int { return 2*len(m.axis) + 3*b }
func (m *model) atBias(f int) int  { return 2*len(m.axis) + 3*len(m.blocks) + 3*f }
func (m *model) atCentre(l int) int {
	return 2*len(m.axis) + 3*len(m.blocks) + 3*len(m.bias) + 2*l
}

// predicted is the model's attitude of observation i in block b.
func (m *model) predicted(b *block, i int) turn.Turn {
	c := turn.About(m.axis[b.stand], unit.Angle(m.theta[i])).Then(b.c0)
	if f, ok := m.shared[m.obs[i].field]; ok {
		c = c.Then(turn.Exp(m.bias[f]))
	}
	if l, ok := m.focus[m.obs[i].lens]; ok {
		f := m.obs[i].focus
		c = c.Then(turn.Exp(r3.Add(r3.Scale(m.centre[l][0], f[0]), r3.Scale(m.centre[l][1], f[1]))))
	}
	var small r3.Vec
	for k, by := range m.alike {
		small = r3.Add(small, r3.Scale(by, m.common[i][k]))
	}
	if m.giving != nil {
		small = r3.Add(small, m.giving.turn(i))
	}
	if small != (r3.Vec{}) {
		c = c.Then(turn.Exp(small))
	}
	return c
}

// residual is r_i, in the camera frame.
func (m *model) residual(b *block, i int) r3.Vec {
	return m.predicted(b, i).Inverse().Then(m.obs[i].c).Log()
}

// equations are the normal equations with every θ eliminated.
type equations struct {
	n       *mat.SymDense
	b       *mat.VecDense
	chi2    float64
	logDetT float64 // Σ log(uᵀWu), what eliminating the θ leaves out of the determinant
}

// normal linearises the model about its present point, with the residuals of
// resid; nil takes the model's own.
func (m *model) normal(resid func(b *block, i int) r3.Vec) equations {
	if resid == nil {
		resid = m.residual
	}
	n := m.size()
	e := equations{n: mat.NewSymDense(n, nil), b: mat.NewVecDense(n, nil)}
	for bi := range m.blocks {
		for _, i := range m.blocks[bi].members {
			if m.used[i] {
				m.addObservation(&e, bi, i, resid)
			}
		}
	}
	m.addPriors(&e)
	return e
}

// answering is the right-hand side attitudes that are all off by moved give, the other equations left as they are.
func (m *model) answering(moved func(b *block, i int) r3.Vec) []float64 {
	rhs := make([]float64, m.size())
	for bi := range m.blocks {
		b := &m.blocks[bi]
		for _, i := range b.members {
			if !m.used[i] {
				continue
			}
			w := m.projected(b, i).MulVec(moved(b, i))
			idx, cols := m.columns(bi, i)
			for a, c := range cols {
				rhs[idx[a]] += r3.Dot(c, w)
			}
			if m.giving != nil {
				m.giving.addCourses(rhs[m.atGiving():], i, w)
			}
		}
	}
	return rhs
}

// projected is the weight of observation i without its part along the axis: W − W u uᵀ W/(uᵀ W u).
func (m *model) projected(b *block, i int) *r3.Mat {
	w := m.obs[i].weight
	u := b.c0.Apply(m.axis[b.stand])
	wu := w.MulVec(u)
	var along r3.Mat
	along.Outer(1/r3.Dot(u, wu), wu, wu)
	along.Sub(w, &along)
	return &along
}

// addObservation adds one picture's three equations, θ eliminated.
func (m *model) addObservation(e *equations, bi, i int, resid func(*block, int) r3.Vec) {
	b := &m.blocks[bi]
	u := b.c0.Apply(m.axis[b.stand])
	e.logDetT += math.Log(r3.Dot(u, m.obs[i].weight.MulVec(u)))
	proj := m.projected(b, i)
	r := resid(b, i)
	wr := proj.MulVec(r)
	e.chi2 += r3.Dot(r, wr)
	idx, cols := m.columns(bi, i)
	raw := e.n.RawSymmetric()
	for a := range cols { // the numbers of the unknowns ascend: all in the upper triangle
		e.b.SetVec(idx[a], e.b.AtVec(idx[a])+r3.Dot(cols[a], wr))
		wc := proj.MulVec(cols[a])
		row := raw.Data[idx[a]*raw.Stride:]
		for c := a; c < len(cols); c++ {
			row[idx[c]] += r3.Dot(cols[c], wc)
		}
	}
	if m.giving != nil {
		m.addGiving(e, i, proj, wr, idx, cols)
	}
}

// columns are the derivatives of the model's attitude (a small turn in the camera
// frame) by the unknowns observation i depends on.
func (m *model) columns(bi, i int) (idx []int, cols []r3.Vec) {
	b := &m.blocks[bi]
	across, up := turn.Tangent(m.axis[b.stand])
	// exp(α) about the pair: α = −up moves the axis toward across, α = across moves it up.
	ci := turn.About(m.axis[b.stand], unit.Angle(m.theta[i])).Then(b.c0)
	for k, alpha := range [2]r3.Vec{r3.Scale(-1, up), across} {
		idx = append(idx, 2*b.stand+k)
		cols = append(cols, r3.Sub(b.c0.Apply(alpha), ci.Apply(alpha)))
	}
	units := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	for k, v := range units {
		idx = append(idx, m.atBlock(bi)+k)
		cols = append(cols, v)
	}
	if f, ok := m.shared[m.obs[i].field]; ok {
		for k, v := range units {
			idx = append(idx, m.atBias(f)+k)
			cols = append(cols, v)
		}
	}
	if l, ok := m.focus[m.obs[i].lens]; ok {
		for k, v := range m.obs[i].focus {
			idx = append(idx, m.atCentre(l)+k)
			cols = append(cols, v)
		}
	}
	for k := range m.alike {
		idx = append(idx, m.atAlike(k))
		cols = append(cols, m.common[i][k])
	}
	return idx, cols
}

// addPriors adds what is known besides: the turn of each C₀ about the axis, which
// only gives the θ their zero; the catalogue's errors; the links between
// stands; and that the axis lies in the half of the sky it was found in.
func (m *model) addPriors(e *equations) {
	add := func(i, j int, v float64) { e.n.SetSym(i, j, e.n.At(i, j)+v) }
	for bi := range m.blocks {
		b := &m.blocks[bi]
		u := b.c0.Apply(m.axis[b.stand])
		const s = gaugeWeight
		v := [3]float64{u.X, u.Y, u.Z}
		for r := range 3 {
			for c := range r + 1 {
				add(m.atBlock(bi)+r, m.atBlock(bi)+c, s*v[r]*v[c])
			}
		}
	}
	m.addBiasPriors(e)
	for l, c := range m.centre {
		for k, v := range c {
			at := m.atCentre(l) + k
			add(at, at, 1)
			e.b.SetVec(at, e.b.AtVec(at)-v)
			e.chi2 += v * v
		}
	}
	for k, v := range m.alike {
		at := m.atAlike(k)
		add(at, at, 1)
		e.b.SetVec(at, e.b.AtVec(at)-v)
		e.chi2 += v * v
	}
	m.addLinks(e)
	const hemisphere = 1.0 // radians: keeps the equations solvable, tells nothing
	for i := range 2 * len(m.axis) {
		add(i, i, 1/(hemisphere*hemisphere))
	}
}

// gaugeWeight is of the size of an attitude's own weight; constant, so that it drops out of every comparison.
const gaugeWeight = 1e9

func (m *model) addBiasPriors(e *equations) {
	for f := range m.field { // in order: sums depend on it
		k, ok := m.shared[f]
		if !ok {
			continue
		}
		var w mat.Cholesky
		inv := mat.NewSymDense(3, nil)
		if !w.Factorize(m.field[f]) || w.InverseTo(inv) != nil {
			continue
		}
		at := m.atBias(k)
		b := [3]float64{m.bias[k].X, m.bias[k].Y, m.bias[k].Z}
		for r := range 3 {
			for c := range 3 {
				if c <= r {
					e.n.SetSym(at+r, at+c, e.n.At(at+r, at+c)+inv.At(r, c))
				}
				e.b.SetVec(at+r, e.b.AtVec(at+r)-inv.At(r, c)*b[c])
				e.chi2 += b[r] * inv.At(r, c) * b[c]
			}
		}
	}
}

func (m *model) addLinks(e *equations) {
	for s := 1; s < len(m.axis); s++ {
		w := 1 / (m.link[s] * m.link[s])
		across, up := turn.Tangent(m.axis[s])
		d := r3.Sub(m.axis[s], m.axis[s-1])
		e.chi2 += w * r3.Norm2(d)
		for k, v := range [2]r3.Vec{across, up} {
			i, j := 2*(s-1)+k, 2*s+k
			e.n.SetSym(i, i, e.n.At(i, i)+w)
			e.n.SetSym(j, j, e.n.At(j, j)+w)
			e.n.SetSym(i, j, e.n.At(i, j)-w)
			g := w * r3.Dot(v, d)
			e.b.SetVec(i, e.b.AtVec(i)+g)
			e.b.SetVec(j, e.b.AtVec(j)-g)
		}
	}
}

// apply moves the model by a solution and re-reads every θ.
func (m *model) apply(x mat.Vector) {
	for s := range m.axis {
		across, up := turn.Tangent(m.axis[s])
		d := r3.Add(r3.Scale(x.AtVec(2*s), across), r3.Scale(x.AtVec(2*s+1), up))
		m.axis[s] = r3.Unit(r3.Add(m.axis[s], d))
	}
	vec := func(at int) r3.Vec { return r3.Vec{X: x.AtVec(at), Y: x.AtVec(at + 1), Z: x.AtVec(at + 2)} }
	for b := range m.blocks {
		m.blocks[b].c0 = m.blocks[b].c0.Then(turn.Exp(vec(m.atBlock(b))))
	}
	for f := range m.bias {
		m.bias[f] = r3.Add(m.bias[f], vec(m.atBias(f)))
	}
	for l := range m.centre {
		for k := range 2 {
			m.centre[l][k] += x.AtVec(m.atCentre(l) + k)
		}
	}
	for k := range m.alike {
		m.alike[k] += x.AtVec(m.atAlike(k))
	}
	if m.giving != nil {
		for k := range m.giving.coef {
			m.giving.coef[k] += x.AtVec(m.atGiving() + k)
		}
	}
	m.readTheta()
}

// readTheta sets every θ to what its attitude says, the other unknowns as they are.
func (m *model) readTheta() {
	for bi := range m.blocks {
		b := &m.blocks[bi]
		u := b.c0.Apply(m.axis[b.stand])
		for _, i := range b.members {
			for range 3 {
				r := m.residual(b, i)
				wu := m.obs[i].weight.MulVec(u)
				step := r3.Dot(r, wu) / r3.Dot(u, wu)
				if m.theta[i] += step; math.Abs(step) < 1e-12 {
					break
				}
			}
		}
	}
}

// converge iterates Gauss–Newton steps, halved while they make matters worse; false
// where the equations cannot be solved.
func (m *model) converge() (equations, bool) {
	m.readTheta()
	e := m.normal(nil)
	for range 30 {
		x := mat.NewVecDense(m.size(), nil)
		var chol mat.Cholesky
		if !chol.Factorize(e.n) || chol.SolveVecTo(x, e.b) != nil {
			return e, false
		}
		before := *m
		saved := m.snapshot()
		next := e
		for range 6 {
			m.apply(x)
			if next = m.normal(nil); next.chi2 <= e.chi2*(1+1e-9)+1e-9 {
				break
			}
			*m = before
			m.restore(saved)
			next = e
			x.ScaleVec(0.5, x)
		}
		gain := e.chi2 - next.chi2
		e = next
		if gain < 1e-7*(1+e.chi2) {
			break
		}
	}
	return e, true
}

// snapshot holds what apply changes.
type snapshot struct {
	axis, bias []r3.Vec
	theta      []float64
	c0         []turn.Turn
	centre     [][2]float64
	alike      []float64
}

func (m *model) snapshot() snapshot {
	s := snapshot{axis: append([]r3.Vec(nil), m.axis...), bias: append([]r3.Vec(nil), m.bias...), theta: append([]float64(nil), m.theta...),
		centre: append([][2]float64(nil), m.centre...), alike: append([]float64(nil), m.alike...)}
	for _, b := range m.blocks {
		s.c0 = append(s.c0, b.c0)
	}
	return s
}

func (m *model) restore(s snapshot) {
	copy(m.axis, s.axis)
	copy(m.bias, s.bias)
	copy(m.theta, s.theta)
	copy(m.centre, s.centre)
	copy(m.alike, s.alike)
	for b := range m.blocks {
		m.blocks[b].c0 = s.c0[b]
	}
}
