package star

import (
	"cmp"
	"context"
	"math"
	"slices"

	"trueturn/drift/frame"
)

// finder carries one picture through the stages.
type finder struct {
	ctx   context.Context
	p     frame.Plane
	o     Options
	sat   float32
	field Field
	over  bool // nothing more to be done

	eye    eye // which light makes a value of the plane
	factor int // reduction of the grid

	g        grid
	bg       mesh    // background
	coherent mesh    // noise that a quantised picture hides (see quantum), over the grid
	pixNoise mesh    // σ of one picture pixel, as white noise with the same effect at a star's scale
	toPixel  float32 // σ of filtered light to σ of a pixel
	seen     found
	lens     lens
	hotWidth float64 // σ under which everything is a hot pixel in this picture; 0 = not known to have many
	tries    []attempt
	clumped  float64 // variance of places over what independent pixels would leave; see learnClumps
}

// lens is what the picture's own bright stars say about every star.
type lens struct {
	known bool  // enough stars agreed
	shape shape // second moments of a star, pixel included
	spot  spot
	noise noiseModel
	prior prior // of the shape of any other star
}

// trailed: the picture's stars are drawn out by more than an ellipse can follow.
func (l *lens) trailed() bool {
	long, short, _ := l.shape.axes()
	return l.known && long > 1.9*short
}

// coarsest is the FWHM, in grid pixels, up to which a mesh cell holds enough sky beside a star.
const coarsest = 7

// settle reduces, surveys and learns; when the stars turn out too wide for the reduction (lost focus, dew), or none is
// seen, it tries again on a coarser one.
func (f *finder) settle() {
	first, good := f.factor, 0
	for f.learnAt(); !f.over && f.ctx.Err() == nil; f.learnAt() {
		if f.lens.known {
			good = f.factor
			if fwhmOfSigma*f.lens.shape.width() < coarsest*float64(f.factor) {
				return
			}
		}
		if f.factor >= 4 || f.hotWidth > 0 || min(f.p.Width, f.p.Height) < 8*cellSize*f.factor {
			break
		}
		f.factor *= 2
	}
	if f.lens.known || f.over || f.factor == first {
		return
	}
	if f.factor = first; good > 0 {
		f.factor = good
	}
	f.learnAt()
}

func (f *finder) learnAt() {
	if f.survey(); f.over {
		return
	}
	f.firstLook()
	f.learn()
}

// survey reduces the picture, measures its background and recognises pictures of nothing.
func (f *finder) survey() {
	f.g = newGrid(f.p, f.factor, f.o.Workers)
	bg, noise := measure(&f.g, false, f.o.Workers)
	f.coherent = quantum(f.p, &f.g, f.o.Workers)
	for i := range f.coherent.v {
		f.coherent.v[i] /= 3.4641 // a step is spread evenly: /√12
	}
	f.field.Background = bg.median()
	bg.calm(&noise)
	f.bg = bg
	switch {
	case slices.Max(noise.v) == 0 && !(slices.Max(f.g.pix) > slices.Min(f.g.pix)):
		f.stop(Featureless)
	case f.blinded():
		f.stop(TooBright)
	}
}

func (f *finder) stop(c Condition) {
	f.field.Condition, f.over = c, true
	if f.field.Background >= float64(f.sat) {
		f.field.Condition = TooBright
	}
}

// blinded: the sky itself stands above half of full scale, or a third of the picture has clipped.
func (f *finder) blinded() bool {
	if math.IsInf(float64(f.sat), 1) {
		return false
	}
	clipped := 0
	for _, v := range f.bg.v {
		if v >= f.sat {
			clipped++
		}
	}
	return f.field.Background > 0.5*float64(f.sat) || 3*clipped > len(f.bg.v)
}

// firstSigma is the width (picture pixels, before the grid's own averaging) of the first kernel: right for stars 2.4
// pixels wide on whole pictures and 3.5 on halved ones, and forgiving of others.
const firstSigma = 1.0

