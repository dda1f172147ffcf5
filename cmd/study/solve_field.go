package main

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/cmd/study/scene"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem/catalog"
)

// solvePlot is a star list and the truth behind it.
type solvePlot struct {
	field  star.Field
	hint   solve.Hint
	camera scene.Camera
	aim    scene.Aim
	known  int // true stars in the list; the rest are false or too faint for the catalogue
}

// solveDot is an entry of the list in the making.
type solveDot struct {
	x, y, sigma float64
	mag         float64 // as measured
	drowned     float64 // magnitudes by which the sky there makes it harder to see
}

// easel draws one plan.
type solveEasel struct {
	solvePlan
	r            *rand.Rand
	camera       scene.Camera
	aim          scene.Aim
	wall         unit.Angle // the landscape begins across this direction from the middle
	moonX, moonY float64
}

// draw makes the star list of a plan: which stars are seen, how well, and what else.
func (p solvePlan) draw(r *rand.Rand) solvePlot {
	e := solveEasel{solvePlan: p, r: r, aim: anywhere(r), wall: unit.Angle(2 * math.Pi * r.Float64())}
	e.camera = scene.WithDiagonal(p.width, p.height, unit.AngleFromDeg(p.diagonalDeg))
	e.camera.K1 = p.k1
	// As lenses are: an optical axis some thousandths off the middle and a little tilt (common practice, no source).
	off := p.axisOff * float64(p.width)
	e.camera.OffX, e.camera.OffY = off*r.NormFloat64(), off*r.NormFloat64()
	e.camera.T1, e.camera.T2 = 0.0005*r.NormFloat64(), 0.0005*r.NormFloat64()
	e.moonX, e.moonY = float64(r.IntN(2)*p.width), float64(r.IntN(2)*p.height)
	dots := e.stars()
	pl := solvePlot{camera: e.camera, aim: e.aim, known: len(dots)}
	dots = append(dots, e.unlisted(dots)...)
	dots = append(dots, e.falseSpots(dots)...)
	pl.field = e.listed(dots)
	pl.hint.FocalPx = p.hint * e.camera.FocalPx
	return pl
}

// anywhere aims at the whole sky evenly, with any roll.
func anywhere(r *rand.Rand) scene.Aim {
	return scene.At(unit.RA(2*math.Pi*r.Float64()), unit.Angle(math.Asin(2*r.Float64()-1)), unit.Angle(2*math.Pi*r.Float64()))
}

// stars are the true ones: the easiest to see of those that neither cloud nor landscape takes.
func (e *solveEasel) stars() []solveDot {
	var dots []solveDot
	for _, s := range catalog.Stars() {
		if len(dots) >= 4*e.solvePlan.stars { // the Moon's corner may drown three of four
			break
		}
		x, y, in := e.camera.Pixel(e.aim, s.Direction)
		if !in || e.behindWall(x, y) || e.r.Float64() < e.lost {
			continue
		}
		dots = append(dots, e.seen(x, y, float64(s.Magnitude)))
	}
	slices.SortStableFunc(dots, func(a, b solveDot) int { return cmp.Compare(a.mag+a.drowned, b.mag+b.drowned) })
	return dots[:min(len(dots), e.solvePlan.stars)]
}

// seen is a star as it is measured. In the Moon's corner the sky's noise is four times what it is elsewhere: 1.5
// magnitudes and the positions' errors with it; the glow ends at 0.7 of the diagonal.
func (e *solveEasel) seen(x, y, mag float64) solveDot {
	d := solveDot{x: x, y: y, sigma: e.noisePx, mag: mag + e.magNoise*e.r.NormFloat64()}
	if e.moon {
		reach := 0.7 * math.Hypot(float64(e.width), float64(e.height))
		glow := max(0, 1-math.Hypot(x-e.moonX, y-e.moonY)/reach)
		d.drowned, d.sigma = 1.5*2*glow, d.sigma*(1+3*glow)
	}
	return d
}

