package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/star"
	"trueturn/ephem/catalog"
)

// scene is one picture's stars as the search wants them.
type scene struct {
	width, height int
	half          float64 // half the diagonal, px
	spots         []spot  // all usable, brightest first
	bright        int     // how many of them take part in search and likelihood
	grid          grid    // of the bright ones
	mirrored      bool    // columns reversed
	rowsFlipped   bool    // rows reversed
	focalPx       float64 // a neighbour's focal length, 0 if none
	focalSigma    float64 // how far this picture's may differ, relative
}

// spot is a star of the picture.
type spot struct {
	x, y, vx, vy, cxy float64
	index             int // in the field
	fit               bool
}

// brightSpots bounds the work of search and likelihood.
const brightSpots = 150

// newScene keeps what can be a star. Blends and saturated stars help to recognise
// the field but are not trusted in the fit.
func newScene(f star.Field) scene {
	sc := scene{width: f.Width, height: f.Height, half: math.Hypot(float64(f.Width), float64(f.Height)) / 2}
	for i, s := range f.Stars {
		if !usable(&s, &f) {
			continue
		}
		sc.spots = append(sc.spots, spot{
			x: s.X, y: s.Y, vx: s.XErr * s.XErr, vy: s.YErr * s.YErr, cxy: s.XYCov,
			index: i, fit: s.Flags&(star.Blend|star.Edge) == 0,
		})
	}
	sc.index()
	return sc
}

// usable is whether a spot may be a star, stands in the picture or a pixel beside it, and has an error that is one; what is
// not a number fails.
func usable(s *star.Star, f *star.Field) bool {
	return s.Flags&star.Hot == 0 && s.X >= -1 && s.X <= float64(f.Width) && s.Y >= -1 && s.Y <= float64(f.Height) &&
		s.XErr > 0 && s.YErr > 0 && !math.IsInf(s.XErr+s.YErr, 0) && math.Abs(s.XYCov) < s.XErr*s.YErr
}

func (sc *scene) index() {
	sc.bright = min(len(sc.spots), brightSpots)
	sc.grid = newGrid(sc.spots[:sc.bright], sc.half/30)
}

// reversed is the scene with its columns or rows reversed.
func (sc scene) reversed(rows bool) scene {
	sc.spots = slices.Clone(sc.spots)
	for i := range sc.spots {
		s := &sc.spots[i]
		if rows {
			s.y = float64(sc.height-1) - s.y
		} else {
			s.x = float64(sc.width-1) - s.x
		}
		s.cxy = -s.cxy
	}
	sc.mirrored, sc.rowsFlipped = !rows, rows
	sc.index()
	return sc
}

// sighting pairs spot i with a star of the catalogue.
func (sc *scene) sighting(i int, cat int32) Sighting {
	s := sc.spots[i]
	return Sighting{X: s.x, Y: s.y, VarX: s.vx, VarY: s.vy, CovXY: s.cxy,
		Direction: catalog.Stars()[cat].Direction, Catalog: cat, Star: s.index}
}

// grid finds the spots near a pixel.
type grid struct {
	cell  float64
	cols  int
	rows  int
	spots []spot
	head  []int32 // first spot of each cell, −1 none
	next  []int32
}

func newGrid(spots []spot, cell float64) grid {
	g := grid{cell: max(cell, 1), spots: spots}
	for _, s := range spots {
		g.cols = max(g.cols, int(s.x/g.cell)+1)
		g.rows = max(g.rows, int(s.y/g.cell)+1)
	}
	g.head = make([]int32, g.cols*g.rows)
	for i := range g.head {
		g.head[i] = -1
	}
	g.next = make([]int32, len(spots))
	for i := len(spots) - 1; i >= 0; i-- {
		c := g.clampRow(spots[i].y)*g.cols + g.clampCol(spots[i].x)
		g.next[i] = g.head[c]
		g.head[c] = int32(i)
	}
	return g
}

func (g *grid) clampCol(x float64) int { return min(max(int(x/g.cell), 0), g.cols-1) }
func (g *grid) clampRow(y float64) int { return min(max(int(y/g.cell), 0), g.rows-1) }

// nearest is the spot nearest to x, y within radius, and its distance; −1 if none.
func (g *grid) nearest(x, y, radius float64) (int, float64) {
	best, bestD2 := -1, radius*radius
	if g.cols == 0 || math.IsNaN(x+y) {
		return best, 0
	}
	for r := g.clampRow(y - radius); r <= g.clampRow(y+radius); r++ {
		for c := g.clampCol(x - radius); c <= g.clampCol(x+radius); c++ {
			for i := g.head[r*g.cols+c]; i >= 0; i = g.next[i] {
				dx, dy := g.spots[i].x-x, g.spots[i].y-y
				if d2 := dx*dx + dy*dy; d2 <= bestD2 {
					best, bestD2 = int(i), d2
				}
			}
		}
	}
	return best, math.Sqrt(bestD2)
}

// expected is a star of the catalogue and where a pose puts it.
type expected struct {
	x, y float64
	cat  int32
}

// expectedStars are the brightest stars a pose puts inside the picture, at most
// limit, brightest first. buf is reused.
func (p Pose) expectedStars(buf []expected, limit int) []expected {
	axis := p.Attitude.Inverse().Apply(r3.Vec{Z: 1})
	radius := p.Lens.Diagonal()/2*1.02 + 1e-4
	// A disc round the picture holds about π/2 to 2 times the stars of the
	// picture itself.
	near := catalog.Near(make([]int32, 0, 3*limit), axis, radius, 3*limit)
	stars := catalog.Stars()
	buf = buf[:0]
	for _, c := range near {
		if x, y, in := p.Lens.Pixel(p.Attitude.Apply(stars[c].Direction)); in {
			if buf = append(buf, expected{x, y, c}); len(buf) == limit {
				break
			}
		}
	}
	return buf
}

// match pairs expected stars with the nearest spots within tol pixels; where two
// want the same spot the nearer has it.
func (g *grid) match(sc *scene, exp []expected, tol float64) []Sighting {
	type pair struct {
		spot int
		d    float64
		cat  int32
	}
	pairs := make([]pair, 0, len(exp))
	for _, e := range exp {
		if i, d := g.nearest(e.x, e.y, tol); i >= 0 {
			pairs = append(pairs, pair{i, d, e.cat})
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		if a.spot != b.spot {
			return a.spot - b.spot
		}
		if a.d < b.d {
			return -1
		}
		return 1
	})
	ss := make([]Sighting, 0, len(pairs))
	for i, p := range pairs {
		if i == 0 || p.spot != pairs[i-1].spot {
			ss = append(ss, sc.sighting(p.spot, p.cat))
		}
	}
	return ss
}
