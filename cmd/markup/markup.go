// Package markup writes HTML and SVG by hand: html/template makes a browser's build of this program half as large again.
//
// Words go in through Text and Element alone, which make them harmless wherever they came from; what is markup already has a
// type of its own.
package markup

import (
	"html"
	"strings"

	"trueturn/cmd/legible"
)

// Safe is markup that may stand as it is.
type Safe string

// Escaped makes words harmless in text and in attributes; what XML cannot hold is not fit to be shown either.
func Escaped(words string) string { return html.EscapeString(legible.Line(words)) }

// Page is HTML being written. The zero value is empty.
type Page struct{ b strings.Builder }

// Raw writes markup of this program's own.
func (p *Page) Raw(s Safe) { p.b.WriteString(string(s)) }

// Text writes words.
func (p *Page) Text(words string) { p.b.WriteString(Escaped(words)) }

// Element writes an element of words in a line of its own. The tag may have attributes, of this program's own.
func (p *Page) Element(tag Safe, words string) {
	p.Within(tag, func() { p.Text(words) })
	p.Raw("\n")
}

// Block writes an element with others in it, each in lines of their own.
func (p *Page) Block(tag Safe, inside func()) {
	p.Within(tag, func() { p.Raw("\n"); inside() })
	p.Raw("\n")
}

// Within writes an element.
func (p *Page) Within(tag Safe, inside func()) {
	name, _, _ := strings.Cut(string(tag), " ")
	p.Raw("<" + tag + ">")
	inside()
	p.Raw(Safe("</" + name + ">"))
}

// Elements writes an element for each of some words.
func (p *Page) Elements(tag Safe, words []string) {
	for _, w := range words {
		p.Element(tag, w)
	}
}

func (p *Page) String() string { return p.b.String() }
