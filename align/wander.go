package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// The wander of the optical centre is not known beforehand. It is given a
// log-normal prior (phones are said to wander by some tenths of a pixel, cameras
// with the stabiliser off by less: common practice, no source) and the answer is averaged over what
// the attitudes' scatter leaves probable.
const (
	wanderMedianPx = 0.07
	wanderSpreadLn = 1.2
)

// wanderGrid covers none to four pixels.
var wanderGrid = [...]float64{0.003, 0.015, 0.03, 0.045, 0.07, 0.1, 0.15, 0.22, 0.33, 0.5, 0.75, 1.1, 1.7, 2.5, 4}

// wandered is the fit under one assumed wander.
type wandered struct {
	px      float64
	model   model
	eq      equations
	logPost float64 // up to a constant
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
		fits = append(fits, wandered{px: px, model: *m, eq: e, logPost: m.logRestricted(e) - z*z/2 + math.Log(width)})
	}
	return fits
}

// weights turns log posteriors into shares of one.
func weights(fits []wandered) []float64 {
	top := math.Inf(-1)
	for _, f := range fits {
		top = max(top, f.logPost)
	}
	w := make([]float64, len(fits))
	var sum float64
	for i, f := range fits {
		w[i] = math.Exp(f.logPost - top)
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
	return &c
}

// spoiled is the most a single run of three pictures may plead for a larger wander, twice the
// logarithm of a likelihood: a knock or a bad picture spoils two or three runs of a session, and must not be
// taken for wander of all.
const spoiled = 8.0

// quickWander is a robust first guess of the wander: the one most likely for all runs of three
// neighbouring pictures together, each run's plea bounded.
func quickWander(samples []Sample) float64 {
	if len(samples) < 4 {
		return 0.1
	}
	const fewRuns, fewMost = 8, 0.5 // so few pictures cannot speak for so large a wander
	pleas := make([][]float64, len(samples)-2)
	for _, px := range wanderGrid {
		obs := observe(samples, px)
		for i := range pleas {
			plea := math.Inf(1)
			if r, ok := fitRun(obs, i, i+2, -1); ok {
				plea = -2 * r.model.logRestricted(r.eq)
			}
			pleas[i] = append(pleas[i], plea)
		}
	}
	best, at := math.Inf(1), 0
	for k, px := range wanderGrid {
		if len(samples) < fewRuns && px > fewMost {
			break
		}
		var sum float64
		for _, p := range pleas {
			if least := slices.Min(p); !math.IsInf(least, 1) {
				sum += min(p[k]-least, spoiled)
			}
		}
		if sum < best {
			best, at = sum, k
		}
	}
	return max(wanderGrid[at], 0.02)
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
