package simulate

import (
	"math"

	"trueturn/ephem"
)

// outline is the landscape as it stands in one picture: altitude less the
// outline's, worked out at every outlineStep'th pixel and straight between.
type outline struct {
	over   []float32 // px above the outline, row after row of the coarse grid
	width  int       // of the grid
	soft   float32   // px over which the edge fades
	light  float32
	middle moment
}

const outlineStep = 4

// outline works out where the landscape stands. It moves with a turning camera,
// so its edge is soft by the way it goes in an exposure.
func (r *Run) outline(m moment) *outline {
	c, l := r.e.Camera, r.e.Conditions.Landscape
	o := &outline{
		width:  c.Width/outlineStep + 2,
		soft:   float32(r.fwhm(0)),
		light:  float32(l.Light),
		middle: m,
	}
	if !r.e.Mount.Tripod {
		o.soft += float32(omega * math.Abs(r.e.Mount.Rate) * r.e.Exposure.Seconds() * m.lens.focal)
	}
	height := c.Height/outlineStep + 2
	o.over = make([]float32, o.width*height)
	back := m.attitude.Inverse()
	for j := range height {
		for i := range o.width {
			ray := m.lens.ray(float64(i*outlineStep), float64(j*outlineStep))
			h := ephem.HorizontalOf(back.Apply(ray))
			o.over[j*o.width+i] = float32((h.Altitude.Rad() - l.top(h.Azimuth.Rad())) * m.lens.focal)
		}
	}
	return o
}

// cover adds the sky's light to the stars' in a row, and puts the dark ground
// before both.
func (o *outline) cover(row, light []float32, y int) {
	j, v := y/outlineStep, float32(y%outlineStep)/outlineStep
	above, below := o.over[j*o.width:], o.over[(j+1)*o.width:]
	for x := range row {
		i, u := x/outlineStep, float32(x%outlineStep)/outlineStep
		over := (above[i]*(1-u)+above[i+1]*u)*(1-v) + (below[i]*(1-u)+below[i+1]*u)*v
		sky := min(max(over/o.soft+0.5, 0), 1)
		row[x] = (row[x]+light[x])*sky + light[x]*o.light*(1-sky)
	}
}
