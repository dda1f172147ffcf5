package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// The wander of the optical centre is not known beforehand. It is given a
// log-normal prior (phones are said to wander by some tenths of a pixel, cameras
// with the stabiliser off by less: common practice, no source) and the answer is averaged over what
// the attitudes' scatter leaves probable.
const (
	wanderMedianPx = 0.07
	wanderSpreadLn = 1.2
)

// wanderGrid covers none to a hundred pixels: where a table tells its own errors, a hundred times as much as it says.
var wanderGrid = [...]float64{0.003, 0.015, 0.03, 0.045, 0.07, 0.1, 0.15, 0.22, 0.33, 0.5, 0.75, 1.1, 1.7, 2.5, 4, 6.5, 10, 16, 25, 40, 65, 100}

// wandered is the fit under one assumed wander.
type wandered struct {
	px       float64
	model    model
	eq       equations
	logPrior float64
	logPost  float64 // up to a constant
}

// logRestricted is the restricted likelihood of the residuals (Patterson & Thompson 1971, Biometrika 58,
// 545): that of the contrasts the fitted unknowns leave free.
func (m *model) logRestricted(e equations) float64 {
	sum := e.chi2 + e.logDetT
	for i, o := range m.obs {
		if m.used[i] {
			sum += o.logDet
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(e.n) {
		return math.Inf(-1)
	}
	return -0.5 * (sum + chol.LogDet())
}

// overWander fits the model under every wander of the grid.
func overWander(samples []Sample, start *model) []wandered {
	var fits []wandered
	m := start.clone()
	top := math.Inf(-1)
	for k, px := range wanderGrid {
		m = m.clone()
		m.obs = observe(samples, px)
		e, ok := m.converge()
		if !ok {
			continue
		}
		z := math.Log(px/wanderMedianPx) / wanderSpreadLn
		width := math.Log(wanderGrid[min(k+1, len(wanderGrid)-1)]/wanderGrid[max(k-1, 0)]) / 2
		if k == 0 { // stands for everything below as well
			width = wanderSpreadLn
		}
		w := wandered{px: px, model: *m, eq: e, logPrior: math.Log(width) - z*z/2}
		w.logPost = m.logRestricted(e) + w.logPrior
		fits = append(fits, w)
		if top = max(top, w.logPost); px > 1 && w.logPost < top-2*negligible { // and more so from here on
			break
		}
	}
	return fits
}

// weights turns log posteriors into shares of one.
func weights(logPost []float64) []float64 {
	top := slices.Max(logPost)
	w := make([]float64, len(logPost))
	var sum float64
	for i, l := range logPost {
		w[i] = math.Exp(l - top)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

func (m *model) clone() *model {
	c := *m
	c.theta = slices.Clone(m.theta)
	c.blocks = slices.Clone(m.blocks)
	c.axis = slices.Clone(m.axis)
	c.bias = slices.Clone(m.bias)
	c.used = slices.Clone(m.used)
	c.centre = slices.Clone(m.centre)
	c.alike = slices.Clone(m.alike)
	c.giving = m.giving.clone()
	return &c
}

// spoiled is the most a single run of three pictures may plead for a larger wander, twice the
// logarithm of a likelihood: a knock or a bad picture spoils two or three runs of a session, and must not be
// taken for wander of all.
const spoiled = 8.0

// rollTimes are the multiples, half an octave apart, that the error about the line of sight may be of what is stated: roll is
// measured from the corners and suffers from all that is wrong with the lens, and tables are wrong by more.
func rollTimes() (list []float64) {
	const least, most = -9, 6
	for k := least; k <= most; k++ {
		list = append(list, math.Exp2(float64(k)/2))
	}
	return list
}

// rollPrice is twice the logarithm of what an error so many times the stated costs: Student's law with two degrees of
// freedom for its logarithm, since gross mistakes are made.
func rollPrice(times float64) float64 {
	const trust = 0.2
	z := math.Log(times) / trust
	return 3 * math.Log1p(z*z/2)
}

// quickErrors is a robust first guess of the wander and of the true error of the roll: those most likely for all runs of
// three neighbouring pictures together, each run's plea bounded.
func quickErrors(samples []Sample) (px float64, trusted []Sample) {
	if len(samples) < 4 {
		return 0.1, samples
	}
	if px = quickWander(samples); len(samples) < somePictures {
		return px, samples
	}
	times := rollTimes()
	k := mostPleaded(len(samples)-2, len(times), len(times), spoiled/3, func(k int) ([]observation, float64) {
		return observe(rolling(samples, times[k]), px), rollPrice(times[k])
	})
	if times[k] == 1 {
		return px, samples
	}
	trusted = rolling(samples, times[k])
	return quickWander(trusted), trusted
}

// rolled is an attitude whose roll is less sure than it says, or surer.
type rolled struct {
	Attitude
	times float64
}

func (s rolled) Given(px float64) (turn.Turn, [3][3]float64) {
	c, cov := s.Attitude.Given(px)
	for k := range 3 {
		cov[2][k] *= s.times
		cov[k][2] *= s.times
	}
	return c, cov
}

func rolling(samples []Sample, times float64) []Sample {
	list := slices.Clone(samples)
	for i := range list {
		list[i].Attitude = rolled{list[i].Attitude, times}
	}
	return list
}

// fewPictures have too few runs for one that is spoiled not to lead the rest; somePictures can tell gross mistakes.
const (
	fewPictures  = 8
	somePictures = 24
)

// quickGrid is coarser than wanderGrid.
var quickGrid = [...]float64{0.02, 0.045, 0.1, 0.22, 0.5, 1.1, 2.2, 4, 10, 25, 65}

// quickWander is the wander most likely for all runs of three. The fewer pictures, the less they can speak for a large one.
func quickWander(samples []Sample) float64 {
	const fewMost, someMost = 0.5, 4.0
	allowed := len(quickGrid)
	if len(samples) < fewPictures {
		allowed = 1 + slices.Index(quickGrid[:], fewMost)
	} else if len(samples) < somePictures {
		allowed = 1 + slices.Index(quickGrid[:], someMost)
	}
	k := mostPleaded(len(samples)-2, len(quickGrid), allowed, spoiled, func(k int) ([]observation, float64) { return observe(samples, quickGrid[k]), 0 })
	return quickGrid[k]
}

// mostRuns are enough to tell by.
const mostRuns = 120

// mostPleaded is the choice, among those allowed, under which the runs of three taken together are the least surprising. what
// gives the observations under a choice, and twice the logarithm of its price; no run pleads for more than most.
func mostPleaded(runs, choices, allowed int, most float64, what func(k int) ([]observation, float64)) (at int) {
	step := 1 + (runs-1)/mostRuns
	pleas := make([][]float64, (runs+step-1)/step)
	sums := make([]float64, choices)
	for k := range choices {
		var obs []observation
		obs, sums[k] = what(k)
		for i := range pleas {
			plea := math.Inf(1)
			if r, ok := fitRun(obs, i*step, i*step+2, -1); ok {
				plea = -2 * r.model.logRestricted(r.eq)
			}
			pleas[i] = append(pleas[i], plea)
		}
	}
	for _, p := range pleas {
		if least := slices.Min(p); !math.IsInf(least, 1) {
			for k := range sums {
				sums[k] += min(p[k]-least, most) * float64(step)
			}
		}
	}
	return slices.Index(sums, slices.Min(sums[:allowed]))
}

// run is the fit of consecutive observations to one group.
type run struct {
	model model
	eq    equations
	chi2  float64
	dof   int
}

// upTo lists 0 to n−1.
func upTo(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// fitRun fits observations first..last, but for skip, to one axis and one C₀ of their own.
func fitRun(obs []observation, first, last, skip int) (run, bool) {
	some := make([]observation, 0, last-first+1)
	for i := first; i <= last; i++ {
		if i != skip {
			some = append(some, obs[i])
		}
	}
	return fitAll(some)
}

// fitAll fits observations to one axis and one C₀ of their own.
func fitAll(obs []observation) (run, bool) {
	m := model{obs: obs, shared: map[int]int{}, axis: []r3.Vec{{Y: 1}}, link: []float64{0}}
	n := len(m.obs)
	m.used = make([]bool, n)
	for i := range m.used {
		m.used[i] = true
	}
	m.theta = make([]float64, n)
	m.blocks = []block{{members: upTo(n), c0: m.obs[n/2].c}}
	if n < 3 { // two attitudes always fit
		return run{model: m}, true
	}
	m.axis[0] = m.guessAxis()
	e, ok := m.converge()
	return run{m, e, e.chi2, 2*n - 4}, ok
}

// guessAxis is the axis of the largest turn between two pictures of one block,
// in the horizon frame, its north end.
func (m *model) guessAxis() r3.Vec {
	best := r3.Vec{Y: 1e-12}
	for _, b := range m.blocks {
		n := len(b.members)
		for _, i := range b.members {
			for _, k := range [3]int{b.members[0], b.members[n/2], b.members[n-1]} {
				if !m.used[i] || !m.used[k] {
					continue
				}
				// C_i = C₀Rot(â,θ_i): C_k⁻¹C_i turns about â by θ_i − θ_k.
				v := m.obs[i].c.Then(m.obs[k].c.Inverse()).Log()
				if r3.Norm2(v) > r3.Norm2(best) {
					best = v
				}
			}
		}
	}
	if best.Y < 0 {
		best = r3.Scale(-1, best)
	}
	return r3.Unit(best)
}
