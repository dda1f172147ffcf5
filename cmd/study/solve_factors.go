package main

import "math/rand/v2"

// solvePlan is what one trial's field is like.
type solvePlan struct {
	width, height int
	diagonalDeg   float64
	stars         int     // true stars in the list
	hint          float64 // the focal length told over the true one; 0: none told
	k1            float64 // distortion in the corner, share
	axisOff       float64 // how far the optical axis lies off the middle, 1σ along each side, share of the width
	mirrored      bool
	lost          float64 // share of the stars a passing cloud takes, at random
	hidden        bool    // half of the picture shows landscape
	moon          bool    // a gradient from one corner drowns and blurs the stars there
	falseShare    float64 // share of the list that is no star
	noisePx       float64 // 1σ of the positions, each axis; where the Moon is not
	magNoise      float64 // 1σ of the magnitudes
}

// usualAxisOff is how far optical axes lie off the middle, as solvePlan counts it (common practice, no source).
const usualAxisOff = 0.003

// usualField is the field of which one thing at a time is changed.
func usualField(r *rand.Rand) solvePlan {
	return solvePlan{width: 4032, height: 3024, diagonalDeg: solveBetween(r, 8, 75), stars: 50, k1: solveBetween(r, -0.01, 0.01), axisOff: usualAxisOff,
		lost: 0.1, falseShare: 0.1, noisePx: 0.2, magNoise: 0.2}
}

func solveBetween(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// solveLevel is one value of a factor.
type solveLevel struct {
	name  string
	apply func(r *rand.Rand, p *solvePlan)
}

// solveFactor is one thing that may differ from field to field.
type solveFactor struct {
	name   string
	levels []solveLevel
}

// solveFixed makes levels of values that are set as they stand.
func solveFixed[T any](values []T, names []string, set func(p *solvePlan, v T)) []solveLevel {
	ls := make([]solveLevel, len(values))
	for i, v := range values {
		ls[i] = solveLevel{names[i], func(_ *rand.Rand, p *solvePlan) { set(p, v) }}
	}
	return ls
}

// solveFactors are all the factors with all their levels.
func solveFactors() []solveFactor {
	type span struct{ lo, hi float64 }
	var fields []solveLevel
	for i, s := range []span{{5, 8}, {8, 20}, {20, 45}, {45, 75}, {75, 90}} {
		name := []string{"5–8°", "8–20°", "20–45°", "45–75°", "75–90°"}[i]
		fields = append(fields, solveLevel{name, func(r *rand.Rand, p *solvePlan) { p.diagonalDeg = solveBetween(r, s.lo, s.hi) }})
	}
	hints := []solveLevel{
		{"none", func(_ *rand.Rand, p *solvePlan) { p.hint = 0 }},
		{"right to 20 %", func(r *rand.Rand, p *solvePlan) { p.hint = solveBetween(r, 1/1.2, 1.2) }},
		{"wrong by 2", func(r *rand.Rand, p *solvePlan) { p.hint = []float64{0.5, 2}[r.IntN(2)] }},
	}
	truth, words := []bool{false, true}, []string{"no", "yes"}
	size := func(p *solvePlan, v [2]int) { p.width, p.height = v[0], v[1] }
	return []solveFactor{
		{"field", fields},
		{"true stars", solveFixed([]int{8, 12, 20, 50, 150}, []string{"8", "12", "20", "50", "150"}, func(p *solvePlan, v int) { p.stars = v })},
		{"hint", hints},
		{"distortion", solveFixed([]float64{-0.10, -0.05, 0, 0.05, 0.10}, []string{"−10 %", "−5 %", "none", "+5 %", "+10 %"}, func(p *solvePlan, v float64) { p.k1 = v })},
		{"mirrored", solveFixed(truth, words, func(p *solvePlan, v bool) { p.mirrored = v })},
		{"lost to cloud", solveFixed([]float64{0, 0.1, 0.25, 0.4}, []string{"none", "10 %", "25 %", "40 %"}, func(p *solvePlan, v float64) { p.lost = v })},
		{"half landscape", solveFixed(truth, words, func(p *solvePlan, v bool) { p.hidden = v })},
		{"Moon in a corner", solveFixed(truth, words, func(p *solvePlan, v bool) { p.moon = v })},
		{"false spots", solveFixed([]float64{0, 0.1, 0.3, 0.5}, []string{"none", "10 %", "30 %", "50 %"}, func(p *solvePlan, v float64) { p.falseShare = v })},
		{"position noise", solveFixed([]float64{0.1, 0.3, 1}, []string{"0.1 px", "0.3 px", "1 px"}, func(p *solvePlan, v float64) { p.noisePx = v })},
		{"magnitudes off by", solveFixed([]float64{0.2, 0.5}, []string{"0.2", "0.5"}, func(p *solvePlan, v float64) { p.magNoise = v })},
		{"picture", solveFixed([][2]int{{1152, 864}, {4032, 3024}, {4000, 6000}}, []string{"1152 × 864", "4032 × 3024", "4000 × 6000"}, size)},
	}
}