func (f *finder) firstLook() {
	sigma := firstSigma
	if f.g.factor > 1 {
		sigma = 0.7 * float64(f.g.factor)
	}
	f.lookWith(sigma)
}

// lookWith filters with a Gaussian of σ picture pixels and finds the peaks.
func (f *finder) lookWith(sigma float64) {
	k := gaussian(sigma / float64(f.g.factor))
	light := k.apply(&f.g, &f.bg, f.o.Workers)
	noise := f.filteredNoise(&light)
	f.pixNoise = newMesh(&f.g)
	f.toPixel = float32(float64(f.g.factor) / k.squares())
	for i, v := range noise.v {
		f.pixNoise.v[i] = v * f.toPixel
	}
	f.field.Noise = f.pixNoise.median()
	f.seen = look(light, noise, f.o.Sigmas, f.o.Workers)
	f.prune()
	f.quieten(sigma / float64(f.g.factor))
}

// filteredNoise measures the noise where it matters: after the filter. Compression, demosaicing and noise reduction
// have correlated it; the raw scatter of pixels would understate it. Texture counts as noise.
func (f *finder) filteredNoise(light *grid) mesh {
	_, noise := measure(light, false, f.o.Workers)
	s := noise.smoothed()
	for i, own := range noise.v {
		if own < 1.4*s.v[i] {
			noise.v[i] = s.v[i]
		}
		noise.v[i] = max(noise.v[i], f.coherent.v[i], 1e-12)
	}
	return noise
}

// quieten measures background and pixel noise again between the patches of light when these cover so much of the picture
// that they pass for background (wide stars, long trails, the Milky Way). reach is the σ of the filter in grid pixels.
func (f *finder) quieten(reach float64) {
	covered := 0
	for i := range f.seen.blobs {
		if b := &f.seen.blobs[i]; b.parent == int32(i) {
			covered += (b.x1 - b.x0 + 1) * (b.y1 - b.y0 + 1)
		}
	}
	if 25*covered < len(f.g.pix) {
		return
	}
	light := f.between(&f.seen.light, reach)
	_, quiet := measure(&light, true, f.o.Workers)
	quiet = quiet.bridged()
	for i, v := range quiet.v {
		if v *= f.toPixel; v > 0 && v < f.pixNoise.v[i] {
			f.pixNoise.v[i] = max(v, f.coherent.v[i])
		}
	}
	f.field.Noise = f.pixNoise.median()
	sky := f.between(&f.g, reach)
	middle, noise := measure(&sky, true, f.o.Workers)
	for i, n := range noise.v {
		if n > 0 { // else nothing was left of the cell
			f.bg.v[i] = middle.v[i]
		}
	}
}

// between copies a grid with holes (not a number) where patches of light and their flanks are.
func (f *finder) between(g *grid, reach float64) grid {
	out := grid{g.w, g.h, g.factor, slices.Clone(g.pix)}
	nan := float32(math.NaN())
	for i := range f.seen.blobs {
		b := &f.seen.blobs[i]
		if b.parent != int32(i) {
			continue
		}
		grow := int(math.Ceil(reach * math.Min(3, 1+0.2*math.Sqrt(float64(b.area)))))
		for y := max(b.y0-grow, 0); y <= min(b.y1+grow, g.h-1); y++ {
			row := out.pix[y*g.w : (y+1)*g.w]
			for x := max(b.x0-grow, 0); x <= min(b.x1+grow, g.w-1); x++ {
				row[x] = nan
			}
		}
	}
	return out
}

// longestTrail is the longest path, in picture pixels, taken for a star's own trail.
const longestTrail = 90.0

func (f *finder) prune() {
	// A star's own patch: up to a thousandth of the picture, at least 2500 pixels (a bright one's halo, a long trail).
	largest := math.Max(2500/float64(f.g.factor*f.g.factor), float64(len(f.g.pix))/1000)
	longest := longestTrail
	if f.lens.trailed() { // the filter drew the patches out by as much again
		longest += f.lens.shape.trailLength()
	}
	f.seen.prune(largest, longest/float64(f.g.factor)+20)
}

