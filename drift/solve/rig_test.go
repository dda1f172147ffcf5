package solve

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// A rig is a camera and a sky of the tests' own: places are worked out from the model as the comments of the package state
// it, and no code of the package takes part.

// brown is the ideal offset of a measured place, as the comment of Lens has it.
func brown(l Lens, x, y float64) (u, v float64) {
	half := math.Hypot(float64(l.Width), float64(l.Height)) / 2
	mx, my := x-float64(l.Width-1)/2-l.CentreX, y-float64(l.Height-1)/2-l.CentreY
	xi, eta := mx/half, my/half
	rho2 := xi*xi + eta*eta
	g := 1 + l.K1*rho2 + l.K2*rho2*rho2
	return mx*g + half*(l.P1*(rho2+2*xi*xi)+2*l.P2*xi*eta), my*g + half*(l.P2*(rho2+2*eta*eta)+2*l.P1*xi*eta)
}

// seenAt is where a direction in the camera frame is measured: brown turned round, to rounding.
func seenAt(l Lens, d r3.Vec) (x, y float64) {
	u, v := l.FocalPx*d.X/d.Z, l.FocalPx*d.Y/d.Z
	x, y = u+float64(l.Width-1)/2, v+float64(l.Height-1)/2
	for range 80 {
		iu, iv := brown(l, x, y)
		x, y = x+u-iu, y+v-iv
	}
	return x, y
}

// sky is so many directions, evenly over a cone about z that holds the lens's picture and a little more.
func skyOver(l Lens, n int, r *rand.Rand) []r3.Vec {
	least := math.Cos(math.Atan(1.1 * math.Hypot(float64(l.Width), float64(l.Height)) / 2 / l.FocalPx))
	stars := make([]r3.Vec, n)
	for i := range stars {
		z, a := 1-(1-least)*r.Float64(), 2*math.Pi*r.Float64()
		s := math.Sqrt(1 - z*z)
		stars[i] = r3.Vec{X: s * math.Cos(a), Y: s * math.Sin(a), Z: z}
	}
	return stars
}

// rig is a group of pictures taken with one lens.
type rig struct {
	lens      Lens
	stars     []r3.Vec    // where the catalogue has them, in the ICRS
	off       []r3.Vec    // by how much it errs; nil: nowhere
	attitudes []turn.Turn // from the ICRS to the camera
	focal     []float64   // each picture's own; nil: the lens's
	shift     [][2]float64
	noisePx   float64 // of the places
	statedPx  float64 // what is said of it; 0: the noise
	sky       turn.Turn
}

// views are the pictures as Solve would hand them on, each begun a little off the truth.
func (g rig) views(r *rand.Rand) []View {
	list := make([]View, len(g.attitudes))
	for i, a := range g.attitudes {
		l := g.lens
		if g.focal != nil {
			l.FocalPx = g.focal[i]
		}
		sol := Solution{Pose: Pose{a.Then(turn.Exp(r3.Vec{X: 2e-4, Y: -1e-4, Z: 3e-4})), Lens{Width: l.Width, Height: l.Height, FocalPx: l.FocalPx * 1.0005}}}
		sol.Sightings = g.sightings(i, l, a, r)
		list[i] = View{Solution: sol, Sky: g.sky.Apply}
	}
	return list
}

// sightings are the stars that picture i shows.
func (g rig) sightings(i int, l Lens, a turn.Turn, r *rand.Rand) (ss []Sighting) {
	stated := g.statedPx
	if stated == 0 {
		stated = g.noisePx
	}
	for k, s := range g.stars {
		if g.off != nil {
			s = r3.Unit(r3.Add(s, g.off[k]))
		}
		x, y := seenAt(l, a.Apply(s))
		if g.shift != nil {
			x, y = x+g.shift[i][0], y+g.shift[i][1]
		}
		if !(x >= 0 && y >= 0 && x <= float64(l.Width-1) && y <= float64(l.Height-1)) { // far outside brown has no inverse
			continue
		}
		ss = append(ss, Sighting{X: x + g.noisePx*r.NormFloat64(), Y: y + g.noisePx*r.NormFloat64(),
			VarX: stated * stated, VarY: stated * stated, Direction: g.stars[k], Catalog: int32(k), Star: k})
	}
	return ss
}

// around are n attitudes that look along z, each a little elsewhere and rolled.
func around(n int, degrees float64, r *rand.Rand) []turn.Turn {
	list := make([]turn.Turn, n)
	for i := range list {
		s := degrees * math.Pi / 180
		list[i] = turn.Exp(r3.Vec{X: s * r.NormFloat64(), Y: s * r.NormFloat64(), Z: s * r.NormFloat64()})
	}
	return list
}

// vector is a direction's error: normal, of a given size along each of two axes across z.
func vector(sigma float64, r *rand.Rand) r3.Vec {
	return r3.Vec{X: sigma * r.NormFloat64(), Y: sigma * r.NormFloat64(), Z: sigma * r.NormFloat64()}
}
