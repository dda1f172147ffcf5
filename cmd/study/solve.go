package main

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/soniakeys/unit"

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

// unsurePull is up to how many of its own stated standard errors a solution may be off and yet be no lie: few stars in
// a wide view, half of it landscape, do not say where the middle of a bent picture looks, and the solution says so. A wrong
// part of the sky is off by thousands of them.
const unsurePull = 4

// solveTally counts trials of one kind.
type solveTally struct {
	name           string
	trials, solved int
	wrong          int
	unsure         int             // off by more than allowed, but by no more than the solution itself says it may be
	took           []time.Duration // per trial, one core
	worst          float64         // the largest error of a right solution, degrees
	pulls          float64         // sum of the squares of error over stated error
}

// solveOutcome is what became of one trial.
type solveOutcome struct {
	solved, wrong, unsure bool
	offDeg, pull          float64 // of the picture's middle; pull is over the stated standard error
	took                  time.Duration
	logOdds               float64
}

func (t *solveTally) add(o solveOutcome) {
	t.trials++
	t.took = append(t.took, o.took)
	switch {
	case o.wrong:
		t.wrong++
	case o.unsure:
		t.unsure++
	case o.solved:
		t.solved++
		t.pulls += o.pull * o.pull
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
	out.judge(d.offBy(*sol), sol)
	if sol.Mirrored != p.mirrored {
		out.wrong, out.solved, out.unsure = true, false, false
	}
	return out, d.known, nil
}

// judge says what a solution is whose middle is so far off.
func (o *solveOutcome) judge(off unit.Angle, sol *solve.Solution) {
	// Of a small turn about x and y, which carry the middle; no error of one axis is told from the other's.
	stated := math.Sqrt(sol.Covariance.At(0, 0) + sol.Covariance.At(1, 1))
	o.offDeg, o.pull = off.Deg(), off.Rad()/stated
	over := o.offDeg > wrongByDeg
	o.unsure = over && o.pull < unsurePull
	o.wrong, o.solved = over && !o.unsure, !over
}
