package main

import (
	"context"
	"fmt"
	"math/rand/v2"
)

// solveTallied is a factor with a tally for each of its levels.
type solveTallied struct {
	factor string
	levels []solveTally
}

func newTallied(fs []solveFactor) []solveTallied {
	ts := make([]solveTallied, len(fs))
	for i, f := range fs {
		ts[i].factor = f.name
		for _, l := range f.levels {
			ts[i].levels = append(ts[i].levels, solveTally{name: l.name})
		}
	}
	return ts
}

// sky is what the trials with the true sky found.
type solveSky struct {
	single []solveTallied // one thing changed
	mixed  []solveTallied // all drawn at once, counted by each factor in turn
	// What the targets speak of: at least twelve true stars. The middle is 8–75°, the ends the rest.
	singleMiddle, singleEnds, mixedMiddle, mixedEnds solveTally
	hinted, unhinted                                 solveTally // by the hint, of all that were solved
	wrong                                            []string
	trials                                           int
}

// solveDraft is one trial: a plan, and which level of which factor made it.
type solveDraft struct {
	solvePlan
	levels []int // per factor, −1 where it was left as usual
}

// singleDraft changes one thing.
func singleDraft(fs []solveFactor, f, l int, r *rand.Rand) solveDraft {
	d := solveDraft{solvePlan: usualField(r), levels: make([]int, len(fs))}
	for i := range d.levels {
		d.levels[i] = -1
	}
	d.levels[f] = l
	fs[f].levels[l].apply(r, &d.solvePlan)
	return d
}

// mixedDraft draws a level of every factor.
func mixedDraft(fs []solveFactor, r *rand.Rand) solveDraft {
	d := solveDraft{solvePlan: usualField(r), levels: make([]int, len(fs))}
	for i, f := range fs {
		d.levels[i] = r.IntN(len(f.levels))
		f.levels[d.levels[i]].apply(r, &d.solvePlan)
	}
	return d
}

// trueSky makes perLevel trials for every level changed alone, and as many in all with everything mixed.
func trueSky(ctx context.Context, o options, perLevel int) (solveSky, error) {
	fs := solveFactors()
	type cell struct{ f, l int }
	var cells []cell
	for f := range fs {
		for l := range fs[f].levels {
			cells = append(cells, cell{f, l})
		}
	}
	n := len(cells) * perLevel
	drafts, outcomes, known := make([]solveDraft, 2*n), make([]solveOutcome, 2*n), make([]int, 2*n)
	err := o.each(ctx, "true sky", 2*n, func(i int) (err error) {
		r := o.rng("sky", i)
		if i < n {
			c := cells[i%len(cells)]
			drafts[i] = singleDraft(fs, c.f, c.l, r)
		} else {
			drafts[i] = mixedDraft(fs, r)
		}
		outcomes[i], known[i], err = drafts[i].try(ctx, r)
		return err
	})
	if err != nil {
		return solveSky{}, err
	}
	s := solveSky{single: newTallied(fs), mixed: newTallied(fs)}
	for i, out := range outcomes {
		s.count(drafts[i], out, known[i], i < n)
	}
	return s, nil
}

// count enters one trial.
func (s *solveSky) count(d solveDraft, out solveOutcome, known int, single bool) {
	ts, middle, ends := s.mixed, &s.mixedMiddle, &s.mixedEnds
	if single {
		ts, middle, ends = s.single, &s.singleMiddle, &s.singleEnds
	}
	s.trials++
	for f, l := range d.levels {
		if l >= 0 {
			ts[f].levels[l].add(out)
		}
	}
	switch {
	case known < 12:
	case d.diagonalDeg >= 8 && d.diagonalDeg <= 75:
		middle.add(out)
	default:
		ends.add(out)
	}
	if out.solved && d.hint > 1/1.21 && d.hint < 1.21 {
		s.hinted.add(out)
	} else if out.solved && d.hint == 0 {
		s.unhinted.add(out)
	}
	if out.wrong {
		s.wrong = append(s.wrong, fmt.Sprintf("%.2f° off with log odds %.1f, %d true stars: %+v", out.offDeg, out.logOdds, known, d.solvePlan))
	}
}
