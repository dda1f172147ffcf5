package sheet

import (
	"bytes"
	"fmt"
	"html"
	"math"
)

// Chart is curves over one axis, black on white for print: they differ by their marks and dashes, not by colour.
type Chart struct {
	Title  string
	X, Y   Axis
	Series []Series
	Lines  []Line
}

// Axis is named, with its unit. Include are values that must lie inside. On a logarithmic one what is not above zero is
// left out.
type Axis struct {
	Label   string
	Log     bool
	Include []float64
}

// Series is one curve; Sigma, if given, are standard errors of Y. Loose ones are points that no line joins.
type Series struct {
	Name        string
	X, Y, Sigma []float64
	Loose       bool
}

// Line is a level across the chart, such as a target.
type Line struct {
	At   float64
	Name string
}

// The drawing's measures.
const (
	width, height            = 640.0, 400.0
	left, right, top, bottom = 70.0, 16.0, 34.0, 48.0
	legendStep, legendX      = 16.0, 10.0
	ticksAcross, ticksUp     = 8, 7
	markSize, headline       = 3.0, 20.0
)

// SVG draws the chart.
func (c Chart) SVG() []byte {
	x, y := c.scales()
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%g" height="%g" viewBox="0 0 %[1]g %[2]g" role="img" fill="none" stroke="#000" font-family="sans-serif" font-size="12">`+"\n", width, height)
	fmt.Fprintf(&b, "<title>%s</title>\n<rect width=\"%g\" height=\"%g\" fill=\"#fff\" stroke=\"none\"/>\n", html.EscapeString(c.Title), width, height)
	c.grid(&b, x, y)
	for _, l := range c.Lines {
		if at := y.at(l.At); finite(at) {
			fmt.Fprintf(&b, `<line stroke-dasharray="2 3" x1="%g" x2="%g" y1="%.2f" y2="%.2[3]f"/>`, left, width-right, at)
			fmt.Fprintf(&b, "<text fill=\"#000\" stroke=\"none\" x=\"%g\" y=\"%.2f\" text-anchor=\"end\">%s</text>\n", width-right-4, at-4, html.EscapeString(l.Name))
		}
	}
	for i, s := range c.Series {
		s.draw(&b, i, x, y)
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// scale maps values to the drawing.
type scale struct {
	log                 bool
	low, high, from, to float64 // low and high as the scale counts, that is logarithms on a logarithmic one
}

func (s scale) count(v float64) float64 {
	if s.log {
		return math.Log10(v) // NaN or −∞ where it cannot be drawn
	}
	return v
}

func (s scale) at(v float64) float64 {
	return s.from + (s.count(v)-s.low)/(s.high-s.low)*(s.to-s.from)
}

// inside is at, kept within the frame.
func (s scale) inside(v float64) float64 {
	if s.log && v <= 0 {
		return s.from
	}
	return math.Max(math.Min(s.at(v), math.Max(s.from, s.to)), math.Min(s.from, s.to))
}

func (c Chart) scales() (x, y scale) {
	x, y = scale{log: c.X.Log, from: left, to: width - right}, scale{log: c.Y.Log, from: height - bottom, to: top}
	xs, ys := append([]float64{}, c.X.Include...), append([]float64{}, c.Y.Include...)
	for _, s := range c.Series {
		xs, ys = append(xs, s.X...), append(ys, s.Y...)
	}
	for _, l := range c.Lines {
		ys = append(ys, l.At)
	}
	x.cover(xs)
	y.cover(ys)
	return x, y
}

// cover spans what can be drawn, with a twentieth of room.
func (s *scale) cover(values []float64) {
	s.low, s.high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if v = s.count(v); finite(v) {
			s.low, s.high = min(s.low, v), max(s.high, v)
		}
	}
	if s.low > s.high {
		s.low, s.high = 0, 1
	}
	room := 0.05 * (s.high - s.low)
	if room == 0 {
		room = 0.5
	}
	s.low, s.high = s.low-room, s.high+room
}

// ticks are round values: 1, 2 or 5 times a power of ten.
func (s scale) ticks(most int) []float64 {
	var out []float64
	if s.log {
		for d := math.Floor(s.low); d <= s.high; d++ {
			for _, m := range []float64{1, 2, 5} {
				if v := m * math.Pow(10, d); math.Log10(v) >= s.low && math.Log10(v) <= s.high && (m == 1 || s.high-s.low < 3) {
					out = append(out, v)
				}
			}
		}
		return out
	}
	step := math.Pow(10, math.Floor(math.Log10((s.high-s.low)/float64(most))))
	for _, m := range []float64{2, 2.5, 2} {
		if (s.high-s.low)/step > float64(most) {
			step *= m
		}
	}
	for k := math.Ceil(s.low / step); k*step <= s.high; k++ {
		out = append(out, k*step)
	}
	return out
}

func (c Chart) grid(b *bytes.Buffer, x, y scale) {
	for _, v := range x.ticks(ticksAcross) {
		fmt.Fprintf(b, `<line stroke="#ddd" x1="%.2f" x2="%.2[1]f" y1="%g" y2="%g"/>`, x.at(v), top, height-bottom)
		fmt.Fprintf(b, "<text fill=\"#000\" stroke=\"none\" x=\"%.2f\" y=\"%g\" text-anchor=\"middle\">%s</text>\n", x.at(v), height-bottom+16, number(v))
	}
	for _, v := range y.ticks(ticksUp) {
		fmt.Fprintf(b, `<line stroke="#ddd" x1="%g" x2="%g" y1="%.2f" y2="%.2[3]f"/>`, left, width-right, y.at(v))
		fmt.Fprintf(b, "<text fill=\"#000\" stroke=\"none\" x=\"%g\" y=\"%.2f\" text-anchor=\"end\">%s</text>\n", left-6, y.at(v)+4, number(v))
	}
	fmt.Fprintf(b, `<rect x="%g" y="%g" width="%g" height="%g"/>`, left, top, width-left-right, height-top-bottom)
	fmt.Fprintf(b, `<text fill="#000" stroke="none" x="%g" y="%g" font-weight="bold">%s</text>`, left, headline, html.EscapeString(c.Title))
	fmt.Fprintf(b, `<text fill="#000" stroke="none" x="%g" y="%g" text-anchor="end">%s</text>`, width-right, height-10, html.EscapeString(c.X.Label))
	fmt.Fprintf(b, "<text fill=\"#000\" stroke=\"none\" transform=\"translate(14 %g) rotate(-90)\" text-anchor=\"middle\">%s</text>\n", (top+height-bottom)/2, html.EscapeString(c.Y.Label))
}

var dashes = [...]string{"none", "7 3", "2 2", "9 3 2 3", "12 4", "4 6"}

// draw puts a curve, its marks and its line of the legend.
func (s Series) draw(b *bytes.Buffer, i int, x, y scale) {
	dash := fmt.Sprintf(`stroke-dasharray="%s"`, dashes[i%len(dashes)])
	path, pen := "", "M"
	for k := range min(len(s.X), len(s.Y)) {
		px, py := x.at(s.X[k]), y.at(s.Y[k])
		if !finite(px, py) {
			pen = "M"
			continue
		}
		path += fmt.Sprintf("%s%.2f %.2f", pen, px, py)
		pen = "L"
		b.WriteString(mark(i, px, py))
		if k < len(s.Sigma) {
			if low, high := y.inside(s.Y[k]-s.Sigma[k]), y.inside(s.Y[k]+s.Sigma[k]); finite(low, high) {
				fmt.Fprintf(b, `<line x1="%.2f" x2="%.2[1]f" y1="%.2f" y2="%.2f"/>`, px, low, high)
			}
		}
	}
	if !s.Loose && path != "" {
		fmt.Fprintf(b, `<path d="%s" %s/>`, path, dash)
	}
	if s.Name == "" {
		return
	}
	ly := top + legendStep*float64(i+1)
	if !s.Loose {
		fmt.Fprintf(b, `<path d="M%g %gh30" %s/>`, left+legendX, ly-4, dash)
	}
	fmt.Fprintf(b, "%s<text fill=\"#000\" stroke=\"none\" x=\"%g\" y=\"%g\">%s</text>\n", mark(i, left+legendX+15, ly-4), left+legendX+36, ly, html.EscapeString(s.Name))
}

// mark is a sign for curve i: disc, ring, square, triangle, cross, diamond.
func mark(i int, x, y float64) string {
	r := markSize
	switch i % 6 {
	case 0:
		return fmt.Sprintf(`<circle cx="%.2f" cy="%.2f" r="%g" fill="#000"/>`, x, y, r)
	case 1:
		return fmt.Sprintf(`<circle cx="%.2f" cy="%.2f" r="%g" fill="#fff"/>`, x, y, r)
	case 2:
		return fmt.Sprintf(`<rect x="%.2f" y="%.2f" width="%g" height="%[3]g" fill="#000"/>`, x-r, y-r, 2*r)
	case 3:
		return fmt.Sprintf(`<path d="M%.2f %.2fl%g %gh%gz" fill="#fff"/>`, x, y-r, r, 2*r, -2*r)
	case 4:
		return fmt.Sprintf(`<path d="M%.2f %.2fl%g %gm0 %gl%g %[3]g"/>`, x-r, y-r, 2*r, 2*r, -2*r, -2*r)
	}
	return fmt.Sprintf(`<path d="M%.2f %.2fl%g %gl%g %[3]gl%[5]g %[5]gz" fill="#000"/>`, x, y-r-1, r+1, r+1, -r-1)
}

func number(v float64) string { return html.EscapeString(trimmed(v)) }

func trimmed(v float64) string {
	if math.Abs(v) < 1e-12 {
		return "0"
	}
	return fmt.Sprintf("%.4g", v)
}

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
