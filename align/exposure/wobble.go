package exposure

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/drift/wobble"
	"trueturn/ephem/amiss"
)

// Wobble is the periodic error of a gear, an angle about the axis:
//
//	w(t) = Σ_k A_k cos(kνt) + B_k sin(kνt)        ν = 2π/PeriodS
//
// Without Harmonics it is a sine of the given size; with them they give the form, and PeakToPeak the size (0: their
// own). What is said of an exposure does not depend on where t = 0
// lies: all phases are taken as equally likely.
type Wobble struct {
	PeriodS    float64
	PeakToPeak unit.Angle
	// Sigma is the standard error of PeakToPeak; harmonics grow and shrink with it. Where a wobble was only bounded,
	// give half the bound here and as PeakToPeak.
	Sigma unit.Angle
	// SizeFactor and PeriodFactor are the standard errors of size and period where these are known to a factor only: as likely
	// larger by it as smaller. 0: known.
	SizeFactor, PeriodFactor float64
	Harmonics                []wobble.Harmonic // the fundamental first
	Source                   Source            // who says so
}

// fastest order of a harmonic that is followed.
const fastestOrder = 32

func (w Wobble) sound() error {
	bad := func(text string) error {
		return amiss.New(ErrMount, text, "a wobble has a size of zero or more in arcseconds and a period above zero in seconds, as 44,480")
	}
	if !finite(w.PeakToPeak.Rad(), w.PeriodS, w.Sigma.Rad()) || w.PeakToPeak < 0 || w.Sigma < 0 {
		return bad("the wobble's size is no number, or negative")
	}
	if !soundFactor(w.SizeFactor) || !soundFactor(w.PeriodFactor) {
		return bad("the factor to which the wobble is known is out of range")
	}
	if w.PeriodS <= 0 || w.PeriodS > 1e6 {
		return bad("the wobble's period is out of range")
	}
	if len(w.Harmonics) > fastestOrder {
		return bad("the wobble has too many harmonics")
	}
	for _, h := range w.Harmonics {
		if !finite(h.Cos.Rad(), h.Sin.Rad()) {
			return bad("a harmonic of the wobble is out of range")
		}
	}
	return nil
}

// soundFactor: 0 is none, and a factor beyond ten says nothing.
func soundFactor(f float64) bool { return f == 0 || f >= 1 && f <= 10 }

// sine is one harmonic: its order and the sizes of cosine and sine, for a wobble of 1 rad from peak to peak.
type sine struct{ order, a, b float64 }

// shape is the wobble's form for a size of 1, and its size in radians; no sines where there is no wobble.
func (w Wobble) shape() (form []sine, sizeRad float64) {
	if len(w.Harmonics) == 0 {
		if w.PeakToPeak == 0 && w.Sigma == 0 {
			return nil, 0
		}
		return []sine{{1, 0, 0.5}}, w.PeakToPeak.Rad()
	}
	for k, h := range w.Harmonics {
		if h.Cos != 0 || h.Sin != 0 {
			form = append(form, sine{float64(k + 1), h.Cos.Rad(), h.Sin.Rad()})
		}
	}
	own := swing(form)
	if own == 0 {
		return nil, 0
	}
	for i := range form {
		form[i].a /= own
		form[i].b /= own
	}
	if w.PeakToPeak > 0 {
		return form, w.PeakToPeak.Rad()
	}
	return form, own
}

// swing is how far a sum of sines goes from its lowest to its highest point.
func swing(form []sine) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	const steps = 32 * fastestOrder
	for i := range steps {
		y := 0.0
		for _, s := range form {
			sn, cs := math.Sincos(s.order * 2 * math.Pi * float64(i) / steps)
			y += s.a*cs + s.b*sn
		}
		least, most = math.Min(least, y), math.Max(most, y)
	}
	return most - least
}

// wobbling is the moments of a wobble over an exposure: its variance and its covariances with t and t², counted from the
// middle of the exposure. Radians, seconds.
type wobbling struct{ variance, withT, withT2 float64 }

// phases are a wobble's sines about the middle of an exposure, at n phases evenly spread.
func phases(form []sine, n int) [][]sine {
	out := make([][]sine, n)
	for i := range out {
		phase := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
		for _, s := range form {
			sn, cs := math.Sincos(s.order * phase)
			out[i] = append(out[i], sine{s.order, s.a*cs + s.b*sn, s.b*cs - s.a*sn})
		}
	}
	return out
}

// over gives the moments for exposures of length T at the phases given.
//
// With x = kνT/2 and t from −T/2 to T/2 the means are
//
//	⟨cos kνt⟩ = S₀(x)    ⟨t sin kνt⟩ = (T/2) S₁(x)    ⟨t² cos kνt⟩ = (T/2)² S₂(x)
//	S₀ = sin x/x         S₁ = (sin x − x cos x)/x²      S₂ = ((x²−2) sin x + 2x cos x)/x³
func over(dst []wobbling, at [][]sine, periodS, lengthS float64) []wobbling {
	w := newWindow(at[0], 2*math.Pi/periodS, lengthS/2)
	for _, form := range at {
		dst = append(dst, w.moments(form))
	}
	return dst
}

// window is what the moments over one length need at every phase.
type window struct {
	mean, withT, withT2 []float64   // per harmonic
	cos, sin            [][]float64 // per pair: means of the products of two cosines and of two sines
}

func newWindow(form []sine, nu, half float64) (w window) {
	for _, j := range form {
		x := j.order * nu * half
		w.mean = append(w.mean, s0(x))
		w.withT = append(w.withT, half*s1(x))
		w.withT2 = append(w.withT2, half*half*(s2(x)-s0(x)/3))
		var cos, sin []float64
		for _, k := range form {
			minus, plus := s0((j.order-k.order)*nu*half), s0((j.order+k.order)*nu*half)
			cos, sin = append(cos, (minus+plus)/2), append(sin, (minus-plus)/2)
		}
		w.cos, w.sin = append(w.cos, cos), append(w.sin, sin)
	}
	return w
}

func (w window) moments(form []sine) (m wobbling) {
	var mean, square float64
	for i, j := range form {
		mean += j.a * w.mean[i]
		m.withT += j.b * w.withT[i]
		m.withT2 += j.a * w.withT2[i]
		for l, k := range form {
			square += j.a*k.a*w.cos[i][l] + j.b*k.b*w.sin[i][l]
		}
	}
	m.variance = math.Max(0, square-mean*mean)
	return m
}

// small is where the closed forms lose digits to cancellation and the series take over.
const small = 0.05

func s0(x float64) float64 {
	if math.Abs(x) < small {
		return 1 - x*x/6*(1-x*x/20)
	}
	return math.Sin(x) / x
}

func s1(x float64) float64 {
	if math.Abs(x) < small {
		return x / 3 * (1 - x*x/10*(1-x*x/28))
	}
	s, c := math.Sincos(x)
	return (s - x*c) / (x * x)
}

func s2(x float64) float64 {
	if math.Abs(x) < small {
		return 1.0/3 - x*x/10*(1-5*x*x/84)
	}
	s, c := math.Sincos(x)
	return ((x*x-2)*s + 2*x*c) / (x * x * x)
}
