package wobble

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"trueturn/ephem/amiss"
)

// Kinds of bad input, for errors.Is.
var (
	ErrPoint  = errors.New("unusable point")
	ErrOption = errors.New("option out of range")
)

// mostPoints keeps the work within seconds.
const mostPoints = 20000

// check refuses what is no number.
func check(points []Point, o Options) error {
	bad := func(kind error, hint, format string, a ...any) error {
		return amiss.New(kind, fmt.Sprintf(format, a...), hint)
	}
	if len(points) > mostPoints {
		return bad(ErrPoint, "leave out every other one", "%d points are more than %d", len(points), mostPoints)
	}
	if !finite(o.PeriodS) || o.PeriodS < 0 {
		return bad(ErrOption, "give the gear's period in seconds, such as 480, or leave it out", "a period of %v s", o.PeriodS)
	}
	for i, p := range points {
		switch {
		case !finite(p.Angle.Rad()) || math.Abs(p.Angle.Rad()) > 1e6:
			return bad(ErrPoint, "leave the picture out", "point %d: an angle of %v rad", i, p.Angle.Rad())
		case !finite(p.Sigma.Rad()) || p.Sigma < 0 || p.Sigma > 1e6:
			return bad(ErrPoint, "an unknown error is 0", "point %d: an error of %v rad", i, p.Sigma.Rad())
		case p.Exposure < 0:
			return bad(ErrPoint, "an unknown exposure is 0", "point %d: an exposure of %v", i, p.Exposure)
		}
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// sample is a point in the units of the fit.
type sample struct {
	at       float64 // s from the first
	angle    float64 // arcseconds, less a line through the first stretch's ends so that no digits are lost
	sigma    float64 // arcseconds
	exposure float64 // s
	stretch  int     // 0, 1, …
}

// samplesOf sorts by time and renumbers the stretches; stretches of one point, which
// say nothing, stay.
func samplesOf(points []Point) []sample {
	order := make([]int, len(points))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return points[a].Time.Compare(points[b].Time) })
	numbers := map[int]int{}
	list := make([]sample, 0, len(points))
	usual := usualSigma(points)
	for _, i := range order {
		p := points[i]
		n, known := numbers[p.Stretch]
		if !known {
			n = len(numbers)
			numbers[p.Stretch] = n
		}
		s := sample{at: p.Time.Sub(points[order[0]].Time).Seconds(), angle: p.Angle.Sec(),
			sigma: p.Sigma.Sec(), exposure: p.Exposure.Seconds(), stretch: n}
		if s.sigma == 0 {
			s.sigma = usual
		}
		// A single point a thousand times better than the rest is a slip, and would rule alone.
		s.sigma = max(s.sigma, usual*1e-3, finestSigma)
		list = append(list, s)
	}
	return list
}

// finestSigma, arcseconds, is finer than any picture; a smaller error would only overflow.
const finestSigma = 1e-6

// usualSigma is the middle one of the known errors, 1″ where none is known: then only
// the scatter speaks.
func usualSigma(points []Point) float64 {
	var known []float64
	for _, p := range points {
		if p.Sigma > 0 {
			known = append(known, p.Sigma.Sec())
		}
	}
	if len(known) == 0 {
		return 1
	}
	slices.Sort(known)
	return known[len(known)/2]
}

// cadenceOf is the middle one of the steps in time within stretches, s; 0 where there is none.
func cadenceOf(list []sample) float64 {
	var steps []float64
	for i := 1; i < len(list); i++ {
		if d := list[i].at - list[i-1].at; d > 0 && list[i].stretch == list[i-1].stretch {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// gapSteps: what lies further apart than so many cadences is a gap, in which nothing was seen.
const gapSteps = 3

// seenOf is the time watched, s: spans of the stretches, gaps left out.
func seenOf(list []sample, cadence float64) (seen float64) {
	for i := 1; i < len(list); i++ {
		if list[i].stretch == list[i-1].stretch {
			seen += min(list[i].at-list[i-1].at, gapSteps*cadence)
		}
	}
	return seen
}
