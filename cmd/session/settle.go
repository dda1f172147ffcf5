package session

import (
	"context"
	"time"

	"trueturn/cmd/words"
)

// settling is an answer on its way to the bench: place and clock are right.
type settling struct {
	number int
	done   chan bool // holds one: whether that question stood, or was answered before
}

// Settle hands in an answer to the question of place and clock of that number: both are right. Whether it was put to us is
// the answer, the error the context's.
func (n *Session) Settle(ctx context.Context, number int) (bool, error) {
	s := settling{number, make(chan bool, 1)}
	select {
	case n.settling <- s:
		return <-s.done, nil
	case <-ctx.Done():
		return false, ctx.Err()
	}
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
