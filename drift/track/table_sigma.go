package track

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// # Errors a table does not state
//
// A mount moves evenly; what a direction jumps by is error of measurement. Of three neighbours in time the middle
// one's declination is compared with the line through the other two,
//
//	d = δ₁ − (a δ₀ + b δ₂),  a = (t₂−t₁)/(t₂−t₀), b = 1 − a,  variance σ²(1 + a² + b²)
//
// so that d/√(1+a²+b²) scatters by σ however unevenly the pictures come. Declination is taken, not right ascension: in the
// latter the gear's wobble is as large as the error sought, and the axis does not depend on it. An axis 2° off bends
// the declination by less than 0.2″ in triples of pictures a minute apart. Triples across a swing by hand
// or a long pause, where the mount did not move evenly, are left out. σ is the median absolute value × 1.4826,
// then the root mean square of what lies within three of these, over that of a normal deviate so cut (0.9865). It is no
// less than the written digits' own error, step/√12, the step being that of the longest number in the table: many programs
// leave out zeros at the end. Of rolls the same, the differences taken around the circle.
const (
	madNormal   = 1.4826
	cutSigmas   = 3
	cutNormal   = 0.9865
	evenTurn    = 2 * ephem.Degree // of right ascension between neighbours: more is a swing, or a long pause
	manyTriples = 8
)

// What is taken where too few triples tell: places solved from a picture are good to some seconds of arc and minutes of roll
// (common practice, no source).
const (
	usualSigma     = 10 * ephem.Arcsec
	usualRollSigma = 0.05 * ephem.Degree
)

// WithErrors is the table with an error for every direction and roll, and notes on those it did not state.
func (t Table) WithErrors() Table {
	if len(t.Directions) == 0 {
		return t
	}
	t.Directions = slices.Clone(t.Directions)
	t.Notes = slices.Clone(t.Notes)
	t.fillSigma()
	t.fillRollSigma()
	return t
}

func (t *Table) fillSigma() {
	missing, step := false, unit.Angle(math.Pi)
	for _, d := range t.Directions {
		missing = missing || d.Sigma == 0
		step = min(step, d.Resolution)
	}
	least := unit.Angle(step.Rad() / math.Sqrt(12))
	if missing {
		sigma, told := t.scatter(func(d TableDirection) (float64, bool) { return d.Dec.Rad(), true })
		note := say.Of("error of directions by their scatter", say.Arcsec{Value: max(sigma, least)})
		if !told {
			sigma = max(sigma, usualSigma)
			note = say.Of("error of directions taken as usual", say.Arcsec{Value: max(sigma, least)})
		}
		t.Notes = append(t.Notes, note)
		for i := range t.Directions {
			if d := &t.Directions[i]; d.Sigma == 0 {
				d.Sigma = sigma
			}
		}
	}
	for i := range t.Directions {
		t.Directions[i].Sigma = max(t.Directions[i].Sigma, least, leastSigma)
	}
}

// leastSigma keeps a table without noise reckonable.
const leastSigma = 1e-3 * ephem.Arcsec

func (t *Table) fillRollSigma() {
	missing, some, step := false, false, unit.Angle(math.Pi)
	for _, d := range t.Directions {
		missing = missing || d.HasRoll && d.RollSigma == 0
		if d.HasRoll {
			some, step = true, min(step, d.RollStep)
		}
	}
	if !some {
		t.Notes = append(t.Notes, say.Of("the table does not say which way is up"))
	}
	least := unit.Angle(step.Rad() / math.Sqrt(12))
	if missing {
		sigma, told := t.scatter(func(d TableDirection) (float64, bool) { return d.Roll.Rad(), d.HasRoll })
		note := say.Of("error of rolls by their scatter", max(sigma, least))
		if !told {
			sigma = max(sigma, usualRollSigma)
			note = say.Of("error of rolls taken as usual", max(sigma, least))
		}
		t.Notes = append(t.Notes, note)
		for i := range t.Directions {
			if d := &t.Directions[i]; d.HasRoll && d.RollSigma == 0 {
				d.RollSigma = sigma
			}
		}
	}
	for i := range t.Directions {
		if d := &t.Directions[i]; d.HasRoll {
			d.RollSigma = max(d.RollSigma, least, leastSigma)
		}
	}
}

// scatter is the standard error of a value by its second differences, and whether there are enough of them to tell.
func (t *Table) scatter(value func(TableDirection) (float64, bool)) (sigma unit.Angle, told bool) {
	var list []float64
	for i := 1; i+1 < len(t.Directions); i++ {
		if d, ok := second(t.Directions[i-1:i+2], value); ok {
			list = append(list, math.Abs(d))
		}
	}
	if len(list) == 0 {
		return 0, false
	}
	slices.Sort(list)
	most := cutSigmas * madNormal * list[len(list)/2]
	sum, n := 0.0, 0
	for _, d := range list {
		if d <= most {
			sum += d * d
			n++
		}
	}
	return unit.Angle(math.Sqrt(sum/float64(n)) / cutNormal), len(list) >= manyTriples
}

// second is the second difference of three neighbours, of one deviate's scatter.
func second(three []TableDirection, value func(TableDirection) (float64, bool)) (float64, bool) {
	var v [3]float64
	for i, d := range three {
		x, ok := value(d)
		if !ok || i > 0 && math.Abs(math.Remainder(d.RA.Rad()-three[i-1].RA.Rad(), 2*math.Pi)) > evenTurn.Rad() {
			return 0, false
		}
		v[i] = x
	}
	v[0] = v[1] + math.Remainder(v[0]-v[1], 2*math.Pi)
	v[2] = v[1] + math.Remainder(v[2]-v[1], 2*math.Pi)
	t0, t1, t2 := three[0].Clock.Mid(), three[1].Clock.Mid(), three[2].Clock.Mid()
	a := t2.Sub(t1).Seconds() / t2.Sub(t0).Seconds()
	b := 1 - a
	return (v[1] - a*v[0] - b*v[2]) / math.Sqrt(1+a*a+b*b), true
}
