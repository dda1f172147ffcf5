package star

import (
	"cmp"
	"math"
	"slices"
)

// peak is a local maximum of the filtered grid above the threshold.
type peak struct {
	x, y  int     // grid pixel
	value float32 // filtered light
	snr   float64 // value over the filtered noise there
	blob  int32
}

// blob is a connected patch of the filtered grid above the threshold, with the moments of its light.
type blob struct {
	area           int
	x0, y0, x1, y1 int
	sum, sx, sy    float64
	sxx, sxy, syy  float64
	peaks          int
	parent         int32
}

// run is a stretch of one row above the threshold.
type run struct {
	lo, hi int
	blob   int32
}

// labels grows blobs row by row with union-find, so that only the blobs are kept and no picture of labels.
type labels struct {
	blobs     []blob
	last, now []run
}

func (l *labels) root(i int32) int32 {
	for l.blobs[i].parent != i {
		l.blobs[i].parent = l.blobs[l.blobs[i].parent].parent
		i = l.blobs[i].parent
	}
	return i
}

func (l *labels) join(a, b int32) int32 {
	a, b = l.root(a), l.root(b)
	if a == b {
		return a
	}
	if b < a {
		a, b = b, a
	}
	l.blobs[b].parent = a
	p, q := &l.blobs[a], &l.blobs[b]
	p.area += q.area
	p.x0, p.y0, p.x1, p.y1 = min(p.x0, q.x0), min(p.y0, q.y0), max(p.x1, q.x1), max(p.y1, q.y1)
	p.sum, p.sx, p.sy = p.sum+q.sum, p.sx+q.sx, p.sy+q.sy
	p.sxx, p.sxy, p.syy = p.sxx+q.sxx, p.sxy+q.sxy, p.syy+q.syy
	return a
}

// row takes the runs of one row of filtered light above its threshold.
func (l *labels) row(light []float32, runs []run, y int) {
	l.last, l.now = l.now, l.last[:0]
	k := 0
	for _, r := range runs {
		id := l.start(light, r.lo, r.hi, y)
		for k < len(l.last) && l.last[k].hi < r.lo { // runs touching at a corner belong together
			k++
		}
		for m := k; m < len(l.last) && l.last[m].lo <= r.hi; m++ {
			id = l.join(id, l.last[m].blob)
		}
		l.now = append(l.now, run{r.lo, r.hi, id})
	}
}

func (l *labels) start(light []float32, lo, hi, y int) int32 {
	id := int32(len(l.blobs))
	b := blob{area: hi - lo, x0: lo, x1: hi - 1, y0: y, y1: y, parent: id}
	fy := float64(y)
	for x := lo; x < hi; x++ {
		v, fx := float64(light[x]), float64(x)
		b.sum += v
		b.sx += v * fx
		b.sxx += v * fx * fx
	}
	b.sy, b.sxy, b.syy = b.sum*fy, b.sx*fy, b.sum*fy*fy
	l.blobs = append(l.blobs, b)
	return id
}

// found is the outcome of one look at a filtered grid.
type found struct {
	light grid
	noise mesh // σ of the filtered light
	peaks []peak
	blobs []blob
}

// scan is what one row holds above the threshold; its blobs are not known yet: a peak's is the number of its run.
type scan struct {
	runs  []run
	peaks []peak
}

// look finds the peaks of a filtered grid over its own noise. Rows are searched by all workers; which of their runs belong
// together is then settled from the top down.
func look(light grid, noise mesh, sigmas float64, workers int) found {
	f := found{light: light, noise: noise}
	rows := make([]scan, light.h)
	inRows(light.h, workers, func(_, lo, hi int) {
		s := scanner{g: &light, noise: &noise, sigmas: sigmas, threshold: make([]float32, light.w)}
		for y := lo; y < hi; y++ {
			rows[y] = s.row(y)
		}
	})
	var l labels
	for y := range rows {
		l.row(light.pix[y*light.w:(y+1)*light.w], rows[y].runs, y)
		for _, p := range rows[y].peaks {
			p.blob = l.now[p.blob].blob
			f.peaks = append(f.peaks, p)
		}
	}
	for i := range f.peaks {
		f.peaks[i].blob = l.root(f.peaks[i].blob)
		l.blobs[f.peaks[i].blob].peaks++
	}
	f.blobs = l.blobs
	slices.SortFunc(f.peaks, func(a, b peak) int {
		return cmp.Or(cmp.Compare(b.value, a.value), cmp.Compare(a.y, b.y), cmp.Compare(a.x, b.x))
	})
	return f
}

