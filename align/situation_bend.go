package align

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
)

// # The model of a holder that gives
//
// The camera turns on the mount by a small angle ε_i = Σ f_k d_ki in its own frame, with d_ki either the
// time of picture i along two directions across the axis (a holder that creeps) or
// the turn that hanging down with gravity makes (a holder that sags: more where gravity pulls square to the view). The
// gain in likelihood over f = 0, the wander of the optical centre free on both sides, is
// judged by Fisher's F. While the mount merely tracks, creeping cannot be told from an axis error – the gain is then
// nil and the error stands in the axis; swings by hand tell the two apart.
//
// Sagging cannot be told from an axis error by any turn about the axis: the part of view × down that
// changes with θ turns with it, as an axis error does. (It moves the axis by sag · cos ψ with ψ the angle between
// axis and view: not at all where the camera looks square to the axis.) Only a camera aimed anew shows it.

// bendChance is the chance of a false find in each of the two tests.
const bendChance = 1e-3

// creepTurn: with less turn about the axis, and the camera never aimed anew, creeping hides in the axis.
const creepTurn = unit.Angle(10 * math.Pi / 180)

// bendSigmas: besides, the bending must stand out by so many of its own errors.
const bendSigmas = 4

// bendLimit: less does no harm worth a word.
const bendLimit = unit.Angle(0.3 / 60 * math.Pi / 180)

// bendMost: the model is linear, and no holder bends so far.
const bendMost = unit.Angle(math.Pi / 180)

// bend is a finding: how much, and the chance that nothing but noise made it.
type bend struct {
	size, sigma float64 // radians
	chance      float64
	dof         int  // of the fit without it
	smooth      bool // what it leaves over is no more than a sound camera's wander
}

func (b bend) real() bool {
	return b.smooth && b.chance < bendChance && b.size > bendSigmas*b.sigma && b.size > bendLimit.Rad() && b.size < bendMost.Rad()
}

// looseWander: the optical centre of a phone wanders by some tenths of a pixel; a camera whose place scatters by
// more than this is loose.
const looseWander = 1.5

// loose tells a camera that jumps about, or jumped once by more than its wander explains.
func (s *session) loose() []Situation {
	if s.a.WanderPx < looseWander && s.a.sound() {
		return nil
	}
	n := len(s.in.Samples)
	if s.listed() && s.a.sound() { // a table may state its errors too small: that is no loose camera
		return nil
	}
	// Once more, with no more wander than a sound phone has: a single knock then stands out.
	if seg := segment(s.in.Samples, observe(s.in.Samples, soundWander)); len(seg.breaks) == 1 && seg.breaks[0].Knock {
		if files := s.files(seg.breaks[0].Before, n-1); len(files) > 0 {
			return []Situation{{KindKnock, files, fmt.Sprintf("Tripod or camera were knocked by %s before %s. The axis found is spoilt by it: measure again without touching.", Arc(seg.breaks[0].Size), files[0])}}
		}
	}
	if s.listed() {
		return []Situation{{KindSlipping, s.files(0, n-1), "The directions of the table fit no steady axis: they scatter far more than their errors say. Check the table's times and sigma_arcsec; if they are right, tighten clamp and ball."}}
	}
	return []Situation{{KindSlipping, s.files(0, n-1), fmt.Sprintf("The camera does not keep still on the mount: it jumps by %.1f pixels from picture to picture and fits no steady axis. Tighten clamp and ball, switch the stabiliser off.", s.a.WanderPx)}}
}

// soundWander, px, is more than a sound phone's optical centre wanders.
const soundWander = 0.3

// bending names creeping and sagging. A holder that creeps while the axis is swung also looks as if the camera had been
// knocked at every swing; the simpler story is preferred where it fits as well.
//
// kept are the breaks that remain true.
func (s *session) bending() (found []Situation, kept []Break) {
	if len(s.in.Samples) < 4 {
		return nil, nil
	}
	files := s.files(0, len(s.in.Samples)-1)
	const advice = "Hold the camera shorter and stiffer, tie down the cable, and measure without swings as a check."
	for _, breaks := range s.stories() {
		creep, sag := bend{chance: 1}, s.bent(s.sagColumns(), breaks)
		if s.a.Turned > creepTurn || s.a.Groups > s.a.Stands {
			creep = s.bent(s.creepColumns(), breaks)
		}
		switch {
		case sag.real() && (!creep.real() || sag.chance < creep.chance):
			return []Situation{{KindFlexure, files, fmt.Sprintf("The holder sags by about %s between its positions; the axis may be off by as much. %s", Arc(unit.Angle(sag.size)), advice)}}, breaks
		case creep.real():
			return []Situation{{KindFlexure, files, fmt.Sprintf("The camera crept by about %s on its holder during the session; the axis may be off by as much. %s", Arc(unit.Angle(creep.size)), advice)}}, breaks
		}
	}
	return nil, nil
}

