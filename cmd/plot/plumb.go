package plot

import (
	"fmt"
	"math"
	"trueturn/cmd/markup"

	"github.com/soniakeys/unit"
)

// Plumb shows where a star stands by the pole, for someone who faces it: a plumb line hangs through the pole down to the
// horizon, and the star's offset from it is counted in widths of the Moon. A horizon that is far off is not to scale:
// the line's lower part is broken to say so.
type Plumb struct {
	Name     string
	Star     string     // its name
	Right    unit.Angle // of the pole, on the sky, for someone who faces it
	Up       unit.Angle
	Facing   string     // as "north"
	Pole     unit.Angle // altitude of the pole
	Later    []Offset   // where the star will be, in steps
	Then     string     // a word to the last of them, as "in an hour"
	Words    string     // the offset in plain words, under the drawing (over a finder's)
	Inverted bool       // turned upside down, as an inverting finder shows it
}

// Offset is a place beside the pole, as Right and Up of [Plumb].
type Offset struct{ Right, Up unit.Angle }

// moonWidth is the Moon's mean apparent diameter in arcminutes (Meeus, Astronomical Algorithms, 2nd ed., chapter
// 55: semidiameter 358 473 400 km″/distance).
const moonWidth = 31.1

// Of a plumb drawing, in units.
const (
	plumbX      = 180.0 // where the line hangs
	plumbPole   = 150.0 // the pole's height on it
	plumbFar    = 110.0 // the farthest a star is drawn from the pole
	horizonY    = 330.0
	plumbHeight = 392.0
)

// SVG draws it.
func (l Plumb) SVG() markup.Safe {
	known := finite(l.Right.Rad(), l.Up.Rad())
	scale := 0.0 // units an arcminute
	if known {
		scale = plumbScale(l)
	}
	d := &plumbPen{figure("plot", 2*plumbX, plumbHeight, l.Name, l.words()), l.Inverted}
	d.ground(l, scale)
	if known {
		d.moon(scale, l.Pole.Min()*scale < horizonY-plumbPole)
		d.star(l, scale)
	}
	return d.close()
}

// plumbPen draws from the pole: to the right and up, in units, by eye; a finder turns it all about the pole.
type plumbPen struct {
	*pen
	inverted bool
}

// at is the drawing's place of an offset from the pole. A finder's picture is moved down, so that the far end of the line
// stays inside.
func (d *plumbPen) at(right, up float64) (x, y float64) {
	if d.inverted {
		return plumbX - right, plumbHeight - plumbPole + up
	}
	return plumbX + right, plumbPole - up
}

func (d *plumbPen) stroke(class string, right0, up0, right1, up1 float64) {
	x0, y0 := d.at(right0, up0)
	x1, y1 := d.at(right1, up1)
	d.line(class, x0, y0, x1, y1)
}

// keepOff keeps words off a line.
func (d *plumbPen) keepOff(right0, up0, right1, up1 float64) {
	x0, y0 := d.at(right0, up0)
	x1, y1 := d.at(right1, up1)
	d.cover([][2]float64{{x0, y0}, {x1, y1}})
}

// ground is the plumb line, the pole on it, and the horizon: where it is when that lies inside, else at the end of a broken
// line.
func (d *plumbPen) ground(l Plumb, scale float64) {
	const far = horizonY - plumbPole
	down, broken := far, true
	if at := l.Pole.Min() * scale; scale > 0 && at < far {
		down, broken = max(at, 0), false
	}
	solid := down
	if broken {
		solid = plumbFar + 14
		d.stroke("line dashed", 0, -solid, 0, 16-far)
	}
	d.stroke("line", 0, plumbPole-16, 0, -solid)
	if down > 50 {
		d.bob(down)
	}
	d.stroke("limit", 12-plumbX, -down, plumbX-12, -down)
	d.stroke("limit", -12, 0, 12, 0)
	x, y := d.at(0, 0)
	d.text("words", before, x-18, y+5, "pole")
	d.signs(l, broken)
}

// bob is the weight at the line's end: its tip points down.
func (d *plumbPen) bob(down float64) {
	var corner [3][2]float64
	for i, c := range [3][2]float64{{-7, 22 - down}, {7, 22 - down}, {0, 4 - down}} {
		corner[i][0], corner[i][1] = d.at(c[0], c[1])
	}
	d.path("bob", corner[:], true)
}

// signs are the words to the horizon.
func (d *plumbPen) signs(l Plumb, broken bool) {
	caption := horizonY + 42
	if d.inverted {
		caption = 24
	}
	if l.Words != "" {
		d.text("number", after, 12, caption, l.Words)
	}
	below := "below the pole"
	if finite(l.Pole.Deg()) {
		below = fmt.Sprintf("%.1f° below the pole", l.Pole.Deg())
	}
	switch {
	case d.inverted:
		d.text("label", after, 12, plumbHeight-horizonY-16, "inverting finder: the horizon is on top")
		if broken {
			d.text("number", after, plumbX+12, plumbHeight-horizonY+22, below)
		}
	case broken:
		d.text("label", after, 12, horizonY+20, "horizon, facing "+l.Facing)
		d.text("number", after, plumbX+12, horizonY-12, below)
	default:
		d.text("label", after, 12, horizonY+20, "horizon "+below+", facing "+l.Facing)
	}
}

