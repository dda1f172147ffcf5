package solve

import (
	"math"
	"slices"
	"sync"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/catalog"
)

// The sky is paved with discs of a dozen sizes, each half again the area of the one before it.
// In every disc the brightest stars form figures of four; a picture's own
// discs form the same figures, whatever its tilt. A figure is known by the five
// ratios of its six sides, which neither scale, tilt nor a mirror changes.
const (
	levels         = 10
	smallestDisc   = 1.06 // degrees of radius, for a field of 5° across the diagonal
	levelRatio     = math.Sqrt2
	starsPerDisc   = 6
	codeCells      = 32              // cells of one code axis, of twice the width a ratio may be wrong by
	codeTolerance  = 0.5 / codeCells // the most a ratio may be wrong by
	hashedCodeAxes = 4
)

// discRadius is the radius of the discs of a level.
func discRadius(level int) unit.Angle {
	return unit.AngleFromDeg(smallestDisc * math.Pow(levelRatio, float64(level)))
}

// code holds the sides AC, AD, BC, BD, CD of a figure over its longest side AB.
type code [5]float32

// figure is four stars in their canonical order: A, B end the longest side, A
// has the nearer company, C stands nearer to A than D does.
type figure struct {
	star  [4]int32
	code  code
	side  float32 // the longest side, radians
	right bool    // A→B→C→D turns right-handed seen from within the sphere
}

// newFigure orders four directions and measures them. Figures with two stars
// close together, or that are nearly symmetric under exchange of names, are no use.
func newFigure(id [4]int32, d [4]r3.Vec) (figure, bool) {
	var side [4][4]float64
	ia, ib := 0, 1
	for i := range 4 {
		for j := i + 1; j < 4; j++ {
			chord := r3.Norm(r3.Sub(d[i], d[j]))
			s := 2 * math.Asin(min(1, chord/2))
			side[i][j], side[j][i] = s, s
			if s > side[ia][ib] {
				ia, ib = i, j
			}
		}
	}
	ic, id4 := others(ia, ib)
	if side[ia][ic]+side[ia][id4] > side[ib][ic]+side[ib][id4] {
		ia, ib = ib, ia
	}
	if side[ia][ic] > side[ia][id4] {
		ic, id4 = id4, ic
	}
	ab := side[ia][ib]
	if ab == 0 {
		return figure{}, false
	}
	f := figure{star: [4]int32{id[ia], id[ib], id[ic], id[id4]}, side: float32(ab)}
	f.code = code{
		float32(side[ia][ic] / ab), float32(side[ia][id4] / ab), float32(side[ib][ic] / ab),
		float32(side[ib][id4] / ab), float32(side[ic][id4] / ab),
	}
	for _, c := range f.code {
		if c < 0.08 {
			return figure{}, false
		}
	}
	cross := r3.Cross(d[ia], d[ib])
	hand := r3.Dot(cross, d[ic])
	if h := r3.Dot(cross, d[id4]); math.Abs(h) > math.Abs(hand) {
		hand = h
	}
	f.right = hand > 0
	return f, true
}

// others are the two of 0–3 that are neither a nor b.
func others(a, b int) (c, d int) {
	c = -1
	for i := range 4 {
		switch {
		case i == a || i == b:
		case c < 0:
			c = i
		default:
			d = i
		}
	}
	return c, d
}

// key is the hash bucket of a cell.
func key(cell, mask uint32) uint32 {
	h := cell * 2654435761
	return (h ^ h>>15) & mask
}

// table is a level's figures, hashed by code.
type table struct {
	figures []figure // bucket by bucket
	cell    []uint32 // of each figure
	start   []uint32 // first figure of each bucket
	mask    uint32
}

// index holds the tables, each made when first asked for.
type index struct {
	level [levels]func() *table
}

// skyIndex is made of the embedded catalogue alone and never changes.
var skyIndex = newIndex()

func newIndex() *index {
	var ix index
	for k := range levels {
		ix.level[k] = sync.OnceValue(func() *table { return newTable(levelFigures(k)) })
	}
	return &ix
}

