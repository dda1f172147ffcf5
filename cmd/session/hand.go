package session

import (
	"context"
	"errors"
	"time"

	"trueturn/align/guide"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/ephem/amiss"
)

// What a hand does besides sending pictures: it answers a question, throws a picture out, begins afresh, says what the
// pictures do not. Each is written down before it counts, and done in the goroutine of Run.

// inRun has something done there, and waits for it. The error is the context's.
func (n *Session) inRun(ctx context.Context, do func()) error {
	done := make(chan struct{})
	select {
	case n.calls <- func() { do(); close(done) }:
		<-done
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Settle hands in an answer to the question of place and clock of that number: both are right. Whether it was put to us is
// the answer, the error the context's.
func (n *Session) Settle(ctx context.Context, number int) (stood bool, err error) {
	err = n.inRun(ctx, func() { stood = n.settle(number) })
	return stood, err
}

// settle takes an answer: it is written down, then the orders go on. Where the disk does not take it the evening goes on all the same.
func (n *Session) settle(number int) bool {
	stood := n.guide.View().Live.Question
	if !n.guide.Settle(number) {
		return false
	}
	if stood == nil || stood.Number != number { // answered before
		return true
	}
	a := n.guide.State().Asked[number-1]
	n.o.Guide.Answered = append(n.o.Guide.Answered, a)
	if len(n.unwritten.lines) == 0 { // else the journal has trouble enough, and session.json will tell
		if err := n.journal.answer(answered{n.asked, &a}); err != nil {
			n.setTrouble(err)
		}
	}
	n.lastChange = time.Now()
	n.tellQuestion()
	n.post()
	return true
}

// ErrNoPicture: another device was quicker, or the name is wrong.
var ErrNoPicture error = amiss.New(nil, "there is no picture of this name", "load the page again")

// errThrownOut is what the list says of a picture a hand has thrown out.
var errThrownOut = errors.New("thrown out by hand")

// ThrowOut has a picture take no part any more, as one at which the mount was touched; back takes that back. All that
// rests on it is reckoned anew. The error is [ErrNoPicture], the store's or the context's.
func (n *Session) ThrowOut(ctx context.Context, file string, back bool) (err error) {
	ended := n.inRun(ctx, func() {
		switch {
		case !n.journal.holds(file):
			err = ErrNoPicture
		case n.journal.thrown[file] == back:
			if err = n.journal.note(thrown{Thrown: file, Back: back}); err == nil {
				n.reckonAnew(ctx)
			}
		}
	})
	return errors.Join(ended, err)
}

// Afresh begins measuring afresh: the pictures so far stay in the journal, and count no more. The error is the store's or
// the context's.
func (n *Session) Afresh(ctx context.Context) (err error) {
	ended := n.inRun(ctx, func() {
		n.flush()
		if err = n.journal.note(afresh{Afresh: true}); err == nil {
			n.recent, n.unsolved = nil, nil
			n.reckonAnew(ctx)
		}
	})
	return errors.Join(ended, err)
}

// reckonAnew makes the guide anew from the journal.
func (n *Session) reckonAnew(ctx context.Context) {
	n.o.Guide.Answered = n.journal.answeredUnder(n.asked)
	n.guide = n.newGuide()
	n.catchUp(context.WithoutCancel(ctx))
	n.lastChange = time.Now()
	n.tellQuestion()
	n.post()
}

// newGuide begins where the one before it, if any, left off counting: drawings go by its serial.
func (n *Session) newGuide() *guide.Guide {
	o := n.o.Guide
	if n.guide != nil {
		o.Serial = n.guide.State().Serial + 1
	}
	return guide.New(o)
}

// shotOf is a picture's shot as it counts.
func (n *Session) shotOf(file string) (drift.Shot, bool) {
	s, ok := n.journal.shot(file)
	if ok && n.journal.thrown[file] {
		s = drift.Shot{File: s.File, Clock: s.Clock, ClockErr: s.ClockErr, Err: errThrownOut}
	}
	return s, ok
}

// tellQuestion tells the one at the keyboard of a question that stands, once, and answers it where that was done there before.
func (n *Session) tellQuestion() {
	live := n.guide.View().Live
	if live.Question == nil || live.Question.Number == n.asking {
		return
	}
	n.asking = live.Question.Number
	if n.o.PlaceAndClockRight {
		n.note("taken as right, as --place-and-clock-right says: %s", words.Line(live.Question.Ask))
		n.settle(n.asking)
		return
	}
	n.note("%s Say so on the page, or by starting with --place-and-clock-right.", live.Instruction)
}
