package star

import "math"

// kernel is a symmetric row of weights, middle first, that sums to 1.
type kernel []float32

// gaussian samples a Gaussian of the given σ (grid pixels) out to 2.6σ.
func gaussian(sigma float64) kernel {
	r := max(1, int(math.Ceil(2.6*sigma)))
	k := make(kernel, r+1)
	var sum float64
	for i := range k {
		w := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(w)
		if i > 0 {
			w *= 2
		}
		sum += w
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

// squares is Σk² of the one-dimensional kernel: the filter takes white noise σ to σ·Σk² (two dimensions, square root).
func (k kernel) squares() float64 {
	s := float64(k[0]) * float64(k[0])
	for _, w := range k[1:] {
		s += 2 * float64(w) * float64(w)
	}
	return s
}

// apply filters the grid in both directions and takes the background away. Rows beyond the border repeat the border.
func (k kernel) apply(g *grid, bg *mesh, workers int) grid {
	out := grid{w: g.w, h: g.h, factor: g.factor, pix: make([]float32, len(g.pix))}
	inRows(g.h, workers, func(_, lo, hi int) {
		b := newBand(k, g)
		base := make([]float32, g.w)
		for y := lo; y < hi; y++ {
			dst := out.pix[y*g.w : (y+1)*g.w]
			b.column(dst, y)
			bg.row(base, y)
			for x := range dst {
				dst[x] -= base[x]
			}
		}
	})
	return out
}

// band keeps the rows already filtered sideways that the next row needs.
type band struct {
	k    kernel
	g    *grid
	rows [][]float32
	have []int // which row each buffer holds
	pad  []float32
}

func newBand(k kernel, g *grid) *band {
	n := 2*len(k) - 1
	b := &band{k: k, g: g, rows: make([][]float32, n), have: make([]int, n), pad: make([]float32, g.w+n)}
	for i := range b.rows {
		b.rows[i], b.have[i] = make([]float32, g.w), -1
	}
	return b
}

func (b *band) row(y int) []float32 {
	y = min(max(y, 0), b.g.h-1)
	i := y % len(b.rows)
	if b.have[i] != y {
		b.sideways(b.rows[i], b.g.pix[y*b.g.w:(y+1)*b.g.w])
		b.have[i] = y
	}
	return b.rows[i]
}

func (b *band) sideways(dst, src []float32) {
	r := len(b.k) - 1
	for i := range r {
		b.pad[i], b.pad[r+len(src)+i] = src[0], src[len(src)-1]
	}
	copy(b.pad[r:], src)
	k := b.k[0]
	for x, v := range src {
		dst[x] = k * v
	}
	for j := 1; j <= r; j++ {
		addPair(dst, b.pad[r-j:], b.pad[r+j:], b.k[j])
	}
}

func (b *band) column(dst []float32, y int) {
	k := b.k[0]
	for x, v := range b.row(y)[:len(dst)] {
		dst[x] = k * v
	}
	for j := 1; j < len(b.k); j++ {
		addPair(dst, b.row(y-j), b.row(y+j), b.k[j])
	}
}

// addPair adds w(a + b). Four at a time: the compiler keeps the checks out of the loop.
func addPair(dst, a, b []float32, w float32) {
	n := len(dst)
	a, b = a[:n], b[:n]
	i := 0
	for ; i+4 <= n; i += 4 {
		d, p, q := dst[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		d[0] += w * (p[0] + q[0])
		d[1] += w * (p[1] + q[1])
		d[2] += w * (p[2] + q[2])
		d[3] += w * (p[3] + q[3])
	}
	for ; i < n; i++ {
		dst[i] += w * (a[i] + b[i])
	}
}

// along averages a filtered grid along straight pieces of the given length (grid pixels) and direction: the matched
// filter of a trail, whose answer has one peak, at the trail's middle.
func along(g *grid, length, angle float64, workers int) grid {
	n := max(1, int(math.Round(length/2))*2+1)
	out := grid{w: g.w, h: g.h, factor: g.factor, pix: make([]float32, len(g.pix))}
	inRows(g.h, workers, func(_, lo, hi int) {
		for i := range n {
			t := (float64(i)/float64(max(n-1, 1)) - 0.5) * length
			dx, dy := int(math.Round(t*math.Cos(angle))), int(math.Round(t*math.Sin(angle)))
			for y := lo; y < hi; y++ {
				sy := min(max(y+dy, 0), g.h-1)
				addShifted(out.pix[y*g.w:(y+1)*g.w], g.pix[sy*g.w:(sy+1)*g.w], dx, 1/float32(n))
			}
		}
	})
	return out
}

// addShifted adds w·src(x+dx), nothing beyond the border.
func addShifted(dst, src []float32, dx int, w float32) {
	lo, hi := max(0, -dx), min(len(dst), len(src)-dx)
	if lo >= hi {
		return
	}
	d, s := dst[lo:hi], src[lo+dx:hi+dx]
	s = s[:len(d)]
	for i := range d {
		d[i] += w * s[i]
	}
}
