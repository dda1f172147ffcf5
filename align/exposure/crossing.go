package exposure

import (
	"math"
	"slices"
)

// # How finely lengths are tried
//
// Up to a quarter of the shortest wave of the wobble a path is a parabola to a few percent, and the variance of a parabola over a
// window about its middle only grows with the window (the ends lie farther from the mean than the root of the variance).
// There, and everywhere without a wobble, what passes at a length passes at every shorter one, and the length may be doubled.
//
// Beyond, the variance of the path over a length T goes up and down with T. In its closed form (wobble.go) a harmonic of order k
// enters as sines and cosines of up to kνT, ν = 2π/P, so that no hump of it is shorter than P/k; [perHump] lengths are tried in that, which
// miss the top of a hump by less than 1 − cos(π/16), 2 % of its height. The humps fade: of a wave run through n times the
// variance still changes by 1/2πn, and its correlation with the drift is at most √6/πn. After [fading] waves both are under 1.3 %, which at the
// tolerance is 0.3 % of the elongation, and that harmonic no longer asks for steps. What is left grows evenly.
const (
	perHump  = 16
	fading   = 64
	evenly   = 12 // steps to e times the length, where nothing wobbles any more
	calmWave = 4  // part of the shortest wave
)

// calm is up to where longer means longer drawn out.
func (t *trial) calm() float64 {
	if t.fastest == 0 {
		return math.Inf(1)
	}
	return t.shortest / t.fastest / calmWave
}

// next is the length to try after one.
func (t *trial) next(lengthS float64) float64 {
	calm := t.calm()
	if 2*lengthS <= calm {
		return 2 * lengthS
	}
	if lengthS < calm {
		return calm
	}
	step := lengthS / evenly
	for _, s := range t.p.form {
		if wave := t.shortest / s.order; lengthS < fading*wave {
			step = math.Min(step, wave/perHump)
		}
	}
	return lengthS + step
}

// longest is the longest exposure up to which every one passes; 0 where none does.
func (t *trial) longest() float64 { return t.passesUntil(t.passes) }

func (t *trial) passesUntil(passes func(lengthS float64) bool) float64 {
	if !passes(ShortestS) {
		return 0
	}
	return t.turn(ShortestS, t.p.end(), passes)
}

// turn is where lengths that pass, from one on, end: at an end where they all do.
func (t *trial) turn(fromS, endS float64, passes func(lengthS float64) bool) float64 {
	for low := fromS; low < endS; {
		high := math.Min(t.next(low), endS)
		if !passes(high) {
			return between(low, high, t.grain.settled, passes)
		}
		low = high
	}
	return endS
}

// between halves the way from a length that passes to one that does not, until it is settled to a share of itself.
func between(low, high, settled float64, passes func(lengthS float64) bool) float64 {
	for high-low > settled*low {
		if mid := (low + high) / 2; passes(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// spread is the range of the longest exposure for the mount as it may be: 16th to 84th percentile of the mountings drawn.
func (t *trial) spread() (low, high float64) {
	list, roughly := make([]float64, len(t.mounts)), *t
	roughly.grain.settled = rough.settled
	t = &roughly
	for i := range t.mounts {
		list[i] = t.passesUntil(func(s float64) bool { return t.share(&t.mounts[i], s) >= t.p.Share-shareSlack })
	}
	slices.Sort(list)
	return list[int(0.16*float64(len(list)))], list[int(0.84*float64(len(list)))]
}
