package plot

import (
	"fmt"
	"html/template"
	"math"

	"github.com/soniakeys/unit"
)

// Whisker is how long a star is drawn out, and which way.
type Whisker struct {
	X, Y       float64    // pixels, from the top left corner
	Elongation float64    // long axis over short, 1 for round
	Angle      unit.Angle // of the long axis, from +x (right) toward +y (down)
}

// Field shows the elongation of stars over a picture.
type Field struct {
	Name, Detail  string
	Width, Height int       // of the picture in pixels
	Whiskers      []Whisker // the first few hundred are drawn: put the brightest first
	Key           float64   // the elongation the key beneath explains, as the tolerance; 0: 1.25
}

// Of a field drawing, in units.
const (
	fieldWidth   = 340.0
	fieldTallest = 420.0
	perExcess    = 64.0 // length of a whisker for an elongation of 2, twice over
	longest      = 60.0
	roundBelow   = 1.05 // drawn as a dot: no direction can be seen in it
	mostWhiskers = 400
)

// SVG draws the field; what lies outside the picture or is not finite is left out.
func (f Field) SVG() template.HTML {
	w, h := f.size()
	p := figure("plot", 360, h+46, f.Name, f.Detail)
	frame := box{(360 - w) / 2, 6, (360 + w) / 2, 6 + h}
	p.rect("axis", frame, 0)
	p.inside(frame)
	drawn := 0
	for _, s := range f.Whiskers {
		if drawn == mostWhiskers {
			break
		}
		if finite(s.X, s.Y, s.Elongation, s.Angle.Rad()) && s.Elongation >= 1 && f.holds(s) {
			x := frame.x0 + s.X/float64(f.Width)*w
			y := frame.y0 + s.Y/float64(f.Height)*h
			p.whisker(x, y, s)
			drawn++
		}
	}
	p.outside()
	if drawn == 0 {
		p.text("words", middle, 180, frame.y0+h/2, "no star measured")
		return p.close()
	}
	key := f.Key
	if !finite(key) || key <= 1 {
		key = 1.25
	}
	p.whisker(frame.x0+longest/2, frame.y1+24, Whisker{Elongation: key})
	p.text("label", after, frame.x0+longest+8, frame.y1+29, fmt.Sprintf("%.2f times as long as wide", key))
	return p.close()
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

// whisker draws one star.
func (p *pen) whisker(x, y float64, s Whisker) {
	if s.Elongation < roundBelow {
		p.circle("dot", x, y, 1.8)
		return
	}
	half := min(longest, perExcess*(s.Elongation-1)) / 2
	sin, cos := math.Sincos(s.Angle.Rad())
	p.line("whisker", x-half*cos, y-half*sin, x+half*cos, y+half*sin)
}
