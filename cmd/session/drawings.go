package session

import (
	"strings"
	"sync"

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
	var b strings.Builder
	for _, at := range []int{exposureAt, driftAt, wobbleAt, fieldAt} {
		section(&b, s[at])
	}
	return []byte(b.String())
}

func section(b *strings.Builder, s report.Section) {
	b.WriteString("<section>\n<h3>" + escaped(s.Name) + "</h3>\n")
	for _, w := range s.Words {
		b.WriteString("<p>" + escaped(w) + "</p>\n")
	}
	if len(s.Facts) > 0 {
		b.WriteString(`<dl class="facts">` + "\n")
		for _, f := range s.Facts {
			b.WriteString("<div><dt>" + escaped(f.Name) + "</dt><dd>" + escaped(f.Value) + "</dd></div>\n")
		}
		b.WriteString("</dl>\n")
	}
	if len(s.Figures) > 0 {
		b.WriteString(`<div class="panels">` + "\n")
		for _, f := range s.Figures {
			b.WriteString("<figure>\n" + string(f.Drawing) + "<figcaption>" + escaped(f.Caption) + "</figcaption>\n</figure>\n")
		}
		b.WriteString("</div>\n")
	}
	b.WriteString("</section>\n")
}
