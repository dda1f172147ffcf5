package wobble

import (
	"cmp"
	"math"
	"slices"
	"time"

	"trueturn/ephem/say"
)

const (
	mostHarmonics = 3
	// oversampling: trial frequencies per 1/span. The third harmonic still gets three.
	oversampling = 10
	// mostWork, points × frequencies, is a few seconds.
	mostWork = 4e7
	// longestGear, s, is the longest period of small mounts' gears that limits reckon with (common
	// practice, no source).
	longestGear = 1300.0
)

// longestSession, s: a polar night. No gear keeps its phase, nor a clock its second, for longer.
const longestSession = 10 * 86400.0

// fitter holds one series while it is fitted.
type fitter struct {
	list    []sample
	first   time.Time // of the points
	given   float64   // frequency, Hz; 0 = unknown
	basis   basis
	values  []float64 // arcseconds
	cadence float64   // s
	seen    float64   // s
	span    float64   // s
	mid     float64   // s: where the basis has its zero

	freqs []float64
	chi   [][mostHarmonics]float64
	work  *work
	best  solution
	top   solution   // the best by Schwarz's criterion
	modes []solution // the best of each valley of the criterion, best first
	// family is the best one's frequency polished for each number of harmonics the pictures can show.
	family []solution
}

// newFitter readies a series, or says why there is nothing to fit.
func newFitter(points []Point, o Options) (*fitter, say.Line) {
	f := &fitter{list: samplesOf(points)}
	if o.PeriodS > 0 {
		f.given = 1 / o.PeriodS
	}
	if len(points) < fewestPoints {
		return nil, say.Of("too few angles for a wobble", len(points), fewestPoints)
	}
	f.first = slices.MinFunc(points, func(a, b Point) int { return a.Time.Compare(b.Time) }).Time
	f.cadence = cadenceOf(f.list)
	f.span = f.list[len(f.list)-1].at - f.list[0].at
	if f.cadence == 0 || !finite(f.span) {
		return nil, say.Of("all pictures have the same time")
	}
	if f.span > longestSession {
		return nil, say.Of("pictures of several nights", int(math.Round(f.span/86400)))
	}
	f.seen = seenOf(f.list, f.cadence)
	f.mid = (f.list[0].at + f.list[len(f.list)-1].at) / 2
	f.build()
	if f.basis.used-f.basis.fixed < 5 {
		return nil, say.Of("too few pictures between touches for a wobble")
	}
	if f.basis.chi0 == 0 || !finite(f.basis.chi0) {
		return nil, say.Of("angles on a line to the last digit")
	}
	return f, say.Line{}
}

// build sets the basis up.
func (f *fitter) build() {
	n := len(f.list)
	f.basis = basis{t: make([]float64, n), root: make([]float64, n), exposure: make([]float64, n), stretch: make([]int, n)}
	f.values = make([]float64, n)
	zero := map[int]float64{}
	for i, s := range f.list {
		if _, ok := zero[s.stretch]; !ok {
			zero[s.stretch] = s.angle
		}
		f.values[i] = s.angle - zero[s.stretch]
		f.basis.t[i], f.basis.root[i], f.basis.exposure[i], f.basis.stretch[i] = s.at-f.mid, 1/s.sigma, s.exposure, s.stretch
	}
	f.basis.stretches = len(zero)
	f.basis.prepare(f.values)
	f.work = newWork(n, mostHarmonics)
}

// highest is the highest trial frequency: three pictures in a period at the usual cadence.
func (f *fitter) highest() float64 {
	most := mostWork / float64(len(f.list)) / oversampling / f.span
	return min(1/(3*f.cadence), most)
}

// lowest is the lowest.
func (f *fitter) lowest() float64 { return min(1/max(3*f.span, longestGear), f.highest()/2) }

// shortestView, in periods, is the least of which harmonics are tried at all.
const shortestView = 0.4

