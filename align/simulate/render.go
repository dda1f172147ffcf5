package simulate

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"trueturn/drift/frame"
	"trueturn/ephem/catalog"
)

// dot is a place to which a share of a star's light goes.
type dot struct{ x, y float64 }

// streak is a star to be drawn: its light in equal parts on the
// dots, each of them smeared over equal parts at the offsets.
type streak struct {
	dots, offsets []dot
	electrons     float64
	low, high     float64 // rows it reaches
}

// picture is all that is known of a picture before its pixels are worked out.
type picture struct {
	r       *Run
	i       int
	blobs   []blob
	streaks []streak
	hot     []hotPixel
	passed  float64 // share of starlight that clouds let through
	glow    float64 // of clouds, against the clear sky
	sky     float64 // electrons per pixel in the middle
	faint   float64 // electrons per pixel not worth drawing
	deal    *normals
	dice    [2]uint64
}

// bandRows is how many rows one worker draws at a time.
const bandRows = 64

// Frame renders picture i in linear light, 1 where a pixel is full, and gives
// what the camera would write beside it; frame.Encode makes a file of the two.
// It holds one picture and what its stars need; bands of rows are drawn in parallel and
// come out the same on any number of processors. The error is an
// [ErrInvalid] for a number outside the run, or the context's.
func (r *Run) Frame(ctx context.Context, i int) (frame.Plane, frame.Metadata, error) {
	if err := r.checkIndex(i); err != nil {
		return frame.Plane{}, frame.Metadata{}, err
	}
	p, err := r.picture(i)
	if err != nil {
		return frame.Plane{}, frame.Metadata{}, err
	}
	c := r.e.Camera
	plane := frame.Plane{Width: c.Width, Height: c.Height, Pix: make([]float32, c.Width*c.Height), Saturation: 1}
	if err := p.draw(ctx, plane); err != nil {
		return frame.Plane{}, frame.Metadata{}, err
	}
	return plane, r.Metadata(i), nil
}

// draw fills the plane, as many bands at a time as there are processors.
func (p *picture) draw(ctx context.Context, plane frame.Plane) error {
	bands := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for top := range bands {
				p.band(plane, top, min(top+bandRows, plane.Height))
			}
		})
	}
	for top := 0; top < plane.Height && ctx.Err() == nil; top += bandRows {
		bands <- top
	}
	close(bands)
	wg.Wait()
	return ctx.Err()
}

// picture prepares picture i.
func (r *Run) picture(i int) (*picture, error) {
	c := r.e.Camera
	p := &picture{
		r: r, i: i,
		blobs: spread(r.fwhm(i), c.Moffat),
		sky:   r.e.skyElectrons(),
		deal:  theNormals(),
	}
	p.passed, p.glow = r.clouds(i)
	noise := math.Sqrt(p.sky*(1-c.Vignetting) + c.ReadNoise*c.ReadNoise)
	if c.Noiseless {
		noise = 0
	}
	p.faint = math.Max(0.02*noise, 2e-6*c.FullScale)
	dice := r.e.dice("noise", r.e.First+i)
	p.dice = [2]uint64{dice.Uint64(), dice.Uint64()}
	p.hot = r.hotPixels(i)
	if r.capped(i) {
		p.sky = 0
		return p, nil
	}
	return p, p.addStars()
}

// theNormals is the table of normal deviates, made when first needed.
var theNormals = sync.OnceValue(newNormals)

// gauss holds the two points of Gauss and Legendre for an interval of length 1
// about 0: sums over them are exact to the cube, so that a path cut into few
// pieces keeps its centre and its second moments.
var gauss = [2]float64{-0.28867513459481287, 0.28867513459481287} // ∓1/(2√3)

// maxPieces bounds the work on a star that crosses the picture.
const maxPieces = 2000

// pieces is into how many pieces a path must be cut so that its dots run
// together: with two dots on a piece of length h the light ripples by
// exp(−2π²σ²/h²)/2, here a thousandth.
func (p *picture) pieces(lengthPx float64) int {
	sigma := math.Inf(1)
	for _, b := range p.blobs {
		sigma = math.Min(sigma, b.sigma)
	}
	return int(math.Min(math.Ceil(lengthPx/(1.8*sigma)), maxPieces-1)) + 1
}

