package session

import (
	_ "embed"
	"html"
	"strings"
	"time"

	"trueturn/cmd/formats"
	"trueturn/cmd/legible"
	"trueturn/cmd/plot"
	"trueturn/cmd/report"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

//go:embed web/index.html
var indexLayout string

//go:embed web/page.css
var pageCSS string

//go:embed web/page.js
var pageJS []byte

// Look is what the page says of itself before the first word from the session.
type Look struct {
	Title   string        // of the evening; may be empty
	Planned time.Duration // exposure planned; 0: 30 s
}

// Index is the page. The layout has a gap {{name}} for each word.
func Index(l Look) []byte {
	if l.Title == "" {
		l.Title = "The level"
	}
	if l.Planned <= 0 {
		l.Planned = 30 * time.Second
	}
	var cautions strings.Builder
	for _, c := range report.Cautions() {
		cautions.WriteString("\n<li>" + escaped(c) + "</li>")
	}
	return []byte(strings.NewReplacer(
		"{{title}}", escaped(l.Title),
		"{{planned}}", escaped(words.Exposure(l.Planned.Seconds())),
		"{{accept}}", escaped(formats.Accept()),
		"{{act}}", escaped(words.Line(say.Of("act: begin"))),
		"{{stage}}", escaped(words.Line(say.Of("stage: waiting"))),
		"{{cautions}}", cautions.String()).Replace(indexLayout))
}

// escaped is a text that may come from anywhere, for HTML.
func escaped(text string) string { return html.EscapeString(legible.Line(text)) }

// Stylesheet is page.css as served: the colours and the drawings' rules first, which the rest uses.
func Stylesheet() []byte { return []byte(string(plot.Style()) + pageCSS) }

// Script is page.js as served.
func Script() []byte { return pageJS }
