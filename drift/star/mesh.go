package star

import (
	"math"
	"slices"

	"trueturn/drift/frame"
)

// cellSize is the side of a mesh cell in grid pixels: large enough that a star (or a 40-pixel trail) fills a small
// part of it, small enough to follow vignetting, the glow of a town and the edge of a roof.
const cellSize = 32

// grid is the picture reduced by a whole factor (1, 2 or 4): means of factor × factor pixels.
type grid struct {
	w, h, factor int
	pix          []float32
}

// factorFor picks the reduction. Detection on half-size pictures costs a quarter and loses next to nothing, because a
// 2 × 2 mean is narrower than a star; small pictures are often undersampled and are kept whole.
func factorFor(w, h int) int {
	switch n := w * h; {
	case n <= 2_000_000 || w < 4 || h < 4:
		return 1
	case n <= 60_000_000:
		return 2
	}
	return 4
}

// toGrid and toPicture carry a coordinate between pixel centres of the picture and those of the grid.
func (g *grid) toGrid(x float64) float64    { return (x+0.5)/float64(g.factor) - 0.5 }
func (g *grid) toPicture(x float64) float64 { return (x+0.5)*float64(g.factor) - 0.5 }

// newGrid reduces p. Pixels that are not finite are left out of the means; a cell without any keeps its left
// neighbour's value, so that a dead column makes no edge.
func newGrid(p frame.Plane, factor, workers int) grid {
	g := grid{w: p.Width / factor, h: p.Height / factor, factor: factor}
	g.pix = make([]float32, g.w*g.h)
	inRows(g.h, workers, func(_, lo, hi int) {
		for y := lo; y < hi; y++ {
			dst := g.pix[y*g.w : (y+1)*g.w]
			switch factor {
			case 1:
				copy(dst, p.Pix[y*p.Width:])
			case 2:
				halve(dst, p.Pix[2*y*p.Width:][:2*g.w], p.Pix[(2*y+1)*p.Width:][:2*g.w])
			default:
				reduce(dst, p, y, factor)
			}
			patch(dst, p, y, factor)
		}
	})
	return g
}

func halve(dst, a, b []float32) {
	for x := range dst {
		p, q := a[2*x:2*x+2:2*x+2], b[2*x:2*x+2:2*x+2]
		dst[x] = 0.25 * (p[0] + p[1] + q[0] + q[1])
	}
}

func reduce(dst []float32, p frame.Plane, y, factor int) {
	clear(dst)
	for j := range factor {
		row := p.Pix[(y*factor+j)*p.Width:][:len(dst)*factor]
		for x := range dst {
			for _, v := range row[x*factor : (x+1)*factor] {
				dst[x] += v
			}
		}
	}
	for x := range dst {
		dst[x] /= float32(factor * factor)
	}
}

// patch repairs the grid pixels of one row that are not finite.
func patch(dst []float32, p frame.Plane, y, factor int) {
	for x, v := range dst {
		if v-v == 0 { // finite
			continue
		}
		dst[x] = finiteMean(p, x, y, factor)
		if d := dst[x]; d-d != 0 {
			dst[x] = 0
			if x > 0 {
				dst[x] = dst[x-1]
			}
		}
	}
}

func finiteMean(p frame.Plane, x, y, factor int) float32 {
	var sum, n float32
	for j := y * factor; j < (y+1)*factor; j++ {
		for _, v := range p.Pix[j*p.Width+x*factor:][:factor] {
			if v-v == 0 {
				sum, n = sum+v, n+1
			}
		}
	}
	return sum / n // 0/0 = NaN: nothing to see
}

// mesh holds one value per cell; between the cell centres values are interpolated linearly.
type mesh struct {
	nx, ny int
	v      []float32
}

func newMesh(g *grid) mesh {
	m := mesh{nx: max(1, (g.w+cellSize/2)/cellSize), ny: max(1, (g.h+cellSize/2)/cellSize)}
	m.v = make([]float32, m.nx*m.ny)
	return m
}

// cellRange gives the grid pixels of cell i of n along a side of the given length; the last cell takes the rest.
func cellRange(i, n, length int) (lo, hi int) {
	lo, hi = i*cellSize, (i+1)*cellSize
	if i == n-1 {
		hi = length
	}
	return lo, hi
}

// at interpolates at a grid coordinate.
func (m *mesh) at(x, y float64) float64 {
	i, fx := knot(x, m.nx)
	j, fy := knot(y, m.ny)
	i1, j1 := min(i+1, m.nx-1), min(j+1, m.ny-1)
	top := float64(m.v[j*m.nx+i])*(1-fx) + float64(m.v[j*m.nx+i1])*fx
	low := float64(m.v[j1*m.nx+i])*(1-fx) + float64(m.v[j1*m.nx+i1])*fx
	return top*(1-fy) + low*fy
}