// addStars draws the stars' paths.
func (p *picture) addStars() error {
	r := p.r
	middle, err := r.moment(p.i, 0.5)
	if err != nil {
		return err
	}
	length, err := r.pathLength(p.i)
	if err != nil {
		return err
	}
	pieces := p.pieces(length)
	var path []moment
	for k := range pieces {
		for _, g := range gauss {
			m, err := r.moment(p.i, (float64(k)+0.5+g)/float64(pieces))
			if err != nil {
				return err
			}
			path = append(path, m)
		}
	}
	for _, s := range r.near(p.i, middle, length+10*r.fwhm(p.i)) {
		p.addStar(s, middle, path)
	}
	return nil
}

// pathLength is about how far stars move over the picture during the exposure,
// px: the longest way among those now in the middle and the corners.
func (r *Run) pathLength(i int) (float64, error) {
	const parts = 8
	w, h := float64(r.e.Camera.Width), float64(r.e.Camera.Height)
	marks := [...]dot{{w / 2, h / 2}, {0, 0}, {w, 0}, {0, h}, {w, h}}
	var ways [len(marks)]float64
	last := marks
	start, err := r.moment(i, 0)
	if err != nil {
		return 0, err
	}
	for k := range parts {
		m, err := r.moment(i, float64(k+1)/parts)
		if err != nil {
			return 0, err
		}
		for j, mark := range marks {
			star := start.sky.ICRS(start.attitude.Inverse().Apply(start.lens.ray(mark.x, mark.y)))
			if x, y, ok := m.place(star); ok {
				ways[j] += math.Hypot(x-last[j].x, y-last[j].y)
				last[j] = dot{x, y}
			}
		}
	}
	return slices.Max(ways[:]), nil
}

// addStar draws one star, unless it is too faint to matter or out of sight.
func (p *picture) addStar(s catalog.Star, middle moment, path []moment) {
	apparent := middle.sky.Apparent(s.Direction)
	if apparent.Z < 0 {
		return
	}
	electrons := p.r.electrons(p.i, float64(s.Magnitude), apparent)
	if p.widest(electrons) == 0 {
		return
	}
	dots := make([]dot, 0, len(path))
	var sumX, sumY float64
	for _, m := range path {
		x, y, ok := m.place(s.Direction)
		if !ok {
			return
		}
		sumX, sumY = sumX+x, sumY+y
		dots = append(dots, dot{x, y})
	}
	x, y := sumX/float64(len(dots)), sumY/float64(len(dots))
	electrons *= p.r.e.Camera.brightness(x, y) * p.passed
	p.add(dots, p.smear(x, y), electrons)
}

// smear gives the offsets over which the lens spreads a star at x, y along the
// radius.
func (p *picture) smear(x, y float64) []dot {
	c := p.r.e.Camera
	dx, dy := x-float64(c.Width-1)/2, y-float64(c.Height-1)/2
	radius := math.Hypot(dx, dy)
	half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	length := c.CornerStretch * radius * radius / (half * half)
	if length < 0.02 {
		return []dot{{0, 0}}
	}
	n := int(math.Ceil(length * fwhmPerSigma / c.FWHM))
	var offsets []dot
	for k := range n {
		for _, g := range gauss {
			along := ((float64(k)+0.5+g)/float64(n) - 0.5) * length / radius
			offsets = append(offsets, dot{along * dx, along * dy})
		}
	}
	return offsets
}

// add keeps a streak, if it touches the picture.
func (p *picture) add(dots, offsets []dot, electrons float64) {
	reach := p.widest(electrons)
	margin := reach + p.r.e.Camera.CornerStretch
	s := streak{dots: dots, offsets: offsets, electrons: electrons, low: math.Inf(1), high: math.Inf(-1)}
	left, right := math.Inf(1), math.Inf(-1)
	for _, d := range dots {
		s.low, s.high = math.Min(s.low, d.y-margin), math.Max(s.high, d.y+margin)
		left, right = math.Min(left, d.x-margin), math.Max(right, d.x+margin)
	}
	c := p.r.e.Camera
	if reach == 0 || s.high < 0 || s.low > float64(c.Height) || right < 0 || left > float64(c.Width) {
		return
	}
	p.streaks = append(p.streaks, s)
}

// widest is how far from its centre the light of a star is drawn.
func (p *picture) widest(electrons float64) float64 {
	w := 0.0
	for _, b := range p.blobs {
		w = math.Max(w, b.reach(electrons, p.faint))
	}
	return w
}

// hotPixel is a pixel that shines by itself.
type hotPixel struct {
	x, y      int
	electrons float32
}

