package page

import (
	_ "embed"
	"html/template"
	"io"
	"time"

	"trueturn/cmd/plot"
	"trueturn/cmd/report"
	"trueturn/cmd/trueturn/files"
	"trueturn/cmd/trueturn/legible"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

//go:embed web/index.html
var indexLayout string

//go:embed web/page.css
var pageCSS string

//go:embed web/page.js
var pageJS []byte

var indexPage = template.Must(template.New("index").Parse(indexLayout))

// look is what the page says of itself before the first word from the session.
type look struct {
	Title   string        // of the evening; may be empty
	Planned time.Duration // exposure planned; 0: 30 s
}

// indexHTML writes the page. The error is the writer's.
func indexHTML(w io.Writer, l look) error {
	if l.Title == "" {
		l.Title = "The level"
	}
	if l.Planned <= 0 {
		l.Planned = 30 * time.Second
	}
	return indexPage.Execute(legible.Lines(w), struct {
		Title, Planned, Accept, Act, Stage string
		Cautions                           []string
	}{l.Title, words.Exposure(l.Planned.Seconds()), files.Accept(), words.Line(say.Of("act: begin")), words.Line(say.Of("stage: waiting")), report.Cautions()})
}

// stylesheet is page.css as served: the colours and the drawings' rules first, which the rest uses.
func stylesheet() []byte { return []byte(string(plot.Style()) + pageCSS) }

// script is page.js as served.
func script() []byte { return pageJS }
