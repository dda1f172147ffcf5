package plot

// Span shades a part of a chart from one value of x to another, as darkness or a window of height; it has a word at its
// top. Spans belong beneath what else is drawn: put them first.
type Span struct {
	From, To float64
	Text     string
}

func (s Span) extent(x, _ *extent) {
	if x.holds(s.From) && x.holds(s.To) {
		x.take(s.From, s.To)
	}
}

func (s Span) draw(p *pen, c canvas) {
	f := c.frame
	from, to := c.x.at(s.From), c.x.at(s.To)
	if !finite(from, to) {
		return
	}
	from, to = max(min(from, to), f.x0-1), min(max(from, to), f.x1+1)
	if to <= from {
		return
	}
	p.rect("span", box{from, f.y0 - 1, to, f.y1 + 1}, 0)
	if half := textWidth(s.Text) / 2; s.Text != "" && to-from > 2*half {
		p.text("words", middle, max(f.x0+half, min(f.x1-half, (from+to)/2)), f.y0+15, s.Text)
	}
}
