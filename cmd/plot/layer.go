package plot

import "math"

// at is element i, NaN beyond the end: slices of unequal length are drawn as far as the shortest needed one.
func at(v []float64, i int) float64 {
	if i >= len(v) {
		return math.NaN()
	}
	return v[i]
}

// Line joins points in their order; it breaks where one is not finite.
type Line struct {
	X, Y   []float64
	Dashed bool
}

func (l Line) n() int { return min(len(l.X), len(l.Y)) }

func (l Line) extent(x, y *extent) { takePairs(x, y, l.n(), l.X, l.Y) }

// takePairs counts pairs only where both values are known.
func takePairs(x, y *extent, n int, xs, ys []float64) {
	for i := range n {
		if x.holds(xs[i]) && y.holds(ys[i]) {
			x.take(xs[i])
			y.take(ys[i])
		}
	}
}

func (l Line) draw(p *pen, c canvas) {
	class := "line"
	if l.Dashed {
		class = "line dashed"
	}
	var run [][2]float64
	flush := func() {
		run = thin(run)
		p.cover(run)
		if len(run) == 1 {
			p.circle("dot", run[0][0], run[0][1], 1.5)
		} else {
			p.path(class, run, false)
		}
		run = nil
	}
	for i := range l.n() {
		x, y := c.x.at(l.X[i]), c.y.at(l.Y[i])
		if !finite(x, y) {
			flush()
			continue
		}
		run = append(run, [2]float64{x, y})
	}
	if len(run) > 0 {
		flush()
	}
}

// manyPoints of a line are drawn one by one; of more, only those that show.
const manyPoints = 1500

// thin keeps of each half unit of width the first, the lowest, the highest and the last point, which draw the same
// stroke as all of them.
func thin(run [][2]float64) [][2]float64 {
	if len(run) <= manyPoints {
		return run
	}
	var out [][2]float64
	for i := 0; i < len(run); {
		column := math.Floor(2 * run[i][0])
		low, high, j := i, i, i
		for ; j < len(run) && math.Floor(2*run[j][0]) == column; j++ {
			if run[j][1] < run[low][1] {
				low = j
			}
			if run[j][1] > run[high][1] {
				high = j
			}
		}
		last := -1
		for _, k := range []int{i, min(low, high), max(low, high), j - 1} {
			if k != last {
				out, last = append(out, run[k]), k
			}
		}
		i = j
	}
	return out
}

// Points are dots with bars of ± one standard error; unknown or zero errors have no bar. Hollow ones were not used.
type Points struct {
	X, Y, Sigma []float64
	Hollow      bool
}

func (l Points) n() int { return min(len(l.X), len(l.Y)) }

func (l Points) extent(x, y *extent) {
	for i := range l.n() {
		if s := at(l.Sigma, i); x.holds(l.X[i]) && y.holds(l.Y[i]) {
			x.take(l.X[i])
			y.take(l.Y[i], l.Y[i]-s, l.Y[i]+s)
		}
	}
}

func (l Points) draw(p *pen, c canvas) {
	class := "dot"
	if l.Hollow {
		class = "hollow"
	}
	for i := range l.n() {
		x, y := c.x.at(l.X[i]), c.y.at(l.Y[i])
		if !finite(x, y) {
			continue
		}
		if s := at(l.Sigma, i); finite(s) && s > 0 {
			low, high := c.y.at(l.Y[i]-s), c.y.at(l.Y[i]+s)
			if !finite(low) { // below what a logarithmic scale can show
				low = c.frame.y1
			}
			p.line("bar", x, low, x, high)
		}
		p.circle(class, x, y, 3)
		p.cover([][2]float64{{x, y}})
	}
}

// Mark is a line across the chart with a word to it: lying at a value of y, or upright at one of x.
type Mark struct {
	At      float64
	Upright bool
	Text    string
}

func (m Mark) extent(x, y *extent) {
	// A mark alone makes no chart, but where there is one its line must be seen.
	if e := m.of(x, y); e.any {
		e.take(m.At)
	}
}

func (m Mark) of(x, y *extent) *extent {
	if m.Upright {
		return x
	}
	return y
}

func (m Mark) draw(p *pen, c canvas) {
	f := c.frame
	if m.Upright {
		if x := c.x.at(m.At); finite(x) {
			p.line("mark", x, f.y0, x, f.y1)
			p.place(f, m.Text, []spot{{after, x + 5, f.y0 + 15}, {before, x - 5, f.y0 + 15}, {after, x + 5, f.y0 + 32},
				{before, x - 5, f.y0 + 32}, {after, x + 5, f.y1 - 8}, {before, x - 5, f.y1 - 8}, {after, x + 5, f.y1 - 25}, {before, x - 5, f.y1 - 25}})
		}
		return
	}
	if y := c.y.at(m.At); finite(y) {
		p.line("mark", f.x0, y, f.x1, y)
		p.place(f, m.Text, []spot{{before, f.x1 - 5, y - 6}, {after, f.x0 + 5, y - 6}, {before, f.x1 - 5, y + 16}, {after, f.x0 + 5, y + 16}})
	}
}

// spot is where words may stand.
type spot struct {
	anchor string
	x, y   float64
}

// place writes words at the first spot where they meet nothing and stay inside; if there is none, at the first,
// moved inside.
func (p *pen) place(frame box, words string, spots []spot) {
	if words == "" {
		return
	}
	for _, s := range spots {
		if p.free(textBox(s.anchor, s.x, s.y, words), frame) {
			p.text("words", s.anchor, s.x, s.y, words)
			return
		}
	}
	s := spots[0]
	b := textBox(s.anchor, s.x, s.y, words)
	s.x += max(0, frame.x0-b.x0) - max(0, b.x1-frame.x1)
	p.text("words", s.anchor, s.x, s.y, words)
}
