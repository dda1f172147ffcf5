package main

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"time"

	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// The part `solve`: how often pictures are recognised, and never wrongly.
//
// Star lists are drawn by [solvePlan.draw], whose camera (scene.Camera) shares no code with the solver, and handed to
// solve.Solve. Two kinds of trials see the true sky: those that change one thing about a usual field, and those
// that draw everything at once. A second set sees no true sky (solveFalse.go), a third is pictures
// (solvePixels.go).

// wrongByDeg is how far the middle of an accepted picture may be off before the solution counts as wrong: a
// fiftieth of the narrowest field.
const wrongByDeg = 0.1

// solveTally counts trials of one kind.
type solveTally struct {
	name           string
	trials, solved int
	wrong          int
	took           []time.Duration // per trial, one core
	worst          float64         // the largest error of a right solution, degrees
}

// solveOutcome is what became of one trial.
type solveOutcome struct {
	solved, wrong bool
	offDeg        float64
	took          time.Duration
	logOdds       float64
}

func (t *solveTally) add(o solveOutcome) {
	t.trials++
	t.took = append(t.took, o.took)
	switch {
	case o.wrong:
		t.wrong++
	case o.solved:
		t.solved++
		t.worst = max(t.worst, o.offDeg)
	}
}

// percentile is the time that the given share of trials stays below.
func (t *solveTally) percentile(share float64) time.Duration {
	if len(t.took) == 0 {
		return 0
	}
	s := slices.Clone(t.took)
	slices.Sort(s)
	return s[min(len(s)-1, int(share*float64(len(s))))]
}

// timedSolve solves a star list. The solution is nil where nothing was recognised; an error is the context's.
func timedSolve(ctx context.Context, f star.Field, h solve.Hint) (*solve.Solution, solveOutcome, error) {
	var sol solve.Solution
	var err error
	out := solveOutcome{took: processorTime(func() { sol, err = solve.Solve(ctx, f, h) })}
	if errors.Is(err, solve.ErrNoMatch) || errors.Is(err, solve.ErrFewStars) {
		return nil, out, nil
	}
	out.logOdds = sol.LogOdds
	return &sol, out, err
}

// try draws one plan and has it solved; known is how many true stars were in the list.
func (p solvePlan) try(ctx context.Context, r *rand.Rand) (out solveOutcome, known int, err error) {
	d := p.draw(r)
	sol, out, err := timedSolve(ctx, d.field, d.hint)
	if err != nil || sol == nil {
		return out, d.known, err
	}
	out.offDeg = d.offBy(*sol).Deg()
	out.wrong = out.offDeg > wrongByDeg || sol.Mirrored != p.mirrored
	out.solved = !out.wrong
	return out, d.known, nil
}
