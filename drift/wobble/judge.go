package wobble

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
)

// judge says what the search amounts to.
func (f *fitter) judge(r *Result) {
	t := newTable()
	best := f.best
	r.Epoch = f.first.Add(time.Duration(f.mid * 1e9))
	r.RateArcsecPerS, r.RateSigmaArcsecPerS = best.rate, best.rateSigma
	r.Periods = best.freq * f.seen
	f.spectrum(r)
	if !(f.chance() <= chance) || !best.sound { // no number is no chance either
		f.unseen(r, t)
		return
	}
	z := f.sizes(t)
	r.PeriodS = 1 / best.freq
	r.PeriodSigmaS = z.freqSigma / best.freq / best.freq
	r.PeakToPeak, r.PeakToPeakSigma = unit.AngleFromSec(z.peakToPeak), unit.AngleFromSec(z.peakToPeakSigma)
	r.MaxRateArcsecPerS, r.MaxRateSigma = z.rate, z.rateSigma
	for k := range best.harmonics {
		r.Harmonics = append(r.Harmonics, Harmonic{unit.AngleFromSec(best.beta[2*k]), unit.AngleFromSec(best.beta[2*k+1])})
	}
	f.settle(r, t, z)
}

// settle gives limits, state and words.
func (f *fitter) settle(r *Result, t *table, z size) {
	why := f.whyBounded(z)
	r.State = Measured
	r.PeriodLimitsS, r.PeakToPeakLimits, r.MaxRateLimits = nothing, nothing, nothing
	if why != shortView {
		f.limits(r, t, z)
	}
	if why == sure && (r.manyPeriods() || r.PeakToPeakLimits.High > largestGear) {
		why = ambiguous // the valley is deep, but runs out into slow waves
	}
	if why != sure {
		r.State = Bounded
		f.possible(r, t)
		r.noBound()
	}
	r.Note = f.note(r, why)
	if why != sure {
		r.onlyEstimates()
	}
}

// spectrum is the power at every trial frequency.
func (f *fitter) spectrum(r *Result) {
	r.Frequencies = f.freqs
	r.Spectrum = make([]float64, len(f.freqs))
	for i := range f.freqs {
		r.Spectrum[i] = f.basis.power(f.chi[i][0])
	}
}

// chance is that of noise alone: for the highest power at any frequency, or at the one given.
func (f *fitter) chance() float64 {
	b := &f.basis
	powerAt := func(freq float64) float64 { return b.power(b.chi2(f.work, freq, 1)[0]) }
	if f.given > 0 {
		free := float64(b.used - b.fixed - 2)
		return math.Pow(1-powerAt(f.given), free/2)
	}
	power := 0.0
	for _, i := range f.valleys(1) {
		power = max(power, powerAt(f.polishTrial(i, 1)))
	}
	return falseAlarm(power, f.highest(), b.spreadOf(), b.used, b.fixed)
}

// leastOdds keeps more harmonics in view for the errors where the pictures ask for fewer: that they do not show
// one does not mean that there is none.
const leastOdds = 0.2

// sizes are the mean over the numbers of harmonics, by the odds their criterion gives them; to the errors
// comes how far they lie apart.
func (f *fitter) sizes(t *table) size {
	list := make([]size, len(f.family))
	odds := make([]float64, len(f.family))
	var z size
	var sum float64
	for i, s := range f.family {
		list[i] = t.sizeOf(s)
		odds[i] = math.Exp((f.shape(f.best) - f.shape(s)) / 2)
		sum += odds[i]
	}
	for i, o := range list {
		odds[i] /= sum
		z.peakToPeak += odds[i] * o.peakToPeak
		z.rate += odds[i] * o.rate
	}
	var p, r, all float64
	for i, o := range list {
		if f.family[i].harmonics > f.best.harmonics {
			odds[i] = max(odds[i], leastOdds)
		}
		all += odds[i]
		p += odds[i] * (square(o.peakToPeakSigma) + square(o.peakToPeak-z.peakToPeak))
		r += odds[i] * (square(o.rateSigma) + square(o.rate-z.rate))
	}
	z.peakToPeakSigma, z.rateSigma, z.freqSigma = math.Sqrt(p/all), math.Sqrt(r/all), f.best.freqSigma()
	return z
}

func square(x float64) float64 { return x * x }

// moments of a handful of numbers.
type moments struct{ n, sum, square float64 }

func (m *moments) add(x float64) { m.n, m.sum, m.square = m.n+1, m.sum+x, m.square+x*x }
func (m *moments) mean() float64 { return m.sum / max(m.n, 1) }
func (m *moments) sigma() float64 {
	return math.Sqrt(max(m.square-m.sum*m.sum/max(m.n, 1), 0) / max(m.n-1, 1))
}

// rivals are the modes that cannot be ruled out, the best one among them.
func (f *fitter) rivals() []solution {
	n := 0
	for n < len(f.modes) && f.modes[n].bic <= f.top.bic+rivalBIC {
		n++
	}
	return slices.DeleteFunc(slices.Clone(f.modes[:n]), f.repeats)
}

// chi95 is the rise of χ² that one unknown stays under in 95 of 100 cases.
const chi95 = 3.841