// learn fits the brightest whole stars and takes the picture's star shape, wings and noise model from them.
func (f *finder) learn() {
	f.lens, f.hotWidth = f.unknown(), 0
	fits := f.agree()
	if fits == nil {
		f.lens = f.unknown()
		return
	}
	f.lens.known = true
	f.learnWings(fits)
	f.learnNoise(fits)
	f.learnPrior(fits)
}

// unknown is the lens before anything is known of it.
func (f *finder) unknown() lens { return lens{shape: round(1.5), spot: spot{retina: f.eye.coarse()}} }

// lonelyFits fits the n brightest peaks that stand alone.
func (f *finder) lonelyFits(n int) []fitted {
	peaks := f.spreadPeaks(n)
	all := make([]*fitted, len(peaks))
	inTurn(len(peaks), f.o.Workers, func(i int) {
		if f.ctx.Err() != nil {
			return
		}
		if fit, ok := f.lonely(peaks[i]); ok {
			all[i] = &fit
		}
	})
	var fits []fitted
	for _, fit := range all {
		if fit != nil {
			fits = append(fits, *fit)
		}
	}
	return fits
}

// lonely fits a peak without knowing the lens. Saturated ones, several on one patch, and faint ones teach nothing.
func (f *finder) lonely(p peak) (fitted, bool) {
	b := &f.seen.blobs[p.blob]
	if p.snr < 12 || b.peaks != 1 {
		return fitted{}, false
	}
	x, y, m := f.blobShape(b)
	if long, short, _ := m.axes(); long < 4*short {
		x, y, m = f.g.toPicture(float64(p.x)), f.g.toPicture(float64(p.y)), f.lens.shape
	}
	var fit fitted
	for range 2 { // the second window is cut to the width the first fit found
		w := f.window(x, y, m)
		if w.saturated > 0 || w.outside || f.needle(&w) {
			return fitted{}, false
		}
		var ok bool
		if fit, ok = f.fitWindow(&w, start{x, y, m}); !ok {
			return fitted{}, false
		}
		x, y, m = fit.p[posX], fit.p[posY], fit.kind.shape(&fit.p)
	}
	return fit, !f.tooSharp(m)
}

// blobShape is the middle and shape of a patch in picture pixels.
func (f *finder) blobShape(b *blob) (x, y float64, m shape) {
	gx, gy, m := b.moments()
	k := float64(f.g.factor * f.g.factor)
	return f.g.toPicture(gx), f.g.toPicture(gy), shape{math.Max(m.xx*k, 0.3), m.xy * k, math.Max(m.yy*k, 0.3)}
}

// sharpest is the smallest σ of a star's short axis, pixel included: the box of one pixel alone has 0.29 and no lens
// adds less than 0.3 to it. Anything under it is one hot pixel.
const sharpest = 0.42

func (f *finder) tooSharp(m shape) bool {
	_, short, _ := m.axes()
	return short < sq(f.eye.sharpest()) || short < f.hotWidth*f.hotWidth
}

// consensus finds the width most stars share (the half-sample mode, so that lamps, leaves and smeared hot pixels do not
// vote) and sets the lens to the median shape of those near it, which it returns.
func (f *finder) consensus(fits []fitted) []fitted {
	if len(fits) == 0 {
		return nil
	}
	widths := make([]float64, len(fits))
	for i := range fits {
		_, short, _ := fits[i].shape().axes()
		widths[i] = math.Log(short) / 2
	}
	mode := halfSampleMode(widths)
	var near []fitted
	var xx, xy, yy []float64
	for i, w := range widths {
		if math.Abs(w-mode) < 0.25 {
			m := fits[i].shape()
			near, xx, xy, yy = append(near, fits[i]), append(xx, m.xx), append(xy, m.xy), append(yy, m.yy)
		}
	}
	m := shape{median(xx), median(xy), median(yy)}
	if !m.sound() {
		m = round(math.Exp(mode))
	}
	f.lens.shape = m
	f.lens.spot.retina = f.eye.retinaFor(m)
	return near
}

