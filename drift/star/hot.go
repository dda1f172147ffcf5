package star

import "math"

// Hot pixels know where the pixels are; stars do not. A hot pixel spread by demosaicing or compression can be as wide as
// a star, but its middle always lies at the middle of a pixel, while those of stars are anywhere. One source cannot be
// told by that, but a population can.

// needle: the eight neighbours of the brightest pixel hold too little light. A star centred on its pixel gives them the
// least, and that follows from the picture's own star shape, or from the sharpest a lens can make. This asks the pixels,
// not a fit: fits lean on the lens.
func (f *finder) needle(c *cut) bool {
	if c.saturated > 0 || !(c.peak > 0) {
		return false
	}
	var sum float64
	n := 0
	for _, s := range c.samples {
		dx, dy := math.Abs(s.x-float64(c.px)), math.Abs(s.y-float64(c.py))
		if dx <= 1 && dy <= 1 && dx+dy > 0 {
			sum += s.light
			n++
		}
	}
	if n < 5 {
		return false
	}
	least := round(f.eye.sharpest())
	if f.lens.known {
		least = f.lens.shape
	}
	want := around(f.eye.blur(least)) * float64(n) / 8
	sigma := math.Sqrt(float64(n)*c.n2 + want*want*c.n2)
	return sum+2.5*sigma < 0.55*want*c.peak
}

// around is the light of a centred Gaussian in the eight pixels about its middle, in units of that at its middle.
func around(m shape) float64 {
	i := m.inverse()
	var sum float64
	for y := -1.0; y <= 1; y++ {
		for x := -1.0; x <= 1; x++ {
			sum += math.Exp(-0.5 * (i.xx*x*x + 2*i.xy*x*y + i.yy*y*y))
		}
	}
	return sum - 1
}

// middling is the half side of the square about a pixel's middle that uniform places hit with a chance of 0.16.
const middling = 0.2

// locked: far more of the places than chance allows (4σ, and at least half) lie at the middle of a pixel.
func locked(places [][2]float64) bool {
	n, hits := float64(len(places)), 0.0
	for _, p := range places {
		if math.Abs(p[0]-math.Round(p[0])) < middling && math.Abs(p[1]-math.Round(p[1])) < middling {
			hits++
		}
	}
	const chance = 4 * middling * middling
	return n >= 8 && hits >= n/2 && hits > n*chance+4*math.Sqrt(n*chance*(1-chance))
}

// widest is the largest FWHM (pixels) a hot pixel can be spread to by demosaicing and compression; wider stars are not
// asked for their places.
const widest = 2.6

// lockedFits asks a population of fits.
func lockedFits(fits []fitted) bool {
	var places [][2]float64
	for i := range fits {
		f := &fits[i]
		if fwhmOfSigma*f.shape().width() < widest && f.cov[posX][posX]+f.cov[posY][posY] < 2*0.1*0.1 {
			places = append(places, [2]float64{f.p[posX], f.p[posY]})
		}
	}
	return 2*len(places) > len(fits) && locked(places)
}

// agree finds the fits that share the most common width. If these turn out to be hot pixels, their width is noted, and
// the others are asked, of more peaks.
func (f *finder) agree() []fitted {
	for _, n := range [...]int{100, 400, 800} {
		fits := f.lonelyFits(n)
		near := f.consensus(fits)
		if len(near) < 3 {
			return nil
		}
		if !lockedFits(near) {
			return near
		}
		var widths []float64
		for i := range near {
			_, short, _ := near[i].shape().axes()
			widths = append(widths, math.Sqrt(short))
		}
		f.hotWidth = 1.35 * median(widths)
	}
	return nil
}

// allSuspect moves every star to the suspects when the picture's only common shape is that of hot pixels, or when the
// stars that were kept still sit at the middles of pixels.
func (f *finder) allSuspect() {
	stars := f.field.Stars
	var places [][2]float64
	for i := range stars {
		if s := &stars[i]; s.FWHM < widest && math.Hypot(s.XErr, s.YErr) < 0.14 {
			places = append(places, [2]float64{s.X, s.Y})
		}
	}
	onlyHot := f.hotWidth > 0 && !f.lens.known
	if !onlyHot && !(2*len(places) > len(stars) && locked(places)) {
		return
	}
	for _, s := range stars {
		s.Flags |= Hot
		f.field.Suspects = append(f.field.Suspects, s)
	}
	f.field.Stars = nil
}
