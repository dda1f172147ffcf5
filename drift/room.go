package drift

import (
	"context"

	"golang.org/x/sync/semaphore"

	"trueturn/drift/frame"
)

// Room is the memory that pictures being read may take together: as much as the
// largest may take alone. Small ones share it; one that needs more than half is
// large, and no two large ones are in it at once. Who comes first goes first,
// so that no picture waits for ever.
//
// Several calls of Measure that share a Room keep to it together.
type Room struct{ bytes *semaphore.Weighted }

// NewRoom returns an empty room.
func NewRoom() *Room { return &Room{semaphore.NewWeighted(frame.MostBytes)} }

// place is what one picture takes of a room.
type place struct {
	room  *Room
	taken int64
}

// take waits until there is room for so many bytes in place of those taken
// before. Who needs more than before gives that back first: two that each hold
// what the other waits for would wait for ever.
func (p *place) take(ctx context.Context, bytes int64) error {
	if bytes <= p.taken {
		p.room.bytes.Release(p.taken - bytes)
		p.taken = bytes
		return nil
	}
	p.leave()
	if err := p.room.bytes.Acquire(ctx, bytes); err != nil {
		return err
	}
	p.taken = bytes
	return nil
}

// leave gives all back.
func (p *place) leave() {
	p.room.bytes.Release(p.taken)
	p.taken = 0
}
