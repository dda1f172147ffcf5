package face

import (
	"fmt"
	"sync"
)

// progress counts on one line of a terminal; a pipe or a file sees none of it.
type progress struct {
	f    *face
	verb string
	of   int

	mu   sync.Mutex
	done int
}

func (f *face) progress(verb string, of int) *progress {
	p := &progress{f: f, verb: verb, of: of}
	p.show()
	return p
}

// step counts one more; several goroutines may call it.
func (p *progress) step() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	p.show()
}

func (p *progress) show() {
	if p.f.errSeen {
		fmt.Fprintf(p.f.err, "\r%s %d of %d ", p.verb, p.done, p.of)
	}
}

// end clears the line, so that what follows stands alone.
func (p *progress) end() {
	if !p.f.errSeen {
		return
	}
	fmt.Fprint(p.f.err, "\r\x1b[K")
	if n, ok := p.f.err.(*nightWriter); ok {
		n.rest()
	}
}
