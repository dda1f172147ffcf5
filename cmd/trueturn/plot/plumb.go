package plot

import (
	"fmt"
	"html/template"
	"math"

	"github.com/soniakeys/unit"
)

// Plumb shows where a star stands by the pole, for someone who faces it: a plumb line hangs through the pole down to the
// horizon, and the star's offset from it is counted in widths of the Moon. The horizon is far off: the line's lower
// part is broken to say so.
type Plumb struct {
	Name   string
	Star   string     // its name
	Right  unit.Angle // of the pole, on the sky, for someone who faces it
	Up     unit.Angle
	Facing string     // as "north"
	Pole   unit.Angle // altitude of the pole
}

// moonWidth is the Moon's mean apparent diameter in arcminutes (Meeus, Astronomical Algorithms, 2nd ed., chapter
// 55: semidiameter 358 473 400 km″/distance).
const moonWidth = 31.1

// Of a plumb drawing, in units.
const (
	plumbX    = 180.0 // where the line hangs
	plumbPole = 150.0 // the pole's height on it
	plumbFar  = 110.0 // the farthest a star is drawn from the pole
	horizonY  = 330.0
)

// SVG draws it.
func (l Plumb) SVG() template.HTML {
	right, up := l.Right.Min(), l.Up.Min()
	p := figure("plot", 360, 372, l.Name, l.words())
	p.line("line", plumbX, 16, plumbX, plumbPole+plumbFar+14)
	p.line("line dashed", plumbX, plumbPole+plumbFar+14, plumbX, horizonY-16)
	p.path("bob", [][2]float64{{plumbX - 7, horizonY - 22}, {plumbX + 7, horizonY - 22}, {plumbX, horizonY - 4}}, true)
	p.line("limit", 12, horizonY, 348, horizonY)
	p.text("label", after, 12, horizonY+20, "horizon, facing "+l.Facing)
	p.line("limit", plumbX-12, plumbPole, plumbX+12, plumbPole)
	p.text("words", before, plumbX-18, plumbPole+5, "pole")
	p.text("number", after, plumbX+12, horizonY-12, fmt.Sprintf("%.1f° below the pole", l.Pole.Deg()))
	if !finite(right, up) {
		return p.close()
	}
	scale := plumbScale(right, up)
	p.star(l, plumbX+right*scale, plumbPole-up*scale)
	p.moon(scale)
	return p.close()
}

// plumbScale in units an arcminute leaves the star inside, at a round share of the drawing.
func plumbScale(right, up float64) float64 {
	far := max(math.Hypot(right, up), moonWidth)
	return plumbFar / (roundStep(far/moonWidth) * moonWidth)
}

// star is the star with the way to it from the line: across and up.
func (p *pen) star(l Plumb, x, y float64) {
	p.line("mark", plumbX, y, x, y)
	p.circle("dot", x, y, 5)
	anchor, at := after, x+10
	if x+10+textWidth(l.Star) > 356 || (x < plumbX && x-10-textWidth(l.Star) > 4) {
		anchor, at = before, x-10
	}
	b := textBox(anchor, at, y-10, l.Star)
	at += max(0, 4-b.x0) - max(0, b.x1-356)
	p.text("words", anchor, at, y-10, l.Star)
}

// moon is the measure: the Moon's width, or ten of them where they would be small.
func (p *pen) moon(scale float64) {
	n, words := 1.0, "one Moon width"
	for n*moonWidth*scale < 12 && n < 1e3 {
		n *= 10
		words = fmt.Sprintf("%.0f Moon widths", n)
	}
	y := 24.0
	p.line("bar", 12, y, 12+n*moonWidth*scale, y)
	p.line("bar", 12, y-5, 12, y+5)
	p.line("bar", 12+n*moonWidth*scale, y-5, 12+n*moonWidth*scale, y+5)
	p.text("number", after, 12, y+20, words)
}

// words are the offset in Moon widths.
func (l Plumb) words() string {
	right, up := l.Right.Min()/moonWidth, l.Up.Min()/moonWidth
	if !finite(right, up) {
		return "Where the star stands is not known."
	}
	side, height := "right", "above"
	if right < 0 {
		side = "left"
	}
	if up < 0 {
		height = "below"
	}
	return fmt.Sprintf("%s stands %.1f Moon widths %s of the plumb line and %.1f %s the pole, facing %s.", l.Star, math.Abs(right), side, math.Abs(up), height, l.Facing)
}
