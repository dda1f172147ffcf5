package session

import (
	"encoding/json"
	"sync"

	"trueturn/align/guide"
	"trueturn/drift"
)

// Word is all a browser may be told at one moment. It is made once, shared by all browsers and never changed.
type Word struct {
	Serial  uint64 // grows with every word of this process
	JSON    []byte // the object of `align --json` with "live" besides
	View    guide.View
	Seq     drift.Sequence // the shots of the present measurement, for drawings
	Waiting int            // pictures taken in and not yet begun
	Working string         // what is being measured; empty: nothing
}

// Board holds the latest word, and only that one: whoever looks seldom misses some, and holds up
// nobody.
type Board struct {
	mu      sync.Mutex
	latest  *Word
	changed chan struct{} // closed by the next post
}

func newBoard() *Board { return &Board{changed: make(chan struct{})} }

// Post puts up a word in place of the one before. It never waits for anybody.
func (b *Board) Post(n *Word) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.latest = n
	close(b.changed)
	b.changed = make(chan struct{})
}

// Look is the latest word, nil before the first, and a channel that is closed as soon as there is a
// newer one.
func (b *Board) Look() (*Word, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.latest, b.changed
}

// liveJSON is "live" of a word: the guide's, and what the bench is at.
type liveJSON struct {
	guide.Live
	Waiting  int       `json:"waiting"`
	Working  string    `json:"working"`
	Trouble  string    `json:"trouble"` // what is amiss with the session folder or the folder watched, and the way out; empty: nothing
	Tubes    tubesJSON `json:"tubes"`
	Drawings uint64    `json:"drawings"`  // serial of the drawings; fetch them again when it has changed
	SetAside []string  `json:"set_aside"` // pictures among the frames that can be tried again
	Thrown   []string  `json:"thrown"`    // pictures among the frames that a hand has thrown out, and can take back
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