// levelFigures lists the figures of all discs of a level, without repeats.
func levelFigures(k int) []figure {
	radius := discRadius(k)
	stars := catalog.Stars()
	var figures []figure
	var near []int32
	seen := make(map[[4]int32]struct{})
	for _, c := range discCentres(radius) {
		near = catalog.Near(near[:0], c, radius, starsPerDisc)
		fours(len(near), func(i [4]int) bool {
			id := [4]int32{near[i[0]], near[i[1]], near[i[2]], near[i[3]]}
			if _, dup := seen[id]; dup {
				return true
			}
			seen[id] = struct{}{}
			d := [4]r3.Vec{stars[id[0]].Direction, stars[id[1]].Direction, stars[id[2]].Direction, stars[id[3]].Direction}
			if f, ok := newFigure(id, d); ok {
				figures = append(figures, f)
			}
			return true
		})
	}
	return figures
}

// discCentres paves the sphere in rings so that neighbours stand 1.2 radii apart.
func discCentres(radius unit.Angle) []r3.Vec {
	step := 1.2 * radius.Rad()
	rings := int(math.Ceil(math.Pi / step))
	var cs []r3.Vec
	for r := range rings {
		dec := -math.Pi/2 + (float64(r)+0.5)*math.Pi/float64(rings)
		n := max(1, int(math.Ceil(2*math.Pi*math.Cos(dec)/step)))
		for i := range n {
			s, c := math.Sincos((float64(i) + 0.5*float64(r%2)) * 2 * math.Pi / float64(n))
			cs = append(cs, r3.Vec{X: math.Cos(dec) * c, Y: math.Cos(dec) * s, Z: math.Sin(dec)})
		}
	}
	return cs
}

// fours calls use with every choice of four of n, the early ones first, until it
// returns false.
func fours(n int, use func([4]int) bool) {
	for d := 3; d < n; d++ {
		for c := 2; c < d; c++ {
			for b := 1; b < c; b++ {
				for a := range b {
					if !use([4]int{a, b, c, d}) {
						return
					}
				}
			}
		}
	}
}

// newTable sorts figures into buckets.
func newTable(fs []figure) *table {
	size := uint32(1)
	for size < uint32(len(fs)) {
		size *= 2
	}
	t := &table{mask: size - 1, start: make([]uint32, size+1)}
	keys := make([]uint32, len(fs))
	for i, f := range fs {
		keys[i] = key(pack(cellOf(f.code)), t.mask)
		t.start[keys[i]+1]++
	}
	for i := range size {
		t.start[i+1] += t.start[i]
	}
	next := slices.Clone(t.start)
	t.figures, t.cell = make([]figure, len(fs)), make([]uint32, len(fs))
	for i, f := range fs {
		at := next[keys[i]]
		next[keys[i]]++
		t.figures[at], t.cell[at] = f, pack(cellOf(f.code))
	}
	return t
}

// cellOf is the cell a code falls in, per axis.
func cellOf(c code) (cell [hashedCodeAxes]uint32) {
	for i := range cell {
		cell[i] = uint32(c[i] * codeCells)
	}
	return cell
}

// pack puts a cell into one word; a side ratio is at most 1, so six bits an axis do.
func pack(cell [hashedCodeAxes]uint32) uint32 {
	return cell[0] | cell[1]<<6 | cell[2]<<12 | cell[3]<<18
}

// lookup calls use with every figure whose code is within tol, at most
// [codeTolerance], on every axis, until it returns false.
func (t *table) lookup(c code, tol float32, use func(*figure) bool) bool {
	base := cellOf(c)
	var probes [1 << hashedCodeAxes]uint32
	probes[0] = pack(base)
	n := 1
	for i := range base {
		var beside uint32
		switch in := c[i]*codeCells - float32(base[i]); {
		case in > 1-tol*codeCells:
			beside = 1
		case in < tol*codeCells && base[i] > 0:
			beside = math.MaxUint32 // one less
		default:
			continue
		}
		for k := range n {
			probes[n+k] = probes[k] + beside<<(6*i)
		}
		n *= 2
	}
	for _, cell := range probes[:n] {
		k := key(cell, t.mask)
		for i := t.start[k]; i < t.start[k+1]; i++ {
			if t.cell[i] == cell && t.figures[i].code.near(c, tol) && !use(&t.figures[i]) {
				return false
			}
		}
	}
	return true
}

// near is whether two codes agree within tol.
func (c code) near(o code, tol float32) bool {
	for i := range c {
		if d := c[i] - o[i]; d > tol || d < -tol {
			return false
		}
	}
	return true
}