// plumbScale in units an arcminute leaves the star inside, now and later.
func plumbScale(l Plumb) float64 {
	far := max(math.Hypot(l.Right.Min(), l.Up.Min()), moonWidth)
	for _, o := range l.Later {
		if d := math.Hypot(o.Right.Min(), o.Up.Min()); finite(d) {
			far = max(far, d)
		}
	}
	return plumbFar / far
}

// star is the star with the way to it from the line, across and up, and its way from there: hollow dots, the last with a word.
func (d *plumbPen) star(l Plumb, scale float64) {
	right, up := l.Right.Min()*scale, l.Up.Min()*scale
	d.stroke("mark", 0, up, right, up)
	d.keepOff(0, up, right, up)
	d.keepOff(0, -plumbFar, 0, plumbFar)
	var lastX, lastY float64
	for _, o := range l.Later {
		if finite(o.Right.Rad(), o.Up.Rad()) {
			lastX, lastY = d.dot("hollow", o.Right.Min()*scale, o.Up.Min()*scale, 3)
		}
	}
	x, y := d.dot("dot", right, up, 5)
	d.beside(x, y, l.Star, 4)
	if len(l.Later) > 0 && l.Then != "" && lastX != 0 {
		d.beside(lastX, lastY, l.Then, 4)
	}
}

// dot is a star that words keep off.
func (d *plumbPen) dot(class string, right, up, r float64) (x, y float64) {
	x, y = d.at(right, up)
	d.circle(class, x, y, r)
	d.curves = append(d.curves, [2]float64{x, y - r + 2}, [2]float64{x, y + r - 2})
	return x, y
}

// beside writes a word next to a dot, on the side away from the line where there is room, and off what stands there.
func (d *plumbPen) beside(x, y float64, words string, edge float64) {
	right := 2*plumbX - edge
	anchors := []string{after, before}
	if x+10+textWidth(words) > right || (x < plumbX && x-10-textWidth(words) > edge) {
		anchors = []string{before, after}
	}
	const lastResort = 34
	for _, lift := range []float64{-10, 5, 20, -24, 32, -38, lastResort} {
		for _, anchor := range anchors {
			at := x + 10
			if anchor == before {
				at = x - 10
			}
			b := textBox(anchor, at, y+lift, words)
			shift := max(0, edge-b.x0) - max(0, b.x1-right)
			b.x0, b.x1 = b.x0+shift, b.x1+shift
			if lift == lastResort || d.free(b, box{0, 0, 2 * plumbX, plumbHeight}) {
				d.text("words", anchor, at+shift, y+lift, words)
				return
			}
		}
	}
}

// moon is the measure: the Moon's width, or ten of them where they would be small. It lies by the broken part of the line,
// where no star comes, else in the corner.
func (d *plumbPen) moon(scale float64, low bool) {
	n, words := 1.0, "one Moon width"
	for n*moonWidth*scale < 12 && n < 1e3 {
		n *= 10
		words = fmt.Sprintf("%.0f Moon widths", n)
	}
	y := 284.0
	switch {
	case low && d.inverted:
		y = plumbHeight - 40
	case low:
		y = 24
	case d.inverted:
		y = plumbHeight - horizonY + 30
	}
	d.cover([][2]float64{{12, y}, {12 + n*moonWidth*scale, y}})
	d.line("bar", 12, y, 12+n*moonWidth*scale, y)
	d.line("bar", 12, y-5, 12, y+5)
	d.line("bar", 12+n*moonWidth*scale, y-5, 12+n*moonWidth*scale, y+5)
	d.text("number", after, 12, y+20, words)
}

// words are the offset in Moon widths.
func (l Plumb) words() string {
	right, up := l.Right.Min()/moonWidth, l.Up.Min()/moonWidth
	if !finite(right, up) {
		return "Where the star stands is not known."
	}
	if l.Inverted {
		return fmt.Sprintf("Upside down, as an inverting finder shows it: %s stands %.1f Moon widths %s of the plumb line and %.1f %s the pole.",
			l.Star, math.Abs(right), leftRight(-right), math.Abs(up), belowAbove(-up))
	}
	return fmt.Sprintf("%s stands %.1f Moon widths %s of the plumb line and %.1f %s the pole, facing %s.", l.Star, math.Abs(right), leftRight(right), math.Abs(up), belowAbove(up), l.Facing)
}

func leftRight(right float64) string {
	if right < 0 {
		return "left"
	}
	return "right"
}

func belowAbove(up float64) string {
	if up < 0 {
		return "below"
	}
	return "above"
}
