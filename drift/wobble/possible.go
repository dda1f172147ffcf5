package wobble

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// # What may be when little was seen
//
// Of a fraction of a period a wave shows a bend, and many waves have that bend: small fast ones and large slow
// ones, whose slope the rate takes up. Valleys of χ² lead nowhere then. All that is possible is the
// profile likelihood's: every frequency down to the slowest gear's, and at each every curve, zeros and rate
// fitted along, with
//
//	χ²(frequency, curve) ≤ least χ² + q²·scatter²,
//
// q being Student's t at 95 % for the degrees of freedom, since the scatter is an estimate (1.96 of
// many; Bates & Watts 1988, Nonlinear Regression Analysis, §6.1). What a frequency alone uses up of q² the curve there
// cannot use again. At one frequency the curves are an ellipsoid, over which a height d·β lies
// within d·β̂ ± reach·σ(d); peak to peak is the largest difference of two heights, so that its greatest is the
// greatest of those, exactly. Its least is no less than the largest of the lower ends (with one sine
// just that, being the distance of an ellipse from zero).

// profile is the search for what is possible with one number of harmonics.
type profile struct {
	f         *fitter
	harmonics int
	least     float64 // χ²
	scatter   float64 // in units of the errors handed in
	reach     float64 // q
}

// slowTrials between the slowest gear and waves seen often enough: steps of a hundredth or two in period.
const slowTrials = 200

// possible widens the limits by every wave that the pictures allow.
func (f *fitter) possible(r *Result, t *table) {
	f.possibleWith(f.top.harmonics, r, t)
	if f.best.harmonics != f.top.harmonics {
		f.possibleWith(f.best.harmonics, r, t)
	}
}

// possibleWith does so for one number of harmonics.
func (f *fitter) possibleWith(k int, r *Result, t *table) {
	list := f.trials(k)
	p := f.profileOf(k, list)
	for _, l := range list {
		if p.spare(l.chi) >= 0 {
			p.visit(r, t, l.freq)
		}
	}
	for _, s := range f.modes {
		if f.given == 0 && s.harmonics == k && p.visit(r, t, s.freq) {
			p.walk(r, t, s, -1)
			p.walk(r, t, s, 1)
		}
	}
}

// trial is a frequency and the χ² it leaves.
type trial struct{ freq, chi float64 }

// trials are the frequencies at which a wave may be: slow ones closely, the others as scanned.
func (f *fitter) trials(k int) []trial {
	at := func(freq float64) trial { return trial{freq, f.basis.chi2(f.work, freq, k)[k-1]} }
	if f.given > 0 {
		return []trial{at(f.given)}
	}
	low, high := f.lowest(), f.highest()
	often := min(2*enoughPeriods/f.seen, high)
	var list []trial
	for i := range slowTrials {
		list = append(list, at(low*math.Pow(often/low, float64(i)/(slowTrials-1))))
	}
	for i, freq := range f.freqs {
		if freq > often {
			list = append(list, trial{freq, f.chi[i][k-1]})
		}
	}
	return list
}

// profileOf finds the least that any frequency leaves.
func (f *fitter) profileOf(k int, list []trial) profile {
	p := profile{f: f, harmonics: k, least: math.Inf(1)}
	for _, l := range list {
		p.least = min(p.least, l.chi)
	}
	for _, s := range append([]solution{f.top, f.best}, f.modes...) {
		if s.harmonics == k {
			p.least = min(p.least, s.chi)
		}
	}
	degrees := f.basis.used - f.basis.fixed - 2*k
	if f.given == 0 {
		degrees--
	}
	p.scatter = math.Sqrt(p.least / float64(max(degrees, 1)))
	p.reach = student95(degrees)
	return p
}

// spare is what a χ² leaves of q²; below zero, or no number, it is too large.
func (p profile) spare(chi float64) float64 {
	used := chi - p.least
	if used <= 0 {
		return p.reach * p.reach
	}
	return p.reach*p.reach - used/(p.scatter*p.scatter)
}

// student95 holds 95 of 100 values of Student's t.
func student95(degrees int) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(max(degrees, 1))}.Quantile(0.975)
}

