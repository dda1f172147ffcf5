package star

import (
	"cmp"
	"math"
	"slices"

	"github.com/soniakeys/unit"
)

// attempt is one peak on its way to being a star.
type attempt struct {
	peak  peak
	start start
	cut   cut
	fit   fitted
	ok    bool
	near  []int // other attempts whose light reaches in
}

// measureAll fits every peak worth it, in parallel, then those with neighbours once more without the neighbours' light.
func (f *finder) measureAll() {
	peaks := f.spreadPeaks(min(f.o.MaxStars+f.o.MaxStars/3+20, f.affordable()))
	f.tries = make([]attempt, len(peaks))
	for i, p := range peaks {
		f.tries[i] = attempt{peak: p, start: f.startOf(p)}
	}
	f.findNeighbours()
	f.each(func(a *attempt) { f.try(a, nil) })
	for range 2 { // the second time the neighbours themselves are clean
		before := slices.Clone(f.tries)
		f.each(func(a *attempt) {
			if len(a.near) > 0 && a.ok {
				f.try(a, before)
			}
		})
	}
}

// affordable is how many windows of this lens's size a picture may cost: three million pixels in all. Only stars many
// times wider than they should be come near it.
func (f *finder) affordable() int {
	long, short, _ := f.lens.shape.axes()
	area := math.Pi * sq(windowSigmas) * math.Sqrt(long*short)
	return int(3e6/area) + 20
}

func (f *finder) each(work func(*attempt)) {
	inTurn(len(f.tries), f.o.Workers, func(i int) {
		if f.ctx.Err() == nil {
			work(&f.tries[i])
		}
	})
}

// startOf begins at the peak with the lens's shape, or, where nothing is known or the patch is long, with the patch's.
func (f *finder) startOf(p peak) start {
	s := start{f.g.toPicture(float64(p.x)), f.g.toPicture(float64(p.y)), f.lens.shape}
	b := &f.seen.blobs[p.blob]
	if b.peaks != 1 || f.lens.known {
		return s
	}
	x, y, m := f.blobShape(b)
	if long, short, _ := m.axes(); long > 4*short {
		return start{x, y, m}
	}
	return s
}

// findNeighbours notes the pairs of peaks whose windows overlap.
func (f *finder) findNeighbours() {
	long, _, _ := f.lens.shape.axes()
	reach := (windowSigmas + 1.5) * math.Sqrt(long)
	order := make([]int, len(f.tries))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(f.tries[a].start.y, f.tries[b].start.y) })
	for k, i := range order {
		a := &f.tries[i]
		for _, j := range order[k+1:] {
			b := &f.tries[j]
			if b.start.y-a.start.y > reach {
				break
			}
			if math.Hypot(b.start.x-a.start.x, b.start.y-a.start.y) < reach {
				a.near, b.near = append(a.near, j), append(b.near, i)
			}
		}
	}
}

// try fits an attempt. others, when given, are the first fits of all: the neighbours' light is taken off.
func (f *finder) try(a *attempt, others []attempt) {
	s := a.start
	if a.ok {
		s = start{a.fit.p[posX], a.fit.p[posY], f.lens.shape}
	}
	a.cut = f.window(s.x, s.y, s.m)
	f.without(a, others)
	a.cut.findPeak(s)
	a.cut.prior = f.priorFor()
	a.fit, a.ok = f.fitWindow(&a.cut, s)
	if a.ok && a.fit.chi2 > 2*a.fit.dof && a.cut.dropStrangers(&a.fit) {
		a.fit, a.ok = f.fitWindow(&a.cut, s)
	}
}

// without masks the pixels nearer to a neighbour (first round) or takes the neighbours' fitted light off.
func (f *finder) without(a *attempt, others []attempt) {
	for _, k := range a.near {
		if others == nil {
			b := &f.tries[k].start
			a.cut.samples = slices.DeleteFunc(a.cut.samples, func(s sample) bool {
				return math.Hypot(s.x-b.x, s.y-b.y) < math.Hypot(s.x-a.start.x, s.y-a.start.y)
			})
			continue
		}
		b := &others[k]
		if !b.ok {
			continue
		}
		var d vector
		for i := range a.cut.samples {
			s := &a.cut.samples[i]
			s.light -= b.fit.kind.value(&b.fit.p, s.x, s.y, &d) - b.fit.p[pedestal]
		}
	}
}

