package session

import (
	"sync"

	"trueturn/cmd/markup"
	"trueturn/cmd/report"
)

// Gallery draws drift, wobble and exposure for the screens that have them open: once for each
// serial, however many ask, and not at all while nobody does. The zero value is empty and ready.
type Gallery struct {
	mu     sync.Mutex
	serial uint64
	html   []byte // nil: nothing drawn yet
}

// Drawings are the drawings of a word as a piece of HTML without scripts and styles. Who asks while they are being drawn
// waits.
func (g *Gallery) Drawings(w *Word) []byte {
	g.mu.Lock()
	defer g.mu.Unlock()
	serial := w.View.Live.Serial
	if g.html != nil && serial == g.serial {
		return g.html
	}
	g.serial, g.html = serial, draw(report.Of(w.Seq, w.View.Answer))
	return g.html
}

// draw lays the sections out, what an eye beside the tripod asks for first.
func draw(d report.Data) []byte {
	s := report.Sections(d)
	const driftAt, wobbleAt, fieldAt, exposureAt = 0, 1, 2, 3 // report.Sections states the order
	p := &markup.Page{}
	for _, at := range []int{exposureAt, driftAt, wobbleAt, fieldAt} {
		p.Block("section", func() {
			p.Element("h3", s[at].Name)
			s[at].Write(p)
		})
	}
	return []byte(p.String())
}