// visit widens the limits by what is possible at a frequency, if anything is.
func (p profile) visit(r *Result, t *table, freq float64) bool {
	s := p.f.solve(freq, p.harmonics, false)
	spare := p.spare(s.chi)
	if !(spare >= 0) {
		return false
	}
	s.scatter = p.scatter
	p.f.includeAll(r, t, s, math.Sqrt(spare))
	return true
}

// walk follows a valley narrower than the trials to its edge.
func (p profile) walk(r *Result, t *table, s solution, way float64) {
	f := p.f
	step := s.freqSigma() / 4
	if !(step > 0 && step < 0.1/f.span) {
		return
	}
	for freq := s.freq; ; step *= 1.2 {
		freq = min(max(freq+way*step, f.lowest()), f.highest())
		if !p.visit(r, t, freq) || freq == f.lowest() || freq == f.highest() {
			return
		}
	}
}

// includeAll widens the limits by a solution and all that lies within reach standard errors of it.
func (f *fitter) includeAll(r *Result, t *table, s solution, reach float64) {
	peakToPeak, rate := t.within(s, reach)
	if !s.sound {
		peakToPeak.High, rate.High = math.Inf(1), math.Inf(1)
	}
	if s.freq*f.seen < enoughPeriods {
		rate.High *= unseenHarmonics
	}
	widen(&r.PeriodLimitsS, 1/s.freq, 1/s.freq)
	widen(&r.PeakToPeakLimits, peakToPeak.Low, peakToPeak.High)
	widen(&r.MaxRateLimits, rate.Low, rate.High)
}

// coarse phases are enough for extremes that are limits: 10°, a sine's to half a hundredth.
const coarse = phases / 36

// within is peak to peak, arcseconds, and fastest rate, arcseconds per second, of all curves within reach standard
// errors of one.
func (t *table) within(s solution, reach float64) (peakToPeak, rate Limits) {
	m := len(s.beta)
	d := make([]float64, m)
	take := func(l *Limits, by float64) {
		v, e := math.Abs(dot(d, s.beta))*by, reach*s.spread(d)*by
		l.Low, l.High = max(l.Low, v-e), max(l.High, v+e)
	}
	for i := 0; i < phases; i += coarse {
		first := 0
		if m == 2 { // a sine's extremes lie half a turn apart
			first = max(i-phases/2, 0)
		}
		for j := first; j < i && (m > 2 || i-j == phases/2); j += coarse {
			for k := range d {
				d[k] = t[i][k] - t[j][k]
			}
			take(&peakToPeak, 1)
		}
		for k := 0; k < m; k += 2 {
			order := float64(k/2 + 1)
			d[k], d[k+1] = -order*t[i][k+1], order*t[i][k]
		}
		take(&rate, 2*math.Pi*s.freq)
	}
	return peakToPeak, rate
}

// largestGear, arcseconds, is more from peak to peak than any small mount's gear does (common practice, no
// source). A bound beyond says nothing and is none.
const largestGear = 600.0

// noBound takes bounds away that say nothing.
func (r *Result) noBound() {
	if !(r.PeakToPeakLimits.High <= largestGear) {
		r.PeakToPeakLimits.High, r.MaxRateLimits.High = math.Inf(1), math.Inf(1)
	}
}

// How far apart limits may lie around what is still an estimate.
const (
	periodFactor = 1.5
	sizeFactor   = (1 + 2*surePart) / (1 - 2*surePart) // as of the worst measurement
)

// manyPeriods is whether the period's figure is one possibility among many.
func (r *Result) manyPeriods() bool { return r.PeriodLimitsS.High > periodFactor*r.PeriodLimitsS.Low }

// onlyEstimates takes the figures away that are one possibility among many.
func (r *Result) onlyEstimates() {
	if r.manyPeriods() {
		r.PeriodS, r.PeriodSigmaS, r.Periods = 0, 0, 0
	}
	if r.PeriodS == 0 || r.PeakToPeakLimits.High > sizeFactor*r.PeakToPeakLimits.Low {
		r.PeakToPeak, r.PeakToPeakSigma, r.Harmonics = 0, 0, nil
	}
	if r.PeriodS == 0 || r.MaxRateLimits.High > sizeFactor*r.MaxRateLimits.Low {
		r.MaxRateArcsecPerS, r.MaxRateSigma = 0, 0
	}
}
