package session

import (
	_ "embed"
	"strings"
	"time"

	"trueturn/cmd/formats"
	"trueturn/cmd/markup"
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
	Head    markup.Safe   // more of the head
	Own     markup.Safe   // a section of the way it is served
}

// Index is the page. The layout has a gap {{name}} for each word.
func Index(l Look) []byte {
	if l.Title == "" {
		l.Title = "The level"
	}
	if l.Planned <= 0 {
		l.Planned = 30 * time.Second
	}
	var cautions markup.Page
	cautions.Raw("\n")
	cautions.Elements("li", report.Cautions())
	return []byte(strings.NewReplacer(
		"{{head}}", string(l.Head), "{{own}}", string(l.Own),
		"{{title}}", markup.Escaped(l.Title),
		"{{planned}}", markup.Escaped(words.Exposure(l.Planned.Seconds())),
		"{{accept}}", markup.Escaped(formats.Accept()),
		"{{act}}", markup.Escaped(words.Line(say.Of("act: begin"))),
		"{{stage}}", markup.Escaped(words.Line(say.Of("stage: waiting"))),
		"{{cautions}}", cautions.String()).Replace(indexLayout))
}

// Stylesheet is page.css as served: the colours and the drawings' rules first, which the rest uses.
func Stylesheet() []byte { return []byte(string(plot.Style()) + pageCSS) }

// Script is page.js as served.
func Script() []byte { return pageJS }
