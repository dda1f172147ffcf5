package star

import (
	"cmp"
	"math"
	"slices"
)

// Spot is a place of the picture where something shines in many pictures of a sequence.
type Spot struct {
	X, Y      float64
	Seen      int     // in how many pictures
	Suspected int     // in how many of them it was refused as a hot pixel already
	ScatterPx float64 // rms distance from (X, Y)
}

// Standing finds the places where the pictures of a sequence show something within tolPx of the same pixel: in at least
// two of them and at least two thirds. Stars and suspects count alike.
//
// What it means depends on the sequence, which the caller knows. Where the other stars move by several tolPx, a standing
// spot is a hot pixel. On a mount that tracks well all stars stand, to the noise of their positions and of the mount;
// they are no hot pixels: look at Suspected (shape), at the middle of the pixel (hot pixels peak there, stars anywhere)
// and at how many stars stand. Brightest (most often seen) first.
func Standing(fields []Field, tolPx float64) []Spot {
	if len(fields) < 2 || !(tolPx > 0) {
		return nil
	}
	gathering := gathering{tol: tolPx, cells: map[[2]int][]int{}}
	for i := range fields {
		gathering.take(fields[i].Stars, i, false)
		gathering.take(fields[i].Suspects, i, true)
	}
	least := max(2, (2*len(fields)+2)/3)
	var out []Spot
	for _, s := range gathering.spots {
		if s.Seen >= least {
			s.ScatterPx = math.Sqrt(s.ScatterPx / float64(s.Seen))
			out = append(out, s.Spot)
		}
	}
	slices.SortStableFunc(out, func(a, b Spot) int { return cmp.Compare(b.Seen, a.Seen) })
	return out
}

// gathering joins sightings, with a map of cells as wide as the tolerance.
type gathering struct {
	tol   float64
	spots []sighted
	cells map[[2]int][]int
}

type sighted struct {
	Spot
	last int // picture of the newest sighting: one a picture counts
}

func (g *gathering) take(stars []Star, picture int, suspect bool) {
	for i := range stars {
		s := &stars[i]
		k := g.nearest(s.X, s.Y)
		if k < 0 {
			k = len(g.spots)
			g.spots = append(g.spots, sighted{Spot{X: s.X, Y: s.Y}, -1})
			c := g.cell(s.X, s.Y)
			g.cells[c] = append(g.cells[c], k)
		}
		p := &g.spots[k]
		if p.last == picture {
			continue
		}
		p.last = picture
		p.Seen++
		if suspect {
			p.Suspected++
		}
		dx, dy := s.X-p.X, s.Y-p.Y // running mean and sum of squares (B. P. Welford, Technometrics 4 (1962) 419)
		p.X, p.Y = p.X+dx/float64(p.Seen), p.Y+dy/float64(p.Seen)
		p.ScatterPx += dx*(s.X-p.X) + dy*(s.Y-p.Y)
	}
}

func (g *gathering) cell(x, y float64) [2]int {
	return [2]int{int(math.Floor(x / g.tol)), int(math.Floor(y / g.tol))}
}

func (g *gathering) nearest(x, y float64) int {
	best, least := -1, g.tol
	c := g.cell(x, y)
	for j := c[1] - 1; j <= c[1]+1; j++ {
		for i := c[0] - 1; i <= c[0]+1; i++ {
			for _, k := range g.cells[[2]int{i, j}] {
				if d := math.Hypot(g.spots[k].X-x, g.spots[k].Y-y); d <= least {
					best, least = k, d
				}
			}
		}
	}
	return best
}

// Without returns the field less the stars within tolPx of the spots; they join its suspects, flagged Hot.
func (f Field) Without(spots []Spot, tolPx float64) Field {
	g := gathering{tol: tolPx, cells: map[[2]int][]int{}}
	for i, s := range spots {
		g.spots = append(g.spots, sighted{Spot: s})
		c := g.cell(s.X, s.Y)
		g.cells[c] = append(g.cells[c], i)
	}
	stars := f.Stars
	f.Stars, f.Suspects = nil, slices.Clone(f.Suspects)
	for _, s := range stars {
		if g.nearest(s.X, s.Y) < 0 {
			f.Stars = append(f.Stars, s)
			continue
		}
		s.Flags |= Hot
		f.Suspects = append(f.Suspects, s)
	}
	return f
}
