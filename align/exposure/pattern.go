package exposure

import (
	"math"
	"slices"

	"trueturn/drift/posdef"
)

// # The model of the pattern over a picture
//
// While the shutter is open the sky turns in the camera by a small w (radians, about the camera's x, y and z): whatever
// mount, axis and gear do, it is nothing else. A star at direction d is drawn out along V(d) = ∂P/∂w · w, and a lens may
// draw stars out from the middle, growing with the distance ρ from it. So for every star
//
//	E = (V_x²−V_y², 2V_xV_y)/12 + (c₁ρ² + c₂ρ⁴)(cos 2φ, sin 2φ) + noise
//
// with w of the picture and c of the lens, shared by all its pictures. w has a sign nobody sees. The sum made least is Σ |residual|²/σ²,
// residuals beyond three σ counting linearly (Huber), by Gauss-Newton steps damped after Levenberg, from several
// starts: all one direction, all turning, and between. A turning about the middle gives −w_z²ρ²/12 times the lens's own
// pattern: stars drawn out along circles turn, stars drawn out along radii are the lens.

// pattern is what is found in one picture.
type pattern struct {
	stars   []oblong
	w       [3]float64
	chi2    float64
	turning float64 // chi² won by w_z
	swelled float64 // factor on the stars' σ that makes the scatter what it is, ≥ 1
}

const (
	huber = 3
	// clearly is the chi² for one more freedom that noise alone gives once in a million.
	clearly = 24
)

// fit finds the turn of a picture under a lens.
func (p *pattern) fit(lens [2]float64) {
	starts := p.starts(lens)
	p.swell(starts[0], lens)
	best := math.Inf(1)
	for _, s := range starts {
		if w, chi2 := p.descend(s, lens, true); chi2 < best {
			best, p.w = chi2, w
		}
	}
	p.chi2 = best
	flat, level := p.descend([3]float64{starts[0][0], starts[0][1], 0}, lens, false)
	p.turning = level - best
	if p.turning < clearly {
		p.w, p.chi2 = flat, level
	}
}

// swell sets the scatter of the stars about a first, smooth pattern.
func (p *pattern) swell(start [3]float64, lens [2]float64) {
	p.swelled = 1
	w, _ := p.descend(start, lens, true)
	var list []float64
	for i := range p.stars {
		o := &p.stars[i]
		r := o.e.minus(o.drawn(w)).minus(o.radial(lens)).length() / o.sigma
		list = append(list, r*r)
	}
	if len(list) > 5 {
		const median = 1.386 // of chi² with two degrees of freedom: 2 ln 2
		p.swelled = math.Max(1, math.Sqrt(medianOf(list)/median))
	}
}