// hotPixels are those of the sensor in use at picture i: a crop change means
// another sensor.
func (r *Run) hotPixels(i int) []hotPixel {
	e := r.e
	if e.Handling.Stacked != NotStacked { // the phone takes them for noise
		return nil
	}
	sensor := 0
	for _, c := range e.Handling.Crops {
		if c.Frame <= i {
			sensor++
		}
	}
	dice := e.dice("hot", sensor)
	list := make([]hotPixel, e.Camera.HotPixels)
	for k := range list {
		// A few are bright, most are faint; 15 s make the brightest full.
		perSecond := e.Camera.FullScale / 15 * (0.01 + 0.12*dice.ExpFloat64())
		list[k] = hotPixel{dice.IntN(e.Camera.Width), dice.IntN(e.Camera.Height),
			float32(perSecond * e.Exposure.Seconds())}
	}
	slices.SortFunc(list, func(a, b hotPixel) int { return a.y - b.y })
	return list
}

// band draws the rows from top to before below: the sky, and what the sensor makes of it.
func (p *picture) band(plane frame.Plane, top, below int) {
	c := &canvas{width: plane.Width, top: top, below: below, pix: plane.Pix[top*plane.Width : below*plane.Width]}
	p.paint(c)
	for y := top; y < below; y++ {
		p.addLight(plane.Row(y), y)
		p.addHot(plane.Row(y), y)
		p.expose(plane.Row(y), y)
	}
}

// paint draws the streaks that touch a band.
func (p *picture) paint(c *canvas) {
	for _, s := range p.streaks {
		if s.high < float64(c.top)-1 || s.low > float64(c.below) {
			continue
		}
		part := 1 / float64(len(s.dots)*len(s.offsets))
		for _, o := range s.offsets {
			for _, d := range s.dots {
				for _, b := range p.blobs {
					c.put(d.x+o.x, d.y+o.y, b, s.electrons*part, p.faint*part)
				}
			}
		}
	}
}

// addLight adds the sky's light to a row.
func (p *picture) addLight(row []float32, y int) {
	c := p.r.e.Camera
	half2 := (float64(c.Width)*float64(c.Width) + float64(c.Height)*float64(c.Height)) / 4
	dy := float64(y) - float64(c.Height-1)/2
	v := c.Vignetting / half2
	gradient := p.r.e.Conditions.Gradient / float64(c.Width)
	middle := float64(c.Width-1) / 2
	for x := range row {
		dx := float64(x) - middle
		row[x] += float32(p.sky*(1+gradient*dx)*(1-v*(dx*dx+dy*dy))) * float32(p.glow)
	}
}

func (p *picture) addHot(row []float32, y int) {
	first, _ := slices.BinarySearchFunc(p.hot, y, func(h hotPixel, y int) int { return h.y - y })
	for _, h := range p.hot[first:] {
		if h.y != y {
			return
		}
		row[h.x] += h.electrons
	}
}

// expose turns a row of light into what the sensor reads: dark current, photon
// and read noise, pedestal, full scale.
func (p *picture) expose(row []float32, y int) {
	c := p.r.e.Camera
	dark := float32(c.DarkCurrent * p.r.e.Exposure.Seconds())
	scale := float32(1 / c.FullScale)
	pedestal := float32(c.Pedestal)
	if c.Noiseless {
		for x, v := range row {
			row[x] = clip((v + dark + pedestal) * scale)
		}
		return
	}
	read2 := float32(c.ReadNoise * c.ReadNoise)
	dice := rand.NewPCG(p.dice[0], p.dice[1]+uint64(y))
	for x := 0; x < len(row); x += 2 {
		a, b := p.deal.pair(dice)
		v := row[x] + dark
		row[x] = clip((v + scatter(v, read2, a) + pedestal) * scale)
		if x+1 < len(row) {
			v = row[x+1] + dark
			row[x+1] = clip((v + scatter(v, read2, b) + pedestal) * scale)
		}
	}
}

// scatter is the noise of a pixel of v electrons for a normal deviate z: the
// variance of photons and reading together, and the photons' skewness to first
// order (the Cornish–Fisher expansion of the Poisson law).
func scatter(v, read2, z float32) float32 {
	variance := v + read2
	if variance <= 0 {
		return 0
	}
	return float32(math.Sqrt(float64(variance)))*z + v/(6*variance)*(z*z-1)
}

func clip(v float32) float32 { return min(max(v, 0), 1) }
