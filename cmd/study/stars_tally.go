package main

import (
	"math"
	"slices"

	"trueturn/cmd/study/scene"
	"trueturn/drift/star"
)

// starTally sums up the stars of one kind and one signal-to-noise ratio.
type starTally struct {
	drawn, found, nearDrawn, nearFound, wild int

	bound2 []float64  // eᵀB⁻¹e of each star, B the bound: 2 in the mean at best
	pull2  float64    // sum of eᵀS⁻¹e, S as stated
	sum    [2]float64 // of errors along and across the direction
	square [2]float64
	phase  float64 // sum of e·sin 2πφ over both axes, φ the place within its pixel
	phase2 float64
	bound  float64 // sum of the bound's variance of one axis, px²
}

// starBeyond is how many stated errors make a place wild.
const starBeyond = 5

func (t *starTally) add(f starFound) {
	if f.truth.near {
		t.nearDrawn++
		if f.star != nil {
			t.nearFound++
		}
		return
	}
	t.drawn++
	if f.star == nil {
		return
	}
	t.found++
	dx, dy := f.star.X-f.truth.x, f.star.Y-f.truth.y
	b := f.truth.pose.bound[f.truth.level]
	t.bound2 = append(t.bound2, whitened(dx, dy, b))
	t.bound += (b.XX + b.YY) / 2
	pull := whitened(dx, dy, starStated(f.star))
	t.pull2 += pull
	if pull > starBeyond*starBeyond {
		t.wild++
	}
	s, c := math.Sincos(f.truth.pose.direction)
	for i, e := range [2]float64{dx*c + dy*s, dy*c - dx*s} {
		t.sum[i] += e
		t.square[i] += e * e
	}
	h := dx*math.Sin(2*math.Pi*f.truth.pose.x) + dy*math.Sin(2*math.Pi*f.truth.pose.y)
	t.phase += h
	t.phase2 += h * h
}

func starStated(s *star.Star) scene.Placing {
	return scene.Placing{XX: s.XErr * s.XErr, XY: s.XYCov, YY: s.YErr * s.YErr}
}

// whitened is eᵀC⁻¹e.
func whitened(dx, dy float64, c scene.Placing) float64 {
	return (c.YY*dx*dx - 2*c.XY*dx*dy + c.XX*dy*dy) / (c.XX*c.YY - c.XY*c.XY)
}

func (t *starTally) join(u *starTally) {
	t.drawn, t.found, t.wild = t.drawn+u.drawn, t.found+u.found, t.wild+u.wild
	t.nearDrawn, t.nearFound = t.nearDrawn+u.nearDrawn, t.nearFound+u.nearFound
	t.bound2 = append(t.bound2, u.bound2...)
	t.pull2, t.bound, t.phase, t.phase2 = t.pull2+u.pull2, t.bound+u.bound, t.phase+u.phase, t.phase2+u.phase2
	for i := range t.sum {
		t.sum[i] += u.sum[i]
		t.square[i] += u.square[i]
	}
}

// starFigure is a value with its standard error.
type starFigure struct{ v, err float64 }

// ratio is scatter over bound: the root mean square over all that were found, both axes, about the truth. Its error comes from
// how the squares themselves scatter, so that a few wild places widen it.
func (t *starTally) ratio() starFigure {
	n := float64(t.found)
	var sum, square float64
	for _, v := range t.bound2 {
		sum += v
		square += v * v
	}
	mean := sum / n
	r := math.Sqrt(mean / 2)
	return starFigure{r, math.Sqrt(math.Max(square/n-mean*mean, 0)/n) / mean * r / 2}
}

// core is the same by the median, which wild places do not move: half of all stars lie within 2 ln 2 of eᵀB⁻¹e.
func (t *starTally) core() float64 {
	if t.found == 0 {
		return math.NaN()
	}
	v := slices.Sorted(slices.Values(t.bound2))
	return math.Sqrt((v[(len(v)-1)/2] + v[len(v)/2]) / 2 / (2 * math.Ln2))
}

// stated is the stated error over the scatter, by the mean square of the pulls.
func (t *starTally) stated() starFigure {
	r := 1 / math.Sqrt(t.pull2/2/float64(t.found))
	return starFigure{r, r / (2 * math.Sqrt(float64(t.found)))}
}

// bias is the mean error along (0) or across (1) the direction, px.
func (t *starTally) bias(axis int) starFigure { return starMean(t.sum[axis], t.square[axis], t.found) }

// phaseBias is the amplitude of what the place within the pixel does: errors as a·sin 2πφ on each axis, px.
func (t *starTally) phaseBias() starFigure {
	return starMean(t.phase, t.phase2, t.found) // the means of a sin² on two axes make a
}

func starMean(sum, square float64, n int) starFigure {
	m := sum / float64(n)
	return starFigure{m, math.Sqrt(math.Max(square/float64(n)-m*m, 0) / float64(n))}
}

// best is the bound of one axis, px, as a root mean square.
func (t *starTally) best() float64 { return math.Sqrt(t.bound / float64(t.found)) }
