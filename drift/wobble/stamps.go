package wobble

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// # What the stamps' step does, and how it is taken back
//
// A stamp cut to whole steps is late by e, 0 ≤ e < 1 step. At 15″ per second whole seconds shift
// the angle by up to 15″, and not at random: pictures 17.4 s apart make e run 0, 0.4, 0.8, 0.2, 0.6 –
// a sawtooth of 87 s; pictures 20.02 s apart make one of 1000 s, the very image of a gear.
//
// But the stamps tell most of what they cut off: pictures follow each other at a cadence c that
// wanders by a jitter J, so that from one to the next
//
//	e' = e + c − (stamp' − stamp) + J·N(0, 1),   0 ≤ e' < 1.
//
// That is a hidden Markov chain; forward and backward sums (Rabiner 1989, Proc. IEEE 77, 257, §III)
// over e in small bins give its mean and standard deviation for every picture, and c and J are those of greatest likelihood. An
// even cadence brings e back to some hundredths of a step. A cadence that jitters by a step or more
// leaves e even over the step: the 4.3″ of design §3.
type chain struct {
	step   []float64 // between stamps, in steps
	passed []float64 // cadences that fit in between; 0 starts the chain anew
	guess  float64   // cadence, in steps
	total  float64   // cadences in all
}

// stampBins resolve a step: 0.63″ at whole seconds, 0.2″ rms.
const stampBins = 24

// jitters tried, in steps; the finest is about the bins' width, the coarsest as good as random.
var jitters = [...]float64{0.02, 0.04, 0.08, 0.16, 0.32, 0.8}

// stamps is what was found out about the step's doing.
type stamps struct {
	late    []float64   // s to add to each instant
	sigma   []float64   // s
	cadence float64     // s
	paths   [][]float64 // s: drawn from what the stamps allow, less late
}

// restore reads how late each stamp is.
func restore(list []sample, step float64) stamps {
	c := newChain(list, step)
	tries := c.likeliest()
	n := len(list)
	st := stamps{late: make([]float64, n), sigma: make([]float64, n), cadence: tries[0].cadence * step}
	for _, t := range tries {
		mean, sd := c.smooth(t.cadence, t.jitter)
		for i := range n {
			st.late[i] += t.weight * mean[i]
			st.sigma[i] += t.weight * (sd[i]*sd[i] + mean[i]*mean[i])
		}
	}
	for i, m := range st.late {
		st.sigma[i] = math.Sqrt(max(st.sigma[i]-m*m, 0)) * step
	}
	st.paths = c.paths(tries)
	for _, p := range st.paths {
		for i := range p {
			p[i] = (p[i] - st.late[i]) * step
		}
	}
	scale(st.late, step)
	return st
}

// pathDraws lateness paths are drawn: errors from them are good to a fifth.
const pathDraws = 12

// paths draws from all the ways the pictures may have fallen between their stamps, in steps: backward through the
// filtered chances. What is unknown of neighbours goes together, and a slow part of it looks like a
// wave: a standard deviation for each alone would not show that.
func (c chain) paths(tries []try) [][]float64 {
	random := rand.New(rand.NewPCG(3, 4))
	weights := make([]float64, len(tries))
	for i, t := range tries {
		weights[i] = t.weight
	}
	filtered := make([][][]float64, len(tries))
	list := make([][]float64, pathDraws)
	for d := range list {
		k := pick(weights, (float64(d)+0.5)/pathDraws)
		if filtered[k] == nil {
			filtered[k] = make([][]float64, len(c.step))
			c.forward(tries[k].cadence, tries[k].jitter, filtered[k])
		}
		list[d] = c.path(tries[k], filtered[k], random)
	}
	return list
}

// path draws one.
func (c chain) path(t try, filtered [][]float64, random *rand.Rand) []float64 {
	ks := kernels{t.cadence, t.jitter, map[[2]float64][]float64{}}
	weights := make([]float64, stampBins)
	out := make([]float64, len(c.step))
	bin := 0
	for i := len(out) - 1; i >= 0; i-- {
		copy(weights, filtered[i])
		if i < len(out)-1 && c.passed[i+1] != 0 {
			p := ks.of(c.step[i+1], c.passed[i+1])
			for a := range weights {
				weights[a] *= p[bin-a+stampBins] + 1e-9
			}
		}
		bin = pick(weights, random.Float64())
		out[i] = (float64(bin) + random.Float64()) / stampBins
	}
	return out
}

