// Package guide takes a session's pictures one by one: the axis appears, and every further picture
// says what the last turn of a knob did.
//
// Start with [New], feed [Guide.Add], look at [Guide.View]. The package is all values: no clock, no
// files, no network.
package guide

import (
	"context"
	"slices"
	"time"

	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/drift"
)

// Options are what is known and wanted. Stands, PlannedS and WobblePeakToPeak of Knobs are
// filled in from the answer.
type Options struct {
	Answer answer.Options
	Knobs  knobs.Options
}

// Guide is a session in progress. It is not safe for use by several goroutines.
type Guide struct {
	o     Options
	shots []drift.Shot
	s     State
	view  View
}

// New begins a session.
func New(o Options) *Guide {
	g := &Guide{o: o}
	g.refresh()
	return g
}

// Add takes shots measured elsewhere, each once, in any order. The error is the context's.
func (g *Guide) Add(ctx context.Context, shots ...drift.Shot) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, s := range shots {
		g.shots = append(g.shots, s)
		g.s.Files = append(g.s.Files, s.File)
	}
	slices.SortStableFunc(g.shots, func(a, b drift.Shot) int { return midOf(a).Compare(midOf(b)) })
	g.s.Serial++
	g.refresh()
	return nil
}

func midOf(s drift.Shot) time.Time {
	if s.Clock == nil {
		return time.Time{}
	}
	return s.Clock.Mid()
}

func (g *Guide) refresh() {
	v := View{Live: Live{Phase: Waiting, Kind: "shoot", Instruction: "Take several pictures without touching the mount.", Serial: g.s.Serial}}
	if len(g.shots) > 0 {
		v.Answer = answer.New(g.Sequence(), g.o.Answer)
		v.Live.Phase, v.Live.Instruction, v.Live.Level = Measuring, v.Advice.NextText, levelOf(v.Answer)
	}
	g.view = v
}

// View is what to show; later Adds do not change it.
func (g *Guide) View() View { return g.view }

// Sequence is the shots of the present measurement, in the order of time, for drawings.
func (g *Guide) Sequence() drift.Sequence { return drift.Sequence{Shots: slices.Clone(g.shots)} }
