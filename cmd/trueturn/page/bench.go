package page

import (
	"context"
	"encoding/json"

	"trueturn/align/guide"
	"trueturn/drift"
)

// bench measures what is offered, writes it down, asks the guide and posts what it says. All of it
// but offer happens in the one goroutine of run.
//
// run also watches Options.Dir, if there is one.
type bench struct {
	o     Options
	in    *inbox
	board *board
	guide *guide.Guide

	posted  uint64 // serial of the latest notice
	working string
}

// newBench opens or continues the session folder. Errors have a Hint.
func newBench(o Options, b *board) (*bench, error) {
	n := &bench{o: o, in: newInbox(), board: b, guide: guide.New(o.Guide)}
	return n, n.post()
}

// offer hands in a picture; errFull when too many wait. It never blocks.
func (n *bench) offer(p picture) error { return n.in.put(p) }

// run measures what is offered until ctx ends; then everything is flushed.
func (n *bench) run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-n.in.filled:
		}
		for ps, _ := n.in.take(1); len(ps) > 0; ps, _ = n.in.take(1) {
			src := drift.Source{Name: ps[0].name, Open: opener(ps[0].path)}
			shot, err := drift.MeasureOne(ctx, src, n.o.Measure)
			if err != nil {
				return nil
			}
			if err := n.guide.Add(ctx, shot); err != nil {
				return nil
			}
			if err := n.post(); err != nil {
				return err
			}
		}
	}
}

// post puts the present state on the board.
func (n *bench) post() error {
	v := n.guide.View()
	answer, err := json.Marshal(v.Answer)
	if err != nil {
		return err
	}
	waiting := n.in.waiting()
	text, err := withLive(answer, liveJSON{Live: v.Live, Waiting: waiting, Working: n.working, Drawings: v.Live.Serial})
	if err != nil {
		return err
	}
	n.posted++
	n.board.post(&notice{serial: n.posted, json: text, view: v, seq: n.guide.Sequence(), waiting: waiting, working: n.working})
	return nil
}
