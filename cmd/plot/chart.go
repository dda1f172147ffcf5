package plot

import (
	"math"
	"trueturn/cmd/markup"
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

// Margins about the frame: on the left as wide as the numbers ask for, two lines beneath, and the quantity's name above.
const (
	rightMargin  = 10.0
	topMargin    = 24.0
	bottomMargin = 44.0
	roomPerTickX = 64.0
	roomPerTickY = 34.0
)

// SVG draws the chart.
func (c Chart) SVG() markup.Safe {
	w, h := c.Width, c.Height
	if !finite(w, h) || w < 120 || h < 120 {
		w, h = 360, 220
	}
	p := figure("plot", w, h, c.Title, c.Detail)
	ex, ey := extent{kind: c.X.Kind}, extent{kind: c.Y.Kind}
	for _, l := range c.Layers {
		l.extent(&ex, &ey)
	}
	k := c.canvas(ex, ey, w, h)
	frame := k.frame
	if !ex.any || !ey.any {
		p.nothing(c, frame)
		return p.close()
	}
	p.axes(c, k, w, h)
	p.inside(frame)
	for _, l := range c.Layers {
		l.draw(p, k)
	}
	p.outside()
	p.rect("axis", frame, 0)
	return p.close()
}

// canvas lays out the frame: what stands left of it is known once y has its marks.
func (c Chart) canvas(x, y extent, w, h float64) canvas {
	f := box{0, topMargin, w - rightMargin, h - bottomMargin}
	k := canvas{y: scaleOver(c.Y, y, f.y1, f.y0)}
	widest := 0.0
	for _, t := range k.y.ticks(c.rows(f)) {
		widest = max(widest, textWidth(t.label))
	}
	f.x0 = min(max(40, widest+12), w/2)
	k.x, k.frame = scaleOver(c.X, x, f.x0, f.x1), f
	return k
}

// rows is how many numbers there is room for along y.
func (c Chart) rows(f box) int { return max(2, int((f.y1-f.y0)/roomPerTickY)) }

// nothing says that there is nothing; numbers along the axes would be made up.
func (p *pen) nothing(c Chart, frame box) {
	words := c.Empty
	if words == "" {
		words = "nothing to draw"
	}
	p.rect("axis", frame, 0)
	p.text("label", after, 4, 15, c.Y.Label)
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
	for _, t := range k.y.ticks(c.rows(f)) {
		y := k.y.at(t.at)
		p.line("grid", f.x0, y, f.x1, y)
		p.line("axis", f.x0-5, y, f.x0, y)
		p.text("number", before, f.x0-8, y+5, t.label)
	}
	p.text("label", after, 4, 15, c.Y.Label)
	p.text("label", before, f.x1, h-6, k.x.label(c.X))
}
