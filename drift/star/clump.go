package star

import "math"

// Demosaicing, noise reduction, sharpening and compression leave errors on a star that neighbouring pixels share. Each
// pixel's residual is then as small as the noise model says, and yet the place is worse than the sum over independent
// pixels promises. The residuals themselves tell: what they do to the place is summed over blocks of pixels; the squares of
// these sums are larger than those of independent residuals. (The idea of variances from clusters: K.-Y. Liang and
// S. L. Zeger, Biometrika 73 (1986) 13.)

const (
	clumpSide   = 3  // of a block, pixels: what is shared reaches one or two pixels
	clumpSNR    = 30 // of stars whose own light, not the sky, makes their residuals
	clumpBlocks = 150
)

// clump gathers the squares of the blocks' pulls on the place, and what independent residuals would give.
type clump struct {
	got, want float64
	blocks    int
}

// block is what one block of pixels contributes along one coordinate: its pull, its information and how it mixes with the
// other parameters.
type block struct {
	pull, info float64
	mix        vector
}

// learnClumps finds the factor on the variance of every star's place. Faint stars, whose residuals drown in the sky, share
// it: their errors were measured to grow alike (TestProcessedStudy).
func (f *finder) learnClumps() {
	var c clump
	for i := range f.tries {
		a := &f.tries[i]
		if a.ok && len(a.near) == 0 && a.cut.saturated == 0 && !a.cut.outside && a.fit.p[amplitude] > clumpSNR*math.Sqrt(a.fit.cov[amplitude][amplitude]) {
			c.add(&a.fit)
		}
	}
	f.clumped = c.factor()
}

// add sums up a fit. Both coordinates weigh by their own information, so that bright stars do not outweigh all others.
func (c *clump) add(fit *fitted) {
	w := fit.window
	grid := blocksOf(w.samples, fit.p[posX], fit.p[posY])
	var d vector
	for _, s := range w.samples {
		v := fit.kind.value(&fit.p, s.x, s.y, &d)
		weight := 1 / w.noise.variance(w.n2, v-fit.p[pedestal])
		at := grid.at(s.x, s.y)
		for k := range at {
			at[k].take(&d, weight*d[posX+k], s.light-v, d[posX+k])
		}
	}
	for i := range grid.blocks {
		b := &grid.blocks[i]
		if b[0].info+b[1].info == 0 { // no pixel there
			continue
		}
		for k := range b {
			share := b[k].expected(fit) * fit.cov[posX+k][posX+k]
			c.got, c.want = c.got+sq(b[k].pull)*fit.cov[posX+k][posX+k], c.want+share
		}
		c.blocks++
	}
}

// blockGrid is a window cut into blocks, in an order that is always the same: sums of floating numbers depend on it.
type blockGrid struct {
	x0, y0 float64
	cols   int
	blocks [][2]block
}

// blocksOf lays blocks over samples, one of them about the star's middle.
func blocksOf(samples []sample, x, y float64) blockGrid {
	left, top, right, bottom := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, s := range samples {
		left, right = min(left, s.x), max(right, s.x)
		top, bottom = min(top, s.y), max(bottom, s.y)
	}
	g := blockGrid{x0: math.Round(x) - clumpSide/2, y0: math.Round(y) - clumpSide/2}
	g.x0 -= clumpSide * math.Ceil((g.x0-left)/clumpSide)
	g.y0 -= clumpSide * math.Ceil((g.y0-top)/clumpSide)
	g.cols = int((right-g.x0)/clumpSide) + 1
	g.blocks = make([][2]block, g.cols*(int((bottom-g.y0)/clumpSide)+1))
	return g
}

func (g *blockGrid) at(x, y float64) *[2]block {
	return &g.blocks[int((y-g.y0)/clumpSide)*g.cols+int((x-g.x0)/clumpSide)]
}

func (b *block) take(d *vector, weighted, residual, slope float64) {
	b.pull += weighted * residual
	b.info += weighted * slope
	for i := range d {
		b.mix[i] += weighted * d[i]
	}
}

// expected is the mean square of the pull of independent residuals, after what the fit's parameters took out of them.
func (b *block) expected(fit *fitted) float64 {
	e := b.info
	for i := range b.mix {
		for j := range b.mix {
			e -= b.mix[i] * b.mix[j] * fit.cov[i][j]
		}
	}
	return math.Max(e, 0)
}

// factor never makes an error smaller, and asks for more than chance: a mean square over n blocks is known to √(2/n), and
// about a third of a window's blocks carry most of the pull.
func (c *clump) factor() float64 {
	if c.blocks < clumpBlocks || !(c.want > 0) {
		return 1
	}
	k := c.got / c.want
	if k < 1+math.Sqrt(6/float64(c.blocks)) {
		return 1
	}
	return k
}
