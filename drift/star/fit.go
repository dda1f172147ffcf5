package star

import (
	"math"

	"trueturn/drift/posdef"
)

// noiseModel is the variance of a pixel holding the given light above the background:
//
//	n² + gain·light + (ripple·light)²
//
// n is the local noise, gain the photon-like part (light per photon), ripple what the profile cannot follow
// (an unround lens, compression, tone curve).
type noiseModel struct{ gain, ripple float64 }

func (m noiseModel) variance(n2, light float64) float64 {
	light = math.Max(light, 0)
	return n2 + m.gain*light + m.ripple*m.ripple*light*light
}

// sample is one pixel of a star's window: its place and its light above the background mesh.
type sample struct{ x, y, light float64 }

// window is what a fit sees.
type window struct {
	samples []sample
	n2      float64 // variance of the background
	noise   noiseModel
	prior   prior
}

// prior holds the shape near the picture's own, as loosely as the picture's bright stars differ: a faint star then
// cannot run off to the width of the window. Bright stars do not feel it.
type prior struct {
	mean   [3]float64
	weight [3]float64 // 1/σ²; 0 = free
}

// fitted is the outcome of a fit.
type fitted struct {
	p      vector
	cov    [7]vector // covariance of the parameters
	chi2   float64   // weighted squared residuals
	dof    float64
	window *window
	kind   profile
}

// normal are the normal equations of a step: h = JᵀWJ, g = JᵀW(data − model).
type normal struct {
	h     [7]vector
	g     vector
	chi2  float64
	merit float64 // χ² + Σ ln v: what must not rise; without the logarithm a fat model would buy itself a small χ²
}

// step sums the normal equations at p. Weights are taken from the model at p too, but are not differentiated: the
// estimate is then the solution of Σ J(d−m)/v = 0, unbiased to first order whatever v is.
func (w *window) step(kind profile, p *vector) normal {
	var n normal
	var d, away vector
	round, isSpot := kind.(spot) // called by name, d stays on the stack
	plain := w.noise == noiseModel{}
	weight, product := 1/w.n2, 1.0
	for i := range w.samples {
		s := &w.samples[i]
		var v float64
		if isSpot {
			v = round.value(p, s.x, s.y, &d)
		} else {
			v = kind.value(p, s.x, s.y, &away)
			d = away
		}
		if !plain {
			weight = 1 / w.noise.variance(w.n2, v-p[pedestal])
			if product /= weight * w.n2; product > 1e200 {
				n.merit += math.Log(product)
				product = 1
			}
		}
		n.add(&d, weight, s.light-v)
	}
	n.merit += math.Log(product)
	w.lean(p, &n)
	n.merit += n.chi2
	return n
}

// add takes one pixel in: the derivatives there, its weight and its residual. Written out, because these few lines are a
// third of the time a picture takes.
func (n *normal) add(d *vector, weight, r float64) {
	n.chi2 += r * r * weight
	a, b, x, y, s, t, u := d[0], d[1], d[2], d[3], d[4], d[5], d[6]
	w := weight * a
	n.g[0] += w * r
	n.h[0][0] += w * a
	w = weight * b
	n.g[1] += w * r
	h := &n.h[1]
	h[0], h[1] = h[0]+w*a, h[1]+w*b
	w = weight * x
	n.g[2] += w * r
	h = &n.h[2]
	h[0], h[1], h[2] = h[0]+w*a, h[1]+w*b, h[2]+w*x
	w = weight * y
	n.g[3] += w * r
	h = &n.h[3]
	h[0], h[1], h[2], h[3] = h[0]+w*a, h[1]+w*b, h[2]+w*x, h[3]+w*y
	w = weight * s
	n.g[4] += w * r
	h = &n.h[4]
	h[0], h[1], h[2], h[3], h[4] = h[0]+w*a, h[1]+w*b, h[2]+w*x, h[3]+w*y, h[4]+w*s
	w = weight * t
	n.g[5] += w * r
	h = &n.h[5]
	h[0], h[1], h[2], h[3], h[4], h[5] = h[0]+w*a, h[1]+w*b, h[2]+w*x, h[3]+w*y, h[4]+w*s, h[5]+w*t
	w = weight * u
	n.g[6] += w * r
	h = &n.h[6]
	h[0], h[1], h[2], h[3] = h[0]+w*a, h[1]+w*b, h[2]+w*x, h[3]+w*y
	h[4], h[5], h[6] = h[4]+w*s, h[5]+w*t, h[6]+w*u
}

// lean adds the prior.
func (w *window) lean(p *vector, n *normal) {
	for i, k := range w.prior.weight {
		if k > 0 {
			r := w.prior.mean[i] - p[shape0+i]
			n.chi2 += k * r * r
			n.g[shape0+i] += k * r
			n.h[shape0+i][shape0+i] += k
		}
	}
}

// maxSteps bounds a fit; good ones need four to seven.
const maxSteps = 20

// fit is damped least squares (D. W. Marquardt, J. SIAM 11 (1963) 431) from p on. False: it found nothing a star can be. The
// loop is its own: one pass over the pixels, where the time goes, gives merit and equations at once.
func (w *window) fit(kind profile, p vector) (fitted, bool) {
	n := w.step(kind, &p)
	damp := 1e-3
	for range maxSteps {
		l := n.h
		for i := range l {
			l[i][i] *= 1 + damp
		}
		if !posdef.Factor(l[:], 0) {
			return fitted{}, false
		}
		move := posdef.Solve(l[:], n.g)
		next := p
		for i := range next {
			next[i] += move[i]
		}
		var m normal
		better := kind.sound(&next)
		if better {
			m = w.step(kind, &next)
			better = m.merit < n.merit+settled
		}
		if !better {
			if damp = math.Max(damp*10, 1e-2); damp > 1e8 {
				break
			}
			continue
		}
		change := math.Abs(m.merit - n.merit)
		p, n, damp = next, m, damp*0.1
		if math.Hypot(move[posX], move[posY]) < 1e-4 && change < settled {
			break
		}
	}
	return w.outcome(kind, p, n)
}

// settled is a change of merit that means nothing: a thirtieth of a standard error.
const settled = 1e-3

// outcome turns the last normal equations into errors.
func (w *window) outcome(kind profile, p vector, n normal) (fitted, bool) {
	l := n.h
	if !posdef.Factor(l[:], 0) || !(p[amplitude] > 0) {
		return fitted{}, false
	}
	f := fitted{p: p, chi2: n.chi2, dof: float64(len(w.samples) - len(p)), window: w, kind: kind}
	posdef.Inverse(l[:], f.cov[:])
	return f, f.dof > 0
}