// limits widens the result's by everything that fits not much worse than the best.
func (f *fitter) limits(r *Result, t *table, z size) {
	widen(&r.PeakToPeakLimits, z.peakToPeak-2*z.peakToPeakSigma, z.peakToPeak+2*z.peakToPeakSigma)
	widen(&r.MaxRateLimits, z.rate-2*z.rateSigma, z.rate+2*z.rateSigma)
	p, freq := 2*z.freqSigma, f.best.freq
	widen(&r.PeriodLimitsS, 1/(freq+p), 1/max(freq-p, f.lowest()))
	for _, s := range f.rivals() {
		f.include(r, t, s)
		if f.given > 0 {
			continue
		}
		for _, way := range []float64{-1, 1} {
			f.walk(r, t, s, way)
		}
	}
}

// nothing is the limits before anything is included.
var nothing = Limits{math.Inf(1), 0}

// walk visits frequencies from a mode on until the fit gets too bad or trials end.
func (f *fitter) walk(r *Result, t *table, s solution, way float64) {
	most := s.chi + chi95*s.scatter*s.scatter
	step := s.freqSigma() / 2
	if !(step > 0 && step < 0.1/f.span) {
		step = 0.02 / f.span
	}
	for freq := s.freq; ; step *= 1.25 {
		freq = min(max(freq+way*step, f.lowest()), f.highest())
		here := f.solve(freq, s.harmonics, false)
		if here.chi > most {
			return
		}
		f.include(r, t, here)
		if freq == f.lowest() || freq == f.highest() {
			return
		}
	}
}

// unseenHarmonics is by how much harmonics that a short view cannot show may make the curve
// faster: a third harmonic of 30 %, 1 + 3·0.3 (common practice, no source).
const unseenHarmonics = 1.9

// include widens the limits by one solution and two standard errors.
func (f *fitter) include(r *Result, t *table, s solution) {
	z := t.roughSizeOf(s)
	faster := 1.0
	if s.freq*f.seen < enoughPeriods {
		faster = unseenHarmonics
	}
	widen(&r.PeriodLimitsS, 1/s.freq, 1/s.freq)
	widen(&r.PeakToPeakLimits, z.peakToPeak-2*z.peakToPeakSigma, z.peakToPeak+2*z.peakToPeakSigma)
	widen(&r.MaxRateLimits, z.rate-2*z.rateSigma, (z.rate+2*z.rateSigma)*faster)
}

func widen(l *Limits, low, high float64) {
	l.Low, l.High = max(min(l.Low, low), 0), max(l.High, high)
}

// doubt is why a wave is not measured.
type doubt int

const (
	sure      doubt = iota
	shortView       // too little of a period
	ambiguous       // another period fits as well
	noisy           // too uncertain a size
)

// fewestDegrees of freedom a measurement has: with fewer, part of one wave passes for another.
const fewestDegrees = 10

// whyBounded weighs what speaks against a measurement.
func (f *fitter) whyBounded(z size) doubt {
	best := f.best
	switch {
	case best.freq*f.seen < enoughPeriods:
		return shortView
	case f.ambiguous():
		return ambiguous
	case z.peakToPeakSigma > surePart*z.peakToPeak || best.degrees < fewestDegrees:
		return noisy
	}
	return sure
}

// ambiguous is whether a rival has another period.
func (f *fitter) ambiguous() bool {
	for _, s := range f.rivals() {
		if math.Abs(s.freq-f.best.freq) > f.apart() {
			return true
		}
	}
	return false
}

// apart is how far two frequencies must differ to be two.
func (f *fitter) apart() float64 { return max(3*f.best.freqSigma(), 0.3/f.span) }

// repeats is whether a solution is the best one over again at twice or three times its period: with its
// second or third harmonic it draws the same wave, and needs more terms to do so.
func (f *fitter) repeats(s solution) bool {
	for times := 2.0; times <= mostHarmonics; times++ {
		if math.Abs(times*s.freq-f.best.freq) <= times*f.apart() {
			return true
		}
	}
	return false
}

// unseenTrials are enough for the largest of what may hide; only series full of gaps have more frequencies.
const unseenTrials = 20000

// unseen says how large a wave might still hide, of a period seen often enough.
func (f *fitter) unseen(r *Result, t *table) {
	r.State, r.Periods = Unseen, 0
	from, to := min(enoughPeriods/f.seen, f.highest()), f.highest()
	r.PeriodLimitsS, r.PeakToPeakLimits, r.MaxRateLimits = nothing, nothing, nothing
	if f.given > 0 {
		from, to = f.given, f.given
		r.PeriodS = 1 / f.given
		r.Periods = f.given * f.seen
	}
	step := max(0.25/f.span, (to-from)/unseenTrials)
	for freq := from; freq <= to; freq += step {
		s := f.solve(freq, 1, false)
		f.includeAll(r, t, s, student95(s.degrees))
	}
	r.PeakToPeakLimits.Low, r.MaxRateLimits.Low = 0, 0
	r.noBound()
	s := f.solve(f.highest(), 1, false) // the rate without a wave, its error from the bare scatter
	s.rate, s.rateSigma = f.basis.rate, math.Sqrt(f.basis.chi0/float64(max(f.basis.used-f.basis.fixed, 1)))/f.basis.ramp
	r.RateArcsecPerS, r.RateSigmaArcsecPerS = s.rate, s.rateSigma
	r.Note = f.unseenNote(r, f.mostSlow(t))
}

// mostSlow is the most that the slowest gear may do unseen, arcseconds from peak to peak; 0 where none is slower
// than what was seen often enough.
func (f *fitter) mostSlow(t *table) float64 {
	if f.seen > enoughPeriods*longestGear {
		return 0
	}
	s := f.solve(1/longestGear, 1, false)
	if !s.sound {
		return math.Inf(1)
	}
	l, _ := t.within(s, student95(s.degrees))
	return l.High
}