// scanner searches rows one after the other.
type scanner struct {
	g         *grid
	noise     *mesh
	sigmas    float64
	threshold []float32
}

func (c *scanner) row(y int) (s scan) {
	light := c.g.pix[y*c.g.w : (y+1)*c.g.w]
	lo := -1 // where an open run begins
	end := func(hi int) {
		if lo >= 0 {
			c.peaksOf(&s, lo, hi, y)
			s.runs = append(s.runs, run{lo: lo, hi: hi})
			lo = -1
		}
	}
	c.noise.stretches(y, len(light), func(t stretch) {
		if !anyAbove(light[t.x0:t.x1], float32(c.sigmas)*surely*t.least()) {
			end(t.x0)
			return
		}
		t.fill(c.threshold)
		for x := t.x0; x < t.x1; x++ {
			c.threshold[x] *= float32(c.sigmas)
			switch above := light[x] > c.threshold[x]; {
			case above && lo < 0:
				lo = x
			case !above:
				end(x)
			}
		}
	})
	end(len(light))
	return s
}

// surely keeps rounding along a stretch from making its least value too large.
const surely = 0.999

func anyAbove(v []float32, limit float32) bool {
	for _, x := range v {
		if x > limit {
			return true
		}
	}
	return false
}

func (c *scanner) peaksOf(s *scan, lo, hi, y int) {
	for x := lo; x < hi; x++ {
		v := c.g.pix[y*c.g.w+x]
		if summit(c.g, x, y, v) {
			snr := c.sigmas * float64(v/c.threshold[x])
			s.peaks = append(s.peaks, peak{x: x, y: y, value: v, snr: snr, blob: int32(len(s.runs))})
		}
	}
}

// summit: no neighbour higher, none before it in reading order as high.
func summit(g *grid, x, y int, v float32) bool {
	for j := max(y-1, 0); j <= min(y+1, g.h-1); j++ {
		for i := max(x-1, 0); i <= min(x+1, g.w-1); i++ {
			u := g.pix[j*g.w+i]
			if u > v || u == v && (j < y || j == y && i < x) {
				return false
			}
		}
	}
	return true
}

// moments of a blob: middle, and the second moments about it (grid pixels).
func (b *blob) moments() (x, y float64, m shape) {
	x, y = b.sx/b.sum, b.sy/b.sum
	return x, y, shape{b.sxx/b.sum - x*x, b.sxy/b.sum - x*y, b.syy/b.sum - y*y}
}

// prune keeps the peaks that stand for objects of their own: not those on patches too large for a star (Moon, lamps,
// lit clouds, hillsides, the line of an aeroplane), nor bumps on the flank of a brighter one.
func (f *found) prune(largest, longest float64) {
	kept := f.peaks[:0]
	byBlob := map[int32][]peak{}
	for _, p := range f.peaks {
		b := &f.blobs[p.blob]
		if float64(b.area) > largest || math.Hypot(float64(b.x1-b.x0), float64(b.y1-b.y0)) > longest {
			continue
		}
		if b.peaks > 1 {
			mates := byBlob[p.blob]
			if len(mates) >= 64 || f.bump(p, mates) {
				continue
			}
			byBlob[p.blob] = append(mates, p)
		}
		kept = append(kept, p)
	}
	for i := range f.blobs {
		f.blobs[i].peaks = min(f.blobs[i].peaks, 1)
	}
	for id, mates := range byBlob {
		f.blobs[id].peaks = len(mates)
	}
	f.peaks = kept
}

// bump: the light between p and a brighter peak does not sink enough for two.
func (f *found) bump(p peak, brighter []peak) bool {
	for _, q := range brighter {
		d := math.Hypot(float64(p.x-q.x), float64(p.y-q.y))
		if d < 2 {
			return true
		}
		least := p.value
		for n, i := int(d), 1; i < n; i++ {
			t := float64(i) / float64(n)
			x := int(math.Round(float64(p.x) + t*float64(q.x-p.x)))
			y := int(math.Round(float64(p.y) + t*float64(q.y-p.y)))
			least = min(least, f.light.pix[y*f.light.w+x])
		}
		sigma := float64(p.value) / p.snr
		if float64(p.value-least) < max(3*sigma, 0.1*float64(p.value), 0.01*float64(q.value)) {
			return true
		}
	}
	return false
}