// stories are the sets of breaks to try, the simplest first: none but those of the lens, then without the knocks, then
// all.
func (s *session) stories() [][]Break {
	var lens, large []Break
	for _, b := range s.a.Breaks {
		if b.Lens {
			lens = append(lens, b)
		}
		if b.Lens || !b.Knock {
			large = append(large, b)
		}
	}
	list := [][]Break{lens}
	if len(large) > len(lens) {
		list = append(list, large)
	}
	if len(s.a.Breaks) > len(large) {
		list = append(list, s.a.Breaks)
	}
	return list
}

// creepColumns: time from −½ to ½ along two directions across the axis.
func (s *session) creepColumns() []func(i int) r3.Vec {
	u := s.axisInCamera()
	p := r3.Cross(u, r3.Vec{X: 1})
	if q := r3.Cross(u, r3.Vec{Y: 1}); r3.Norm2(q) > r3.Norm2(p) {
		p = q
	}
	p = r3.Unit(p)
	q := r3.Cross(u, p)
	first, last := s.in.Samples[0].Mid, s.in.Samples[len(s.in.Samples)-1].Mid
	at := func(i int) float64 {
		return s.in.Samples[i].Mid.Sub(first).Seconds()/last.Sub(first).Seconds() - 0.5
	}
	return []func(i int) r3.Vec{
		func(i int) r3.Vec { return r3.Scale(at(i), p) },
		func(i int) r3.Vec { return r3.Scale(at(i), q) },
	}
}

func (s *session) axisInCamera() r3.Vec {
	c, _ := s.in.Samples[0].Attitude.Given(s.a.WanderPx)
	return c.Apply(s.north())
}

// sagColumns: directions seen in a camera that hangs down turn about −(view × down).
func (s *session) sagColumns() []func(i int) r3.Vec {
	return []func(i int) r3.Vec{func(i int) r3.Vec {
		c, _ := s.in.Samples[i].Attitude.Given(s.a.WanderPx)
		return r3.Scale(-1, r3.Cross(r3.Vec{Z: 1}, c.Apply(r3.Vec{Z: -1})))
	}}
}

// bent tests columns under every wander, for a session parted at breaks. A finding that needs fewer breaks than the
// estimator found must do as well as they did: the Bayesian information criterion decides (G. Schwarz 1978, Annals of Statistics
// 6, 461), an unknown costing half the logarithm of the number of equations.
func (s *session) bent(columns []func(i int) r3.Vec, breaks []Break) bend {
	none := bend{chance: 1}
	fits := s.fitted(breaks)
	if len(fits) == 0 {
		return none
	}
	b := bend{dof: s.a.DOF + unknownsOfBreak*(len(s.a.Breaks)-len(breaks))}
	if b.dof < len(columns)+1 {
		return none
	}
	plain, with, reference, best := math.Inf(-1), math.Inf(-1), 0.0, 0
	gains := make([]gained, len(fits))
	for i := range fits {
		var ok bool
		if gains[i], ok = fits[i].gain(columns); !ok {
			return none
		}
		if fits[i].logPost > plain {
			plain, reference = fits[i].logPost, gains[i].logInfo
		}
	}
	for i, g := range gains {
		if l := fits[i].logPost + g.chi2/2 - (g.logInfo-reference)/2; l > with {
			with, best = l, i
		}
	}
	b.judge(gains[best], 2*(with-plain), len(columns))
	rest := Axis{Chi2: fits[best].eq.chi2 - gains[best].chi2, DOF: b.dof - len(columns)}
	b.smooth = fits[best].px < looseWander && rest.sound()
	if fewer := len(s.a.Breaks) - len(breaks); b.smooth && fewer > 0 {
		price := math.Log(float64(2*len(s.in.Samples))) / 2
		gain := fits[best].likelihood() + gains[best].chi2/2 - bestOf(s.fitted(s.a.Breaks))
		b.smooth = gain > price*float64(len(columns)-unknownsOfBreak*fewer)
	}
	return b
}

