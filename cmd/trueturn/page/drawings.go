package page

import (
	"bytes"
	_ "embed"
	"html/template"
	"sync"

	"trueturn/align/guide"
	"trueturn/cmd/report"
	"trueturn/cmd/trueturn/legible"
	"trueturn/drift"
)

//go:embed web/drawings.html
var drawingsLayout string

var drawingsPage = template.Must(template.New("drawings").Parse(drawingsLayout))

// gallery draws drift, wobble and exposure for the browsers that have them open: once for each
// serial, however many ask, and not at all while nobody does. The zero value is empty and ready.
type gallery struct {
	mu     sync.Mutex
	serial uint64
	html   []byte // nil: nothing drawn yet
}

// drawings are the drawings as a piece of HTML without scripts and styles. Who asks while they are being drawn
// waits.
func (g *gallery) drawings(serial uint64, v guide.View, seq drift.Sequence) []byte {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.html != nil && serial == g.serial {
		return g.html
	}
	g.serial, g.html = serial, draw(report.Of(seq, v.Answer))
	return g.html
}

// draw lays the sections out, what an eye beside the tripod asks for first.
func draw(d report.Data) []byte {
	s := report.Sections(d)
	const driftAt, wobbleAt, fieldAt, exposureAt = 0, 1, 2, 3 // report.Sections states the order
	var b bytes.Buffer
	if err := drawingsPage.Execute(legible.Lines(&b), []report.Section{s[exposureAt], s[driftAt], s[wobbleAt], s[fieldAt]}); err != nil {
		return []byte("<p>The drawings could not be made.</p>\n")
	}
	return b.Bytes()
}
