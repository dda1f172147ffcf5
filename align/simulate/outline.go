package simulate

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// outline is the landscape as it stands in one picture: altitude less the
// outline's, worked out at every outlineStep'th pixel and straight between.
type outline struct {
	over   []float32 // px above the outline, row after row of the coarse grid
	ground []float32 // the ground's brightness against the sky's, on the same grid
	width  int       // of the grid
	soft   float32   // px over which the edge fades
}

const outlineStep = 4

// outline works out where the landscape stands. It moves with a turning camera,
// so its edge is soft by the way it goes in an exposure.
func (r *Run) outline(m moment) *outline {
	c, l := r.e.Camera, r.e.Conditions.Landscape
	o := &outline{width: c.Width/outlineStep + 2, soft: float32(r.fwhm(0))}
	if !r.e.Mount.Tripod {
		o.soft += float32(omega * math.Abs(r.e.Mount.Rate) * r.e.Exposure.Seconds() * m.lens.focal)
	}
	n := o.width * (c.Height/outlineStep + 2)
	o.over, o.ground = make([]float32, n), make([]float32, n)
	back := m.attitude.Inverse()
	for k := range n {
		ray := m.lens.ray(float64(k%o.width*outlineStep), float64(k/o.width*outlineStep))
		h := ephem.HorizontalOf(back.Apply(ray))
		o.over[k] = float32((h.Altitude.Rad() - l.top(h.Azimuth.Rad())) * m.lens.focal)
		o.ground[k] = float32(l.ground(h))
	}
	return o
}

// ground is the brightness of the ground in a direction against the sky's:
// patches of woods and walls.
func (l Landscape) ground(h ephem.Horizontal) float64 {
	a, b := h.Azimuth.Rad(), h.Altitude.Rad()
	patch := math.Sin(37*a+61*b) * math.Sin(89*b-23*a+2)
	return l.Light * (1 + 0.6*patch + 0.3*math.Sin(301*a+5*patch))
}

// addLamps puts lights on the ground: lit windows and street lamps, which stand
// with the landscape and so trail where the stars stand still.
func (p *picture) addLamps(path []moment) {
	l := p.r.e.Conditions.Landscape
	for n := range l.Lamps {
		dice := p.r.e.dice("lamp", n)
		h := ephem.Horizontal{Azimuth: unit.Angle(2 * math.Pi * dice.Float64())}
		top := l.top(h.Azimuth.Rad())
		h.Altitude = unit.Angle(top - dice.Float64()*(0.02+math.Abs(top)))
		electrons := p.r.e.Camera.FullScale * (0.5 + 20*dice.ExpFloat64())
		var dots []dot
		for _, m := range path {
			if x, y, ok := m.lens.pixel(m.attitude.Apply(h.Direction())); ok {
				dots = append(dots, dot{x, y})
			}
		}
		if len(dots) == len(path) {
			p.lamps = p.add(p.lamps, dots, []dot{{0, 0}}, electrons)
		}
	}
}

// cover adds the sky's light to the stars' in a row, and puts the dark ground
// before both.
func (o *outline) cover(row, light []float32, y int) {
	j, v := y/outlineStep, float32(y%outlineStep)/outlineStep
	for x := range row {
		k, u := j*o.width+x/outlineStep, float32(x%outlineStep)/outlineStep
		sky := min(max(between4(o.over, k, o.width, u, v)/o.soft+0.5, 0), 1)
		row[x] = (row[x] + light[x]) * sky
		if sky < 1 {
			row[x] += light[x] * between4(o.ground, k, o.width, u, v) * (1 - sky)
		}
	}
}

// between4 is the value within a cell of a grid, straight between its corners.
func between4(grid []float32, k, width int, u, v float32) float32 {
	above := grid[k] + (grid[k+1]-grid[k])*u
	below := grid[k+width] + (grid[k+width+1]-grid[k+width])*u
	return above + (below-above)*v
}