// conclude sorts the attempts into stars, suspects and nothing, and sums the field up.
func (f *finder) conclude() {
	f.learnClumps()
	for i := range f.tries {
		a := &f.tries[i]
		if !a.ok {
			f.unfitted(a)
			continue
		}
		s := f.star(a)
		switch f.judge(a, &s) {
		case isStar:
			f.field.Stars = append(f.field.Stars, s)
		case isHot:
			s.Flags |= Hot
			f.field.Suspects = append(f.field.Suspects, s)
		}
	}
	f.allSuspect()
	byFlux := func(a, b Star) int { return cmp.Compare(b.Flux, a.Flux) }
	slices.SortFunc(f.field.Stars, byFlux)
	slices.SortFunc(f.field.Suspects, byFlux)
	f.keepMost()
	f.summarise()
}

// unfitted keeps what no profile fits but is one bright pixel.
func (f *finder) unfitted(a *attempt) {
	if a.cut.peak <= 0 || len(a.cut.samples) == 0 || !f.needle(&a.cut) {
		return
	}
	s := Star{X: float64(a.cut.px), Y: float64(a.cut.py), XErr: 0.5, YErr: 0.5, Flux: a.cut.peak, Peak: a.cut.peak, Elongation: 1, Flags: Hot}
	f.field.Suspects = append(f.field.Suspects, s)
}

type verdict int

const (
	isNothing verdict = iota
	isStar
	isHot
)

func (f *finder) judge(a *attempt, s *Star) verdict {
	m := a.fit.shape()
	long, short, _ := m.axes()
	long, short = math.Sqrt(long), math.Sqrt(short)
	_, lensShort, _ := f.lens.shape.axes()
	lensLong, _, _ := f.lens.shape.axes()
	lensLong, lensShort = math.Sqrt(lensLong), math.Sqrt(lensShort)
	tolerance := 1 + 3*s.FWHMErr/s.FWHM
	switch {
	case short < f.eye.sharpest() || short < f.hotWidth || f.lens.known && short*tolerance < 0.62*lensShort || f.needle(&a.cut):
		return isHot
	case !(s.Flux > 3.5*s.FluxErr): // with its shape free a star at the threshold of detection has about four
		return isNothing
	case math.Hypot(s.X-a.start.x, s.Y-a.start.y) > 1.5*lensLong+float64(f.g.factor):
		return isNothing
	}
	if s.Flags&Saturated != 0 {
		return isStar
	}
	if f.lens.known && (short > 2*lensShort*tolerance || long > 2*lensLong*tolerance) {
		return isNothing
	}
	return isStar
}

// bent is what the straight lines of error propagation leave out of a faint star's variance, in units of the relative
// variance of its light: the next term has that order, and the faint stars that are found are those that look brighter than
// they are. Measured on stars 2 to 5 px wide, their number falling as 1/light (cmd/study, stars_faint.go): where light is 3 to
// 6 of its errors, places scattered by 1.15 to 1.3 of theirs without it and by 0.96 to 1.12 with it.
const bent = 6

// star reads the fit out.
func (f *finder) star(a *attempt) Star {
	fit := &a.fit
	p, cov := &fit.p, &fit.cov
	s := Star{X: p[posX], Y: p[posY], XYCov: cov[posX][posY], Peak: f.eye.peak(a), Flags: f.flagsOf(a)}
	widen := math.Sqrt(f.clumped)
	if s.Flags&Saturated != 0 {
		widen *= 2 // the wings are not the model's
	}
	s.Flux = fit.kind.flux(p)
	r := readout(fit)
	s.FWHM, s.Elongation, s.TrailPx, s.Angle = r.fwhm, r.elongation, math.Sqrt(r.trail2), unit.Angle(r.angle)
	e := spreadOut(fit)
	s.FluxErr, s.FWHMErr, s.ElongationErr = e.flux, e.fwhm, e.elongation
	widen *= math.Sqrt(1 + bent*sq(math.Min(s.FluxErr/s.Flux, 1)))
	s.XErr, s.YErr = widen*math.Sqrt(cov[posX][posX]), widen*math.Sqrt(cov[posY][posY])
	s.XYCov *= widen * widen
	s.TrailPxErr = math.Min(e.trail2/(2*s.TrailPx), math.Sqrt(e.trail2))
	s.AngleErr = unit.Angle(math.Min(e.angle, math.Pi/math.Sqrt(12)))
	return s
}

