package page

import (
	"encoding/json"
	"sync"

	"trueturn/align/guide"
	"trueturn/drift"
)

// notice is all a browser may be told at one moment. It is made once, shared by all browsers and
// never changed.
type notice struct {
	serial  uint64 // grows with every notice of this process
	json    []byte // the object of `align --json` with "live" besides
	view    guide.View
	seq     drift.Sequence // the shots of the present measurement, for drawings
	waiting int            // pictures taken in and not yet begun
	working string         // what is being measured; empty: nothing
}

// board holds the latest notice, and only that one: whoever looks seldom misses some, and holds up
// nobody.
type board struct {
	mu      sync.Mutex
	latest  *notice
	changed chan struct{} // closed by the next post
}

func newBoard() *board { return &board{changed: make(chan struct{})} }

// post puts up a notice in place of the one before. It never waits for anybody.
func (b *board) post(n *notice) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.latest = n
	close(b.changed)
	b.changed = make(chan struct{})
}

// look is the latest notice, nil before the first, and a channel that is closed as soon as there is a
// newer one.
func (b *board) look() (*notice, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.latest, b.changed
}

// liveJSON is "live" of a notice: the guide's, and what the bench is at.
type liveJSON struct {
	guide.Live
	Waiting  int       `json:"waiting"`
	Working  string    `json:"working"`
	Trouble  string    `json:"trouble"` // what is amiss with the session folder or the folder watched, and the way out; empty: nothing
	Tubes    tubesJSON `json:"tubes"`
	Drawings uint64    `json:"drawings"`  // serial of the drawings; fetch them again when it has changed
	SetAside []string  `json:"set_aside"` // pictures among the frames that can be tried again
}

// withLive is an answer, as JSON encoded before, with "live" added: the long list of pictures is not encoded
// again because one more is waiting.
func withLive(answer []byte, l liveJSON) ([]byte, error) {
	live, err := json.Marshal(l)
	if err != nil {
		return nil, err
	}
	out := make([]byte, 0, len(answer)+len(live)+len(`,"live":}`))
	out = append(out, answer[:len(answer)-1]...) // never an empty object
	out = append(out, `,"live":`...)
	out = append(out, live...)
	return append(out, '}'), nil
}