// pick is the place where the running sum of the weights passes a share u of all.
func pick(weights []float64, u float64) int {
	var sum float64
	for _, w := range weights {
		sum += w
	}
	u *= sum
	for i, w := range weights {
		if u -= w; u < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// newChain counts cadences between pictures. What fits no whole number of them starts anew.
func newChain(list []sample, step float64) chain {
	c := chain{step: make([]float64, len(list)), passed: make([]float64, len(list))}
	usual := cadenceOf(list) / step
	var sum, n float64
	for i := 1; i < len(list); i++ {
		c.step[i] = (list[i].at - list[i-1].at) / step
		if math.Abs(c.step[i]-usual) < 1.5 {
			sum, n = sum+c.step[i], n+1
		}
	}
	c.guess = sum / max(n, 1)
	for i := 1; i < len(list) && c.guess > 0; i++ {
		k := math.Round(c.step[i] / c.guess)
		if k >= 1 && math.Abs(c.step[i]-k*c.guess) < 1.5 {
			c.passed[i] = k
			c.total += k
		}
	}
	return c
}

// try is a cadence and a jitter, in steps, with the odds of the two.
type try struct{ cadence, jitter, weight float64 }

// mostTries are kept: what is left out has small odds.
const mostTries = 8

// likeliest searches cadence and jitter; the guess is wrong by less than a step in all. The best come first.
func (c chain) likeliest() []try {
	var list []try
	width := 1.2 / max(c.total, 1)
	for _, j := range jitters {
		for k := -5; k <= 5; k++ {
			g := c.guess + width*float64(k)/5
			list = append(list, try{g, j, c.forward(g, j, nil)})
		}
	}
	slices.SortStableFunc(list, func(a, b try) int { return cmp.Compare(b.weight, a.weight) })
	list = list[:mostTries]
	var sum float64
	best := list[0].weight
	for i := range list {
		list[i].weight = math.Exp(list[i].weight - best)
		sum += list[i].weight
	}
	for i := range list {
		list[i].weight /= sum
	}
	return list
}

// kernels holds the chances to move by so many bins, for each kind of step met.
type kernels struct {
	cadence, jitter float64
	known           map[[2]float64][]float64
}

func (k *kernels) of(step, passed float64) []float64 {
	key := [2]float64{step, passed}
	if p, ok := k.known[key]; ok {
		return p
	}
	p := make([]float64, 2*stampBins)
	shift := passed*k.cadence - step
	width := k.jitter * math.Sqrt(passed) * math.Sqrt2
	last := math.Erf((-1 + 0.5/stampBins - shift - 1.0/stampBins) / width)
	for d := range p {
		next := math.Erf((float64(d-stampBins)/stampBins + 0.5/stampBins - shift) / width)
		p[d], last = (next-last)/2, next
	}
	if len(k.known) < 256 {
		k.known[key] = p
	}
	return p
}

// forward is the log likelihood of a cadence and a jitter; it keeps the filtered chances in keep if there is one.
func (c chain) forward(cadence, jitter float64, keep [][]float64) (loglike float64) {
	ks := kernels{cadence, jitter, map[[2]float64][]float64{}}
	now, next := make([]float64, stampBins), make([]float64, stampBins)
	for i := range c.step {
		if i == 0 || c.passed[i] == 0 {
			for b := range next {
				next[b] = 1.0 / stampBins
			}
		} else {
			loglike += math.Log(advance(next, now, ks.of(c.step[i], c.passed[i])))
		}
		now, next = next, now
		if keep != nil {
			keep[i] = append([]float64(nil), now...)
		}
	}
	return loglike
}

// advance carries chances one picture on and returns how likely that was.
func advance(next, now, p []float64) (sum float64) {
	for b := range next {
		next[b] = 1e-9 // a stamp that fits nothing must not end the chain
		for a, v := range now {
			next[b] += v * p[b-a+stampBins]
		}
		sum += next[b]
	}
	scale(next, 1/sum)
	return sum
}

// smooth is each e's mean and standard deviation, given all the stamps, in steps.
func (c chain) smooth(cadence, jitter float64) (mean, sd []float64) {
	n := len(c.step)
	mean, sd = make([]float64, n), make([]float64, n)
	filtered := make([][]float64, n)
	c.forward(cadence, jitter, filtered)
	ks := kernels{cadence, jitter, map[[2]float64][]float64{}}
	later := make([]float64, stampBins)
	for i := n - 1; i >= 0; i-- {
		if i == n-1 || c.passed[i+1] == 0 {
			for b := range later {
				later[b] = 1
			}
		} else {
			later = retreat(later, ks.of(c.step[i+1], c.passed[i+1]))
		}
		mean[i], sd[i] = momentsOf(filtered[i], later)
	}
	return mean, sd
}

func retreat(later, p []float64) []float64 {
	out := make([]float64, stampBins)
	var sum float64
	for a := range out {
		out[a] = 1e-9
		for b, v := range later {
			out[a] += v * p[b-a+stampBins]
		}
		sum += out[a]
	}
	scale(out, stampBins/sum)
	return out
}

// momentsOf a product of chances over the bins, the bins' own width in the deviation.
func momentsOf(a, b []float64) (mean, sd float64) {
	var sum, first, second float64
	for k := range a {
		p, e := a[k]*b[k], (float64(k)+0.5)/stampBins
		sum, first, second = sum+p, first+p*e, second+p*e*e
	}
	mean = first / sum
	return mean, math.Sqrt(max(second/sum-mean*mean, 0) + 1.0/(12*stampBins*stampBins))
}

// shows is whether a wave of frequency f, amplitude arcseconds, may be no more than
// what is left of the stamps' sawtooth: its frequency is one of the sawtooth's first three, as the cadence
// shows them, and it is no larger than the sawtooth's term shrunk to what could not be taken back.
func (s stamps) shows(f, amplitude, within, step, rate float64) bool {
	if len(s.sigma) == 0 || s.cadence <= 0 {
		return false
	}
	var sum float64
	for _, v := range s.sigma {
		sum += v * v
	}
	left := math.Sqrt(sum/float64(len(s.sigma))) / (step / math.Sqrt(12))
	turns := s.cadence / step
	for m := 1.0; m <= 3; m++ {
		beat := math.Abs(m*turns-math.Round(m*turns)) / s.cadence
		term := rate * step / (math.Pi * m) * min(1, 1.5*left)
		if math.Abs(f-beat) < within && amplitude < term {
			return true
		}
	}
	return false
}
