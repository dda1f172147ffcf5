package plot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"trueturn/cmd/markup"
	"unicode/utf8"
)

// pen writes SVG elements.
type pen struct {
	b      strings.Builder
	labels []box        // where words stand already
	curves [][2]float64 // places curves run through
}

// box is a rectangle of the drawing.
type box struct{ x0, y0, x1, y1 float64 }

func (a box) meets(b box) bool {
	return a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1
}

// figure opens a drawing with its text alternative.
func figure(class string, width, height float64, title, detail string) *pen {
	p := &pen{}
	name := title
	if detail != "" {
		name += ". " + detail
	}
	fmt.Fprintf(&p.b, `<svg xmlns="http://www.w3.org/2000/svg" class="%s" role="img" viewBox="0 0 %s %s" aria-label="%s">`,
		class, num(width), num(height), escape(name))
	return p
}

// close ends the drawing.
func (p *pen) close() markup.Safe {
	p.b.WriteString("</svg>\n")
	return markup.Safe(p.b.String()) // every word in it went through escape, every number through num
}

// inside opens a part of the drawing that clips what leaves it. A nested svg element does so by itself
// (SVG 2, §3.7), and needs no name that could meet another on the page.
func (p *pen) inside(b box) {
	w, h := num(b.x1-b.x0), num(b.y1-b.y0)
	fmt.Fprintf(&p.b, `<svg x="%s" y="%s" width="%s" height="%s" viewBox="%s %s %s %s">`,
		num(b.x0), num(b.y0), w, h, num(b.x0), num(b.y0), w, h)
}

func (p *pen) outside() { p.b.WriteString("</svg>") }

func (p *pen) line(class string, x0, y0, x1, y1 float64) {
	fmt.Fprintf(&p.b, `<line class="%s" x1="%s" y1="%s" x2="%s" y2="%s"/>`, class, num(x0), num(y0), num(x1), num(y1))
}

func (p *pen) rect(class string, b box, radius float64) {
	fmt.Fprintf(&p.b, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"`, class, num(b.x0), num(b.y0), num(b.x1-b.x0), num(b.y1-b.y0))
	if radius > 0 {
		fmt.Fprintf(&p.b, ` rx="%s"`, num(radius))
	}
	p.b.WriteString("/>")
}

func (p *pen) circle(class string, x, y, r float64) {
	fmt.Fprintf(&p.b, `<circle class="%s" cx="%s" cy="%s" r="%s"/>`, class, num(x), num(y), num(r))
}

// path draws through the points; closed paths are filled by their class.
func (p *pen) path(class string, points [][2]float64, closed bool) {
	if len(points) == 0 {
		return
	}
	fmt.Fprintf(&p.b, `<path class="%s" d="`, class)
	for i, at := range points {
		p.b.WriteByte("ML"[min(i, 1)])
		p.b.WriteString(num(at[0]) + " " + num(at[1]))
	}
	if closed {
		p.b.WriteByte('Z')
	}
	p.b.WriteString(`"/>`)
}

// Where a word stands by its place.
const (
	before = "end"
	middle = "middle"
	after  = "start"
)

func (p *pen) text(class, anchor string, x, y float64, words string) {
	fmt.Fprintf(&p.b, `<text class="%s" text-anchor="%s" x="%s" y="%s">%s</text>`, class, anchor, num(x), num(y), escape(words))
	p.labels = append(p.labels, textBox(anchor, x, y, words))
}

// Type of 14 units: a letter is counted wider than the usual system fonts draw it on average (0.50–0.56 of the size), so
// that words counted to fit do fit.
const (
	typeSize    = 14.0
	letterWidth = 0.6 * typeSize
)

func textWidth(words string) float64 { return letterWidth * float64(utf8.RuneCountInString(words)) }

func textBox(anchor string, x, y float64, words string) box {
	w := textWidth(words)
	switch anchor {
	case before:
		x -= w
	case middle:
		x -= w / 2
	}
	return box{x, y - 0.8*typeSize, x + w, y + 0.25*typeSize}
}

// free is whether words there would meet none that stand already, nor leave the frame.
func (p *pen) free(b, frame box) bool {
	if b.x0 < frame.x0 || b.x1 > frame.x1 || b.y0 < frame.y0 || b.y1 > frame.y1 {
		return false
	}
	for _, l := range p.labels {
		if l.meets(b) {
			return false
		}
	}
	for _, c := range p.curves {
		if b.meets(box{c[0] - 2, c[1] - 2, c[0] + 2, c[1] + 2}) {
			return false
		}
	}
	return true
}

// cover remembers where a curve runs, in steps shorter than a letter, so that words keep off it.
func (p *pen) cover(run [][2]float64) {
	for i, to := range run {
		from := run[max(0, i-1)]
		steps := 1 + min(64, math.Floor(math.Hypot(to[0]-from[0], to[1]-from[1])/6))
		for k := 1.0; k <= steps; k++ {
			p.curves = append(p.curves, [2]float64{from[0] + (to[0]-from[0])*k/steps, from[1] + (to[1]-from[1])*k/steps})
		}
	}
}

// farthest a coordinate may lie off the drawing; what is farther would be drawn alike.
const farthest = 1e5

// num prints a coordinate to a hundredth of a unit, finer than any screen shows.
func num(v float64) string {
	if math.IsNaN(v) {
		v = 0
	}
	v = math.Round(max(-farthest, min(farthest, v))*100) / 100
	if v == 0 {
		v = 0 // no −0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// escape makes words harmless in text and in attributes; what XML cannot hold is not fit to be shown either.
func escape(words string) string { return markup.Escaped(words) }

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
