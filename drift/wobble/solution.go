package wobble

import (
	"math"
	"math/rand/v2"
)

// solution is the fit at one frequency with one number of harmonics.
type solution struct {
	freq      float64 // Hz
	free      bool    // the frequency was fitted too
	harmonics int
	beta      []float64   // cosine and sine of each harmonic, arcseconds
	inverse   [][]float64 // R⁻¹ of coefficients and, if free, frequency: covariance = scatter²·R⁻¹R⁻ᵀ
	chi, bic  float64
	scatter   float64   // in units of the errors handed in
	degrees   int       // of freedom
	off       []float64 // of each point: residual over its error, as the others predict it
	rate      float64   // arcseconds per second
	rateSigma float64
	sound     bool // every coefficient can be told from the others
}

// solve fits at a frequency; with free the frequency's own error enters the others.
func (f *fitter) solve(freq float64, harmonics int, free bool) solution {
	b, w := &f.basis, f.work
	s := solution{freq: freq, free: free, harmonics: harmonics, sound: true}
	b.waves(w, freq, harmonics)
	m := 2 * harmonics
	along := make([]float64, m+1) // each column's part along the trend
	p := make([]float64, m)
	for k := range m {
		along[k] = dot(w.cols[k], b.slope)
		b.straighten(w, k)
		s.sound = s.sound && w.r[k][k] > 0
		p[k] = dot(w.cols[k], b.y)
	}
	s.beta = backward(w.r, p)
	if free {
		f.slide(w.cols[m], s)
		along[m] = dot(w.cols[m], b.slope)
		b.straighten(w, m)
		m++
	}
	s.inverse = inverse(w.r, m)
	f.judgeFit(&s, p, m)
	f.findRate(&s, along[:m])
	return s
}

// slide fills a column with the change of the curve with frequency.
func (f *fitter) slide(u []float64, s solution) {
	for i, t := range f.basis.t {
		u[i] = 0
		for k := range s.harmonics {
			j := float64(k + 1)
			sn, cs := math.Sincos(2 * math.Pi * j * s.freq * t)
			shrink := sinc(math.Pi * j * s.freq * f.basis.exposure[i])
			u[i] += 2 * math.Pi * j * t * shrink * (s.beta[2*k+1]*cs - s.beta[2*k]*sn) * f.basis.root[i]
		}
	}
}

// judgeFit works out what is left over, from the straightened columns.
func (f *fitter) judgeFit(s *solution, p []float64, m int) {
	b := &f.basis
	rest := append([]float64(nil), b.y...)
	for k, v := range p {
		for i := range rest {
			rest[i] -= v * f.work.cols[k][i]
		}
	}
	s.chi = dot(rest, rest)
	s.bic = f.criterion(s.chi, s.harmonics)
	s.degrees = b.used - b.fixed - m
	s.scatter = math.Sqrt(s.chi / float64(max(s.degrees, 1)))
	s.off = make([]float64, len(rest))
	for i, r := range b.root {
		if free := 1 - f.leverage(i, m); r != 0 && free > 1e-3 {
			s.off[i] = rest[i] / math.Sqrt(free)
		}
	}
}

// leverage is how much a point pulls the fit toward itself, 0–1.
func (f *fitter) leverage(i, m int) float64 {
	b := &f.basis
	h := b.root[i]*b.root[i]/b.sum[b.stretch[i]] + b.slope[i]*b.slope[i]
	for _, c := range f.work.cols[:m] {
		h += c[i] * c[i]
	}
	return h
}

// findRate is the trend with the waves beside it.
func (f *fitter) findRate(s *solution, along []float64) {
	b := &f.basis
	rate, wider := b.rate, 1.0
	for k, v := range s.beta {
		rate -= v * along[k] / b.ramp
	}
	for k := range along { // |R⁻ᵀ along|²
		var v float64
		for j := range along {
			v += s.inverse[j][k] * along[j]
		}
		wider += v * v
	}
	s.rate, s.rateSigma = rate, s.scatter*math.Sqrt(wider)/b.ramp
}

// backward solves R·x = p; what cannot be told is 0.
func backward(r [][]float64, p []float64) []float64 {
	x := make([]float64, len(p))
	for k := len(p) - 1; k >= 0; k-- {
		v := p[k]
		for j := k + 1; j < len(p); j++ {
			v -= r[k][j] * x[j]
		}
		if r[k][k] > 0 {
			x[k] = v / r[k][k]
		}
	}
	return x
}

// inverse of the upper triangle R of m rows.
func inverse(r [][]float64, m int) [][]float64 {
	out := make([][]float64, m)
	for k := range out {
		out[k] = make([]float64, m)
	}
	unit := make([]float64, m)
	for c := range m {
		clear(unit)
		unit[c] = 1
		for k, v := range backward(r, unit) {
			out[k][c] = v
		}
	}
	return out
}

