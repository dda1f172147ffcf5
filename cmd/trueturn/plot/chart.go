package plot

import (
	"html/template"
	"math"
)

// Chart is one quantity over one axis, with what belongs to it in layers, drawn in their order.
type Chart struct {
	Title         string // what is drawn, a few words: its name for those who do not see it
	Detail        string // what it shows, a sentence, for the same
	Width, Height float64
	X, Y          Axis
	Layers        []Layer
	Empty         string // said in the frame when there is nothing to draw
}

// Layer is something drawn on a chart.
type Layer interface {
	extent(x, y *extent)
	draw(p *pen, c canvas)
}

// canvas is where layers draw.
type canvas struct {
	x, y  scale
	frame box
}

// Margins about the frame: numbers stand on the left, in two lines beneath, and the quantity's name above.
const (
	leftMargin   = 52.0
	rightMargin  = 10.0
	topMargin    = 24.0
	bottomMargin = 44.0
	roomPerTickX = 64.0
	roomPerTickY = 34.0
)

// SVG draws the chart.
func (c Chart) SVG() template.HTML {
	w, h := c.Width, c.Height
	if !finite(w, h) || w < 120 || h < 120 {
		w, h = 360, 220
	}
	p := figure(w, h, c.Title, c.Detail)
	frame := box{leftMargin, topMargin, w - rightMargin, h - bottomMargin}
	var ex, ey extent
	for _, l := range c.Layers {
		l.extent(&ex, &ey)
	}
	k := canvas{scaleOver(c.X, ex, frame.x0, frame.x1), scaleOver(c.Y, ey, frame.y1, frame.y0), frame}
	p.axes(c, k, w, h)
	if !ex.any || !ey.any {
		p.nothing(c, frame)
		return p.close()
	}
	p.inside(frame)
	for _, l := range c.Layers {
		l.draw(p, k)
	}
	p.outside()
	p.rect("axis", frame, 0)
	return p.close()
}

// nothing says that there is nothing.
func (p *pen) nothing(c Chart, frame box) {
	words := c.Empty
	if words == "" {
		words = "nothing to draw"
	}
	p.rect("axis", frame, 0)
	p.text("words", middle, (frame.x0+frame.x1)/2, (frame.y0+frame.y1)/2, words)
}

// axes draws grid, ticks, numbers and labels.
func (p *pen) axes(c Chart, k canvas, w, h float64) {
	f := k.frame
	lastEnd := math.Inf(-1)
	for _, t := range k.x.ticks(max(2, int((f.x1-f.x0)/roomPerTickX))) {
		x := k.x.at(t.at)
		p.line("grid", x, f.y0, x, f.y1)
		p.line("axis", x, f.y1, x, f.y1+5)
		half := textWidth(t.label) / 2
		if middleAt := max(half, min(w-half, x)); middleAt-half > lastEnd {
			p.text("number", middle, middleAt, f.y1+18, t.label)
			lastEnd = middleAt + half + 4
		}
	}
	for _, t := range k.y.ticks(max(2, int((f.y1-f.y0)/roomPerTickY))) {
		y := k.y.at(t.at)
		p.line("grid", f.x0, y, f.x1, y)
		p.line("axis", f.x0-5, y, f.x0, y)
		p.text("number", before, f.x0-8, y+5, t.label)
	}
	p.text("label", after, 4, 15, c.Y.Label)
	p.text("label", before, f.x1, h-6, k.x.label(c.X))
}