// halfSampleMode halves the sample to its densest half again and again (T. Robertson and J. D. Cryer, JASA 69 (1974)
// 1012).
func halfSampleMode(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	for len(v) > 2 {
		n := (len(v) + 1) / 2
		best := 0
		for i := 1; i+n <= len(v); i++ {
			if v[i+n-1]-v[i] < v[best+n-1]-v[best] {
				best = i
			}
		}
		v = v[best : best+n]
	}
	return (v[0] + v[len(v)-1]) / 2
}

// median of v, which it reorders; 0 of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// secondLook filters again when the stars are much wider or narrower than the first kernel, or trailed.
func (f *finder) secondLook() {
	if !f.lens.known {
		return
	}
	long, short, angle := f.lens.shape.axes()
	sigma := math.Sqrt(short)
	box := float64(f.g.factor*f.g.factor-1) / 12
	want := math.Sqrt(math.Max(short-box, 0.3*float64(f.g.factor)))
	used := firstSigma
	if f.g.factor > 1 {
		used = 0.7 * float64(f.g.factor)
	}
	if math.Abs(math.Log(want/used)) > 0.5 {
		f.lookWith(math.Min(want, 6*float64(f.g.factor)))
	}
	if l := f.lens.shape.trailLength(); long > 1.9*short && l > 3*float64(f.g.factor) && l > 2*sigma {
		light := along(&f.seen.light, l/float64(f.g.factor), angle, f.o.Workers)
		noise := f.filteredNoise(&light)
		f.capTo(&noise)
		f.seen = look(light, noise, f.o.Sigmas, f.o.Workers)
		f.prune()
	}
}

// capTo keeps a bright trail that fills a whole cell, once the filter has drawn it out, from hiding itself: no cell may be
// noisier than twice what the quiet sky there (see quieten) makes likely.
func (f *finder) capTo(noise *mesh) {
	sky := f.pixNoise.median()
	if !(sky > 0) {
		return
	}
	k := float32(2 * noise.median() / sky)
	for i, v := range f.pixNoise.v {
		noise.v[i] = min(noise.v[i], k*v)
	}
}

// spreadPeaks takes the n brightest peaks, but lets no part of the picture take more than its share before the others
// had theirs.
func (f *finder) spreadPeaks(n int) []peak {
	at := func(i int) (float64, float64) { return float64(f.seen.peaks[i].x), float64(f.seen.peaks[i].y) }
	chosen := spread2(len(f.seen.peaks), n, float64(f.g.w), float64(f.g.h), at)
	out := make([]peak, len(chosen))
	for i, k := range chosen {
		out[i] = f.seen.peaks[k]
	}
	return out
}

// spread2 chooses n of the total items, which come brightest first, so that each of 6 × 6 parts of a w × h picture may
// give three times an even share; what is then missing is filled by brightness. Indices come in ascending order.
func spread2(total, n int, w, h float64, at func(int) (x, y float64)) []int {
	const parts = 6
	if total <= n {
		n = total
	}
	quota := max(1, 3*n/(parts*parts))
	var count [parts * parts]int
	var chosen, spare []int
	for i := 0; i < total && len(chosen) < n; i++ {
		x, y := at(i)
		k := min(max(int(y/h*parts), 0), parts-1)*parts + min(max(int(x/w*parts), 0), parts-1)
		if count[k] < quota {
			count[k]++
			chosen = append(chosen, i)
		} else {
			spare = append(spare, i)
		}
	}
	chosen = append(chosen, spare[:min(len(spare), n-len(chosen))]...)
	slices.SortFunc(chosen, func(a, b int) int { return cmp.Compare(a, b) })
	return chosen
}