// sigma is the standard error of unknown k.
func (s solution) sigma(k int) float64 { return s.scatter * math.Sqrt(dot(s.inverse[k], s.inverse[k])) }

// freqSigma is the frequency's, 0 where it was given.
func (s solution) freqSigma() float64 {
	if !s.free {
		return 0
	}
	return s.sigma(2 * s.harmonics)
}

// phases resolve a period finely enough for extremes to 10⁻⁴ of the third harmonic.
const phases = 360

// table of cosines and sines of the harmonics at the phases.
type table [phases][2 * mostHarmonics]float64

func newTable() *table {
	var t table
	for i := range t {
		for k := range mostHarmonics {
			sn, cs := math.Sincos(2 * math.Pi * float64((k+1)*i%phases) / phases)
			t[i][2*k], t[i][2*k+1] = cs, sn
		}
	}
	return &t
}

// curve is value and slope per radian at phase i.
func (t *table) curve(beta []float64, i int) (v, d float64) {
	for k := 0; k < len(beta); k += 2 {
		c, s := t[i][k], t[i][k+1]
		v += beta[k]*c + beta[k+1]*s
		d += float64(k/2+1) * (beta[k+1]*c - beta[k]*s)
	}
	return v, d
}

// extent is the peak to peak of a curve, arcseconds, and its steepest slope per radian of phase.
func (t *table) extent(beta []float64) (peakToPeak, steepest float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range t {
		v, d := t.curve(beta, i)
		low, high, steepest = min(low, v), max(high, v), max(steepest, math.Abs(d))
	}
	return high - low, steepest
}

// roughSizeOf has its errors from the slopes at the extremes: quicker than draws, a little small where
// two extremes are about equal.
func (t *table) roughSizeOf(s solution) size {
	var low, high, steep int
	for i := range t {
		v, d := t.curve(s.beta, i)
		if l, _ := t.curve(s.beta, low); v < l {
			low = i
		}
		if h, _ := t.curve(s.beta, high); v > h {
			high = i
		}
		if _, m := t.curve(s.beta, steep); math.Abs(d) > math.Abs(m) {
			steep = i
		}
	}
	m := len(s.beta)
	extent, slope := make([]float64, m), make([]float64, m)
	var z size
	for k := 0; k < m; k += 2 {
		j := float64(k/2 + 1)
		extent[k], extent[k+1] = t[high][k]-t[low][k], t[high][k+1]-t[low][k+1]
		slope[k], slope[k+1] = -j*t[steep][k+1], j*t[steep][k]
	}
	omega := 2 * math.Pi * s.freq
	z.peakToPeak, z.rate = dot(extent, s.beta), omega*math.Abs(dot(slope, s.beta))
	z.peakToPeakSigma, z.rateSigma = s.spread(extent), omega*s.spread(slope)
	return z
}

// spread is the standard error of a linear function of the coefficients.
func (s solution) spread(gradient []float64) float64 {
	var sum float64
	for c := range s.inverse {
		var v float64
		for k, g := range gradient {
			v += g * s.inverse[k][c]
		}
		sum += v * v
	}
	return s.scatter * math.Sqrt(sum)
}

// size is what the curve amounts to, with errors.
type size struct {
	peakToPeak, peakToPeakSigma float64 // arcseconds
	rate, rateSigma             float64 // arcseconds per second
	freqSigma                   float64 // Hz
}

// draws of the unknowns for errors of what is no linear function of them.
const draws = 150

// sizeOf draws coefficients and frequency from their errors and looks how peak to peak and rate scatter.
// Noise makes extremes larger on the whole: the draws exceed the fit, and the fit exceeds the truth
// (Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 10). Of two extremes about equal the fit has
// parted one from the other already, so that the draws show only about half of it (found on invented
// series of 480 s with a third harmonic): twice their excess is taken off, and once it enters the error.
// The same series always gets the same draws.
func (t *table) sizeOf(s solution) size {
	peakToPeak, steep := t.extent(s.beta)
	rate := 2 * math.Pi * s.freq * steep
	random := rand.New(rand.NewPCG(1, 2))
	m := len(s.inverse)
	beta, noise := make([]float64, len(s.beta)), make([]float64, m)
	var p, r moments
	for range draws {
		for k := range noise {
			noise[k] = random.NormFloat64() * s.scatter
		}
		freq := s.freq
		for k := range m {
			d := dot(s.inverse[k], noise)
			if k < len(beta) {
				beta[k] = s.beta[k] + d
			} else {
				freq += d
			}
		}
		a, steep := t.extent(beta)
		p.add(a)
		r.add(2 * math.Pi * math.Abs(freq) * steep)
	}
	pb, rb := max(p.mean()-peakToPeak, 0), max(r.mean()-rate, 0)
	return size{peakToPeak: max(peakToPeak-2*pb, peakToPeak/2), peakToPeakSigma: math.Hypot(p.sigma(), pb),
		rate: max(rate-2*rb, rate/2), rateSigma: math.Hypot(r.sigma(), rb)}
}
