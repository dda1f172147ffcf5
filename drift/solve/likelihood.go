package solve

import "math"

// falseMatch is the chance of a false solution the likelihood test leaves, by
// its own model, for one picture.
const falseMatch = 1e-9

// freedom is what it costs, in nats, that pose p was sought over the whole sky, all rolls and all focal lengths: the
// logarithm of how many poses could be told apart, prior volume over that of the best fit,
//
//	8π² · ln 18 / ((2π)² · (σ/f√n)² · (σ/R√n)²)
//
// for n stars with errors of σ pixels, f the focal length and R the stars' usual distance from the middle: two turns across the
// view are known to σ/f√n, the turn about the line of sight and the logarithm of the focal length (which may range
// over a factor of 18) to σ/R√n. Bending of the lens, held by its priors, adds about bendingNats. Five chance
// agreements with as many numbers free to fit are then no proof, and were with less.
func (sc *scene) freedom(p Pose, n int, sigma float64) float64 {
	const bendingNats, focalRange = 6.0, 2.89
	root := math.Sqrt(float64(max(n, 1))) / sigma
	r := 0.5 * sc.half
	return math.Log(2*focalRange) + 2*math.Log(p.Lens.FocalPx*root) + 2*math.Log(r*root) + bendingNats
}

// likelihood is the logarithm of how much better pose p explains where the
// picture's bright spots stand than chance does.
//
// Each spot is either one of the N expected stars (with a normal error of sigma
// pixels) or something else anywhere in the picture's area A. With a share d of
// something else, a spot at distance r from its star counts
//
//	ln( d + (1−d)·A/(2πσ²N)·exp(−r²/2σ²) )
//
// and d is what suits the picture best of a few values, so that hot pixels, trees
// and satellites cost little, while chance agreement gains nothing.
func (sc *scene) likelihood(p Pose, sigma float64) float64 {
	spots := sc.spots[:sc.bright]
	exp := p.expectedStars(nil, max(8, 3*len(spots)/2))
	if len(exp) == 0 {
		return math.Inf(-1)
	}
	gain := float64(sc.width) * float64(sc.height) / (2 * math.Pi * sigma * sigma * float64(len(exp)))
	near := sc.exclusive(exp, 5*sigma)
	best := math.Inf(-1)
	shares := [...]float64{0.1, 0.3, 0.5, 0.7, 0.85, 0.95}
	for _, d := range shares {
		sum := float64(len(spots)-len(near)) * math.Log(d)
		for _, r := range near {
			sum += math.Log(d + (1-d)*gain*math.Exp(-r*r/(2*sigma*sigma)))
		}
		best = max(best, sum)
	}
	return best - math.Log(float64(len(shares)))
}

// exclusive lists the distances of the spots that are nearest to an expected
// star, each star and each spot once, in the order of the stars: sums depend on it.
func (sc *scene) exclusive(exp []expected, tol float64) []float64 {
	near := make([]float64, 0, len(exp))
	at := make(map[int]int, len(exp)) // of each spot: where in the list it stands
	for _, e := range exp {
		i, d := sc.grid.nearest(e.x, e.y, tol)
		if i < 0 {
			continue
		}
		if k, used := at[i]; used {
			near[k] = min(near[k], d)
			continue
		}
		at[i] = len(near)
		near = append(near, d)
	}
	return near
}