// unknownsOfBreak: a new attitude of the camera across the axis and, of the tripod, a new axis.
const unknownsOfBreak = 4

// fitted is the session under every wander, parted at breaks.
func (s *session) fitted(breaks []Break) []wandered {
	if _, ok := s.fits[len(breaks)]; !ok { // stories differ in their number of breaks
		obs := observe(s.in.Samples, s.a.WanderPx)
		s.fits[len(breaks)] = overWander(s.in.Samples, newModel(s.in, obs, segmentation{breaks, s.a.Stray}))
	}
	return s.fits[len(breaks)]
}

// likelihood of the attitudes under the fit, logarithm.
func (w *wandered) likelihood() float64 {
	sum := w.eq.chi2
	for i, o := range w.model.obs {
		if w.model.used[i] {
			sum += o.logDet
		}
	}
	return -sum / 2
}

func bestOf(fits []wandered) float64 {
	best := math.Inf(-1)
	for i := range fits {
		best = max(best, fits[i].likelihood())
	}
	return best
}

// judge turns a gain in twice the log likelihood into a chance: with the scale estimated, as the wander
// is, exp(gain/ν) − 1 is the part of the sum of squares explained.
func (b *bend) judge(g gained, gain float64, unknowns int) {
	free := float64(b.dof) + priorDOF
	rest := free - float64(unknowns)
	f := min(rest/float64(unknowns)*math.Expm1(max(gain, 0)/free), 1e12)
	b.size, b.sigma = g.size, g.sigma
	b.chance = distuv.F{D1: float64(unknowns), D2: rest}.Survival(f)
}

// gained is what extra unknowns do to a converged fit.
type gained struct {
	chi2        float64 // by how much it falls
	size, sigma float64 // of the vector of the unknowns, and of its error along itself
	logInfo     float64 // logarithm of the determinant of their information, the other unknowns eliminated
}

// tellable: where less than this share of a column is left when axis and C₀ have taken
// what they can, the rest is rounding.
const tellable = 1e-9

// gain solves for extra unknowns whose derivatives are the columns. By the sums of squares of
// combinations of residual and columns it needs no more of the model than its normal equations.
func (w *wandered) gain(columns []func(i int) r3.Vec) (g gained, ok bool) {
	m := &w.model
	var chol mat.Cholesky
	if !chol.Factorize(w.eq.n) {
		return g, false
	}
	zero := m.normal(func(*block, int) r3.Vec { return r3.Vec{} })
	n := len(columns)
	only, part := make([]equations, n), make([]*mat.VecDense, n)
	for k, d := range columns {
		only[k] = m.normal(func(_ *block, i int) r3.Vec { return d(i) })
		only[k].chi2 -= zero.chi2
		only[k].b.SubVec(only[k].b, zero.b)
		part[k] = mat.NewVecDense(m.size(), nil)
		if chol.SolveVecTo(part[k], only[k].b) != nil {
			return g, false
		}
	}
	info, score := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for k, d := range columns {
		sum := m.normal(func(b *block, i int) r3.Vec { return r3.Add(m.residual(b, i), d(i)) })
		score.SetVec(k, (sum.chi2-w.eq.chi2-only[k].chi2)/2-mat.Dot(part[k], w.eq.b))
		for l := range k + 1 {
			own := only[k].chi2
			if l != k {
				both := m.normal(func(_ *block, i int) r3.Vec { return r3.Add(d(i), columns[l](i)) })
				own = (both.chi2 - zero.chi2 - only[k].chi2 - only[l].chi2) / 2
			}
			v := own - mat.Dot(part[k], only[l].b)
			if l == k && v < tellable*own {
				return g, false
			}
			info.SetSym(k, l, v)
		}
	}
	return solveGain(info, score)
}

func solveGain(info *mat.SymDense, score *mat.VecDense) (g gained, ok bool) {
	n := score.Len()
	var chol mat.Cholesky
	x := mat.NewVecDense(n, nil)
	if !chol.Factorize(info) || chol.SolveVecTo(x, score) != nil {
		return g, false
	}
	g.chi2, g.logInfo = mat.Dot(x, score), chol.LogDet()
	g.size = mat.Norm(x, 2)
	if g.chi2 > 0 {
		g.sigma = g.size / math.Sqrt(g.chi2)
	}
	return g, true
}
