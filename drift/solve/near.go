package solve

import (
	"math"
	"slices"
)

// breathing is how far focus may change the scale from picture to picture, relative
// (design: 0.05 % is usual; twice that is allowed as one standard deviation).
const breathing = 1e-3

// solveNear tries where the neighbours suggest the picture looks. It needs only
// three stars, since scale and lens are known and few places come into question.
func (sc *scene) solveNear(h Hint) (Solution, bool) {
	if sc.bright < 3 {
		return Solution{}, false
	}
	for _, p := range h.Near {
		reach := max(0.02*sc.half, p.Lens.FocalPx*math.Tan(min(h.NearWithin.Rad(), 0.5)))
		if sol, ok := sc.accepted(p, reach); ok {
			return sol, true
		}
	}
	return Solution{}, false
}

// accepted shifts a neighbour's pose onto the picture's stars and judges it.
func (sc *scene) accepted(p Pose, reach float64) (Solution, bool) {
	held := *sc
	sc = &held
	sc.focalPx, sc.focalSigma = p.Lens.FocalPx, breathing
	p, ok := sc.shifted(p, reach)
	if !ok {
		return Solution{}, false
	}
	if sc.bright >= minStars {
		if wide, ok := sc.refine(p); ok && math.Abs(math.Log(wide.Lens.FocalPx/p.Lens.FocalPx)) < 0.01 {
			p = wide
		}
	}
	// So many independent places the shift could have chosen.
	trials := 2*math.Log(max(1, reach/2)) + 2
	return sc.accept(p, falseMatch, func(Pose, int, float64) float64 { return trials })
}

// shifted finds the displacement, within reach pixels, that brings most expected
// stars onto spots, and turns the pose by it. Scale and distortion stay.
func (sc *scene) shifted(p Pose, reach float64) (Pose, bool) {
	wide := p
	exp := wide.expectedStars(nil, max(10, min(60, 2*sc.bright)))
	spots := sc.spots[:min(sc.bright, 60)]
	dx, dy, votes := vote(exp, spots, reach)
	if votes < 3 {
		return p, false
	}
	var ss []Sighting
	used := make(map[int]bool)
	for _, e := range exp {
		i, _ := sc.grid.nearest(e.x+dx, e.y+dy, 4)
		if i >= 0 && !used[i] {
			used[i] = true
			s := sc.sighting(i, e.cat)
			s.VarX, s.VarY, s.CovXY = 1, 1, 0
			ss = append(ss, s)
		}
	}
	if len(ss) < 3 {
		return p, false
	}
	return fitter{unknowns: turnZ + 1, robust: true, iterations: 6}.fit(p, ss)
}

// vote is the displacement most pairs of expected star and spot agree on within
// three pixels.
func vote(exp []expected, spots []spot, reach float64) (dx, dy float64, votes int) {
	type shift struct{ x, y float64 }
	var all []shift
	for _, e := range exp {
		for _, s := range spots {
			if d := (shift{s.x - e.x, s.y - e.y}); math.Hypot(d.x, d.y) <= reach {
				all = append(all, d)
			}
		}
	}
	slices.SortFunc(all, func(a, b shift) int {
		if a.x < b.x {
			return -1
		}
		return 1
	})
	const tol = 3
	for i, a := range all {
		n := 0
		var sx, sy float64
		for j := i; j < len(all) && all[j].x <= a.x+2*tol; j++ {
			if math.Abs(all[j].y-a.y) <= tol {
				n++
				sx += all[j].x
				sy += all[j].y
			}
		}
		if n > votes {
			votes, dx, dy = n, sx/float64(n), sy/float64(n)
		}
	}
	return dx, dy, votes
}
