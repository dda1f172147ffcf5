package catalog

import (
	"math"
	"math/bits"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// The stars are parted by brightness into layers, each as large as all the
// layers above it together. A query goes through the layers from the brightest
// down and stops when it has enough, so that it never looks at many more stars
// than it gives. In a layer the sky is cut into bands of declination and the
// bands into cells, of about starsPerCell stars; where the circle asked for is
// wide, the layer is read through instead.
const (
	brightLayer  = 256     // stars in the first layer
	faintLayer   = 1 << 16 // no layer begins below this: the rest is one layer
	starsPerCell = 6
	wide         = 50 * math.Pi / 180 // radius from which a layer is read through: a fifth of the sky
)

// rounding is how far (in radians) a star may seem out of the circle when it is
// just on its edge: some units in the last place of the coordinates.
const rounding = 1e-15

// A layer is a range of the stars by brightness, sorted into cells.
type layer struct {
	first, count int
	height       float64 // of a band, radians
	bands        []band
	start        []uint16 // of each cell's members; one more for the end
	members      []uint16 // star number within the layer, in order of cells
}

// A band lies between two declinations and is cut into equal cells in right
// ascension, the first beginning at 0.
type band struct {
	sinLow, cosLow, sinHigh, cosHigh float64
	cell, cells                      int // number of the first cell; count
}

// layers sorts n stars, brightest first, into layers and cells.
func layers(n int, place func(i int) (ra, dec float64)) []layer {
	var ls []layer
	for first, next := 0, brightLayer; first < n; first, next = next, 2*next {
		if next > faintLayer || next > n {
			next = n
		}
		ls = append(ls, newLayer(first, next-first, place))
	}
	return ls
}

func newLayer(first, count int, place func(i int) (ra, dec float64)) layer {
	side := math.Sqrt(4 * math.Pi * starsPerCell / float64(count))
	l := layer{first: first, count: count}
	l.bands = make([]band, int(math.Ceil(math.Pi/side)))
	l.height = math.Pi / float64(len(l.bands))
	cells := 0
	for i := range l.bands {
		b := &l.bands[i]
		low := -math.Pi/2 + float64(i)*l.height
		b.sinLow, b.cosLow = math.Sincos(low)
		b.sinHigh, b.cosHigh = math.Sincos(low + l.height)
		b.cell = cells
		b.cells = max(1, int(2*math.Pi*math.Cos(low+l.height/2)/side))
		cells += b.cells
	}
	l.fill(cells, place)
	return l
}

// fill sorts the members by cell, by counting; within a cell they stay in order.
func (l *layer) fill(cells int, place func(i int) (ra, dec float64)) {
	of := make([]int32, l.count)
	next := make([]int32, cells+1)
	for i := range of {
		of[i] = int32(l.cellOf(place(l.first + i)))
		next[of[i]+1]++
	}
	l.start = make([]uint16, cells+1)
	for c := 1; c <= cells; c++ {
		next[c] += next[c-1]
		l.start[c] = uint16(next[c])
	}
	l.members = make([]uint16, l.count)
	for i, c := range of {
		l.members[next[c]] = uint16(i)
		next[c]++
	}
}

func (l *layer) cellOf(ra, dec float64) int {
	b := l.bands[l.bandOf(dec)]
	return b.cell + min(int(ra/(2*math.Pi)*float64(b.cells)), b.cells-1)
}

// bandOf is the band of a declination; beyond a pole, that of the pole.
func (l *layer) bandOf(dec float64) int {
	return max(0, min(int((dec+math.Pi/2)/l.height), len(l.bands)-1))
}

// A circle on the sky.
type circle struct {
	center          r3.Vec // of unit length
	chord2          float64
	ra, dec, radius float64
	sinDec, cosDec  float64
	cosRadius       float64
	sinWidest       float64 // sine of the declination where the circle is widest in right ascension
	halfWidest      float64 // half that width
	poleFree        bool    // no pole in the circle, which is narrower than 90°
}

// Near appends to dst the stars within radius of a direction (ICRS, of any
// length), brightest first, and no more than limit of them. They are indices
// into [Stars]; as those are in order of brightness too, the indices ascend. A
// radius of 180° or more takes in the whole sky. There are no stars within a
// radius that is negative or not a number, nor near a direction that is zero or
// not finite, nor with a limit below one.
//
// The edge of the circle is exact to 10⁻¹⁵ radians. Nothing is allocated but
// for dst's growth.
func Near(dst []int32, center r3.Vec, radius unit.Angle, limit int) []int32 {
	c, ok := newCircle(center, radius.Rad())
	if !ok || limit < 1 {
		return dst
	}
	s := load()
	var found [faintLayer / 64]uint64
	for i := range s.layers {
		l := &s.layers[i]
		had := len(dst)
		if c.radius >= wide {
			dst = l.readThrough(dst, &c, s.stars, limit)
		} else if l.mark(&found, &c, s.stars) {
			dst = l.take(dst, &found, limit)
		}
		if limit -= len(dst) - had; limit == 0 {
			break
		}
	}
	return dst
}

func newCircle(center r3.Vec, radius float64) (circle, bool) {
	n := math.Hypot(math.Hypot(center.X, center.Y), center.Z)
	if !(radius >= 0) || !(n > 0) || math.IsInf(n, 1) {
		return circle{}, false
	}
	radius = min(radius, math.Pi)
	c := circle{center: r3.Vec{X: center.X / n, Y: center.Y / n, Z: center.Z / n}, radius: radius}
	chord := 2*math.Sin(radius/2) + rounding
	c.chord2 = chord * chord
	c.sinDec, c.cosDec = c.center.Z, math.Hypot(c.center.X, c.center.Y)
	c.dec = math.Atan2(c.sinDec, c.cosDec)
	c.ra = math.Atan2(c.center.Y, c.center.X)
	if c.ra < 0 {
		c.ra += 2 * math.Pi
	}
	c.cosRadius = math.Cos(radius)
	c.poleFree = math.Abs(c.sinDec) < c.cosRadius
	if c.poleFree {
		c.sinWidest = c.sinDec / c.cosRadius
		c.halfWidest = math.Asin(min(1, math.Sin(radius)/c.cosDec))
	}
	return c, true
}

// holds says whether a direction lies within the circle. It compares chords:
// they are good at small angles where the cosine is not.
func (c *circle) holds(v r3.Vec) bool {
	x, y, z := v.X-c.center.X, v.Y-c.center.Y, v.Z-c.center.Z
	return x*x+y*y+z*z <= c.chord2
}

// readThrough appends the stars of the layer that are in the circle.
func (l *layer) readThrough(dst []int32, c *circle, stars []Star, limit int) []int32 {
	for i := l.first; i < l.first+l.count; i++ {
		if !c.holds(stars[i].Direction) {
			continue
		}
		dst = append(dst, int32(i))
		if limit--; limit == 0 {
			break
		}
	}
	return dst
}

// slack widens the search for cells, in radians, so that rounding does not lose
// a star at a cell's edge: an arc sine is good to 2·10⁻⁸ where it is steepest.
const slack = 1e-7

// mark notes the stars of the layer that are in the circle, a bit each, and
// says if there are any.
func (l *layer) mark(found *[faintLayer / 64]uint64, c *circle, stars []Star) bool {
	any := false
	last := l.bandOf(c.dec + c.radius + slack)
	for i := l.bandOf(c.dec - c.radius - slack); i <= last; i++ {
		b := &l.bands[i]
		first, count := b.span(c.ra, c.halfWidth(b)+slack)
		if over := first + count - b.cells; over > 0 { // across right ascension 0
			any = l.markCells(found, c, stars, b.cell, over) || any
			count -= over
		}
		any = l.markCells(found, c, stars, b.cell+first, count) || any
	}
	return any
}

func (l *layer) markCells(found *[faintLayer / 64]uint64, c *circle, stars []Star, cell, count int) bool {
	any := false
	stars = stars[l.first:]
	for _, m := range l.members[l.start[cell]:l.start[cell+count]] {
		if c.holds(stars[m].Direction) {
			found[m/64] |= 1 << (m % 64)
			any = true
		}
	}
	return any
}

// take appends the stars marked, in order, and clears the marks.
func (l *layer) take(dst []int32, found *[faintLayer / 64]uint64, limit int) []int32 {
	for w := range (l.count + 63) / 64 {
		for bit := found[w]; bit != 0 && limit > 0; bit &= bit - 1 {
			dst = append(dst, int32(l.first+64*w+bits.TrailingZeros64(bit)))
			limit--
		}
		found[w] = 0
	}
	return dst
}

// halfWidth is the greatest difference in right ascension from the centre to a
// point of the circle within the band. At a declination δ it is
//
//	cos Δα = (cos r − sin δ sin δ₀) / (cos δ cos δ₀)
//
// and it is greatest at sin δ = sin δ₀ / cos r or, if that is not in the band or
// the circle goes round a pole, at an edge of the band.
func (c *circle) halfWidth(b *band) float64 {
	if c.poleFree && b.sinLow < c.sinWidest && c.sinWidest < b.sinHigh {
		return c.halfWidest
	}
	least := min(c.cosHalf(b.sinLow, b.cosLow), c.cosHalf(b.sinHigh, b.cosHigh))
	if least <= -1 {
		return math.Pi
	}
	return math.Acos(min(least, 1))
}

// cosHalf is cos Δα, a little less to be safe from rounding; it may exceed 1
// (the circle does not come here) or be below −1 (the circle holds the whole
// parallel). At a pole it is −1.
func (c *circle) cosHalf(sin, cos float64) float64 {
	d := cos * c.cosDec
	if d < 1e-12 {
		return -1
	}
	return (c.cosRadius - sin*c.sinDec - rounding) / d
}

// span is the cells of the band within half of a right ascension (0 to 2π):
// the first and the count, which may run past the last cell and on from 0.
func (b *band) span(ra, half float64) (first, count int) {
	scale := float64(b.cells) / (2 * math.Pi)
	low := int(math.Floor((ra - half) * scale))
	high := int(math.Floor((ra + half) * scale))
	if count = high - low + 1; count >= b.cells {
		return 0, b.cells
	}
	if first = low % b.cells; first < 0 {
		first += b.cells
	}
	return first, count
}