func knot(x float64, n int) (int, float64) {
	u := min(max((x+0.5)/cellSize-0.5, 0), float64(n-1))
	i := int(u)
	return i, u - float64(i)
}

// row interpolates a whole grid row.
func (m *mesh) row(dst []float32, y int) {
	m.stretches(y, len(dst), func(t stretch) { t.fill(dst) })
}

// stretch is a piece of a grid row, from x0 up to x1, between two cell centres: values begin at v and grow by step.
type stretch struct {
	x0, x1  int
	v, step float32
}

// stretches cuts grid row y of the given width.
func (m *mesh) stretches(y, width int, use func(stretch)) {
	j, fy := knot(float64(y), m.ny)
	j1 := min(j+1, m.ny-1)
	at := func(i int) float32 {
		return m.v[j*m.nx+i]*float32(1-fy) + m.v[j1*m.nx+i]*float32(fy)
	}
	x := 0
	for i := -1; i < m.nx; i++ {
		a, b := at(max(i, 0)), at(min(i+1, m.nx-1))
		end := min(width, (i+1)*cellSize+cellSize/2)
		if i == m.nx-1 {
			end = width
		}
		step := (b - a) / cellSize
		use(stretch{x, end, a + step*(float32(x)+0.5-(float32(i)+0.5)*cellSize), step})
		x = end
	}
}

func (t stretch) fill(dst []float32) {
	v := t.v
	for x := t.x0; x < t.x1; x++ {
		dst[x] = v
		v += t.step
	}
}

// least is the smallest value, but for rounding.
func (t stretch) least() float32 { return min(t.v, t.v+t.step*float32(t.x1-t.x0)) }

// spread is what a cell's values tell: their middle and the noise.
type spread struct{ middle, noise float64 }

// skewed is how much wider the upper side may be before it counts: stars widen it a little, texture, the two halves of a
// ridge line and noise cut off at black a lot.
const skewed = 1.4

// spreadOf reads the noise from the lower side of ascending values, between the median of the star-free part and its 16 %
// quantile, unless the inner upper quarter tells of something other than stars.
func spreadOf(v []float32) spread {
	n := len(v)
	if n == 0 {
		return spread{}
	}
	med := v[n/2]
	low := v[int(belowSigma*float64(n))]
	up := v[n/2+min(int(0.25*float64(n)), n-n/2-1)]
	s := spread{float64(med), float64(med - low)}
	above := float64(up-med) / 0.6745
	s.clip(v)
	if above > skewed*s.noise {
		s.noise = above
	}
	return s
}

// belowSigma is the part of a normal distribution under −1σ.
const belowSigma = 0.1587

// clip leaves out what stands 2.5σ above the middle until no more than noise does: stars, wings, halos. In a crowded
// field they are a fifth of the pixels and would pass for noise.
func (s *spread) clip(v []float32) {
	rest := v
	for range 4 {
		n := len(rest)
		rest = under(rest, float32(s.middle+2.5*s.noise))
		if len(rest) == 0 || s.noise == 0 {
			return
		}
		s.middle = float64(rest[len(rest)/2])
		s.noise = s.middle - float64(rest[int(belowSigma*float64(len(rest)))])
		if len(rest) > n-n/50 {
			return
		}
	}
}

// under are the ascending values up to top.
func under(v []float32, top float32) []float32 {
	n := len(v)
	for n > 0 && !(v[n-1] <= top) {
		n--
	}
	return v[:n]
}

// selectNth puts the k-th smallest value at v[k], smaller ones before it (Hoare's FIND, Comm. ACM 4 (1961) 321).
func selectNth(v []float32, k int) float32 {
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := middleOf(v[lo], v[(lo+hi)/2], v[hi])
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}

func middleOf(a, b, c float32) float32 { return max(min(a, b), min(max(a, b), c)) }

// measure fills two meshes with the middle and the noise of every cell, from every second row, or every fourth of a large
// grid (all columns: eight-pixel compression blocks then weigh alike). With holes, values that are not numbers are left out.
func measure(g *grid, holes bool, workers int) (middle, noise mesh) {
	middle, noise = newMesh(g), newMesh(g)
	stride := 2
	if len(g.pix) > 1_000_000 {
		stride = 4
	}
	inRows(middle.ny, workers, func(_, lo, hi int) {
		var buf []float32
		var order sorter
		for j := lo; j < hi; j++ {
			y0, y1 := cellRange(j, middle.ny, g.h)
			for i := range middle.nx {
				x0, x1 := cellRange(i, middle.nx, g.w)
				buf = buf[:0]
				for y := y0; y < y1; y += stride {
					buf = append(buf, g.pix[y*g.w+x0:y*g.w+x1]...)
				}
				if holes {
					buf = slices.DeleteFunc(buf, func(v float32) bool { return v != v })
				}
				order.sort(buf)
				s := spreadOf(buf)
				middle.v[j*middle.nx+i], noise.v[j*middle.nx+i] = float32(s.middle), float32(s.noise)
			}
		}
	})
	return middle, noise
}