func medianOf(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	s := slices.Clone(list)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// mean of E over the stars, weighted.
func (p *pattern) mean() (m vec) {
	weight := 0.0
	for i := range p.stars {
		o := &p.stars[i]
		k := 1 / (o.sigma * o.sigma)
		m, weight = m.plus(o.e.times(k)), weight+k
	}
	return m.times(1 / weight)
}

// starts: the mean direction alone, turning alone, and half of both either way.
func (p *pattern) starts(lens [2]float64) [][3]float64 {
	var mean vec
	var size, weight, reach, sweep float64
	for i := range p.stars {
		o := &p.stars[i]
		e := o.e.minus(o.radial(lens))
		k := 1 / (o.sigma * o.sigma)
		mean, size, weight = mean.plus(e.times(k)), size+k*e.length(), weight+k
		turn := o.sweeps[2].length()
		reach += k * turn * turn
		sweep += k * o.sweeps[0].length()
	}
	mean, size, reach, sweep = mean.times(1/weight), size/weight, reach/weight, sweep/weight
	length, angle := math.Sqrt(12*mean.length()), math.Atan2(mean.y, mean.x)/2
	sn, cs := math.Sincos(angle)
	wx, wy := -length*sn/sweep, length*cs/sweep // a turn about y moves stars right, about x up
	wz := 0.0
	if reach > 0 {
		wz = math.Sqrt(12 * size / reach)
	}
	return [][3]float64{{wx, wy, 0}, {0, 0, wz}, {wx, wy, wz / 2}, {wx, wy, -wz / 2}}
}

// descend goes down from a start; turning frees w_z.
func (p *pattern) descend(w [3]float64, lens [2]float64, turning bool) ([3]float64, float64) {
	damp := 1e-3
	now := p.cost(w, lens)
	for range 40 {
		next, ok := p.step(w, lens, damp, turning)
		if !ok {
			break
		}
		then := p.cost(next, lens)
		if then > now {
			if damp *= 10; damp > 1e8 {
				break
			}
			continue
		}
		settled := now-then < 1e-6*(1+now)
		w, now, damp = next, then, math.Max(damp/10, 1e-9)
		if settled {
			break
		}
	}
	return w, now
}

func (p *pattern) cost(w [3]float64, lens [2]float64) (sum float64) {
	for i := range p.stars {
		o := &p.stars[i]
		r := o.e.minus(o.drawn(w)).minus(o.radial(lens)).length() / (o.sigma * p.swelled)
		sum += huberCost(r)
	}
	return sum
}

// huberCost of a misfit in σ.
func huberCost(r float64) float64 {
	if r > huber {
		return huber * (2*r - huber)
	}
	return r * r
}

// weight of a star that is missed by res.
func (p *pattern) weight(o *oblong, res vec) float64 {
	k := 1 / (o.sigma * o.sigma * p.swelled * p.swelled)
	if r := res.length() * math.Sqrt(k); r > huber {
		k *= huber / r
	}
	return k
}

// equations are normal equations of three unknowns at most: the lower half of the matrix, and the right-hand side.
type equations struct {
	normal [3][3]float64
	right  [3]float64
}

// add takes in a star that is missed by res and moves by d for each unknown.
func (e *equations) add(d []vec, res vec, weight float64) {
	for i := range d {
		e.right[i] += weight * d[i].dot(res)
		for j := range i + 1 {
			e.normal[i][j] += weight * d[i].dot(d[j])
		}
	}
}

func (p *pattern) step(w [3]float64, lens [2]float64, damp float64, turning bool) ([3]float64, bool) {
	n := 3
	if !turning {
		n = 2
	}
	var eq equations
	for s := range p.stars {
		o := &p.stars[s]
		v := o.swept(w)
		var d [3]vec
		for i, s := range o.sweeps {
			d[i] = vec{v.x*s.x - v.y*s.y, v.x*s.y + v.y*s.x}.times(1. / 6)
		}
		res := o.e.minus(o.drawn(w)).minus(o.radial(lens))
		eq.add(d[:n], res, p.weight(o, res))
	}
	return eq.move(w, damp, n)
}

// move solves the equations, damped, and moves w.
func (e *equations) move(w [3]float64, damp float64, n int) ([3]float64, bool) {
	trace := e.normal[0][0] + e.normal[1][1] + e.normal[2][2]
	for i := range n {
		e.normal[i][i] = e.normal[i][i]*(1+damp) + 1e-9*trace
	}
	if !finite(trace) || trace == 0 || !posdef.Factor(e.normal[:n], 0) {
		return w, false
	}
	for i, by := range posdef.Solve(e.normal[:n], e.right) {
		w[i] += by
	}
	return w, true
}

// lensOf fits what a lens adds to what the turns leave over, over all its pictures; zero unless it is clear and draws
// outward. Stars drawn out along circles the same way in all pictures by a lens are taken for turning: the two look alike,
// unless the turns are known.
func lensOf(list []*pattern, known bool) (c [2]float64) {
	var a11, a12, a22, b1, b2 float64
	for _, p := range list {
		for i := range p.stars {
			o := &p.stars[i]
			res := o.e.minus(o.drawn(p.w))
			k := 1 / (o.sigma * o.sigma * p.swelled * p.swelled)
			f := o.away
			if r := res.minus(f.times(c[0])).length() * math.Sqrt(k); r > 3*huber {
				k *= 3 * huber / r
			}
			ff, fr, r2 := f.dot(f), f.dot(res), o.lit*o.lit
			a11, a12, a22 = a11+k*ff, a12+k*ff*r2, a22+k*ff*r2*r2
			b1, b2 = b1+k*fr, b2+k*fr*r2
		}
	}
	det := a11*a22 - a12*a12
	if a11 == 0 || det < 1e-9*a11*a22 {
		return c
	}
	c = [2]float64{(b1*a22 - b2*a12) / det, (a11*b2 - a12*b1) / det}
	if won := c[0]*b1 + c[1]*b2; won < clearly || c[0]+c[1] <= 0 && !known {
		return [2]float64{}
	}
	return c
}

// patterns fits all pictures of one lens, turns and lens in turn.
func patterns(list []*pattern) (lens [2]float64) {
	for range 4 {
		for _, p := range list {
			p.fit(lens)
		}
		next := lensOf(list, false)
		same := math.Abs(next[0]-lens[0])+math.Abs(next[1]-lens[1]) < 1e-3*(math.Abs(next[0])+math.Abs(next[1]))
		lens = next
		if same || lens == [2]float64{} {
			break
		}
	}
	return lens
}