// allowed is how many harmonics the pictures can show at a frequency.
func (f *fitter) allowed(freq float64) int {
	k := 1
	for ; k < mostHarmonics; k++ {
		next := float64(k + 1)
		if freq*f.seen < shortestView || next*freq*f.cadence > 0.45 || f.basis.used-f.basis.fixed-2*k-3 < 4 {
			break
		}
	}
	return k
}

// search finds the best frequency and number of harmonics, leaving out points that lie off.
func (f *fitter) search() {
	low := f.lowest()
	n := int((f.highest()-low)*f.span*oversampling) + 2
	f.freqs = make([]float64, n)
	for i := range n {
		f.freqs[i] = low + (f.highest()-low)*float64(i)/float64(n-1)
	}
	f.chi = make([][mostHarmonics]float64, n)
	f.scan()
	f.choose()
	f.leaveOutFirst()
	for range 3 + len(f.list)/20 {
		if !f.leaveOut() {
			return
		}
		f.scan()
		f.choose()
	}
}

// leaveOutFirst leaves out the first point or the first two where all the others fit far better
// without: the motor was still taking up play. Two that lie off side by side hide each other, and at the end of a series a slow wave bends to meet them.
func (f *fitter) leaveOutFirst() {
	fits := f.best.scatter < 1.3 && f.best.freq*f.seen > enoughPeriods
	if fits || f.best.degrees < 2*fewestPoints {
		return
	}
	all := f.best.chi
	roots := append([]float64(nil), f.basis.root...)
	for n := 1; n <= 2; n++ {
		f.basis.root[n-1] = 0
		f.basis.prepare(f.values)
		f.scan()
		f.choose()
		if all-f.best.chi > float64(n)*liesOff*liesOff*f.best.scatter*f.best.scatter && f.best.freq*f.seen > enoughPeriods {
			return
		}
	}
	f.basis.root = roots
	f.basis.prepare(f.values)
	f.scan()
	f.choose()
}

// scan tries every frequency.
func (f *fitter) scan() {
	for i, freq := range f.freqs {
		copy(f.chi[i][:], f.basis.chi2(f.work, freq, mostHarmonics))
	}
}

// criterion is Schwarz's, the size of the noise being unknown; smaller is better.
func (f *fitter) criterion(chi float64, harmonics int) float64 {
	n := float64(f.basis.used)
	unknowns := float64(f.basis.fixed + 2*harmonics + 1)
	return n*math.Log(max(chi/n, 1e-12)) + unknowns*math.Log(n)
}

// mostModes valleys are looked into.
const mostModes = 5

// choose polishes the deepest valleys of the criterion, of each number of harmonics by itself: a sharp
// valley between two trials shows its depth only then.
func (f *fitter) choose() {
	f.modes = f.modes[:0]
	if f.given > 0 {
		for k := 1; k <= f.allowed(f.given); k++ {
			f.modes = append(f.modes, f.solve(f.given, k, false))
		}
	} else {
		for k := 1; k <= mostHarmonics; k++ {
			for _, i := range f.valleys(k) {
				if freq := f.polishTrial(i, k); k <= f.allowed(freq) {
					f.modes = append(f.modes, f.solve(freq, k, true))
				}
			}
		}
	}
	slices.SortFunc(f.modes, func(a, b solution) int { return cmp.Compare(a.bic, b.bic) })
	f.raise()
}

// raise settles the number of harmonics at the frequency found. There the question is no longer whether
// a wave is there, but how it is shaped; gears have harmonics (common practice, no source), so the
// milder criterion of Hurvich & Tsai 1989, Biometrika 76, 297 decides.
func (f *fitter) raise() {
	f.top = f.modes[0]
	f.family = f.family[:0]
	for k := 1; k <= f.allowed(f.top.freq); k++ {
		freq := f.top.freq
		if f.given == 0 {
			reach := 0.3 / f.span
			freq = f.polish(max(freq-reach, f.lowest()), min(freq+reach, f.highest()), k)
		}
		f.family = append(f.family, f.solve(freq, k, f.given == 0))
	}
	f.best = slices.MinFunc(f.family, func(a, b solution) int { return cmp.Compare(f.shape(a), f.shape(b)) })
}