// behindWall is whether a pixel shows landscape: one side of a line through the middle.
func (e *solveEasel) behindWall(x, y float64) bool {
	s, c := math.Sincos(e.wall.Rad())
	return e.hidden && (x-float64(e.width)/2)*c+(y-float64(e.height)/2)*s < 0
}

// unlisted fills the list up to the count asked for where a narrow field holds fewer stars of the catalogue: stars
// there are, beyond its limit. They are among the fainter half of the list and nowhere fainter than 8, to where
// the catalogue is all but complete.
func (e *solveEasel) unlisted(dots []solveDot) []solveDot {
	if len(dots) == 0 {
		return nil
	}
	middle, last := max(8, dots[len(dots)/2].mag), max(8, dots[len(dots)-1].mag)
	var more []solveDot
	for range e.solvePlan.stars - len(dots) {
		x, y := e.clearPlace()
		more = append(more, e.seen(x, y, solveBetween(e.r, middle, last+0.3)))
	}
	return more
}

func (e *solveEasel) clearPlace() (x, y float64) {
	for range 100 {
		if x, y = e.place(); !e.behindWall(x, y) {
			break
		}
	}
	return x, y
}

func (e *solveEasel) place() (x, y float64) {
	return e.r.Float64() * float64(e.width-1), e.r.Float64() * float64(e.height-1)
}

// falseSpots are hot pixels of any brightness anywhere, and as many lamps: bright, in one to three clusters, in the
// landscape where there is one.
func (e *solveEasel) falseSpots(dots []solveDot) []solveDot {
	if len(dots) == 0 {
		return nil
	}
	n := int(math.Round(float64(len(dots)) * e.falseShare / (1 - e.falseShare)))
	var spots []solveDot
	for range n - n/2 {
		x, y := e.place()
		spots = append(spots, solveDot{x: x, y: y, sigma: e.noisePx, mag: dots[e.r.IntN(len(dots))].mag})
	}
	return append(spots, e.lamps(n/2, dots[0].mag)...)
}

// lamps are up to two magnitudes brighter than the brightest star, a few hundredths of the picture's diagonal
// from their cluster's middle.
func (e *solveEasel) lamps(n int, brightest float64) []solveDot {
	type at struct{ x, y float64 }
	clusters := make([]at, 1+e.r.IntN(3))
	for i := range clusters {
		for range 100 {
			if clusters[i].x, clusters[i].y = e.place(); !e.hidden || e.behindWall(clusters[i].x, clusters[i].y) {
				break
			}
		}
	}
	spread := 0.03 * math.Hypot(float64(e.width), float64(e.height))
	var spots []solveDot
	for len(spots) < n {
		c := clusters[e.r.IntN(len(clusters))]
		x, y := c.x+spread*e.r.NormFloat64(), c.y+spread*e.r.NormFloat64()
		if x < 0 || y < 0 || x > float64(e.width-1) || y > float64(e.height-1) {
			continue
		}
		spots = append(spots, solveDot{x: x, y: y, sigma: e.noisePx, mag: brightest - 2*e.r.Float64()})
	}
	return spots
}

// listed turns dots into what detection hands on: measured places with their errors, brightest first.
func (e *solveEasel) listed(dots []solveDot) star.Field {
	slices.SortStableFunc(dots, func(a, b solveDot) int { return cmp.Compare(a.mag, b.mag) })
	f := star.Field{Width: e.width, Height: e.height}
	for _, d := range dots {
		s := star.Star{X: d.x + d.sigma*e.r.NormFloat64(), Y: d.y + d.sigma*e.r.NormFloat64(),
			XErr: d.sigma, YErr: d.sigma, Flux: math.Pow(10, -0.4*(d.mag-12))}
		if e.mirrored {
			s.X = float64(e.width-1) - s.X
		}
		f.Stars = append(f.Stars, s)
	}
	return f
}

// offBy is how far the middle of a solution's picture is from the truth.
func (p solvePlot) offBy(sol solve.Solution) unit.Angle {
	want, got := p.camera.Middle(p.aim), sol.Centre()
	return unit.Angle(math.Atan2(r3.Norm(r3.Cross(want, got)), r3.Dot(want, got)))
}
