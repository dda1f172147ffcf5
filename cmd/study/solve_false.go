package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/soniakeys/unit"

	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// solveForged is a star list of a sky that is not there.
type solveForged struct {
	field star.Field
	hint  solve.Hint
	skies []solvePlot // what is true in it: either may be found
}

// solveForgery is a way to make one.
type solveForgery struct {
	name  string
	forge func(r *rand.Rand) solveForged
}

func solveForgeries() []solveForgery {
	return []solveForgery{
		{"spots anywhere", solveScatter},
		{"lamps in rows and clusters", solveLamplight},
		{"true stars, places exchanged", solveScrambled},
		{"two skies in one picture", solveTwoSkies},
	}
}

// solveSpots is how many spots a forgery has. Fewer than 7 are refused unseen, and more only make chance agreement
// stand out less.
func solveSpots(r *rand.Rand) int { return 12 + r.IntN(13) }

// solveFrame is a plan of a size, field and hint as people have them.
func solveFrame(r *rand.Rand) solvePlan {
	p := usualField(r)
	p.diagonalDeg, p.stars = solveBetween(r, 5, 90), solveSpots(r)
	sizes := [][2]int{{1152, 864}, {4032, 3024}, {4000, 6000}}
	size := sizes[r.IntN(len(sizes))]
	p.width, p.height = size[0], size[1]
	p.noisePx = solveBetween(r, 0.1, 1)
	if r.IntN(2) == 0 {
		p.hint = solveBetween(r, 1/1.2, 1.2)
	}
	return p
}

// forged has the plan's size and hint, and no spots.
func (p solvePlan) forged(r *rand.Rand) solveForged {
	d := p.draw(r)
	d.field.Stars = nil
	return solveForged{field: d.field, hint: d.hint}
}

func solveScatter(r *rand.Rand) solveForged {
	p := solveFrame(r)
	f := p.forged(r)
	for range p.stars {
		f.field.Stars = append(f.field.Stars, p.spot(r.Float64()*float64(p.width-1), r.Float64()*float64(p.height-1)))
	}
	return f
}

func (p solvePlan) spot(x, y float64) star.Star {
	return star.Star{X: x, Y: y, XErr: p.noisePx, YErr: p.noisePx, Flux: 1}
}

// solveLamplight has rows of lamps at even distances, as along a street or on a house, and clusters.
func solveLamplight(r *rand.Rand) solveForged {
	p := solveFrame(r)
	f := p.forged(r)
	w, h := float64(p.width-1), float64(p.height-1)
	for len(f.field.Stars) < p.stars {
		x, y, n := r.Float64()*w, r.Float64()*h, 2+r.IntN(7)
		dx, dy := 0.06*w*r.NormFloat64(), 0.02*w*r.NormFloat64()
		row := r.IntN(3) > 0
		for k := range n {
			sx, sy := x+0.03*w*r.NormFloat64(), y+0.03*w*r.NormFloat64()
			if row {
				sx, sy = x+float64(k)*dx+p.noisePx*r.NormFloat64(), y+float64(k)*dy+p.noisePx*r.NormFloat64()
			}
			if sx >= 0 && sy >= 0 && sx <= w && sy <= h {
				f.field.Stars = append(f.field.Stars, p.spot(sx, sy))
			}
		}
	}
	r.Shuffle(len(f.field.Stars), func(i, j int) {
		s := f.field.Stars
		s[i], s[j] = s[j], s[i]
	})
	return f
}

// solveScrambled gives every star the x of one and the y of another: how they crowd stays, their figures do not.
func solveScrambled(r *rand.Rand) solveForged {
	d := solveFrame(r).draw(r)
	s := d.field.Stars
	for i := len(s) - 1; i > 0; i-- {
		j := r.IntN(i + 1)
		s[i].Y, s[j].Y = s[j].Y, s[i].Y
	}
	return solveForged{field: d.field, hint: d.hint}
}

// solveTwoSkies lays two parts of the sky over each other, as a picture exposed twice.
func solveTwoSkies(r *rand.Rand) solveForged {
	p := solveFrame(r)
	p.stars /= 2
	a, b := p.draw(r), p.draw(r)
	f := solveForged{field: a.field, hint: a.hint, skies: []solvePlot{a, b}}
	f.field.Stars = nil
	for i := range max(len(a.field.Stars), len(b.field.Stars)) {
		for _, d := range f.skies {
			if i < len(d.field.Stars) {
				f.field.Stars = append(f.field.Stars, d.field.Stars[i])
			}
		}
	}
	return f
}

// solveLies is what the forgeries of one kind came to.
type solveLies struct {
	solveTally          // solved: one of two skies was found, rightly
	which      []string // accepted and not true
}

// falseSkies tries n forgeries of each kind.
func falseSkies(ctx context.Context, o options, n int) ([]solveLies, error) {
	kinds := solveForgeries()
	outcomes := make([]solveOutcome, len(kinds)*n)
	err := o.each(ctx, "false sky", len(outcomes), func(i int) (err error) {
		k := i % len(kinds)
		outcomes[i], err = kinds[k].try(ctx, o.rng("false", i))
		return err
	})
	lies := make([]solveLies, len(kinds))
	for k := range kinds {
		lies[k].name = kinds[k].name
	}
	for i, out := range outcomes {
		l := &lies[i%len(kinds)]
		if l.add(out); out.wrong {
			l.which = append(l.which, fmt.Sprintf("%s, trial %d: log odds %.1f, %.2f° off", l.name, i, out.logOdds, out.offDeg))
		}
	}
	return lies, err
}

// try makes one forgery and has it solved.
func (k solveForgery) try(ctx context.Context, r *rand.Rand) (solveOutcome, error) {
	f := k.forge(r)
	sol, out, err := timedSolve(ctx, f.field, f.hint)
	if err != nil || sol == nil {
		return out, err
	}
	off := unit.Angle(math.Pi)
	for _, sky := range f.skies {
		off = min(off, sky.offBy(*sol))
	}
	out.judge(off, sol)
	return out, nil
}