// sorter sorts finite numbers by their bits, a byte at a time from the last (H. H. Seward's radix sort, 1954): the cells of a
// picture have hundreds, for which this is faster than selecting the few quantiles asked for.
type sorter struct {
	keys, other []uint32
	count       [4][256]int32
}

func (s *sorter) sort(v []float32) {
	s.read(v)
	for digit := range 4 {
		count := &s.count[digit]
		if len(v) == 0 || int(count[byte(s.keys[0]>>(8*digit))]) == len(v) { // all alike in this byte
			continue
		}
		at := int32(0)
		for i, n := range count {
			count[i] = at
			at += n
		}
		for _, k := range s.keys {
			d := byte(k >> (8 * digit))
			s.other[count[d]] = k
			count[d]++
		}
		s.keys, s.other = s.other, s.keys
	}
	for i, k := range s.keys {
		v[i] = math.Float32frombits(k ^ (^k>>31*0x7fffffff | 1<<31))
	}
}

// read turns numbers into keys of the same order and counts their bytes.
func (s *sorter) read(v []float32) {
	s.keys, s.other = slices.Grow(s.keys[:0], len(v))[:len(v)], slices.Grow(s.other[:0], len(v))[:len(v)]
	s.count = [4][256]int32{}
	for i, x := range v {
		b := math.Float32bits(x)
		k := b ^ (b>>31*0x7fffffff | 1<<31) // negative ones all bits, the others the sign
		s.keys[i] = k
		s.count[0][byte(k)]++
		s.count[1][byte(k>>8)]++
		s.count[2][byte(k>>16)]++
		s.count[3][byte(k>>24)]++
	}
}

// bridged smooths a noise mesh of which some cells hold nothing (0): these take the median of the whole.
func (m *mesh) bridged() mesh {
	var known []float32
	for _, v := range m.v {
		if v > 0 {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return *m
	}
	whole := selectNth(known, len(known)/2)
	full := mesh{m.nx, m.ny, slices.Clone(m.v)}
	for i, v := range full.v {
		if !(v > 0) {
			full.v[i] = whole
		}
	}
	return full.smoothed()
}

// smoothed returns for every cell the median over its 3 × 3 neighbourhood.
func (m *mesh) smoothed() mesh {
	out := mesh{m.nx, m.ny, make([]float32, len(m.v))}
	var near [9]float32
	for j := range m.ny {
		for i := range m.nx {
			n := 0
			for y := max(j-1, 0); y <= min(j+1, m.ny-1); y++ {
				for x := max(i-1, 0); x <= min(i+1, m.nx-1); x++ {
					near[n] = m.v[y*m.nx+x]
					n++
				}
			}
			slices.Sort(near[:n])
			out.v[j*m.nx+i] = near[n/2]
		}
	}
	return out
}

// calm takes bright outliers (the halo of a planet or a bright star filling a cell) out of a background mesh.
func (m *mesh) calm(noise *mesh) {
	s, n := m.smoothed(), noise.smoothed()
	for i, v := range m.v {
		if v-s.v[i] > 3*n.v[i] {
			m.v[i] = s.v[i]
		}
	}
}

func (m *mesh) median() float64 {
	v := slices.Clone(m.v)
	return float64(selectNth(v, len(v)/2))
}

// quantum is the step between the levels of a picture near each cell: the smallest difference between neighbouring
// pixels. An 8-bit picture with little noise has cells of one single value; their error is then about a step/√12 and
// common to the whole star, so that it does not average down.
func quantum(p frame.Plane, g *grid, workers int) mesh {
	m := newMesh(g)
	inTurn(m.ny, workers, func(j int) {
		y0, y1 := cellRange(j, m.ny, g.h)
		for i := range m.nx {
			x0, x1 := cellRange(i, m.nx, g.w)
			m.v[j*m.nx+i] = leastStep(p, x0*g.factor, x1*g.factor, y0*g.factor, y1*g.factor)
		}
	})
	s := m.smoothed()
	for i, v := range m.v { // a cell of one single value knows nothing: ask its neighbours
		if v == 0 {
			m.v[i] = s.v[i]
		}
	}
	return m
}

// leastStep looks at four rows of a cell; differences within rounding are none.
func leastStep(p frame.Plane, x0, x1, y0, y1 int) float32 {
	least := float32(math.MaxFloat32)
	for y := y0; y < y1; y += max(1, (y1-y0)/4) {
		row := p.Pix[y*p.Width+x0 : y*p.Width+x1]
		for i := 1; i < len(row); i++ {
			if d := row[i] - row[i-1]; d > 0 && d < least {
				least = d
			} else if d < 0 && -d < least {
				least = -d
			}
		}
	}
	if least == math.MaxFloat32 {
		return 0
	}
	return least
}
