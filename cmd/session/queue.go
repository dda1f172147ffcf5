package session

import (
	"slices"
	"sync"

	"trueturn/cmd/session/store"
)

// waitingMost is how many pictures may wait. The watched folder offers again later, and browsers are told to.
const waitingMost = 256

// oldMost is how full the queue may be for one of another evening to be let in: they must not keep others out.
const oldMost = 16

// inbox is the queue of pictures: first in, first out, those of other evenings after all others.
type inbox struct {
	mu     sync.Mutex
	queue  []store.Picture
	olds   int // of the queue, at its end
	closed bool
	filled chan struct{} // holds one when there may be something to take
}

func newInbox() *inbox { return &inbox{filled: make(chan struct{}, 1)} }

// put adds a picture, or says store.ErrFull; it never blocks.
func (x *inbox) put(p store.Picture) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	switch {
	case x.closed:
		return store.ErrClosed
	case len(x.queue) >= waitingMost, p.Old && len(x.queue) >= oldMost:
		return store.ErrFull
	}
	at := len(x.queue)
	if p.Old {
		x.olds++
	} else {
		at -= x.olds
	}
	x.queue = slices.Insert(x.queue, at, p)
	select {
	case x.filled <- struct{}{}:
	default:
	}
	return nil
}

// take removes up to most pictures; one that is to be alone comes alone.
func (x *inbox) take(most int, alone func(store.Picture) bool) []store.Picture {
	x.mu.Lock()
	defer x.mu.Unlock()
	n := min(most, len(x.queue))
	if at := slices.IndexFunc(x.queue[:n], alone); at >= 0 {
		n = max(1, at)
	}
	ps := slices.Clone(x.queue[:n])
	x.queue = slices.Delete(x.queue, 0, n)
	x.olds = min(x.olds, len(x.queue))
	return ps
}

// waiting is how many there are.
func (x *inbox) waiting() int {
	x.mu.Lock()
	defer x.mu.Unlock()
	return len(x.queue)
}

// close refuses pictures from now on.
func (x *inbox) close() {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.closed = true
}