// shape is the corrected information criterion.
func (f *fitter) shape(s solution) float64 {
	n := float64(f.basis.used)
	p := float64(f.basis.fixed + 2*s.harmonics + 2)
	return n*math.Log(max(s.chi/n, 1e-12)) + 2*p + 2*p*(p+1)/max(n-p-1, 1)
}

// valleys are the trials with the least left over, among their neighbours.
func (f *fitter) valleys(k int) []int {
	var list []int
	for i := range f.freqs {
		c := f.chi[i][k-1]
		if (i == 0 || c < f.chi[i-1][k-1]) && (i+1 == len(f.freqs) || c <= f.chi[i+1][k-1]) {
			list = append(list, i)
		}
	}
	if len(list) == 0 {
		list = append(list, 0)
	}
	slices.SortFunc(list, func(a, b int) int { return cmp.Compare(f.chi[a][k-1], f.chi[b][k-1]) })
	return list[:min(len(list), mostModes)]
}

// polishTrial polishes the valley at trial i.
func (f *fitter) polishTrial(i, k int) float64 {
	return f.polish(f.freqs[max(i-1, 0)], f.freqs[min(i+1, len(f.freqs)-1)], k)
}

// polish narrows a valley down by golden sections.
func (f *fitter) polish(a, b float64, k int) float64 {
	left := func(x float64) float64 { return f.basis.chi2(f.work, x, k)[k-1] }
	const golden = 0.6180339887498949
	c, d := b-golden*(b-a), a+golden*(b-a)
	lc, ld := left(c), left(d)
	for range 20 {
		if lc < ld {
			b, d, ld = d, c, lc
			c = b - golden*(b-a)
			lc = left(c)
		} else {
			a, c, lc = c, d, ld
			d = a + golden*(b-a)
			ld = left(d)
		}
	}
	return (a + b) / 2
}

// liesOff: a point further from the fit, in robust standard deviations of what points predict
// of the one left out, belongs to something else. Of 60 good points one is lost in a hundred series.
const liesOff = 5

// steadiest is the solution that fits most points best: the least median of residuals
// (Rousseeuw 1984, J. Am. Stat. Assoc. 79, 871). Points that lie off bend the best in the least
// squares' sense toward themselves, but not this one.
func (f *fitter) steadiest() solution {
	best, least := f.best, math.Inf(1)
	for _, s := range append([]solution{f.best}, f.modes...) {
		if s.freq*f.seen < 1 && s.freq != f.best.freq {
			continue
		}
		if m := f.medianOff(s); m < 0.8*least {
			best, least = s, m
		}
	}
	return best
}

// medianOff is the middle one of a solution's residuals, sizes alone.
func (f *fitter) medianOff(s solution) float64 {
	var sizes []float64
	for i, d := range s.off {
		if f.basis.root[i] != 0 {
			sizes = append(sizes, math.Abs(d))
		}
	}
	slices.Sort(sizes)
	return sizes[len(sizes)/2]
}

// leaveOut leaves out the point that lies off most, if one does.
func (f *fitter) leaveOut() bool {
	off := f.steadiest().off
	var sizes []float64
	for i, d := range off {
		if f.basis.root[i] != 0 {
			sizes = append(sizes, math.Abs(d))
		}
	}
	if len(sizes) <= fewestPoints {
		return false
	}
	slices.Sort(sizes)
	usual := max(1.4826*sizes[len(sizes)/2], 1e-3)
	worst := 0
	for i := range off {
		if math.Abs(off[i]) > math.Abs(off[worst]) {
			worst = i
		}
	}
	if math.Abs(off[worst]) < liesOff*usual {
		return false
	}
	f.basis.root[worst] = 0
	f.basis.prepare(f.values)
	return true
}