func (f *finder) flagsOf(a *attempt) (flags Flag) {
	if a.cut.saturated > 0 {
		flags |= Saturated
	}
	if a.cut.outside {
		flags |= Edge
	}
	if _, ok := a.fit.kind.(trail); ok {
		flags |= Trailed
	}
	long, _, _ := f.lens.shape.axes()
	for _, k := range a.near {
		b := &f.tries[k]
		if b.ok && math.Hypot(b.fit.p[posX]-a.fit.p[posX], b.fit.p[posY]-a.fit.p[posY]) < 5*math.Sqrt(long) {
			flags |= Blend
		}
	}
	return flags
}

// reading is what a profile's parameters say of size and form.
type reading struct{ fwhm, elongation, angle, trail2, flux float64 } // trail2: square of the trail's length

func readout(f *fitted) reading { return readingAt(f.kind, &f.p) }

func readingAt(kind profile, p *vector) reading {
	m := kind.shape(p)
	long, short, angle := m.axes()
	r := reading{fwhm: fwhmOfSigma * m.width(), elongation: math.Sqrt(long / short), angle: angle, trail2: sq(m.trailLength())}
	r.flux = kind.flux(p)
	return r
}

// spreadOut carries the covariance of the parameters to the reading, by differences of a tenth of a σ along each of
// them. The length of a trail has a corner at zero: its square is carried, as the moments give it.
func spreadOut(f *fitted) reading {
	params := [...]int{amplitude, shape0, shape1, shape2}
	var grad [len(params)]reading
	r0 := readout(f)
	for k, i := range params {
		h := 0.1 * math.Sqrt(f.cov[i][i])
		p := f.p
		p[i] += h
		if h == 0 || !f.kind.sound(&p) {
			p[i] -= 2 * h
			h = -h
		}
		if h == 0 || !f.kind.sound(&p) {
			continue
		}
		grad[k] = readingAt(f.kind, &p).minus(r0, h)
	}
	var v reading
	for a, i := range params {
		for b, j := range params {
			v.addProduct(grad[a], grad[b], f.cov[i][j])
		}
	}
	return reading{math.Sqrt(v.fwhm), math.Sqrt(v.elongation), math.Sqrt(v.angle), math.Sqrt(v.trail2), math.Sqrt(v.flux)}
}

func (r reading) minus(q reading, h float64) reading {
	turn := math.Remainder(r.angle-q.angle, math.Pi)
	return reading{(r.fwhm - q.fwhm) / h, (r.elongation - q.elongation) / h, turn / h, (r.trail2 - q.trail2) / h, (r.flux - q.flux) / h}
}

func (r *reading) addProduct(a, b reading, c float64) {
	r.fwhm += a.fwhm * b.fwhm * c
	r.elongation += a.elongation * b.elongation * c
	r.angle += a.angle * b.angle * c
	r.trail2 += a.trail2 * b.trail2 * c
	r.flux += a.flux * b.flux * c
}

// keepMost holds the field to Options.MaxStars, spread over the picture.
func (f *finder) keepMost() {
	stars := f.field.Stars
	at := func(i int) (float64, float64) { return stars[i].X, stars[i].Y }
	var kept []Star
	for _, i := range spread2(len(stars), f.o.MaxStars, float64(f.p.Width), float64(f.p.Height), at) {
		kept = append(kept, stars[i])
	}
	f.field.Stars = kept
}

// summarise takes the medians over the better measured half and names the picture's condition.
func (f *finder) summarise() {
	stars := f.field.Stars
	if len(stars) == 0 {
		f.field.Condition = NoStars
		if full := float64(f.sat); f.field.Background < 0.02*full && !math.IsInf(full, 1) || len(f.field.Suspects) > 100 {
			f.field.Condition = Dark
		}
		return
	}
	var errs, widths, longs []float64
	for i := range stars {
		errs = append(errs, stars[i].FWHMErr/stars[i].FWHM)
	}
	limit := math.Max(median(errs), 0.03)
	for i := range stars {
		s := &stars[i]
		if s.Flags&(Saturated|Edge|Blend) == 0 && s.FWHMErr <= limit*s.FWHM {
			widths, longs = append(widths, s.FWHM), append(longs, s.Elongation)
		}
	}
	if len(widths) == 0 {
		widths, longs = []float64{stars[0].FWHM}, []float64{stars[0].Elongation}
	}
	f.field.FWHM, f.field.Elongation = median(widths), median(longs)
}
