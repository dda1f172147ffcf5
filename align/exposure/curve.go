package exposure

import (
	"cmp"
	"math"
	"slices"

	"trueturn/ephem/say"
)

// Point is one exposure of the curve.
type Point struct {
	ExposureS  float64 `json:"exposure_s"`
	TrailPx    float64 `json:"trail_px"`    // straight trail as long as the star at the worst place, not exceeded by the share asked for
	Elongation float64 `json:"elongation"`  // same, of the star as it is: less where it is blurred across as well
	ShareRound float64 `json:"share_round"` // of the exposures that stay round everywhere in the picture
}

// point is one exposure of the curve.
func (t *trial) point(lengthS float64) Point {
	own := sigmaOf(t.p.FWHM) * sigmaOf(t.p.FWHM)
	n := len(t.mounts) * len(t.mounts[0].phases)
	variances, flats, sum := make([]float64, 0, n), make([]float64, 0, n), 0.0
	for i := range t.mounts {
		sum += t.share(&t.mounts[i], lengthS)
		for k, w := range t.moments {
			variances = append(variances, t.bound-t.margins[k])
			flats = append(flats, flattest(t.places, w, own))
		}
	}
	at := max(min(int(math.Ceil(t.p.Share*float64(len(flats)))), len(flats))-1, 0)
	slices.Sort(variances)
	slices.Sort(flats)
	trail := math.Sqrt(12 * math.Max(0, variances[at]))
	return Point{lengthS, trail, elongationOf(flats[at]), sum / float64(len(t.mounts))}
}

// flattest is the largest flatness over places.
func flattest(places []stretch, w wobbling, own float64) (most float64) {
	for i := range places {
		xx, xy, yy := places[i].covariance(w)
		if f := flatness(xx, xy, yy, own); f > most {
			most = f
		}
	}
	return most
}

// worst names the place where stars trail most at a length, in the mean over mountings and phases.
func (t *trial) worst(lengthS float64) say.Key {
	names := placeNames[len(placeNames)-len(t.mounts[0].courses):]
	sum := make([]float64, len(names))
	for i := range t.mounts {
		t.lay(&t.mounts[i], lengthS)
		for _, w := range t.moments {
			for k := range t.places {
				variance, _ := longest(t.places[k:k+1], w)
				sum[k] += variance
			}
		}
	}
	best := len(sum) - 1 // the middle, unless another place is worse by more than rounding
	for k, s := range sum {
		if s > sum[best]*(1+1e-6) {
			best = k
		}
	}
	return names[best]
}

// lengths of the curve, seconds: those people set.
var lengths = []float64{0.1, 0.2, 0.5, 1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 75, 90, 120, 150, 180, 240, 300, 400, 500, 600, 900, 1200, 1800, 2700, 3600}

// The curve goes from a part of the longest exposure to a multiple of it, and at least a second.
const curveBelow, curveAbove = 12, 6

// curveApart: lengths nearer to the longest exposure than this share of it are left to it.
const curveApart = 0.03

// draw fills the curve: at lengths people set, and at the ends of what passes, beyond the first one as well.
func (f *Forecast) draw(t *trial) {
	end := math.Min(math.Max(curveAbove*f.LongestS, 1), LongestS)
	for _, s := range lengths {
		if s >= f.LongestS/curveBelow && s <= end && !(math.Abs(s-f.LongestS) < curveApart*f.LongestS) {
			f.Curve = append(f.Curve, t.point(s))
		}
	}
	if f.LongestS >= ShortestS {
		f.Curve = append(f.Curve, t.point(f.LongestS))
	}
	if f.again(t, math.Min(end, t.p.end())); f.AgainS > 0 {
		f.Curve = append(f.Curve, t.point((f.LongestS+f.AgainS)/2), t.point(f.AgainS), t.point(f.AgainToS))
	}
	slices.SortFunc(f.Curve, func(a, b Point) int { return cmp.Compare(a.ExposureS, b.ExposureS) })
	f.Curve = slices.CompactFunc(f.Curve, func(a, b Point) bool { return a.ExposureS == b.ExposureS })
}

// again finds longer exposures that pass again, the gear having gone to and fro.
func (f *Forecast) again(t *trial, end float64) {
	if t.fastest == 0 || f.LongestS == 0 || f.LongestS >= end {
		return
	}
	from := t.turn(f.LongestS*(1+2*t.grain.settled), end, func(s float64) bool { return !t.passes(s) })
	if from >= end {
		return
	}
	f.AgainS = from * (1 + 2*t.grain.settled) // the first that passes
	f.AgainToS = t.turn(f.AgainS, end, t.passes)
}
