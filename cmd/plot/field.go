package plot

import (
	"fmt"
	"math"
	"slices"
	"trueturn/cmd/markup"
)

// Whisker is how long a star is drawn out.
type Whisker struct {
	X, Y       float64 // pixels, from the top left corner
	Elongation float64 // long axis over short, 1 for round
}

// Field shows the elongation of stars over a picture: the picture in cells, each shaded by the median of its stars.
type Field struct {
	Name, Detail  string
	Width, Height int // of the picture in pixels
	Stars         []Whisker
	Tolerance     float64 // the elongation up to which stars count as round; cells above it are framed. 0: not told
	Limit, Sparse string  // what the scale's mark and the crossed cells are called
	Empty         string  // said in the frame when no cell has stars enough
}

// Of a field drawing, in units.
const (
	fieldWidth   = 340.0
	fieldTallest = 420.0
	scaleTall    = 14.0
)

const (
	leastStars   = 3  // in a cell, for its median to outvote a stray one
	starsPerCell = 6  // on average, so that few cells stay below the least
	mostAlong    = 8  // cells along the longer side: the eye tells no more shades apart
	fewestAlong  = 3  // the middle, and two sides
	darkest      = .8 // of the ink: what is drawn over it is seen still
	scaleStep    = .05
	scaleMost    = 3 // where the scale ends; longer cells look alike
)

// grid is the picture in cells.
type grid struct {
	columns, rows int
	medians       []float64 // row by row; NaN where there are too few stars
}

// cells shares the stars out. What lies outside the picture or is not finite is left out.
func (f Field) cells() grid {
	var inside []Whisker
	for _, s := range f.Stars {
		if finite(s.X, s.Y, s.Elongation) && s.Elongation >= 1 && f.holds(s) {
			inside = append(inside, s)
		}
	}
	g := f.grid(len(inside))
	in := make([][]float64, g.columns*g.rows)
	for _, s := range inside {
		k := cell(s.Y, f.Height, g.rows)*g.columns + cell(s.X, f.Width, g.columns)
		in[k] = append(in[k], s.Elongation)
	}
	for _, values := range in {
		g.medians = append(g.medians, median(values))
	}
	return g
}

// grid has nearly square cells, as many as so many stars fill.
func (f Field) grid(stars int) grid {
	w, h := f.size()
	side := max(math.Sqrt(w*h*starsPerCell/max(1, float64(stars))), max(w, h)/mostAlong)
	along := func(v float64) int {
		return max(min(fewestAlong, int(math.Ceil(3*v/max(w, h)))), int(math.Round(v/side)))
	}
	return grid{columns: along(w), rows: along(h)}
}

func cell(at float64, pixels, n int) int {
	return max(0, min(n-1, int(at/float64(pixels)*float64(n))))
}

func median(values []float64) float64 {
	n := len(values)
	if n < leastStars {
		return math.NaN()
	}
	slices.Sort(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}

// Ends are the medians of the roundest cell and of the longest; false where none has stars enough.
func (f Field) Ends() (least, most float64, ok bool) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, m := range f.cells().medians {
		if finite(m) {
			least, most, ok = min(least, m), max(most, m), true
		}
	}
	return least, most, ok
}

// SVG draws the field and its scale.
func (f Field) SVG() markup.Safe {
	w, h := f.size()
	p := figure("plot", 360, h+70, f.Name, f.Detail)
	frame := box{(360 - w) / 2, 6, (360 + w) / 2, 6 + h}
	_, most, ok := f.Ends()
	if !ok {
		p.rect("axis", frame, 0)
		p.text("words", middle, 180, frame.y0+h/2, f.Empty)
		return p.close()
	}
	top := f.top(most)
	g := f.cells()
	p.inside(frame)
	crossed := false
	for k, m := range g.medians {
		b := g.box(frame, k)
		if !finite(m) {
			p.cross(b)
			crossed = true
			continue
		}
		p.shade(b, (m-1)/(top-1))
		if f.Tolerance > 1 && m > f.Tolerance {
			p.rect("long", inset(b, 2), 0)
		}
	}
	p.outside()
	p.rect("axis", frame, 0)
	p.fieldScale(f, box{10, frame.y1 + 10, 190, frame.y1 + 10 + scaleTall}, top, most)
	if crossed {
		b := box{214, frame.y1 + 10, 214 + scaleTall, frame.y1 + 10 + scaleTall}
		p.cross(b)
		p.rect("axis", b, 0)
		p.text("label", after, b.x1+6, b.y1-2, f.Sparse)
	}
	return p.close()
}

// top is the upper end of the scale: neither the tolerance nor, up to the most, a cell is beyond it.
func (f Field) top(most float64) float64 {
	return 1 + scaleStep*math.Max(1, math.Ceil((max(min(most, scaleMost), f.Tolerance)-1)/scaleStep-1e-9))
}

// box is where a cell lies.
func (g grid) box(frame box, k int) box {
	w, h := (frame.x1-frame.x0)/float64(g.columns), (frame.y1-frame.y0)/float64(g.rows)
	x, y := frame.x0+w*float64(k%g.columns), frame.y0+h*float64(k/g.columns)
	return box{x, y, x + w, y + h}
}

func inset(b box, by float64) box { return box{b.x0 + by, b.y0 + by, b.x1 - by, b.y1 - by} }

// shade fills a cell with so much of the ink that 1 is.
func (p *pen) shade(b box, part float64) {
	fmt.Fprintf(&p.b, `<rect class="cell" fill-opacity="%s" x="%s" y="%s" width="%s" height="%s"/>`, num(darkest*max(0, min(1, part))), num(b.x0), num(b.y0), num(b.x1-b.x0), num(b.y1-b.y0))
}

// cross marks a cell of which nothing is known.
func (p *pen) cross(b box) {
	b = inset(b, 1.5)
	p.line("none", b.x0, b.y0, b.x1, b.y1)
	p.line("none", b.x0, b.y1, b.x1, b.y0)
}

// fieldScale is what the shades mean, with numbers at its ends and at the tolerance.
func (p *pen) fieldScale(f Field, b box, top, most float64) {
	const steps = 24
	more := ""
	if most > top {
		more = " and more"
	}
	for k := range steps {
		p.shade(box{b.x0 + (b.x1-b.x0)*float64(k)/steps, b.y0, b.x0 + (b.x1-b.x0)*float64(k+1)/steps, b.y1}, (float64(k)+0.5)/steps)
	}
	p.rect("axis", b, 0)
	p.text("number", after, b.x0, b.y1+17, "1.00")
	p.text("number", before, b.x1, b.y1+17, fmt.Sprintf("%.2f", top)+more)
	if f.Tolerance > 1 {
		x := b.x0 + (b.x1-b.x0)*(f.Tolerance-1)/(top-1)
		p.line("limit", x, b.y0-3, x, b.y1+3)
		p.text("label", after, b.x0, b.y1+34, fmt.Sprintf("%s %.2f", f.Limit, f.Tolerance))
	}
}

func (f Field) holds(s Whisker) bool {
	return s.X >= -0.5 && s.X <= float64(f.Width) && s.Y >= -0.5 && s.Y <= float64(f.Height)
}

// size keeps the picture's shape within the column.
func (f Field) size() (w, h float64) {
	if f.Width <= 0 || f.Height <= 0 {
		return fieldWidth, 0.75 * fieldWidth
	}
	w, h = fieldWidth, fieldWidth*float64(f.Height)/float64(f.Width)
	if h > fieldTallest {
		w, h = w*fieldTallest/h, fieldTallest
	}
	return max(w, 20), max(h, 20)
}
