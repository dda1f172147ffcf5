package wobble

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// note is what is to be told of a result.
func (f *fitter) note(r *Result, why doubt) say.Line {
	switch why {
	case shortView:
		return f.shortNote(r)
	case ambiguous:
		return say.Of("several periods fit", period(r.PeriodLimitsS.Low), period(r.PeriodLimitsS.High), sizeOf(r.PeakToPeakLimits))
	case noisy:
		return say.Of("a wave at the edge", period(r.PeriodS), sizeOf(r.PeakToPeakLimits))
	}
	return say.All(say.Of("the gear wobbles", say.Number(r.Periods), say.Period{Seconds: r.PeriodS, Sigma: r.PeriodSigmaS},
		say.Arcsec{Value: r.PeakToPeak, Sigma: r.PeakToPeakSigma}, say.Arcsec{Value: unit.AngleFromSec(r.MaxRateArcsecPerS), Sigma: unit.AngleFromSec(r.MaxRateSigma)}), f.otherPeriod())
}

// shortNote tells what less than a period allows.
func (f *fitter) shortNote(r *Result) say.Line {
	unbounded := math.IsInf(r.PeakToPeakLimits.High, 0)
	follow := wait(max(enoughPeriods*r.PeriodLimitsS.High-f.seen, f.cadence))
	if f.given > 0 {
		part := say.Of("a part of the gear's period seen", say.Number(r.Periods), period(r.PeriodS))
		if unbounded {
			return say.All(part, say.Of("its size unknown from so short a span"), say.Of("follow for so much more", follow))
		}
		return say.All(part, say.Of("its size within limits", sizeOf(r.PeakToPeakLimits), between(r.MaxRateLimits)), say.Of("looks like a wrong rate"), say.Of("follow for so much more", follow))
	}
	guess := say.Of("a wave that fits", arc(r.PeakToPeak.Sec()), period(r.PeriodS))
	if r.manyPeriods() {
		guess = say.Of("one of many waves that fit", arc(r.PeakToPeak.Sec()), period(r.PeriodS))
	}
	if unbounded {
		return say.All(say.Of("something moves, slow waves unknown", sizeOf(r.PeakToPeakLimits)), guess, say.Of("follow for so much more, or give the period", follow))
	}
	return say.All(say.Of("too few periods seen", say.Number(enoughPeriods), sizeOf(r.PeakToPeakLimits), between(r.MaxRateLimits), period(1/f.lowest())),
		guess, say.Of("looks like a wrong rate"), say.Of("follow for so much more, or give the period", follow))
}

// unseenNote tells what may still hide; slow is the most of a wave too slow to be seen.
func (f *fitter) unseenNote(r *Result, slow float64) say.Line {
	nothing := math.IsInf(r.PeakToPeakLimits.High, 0)
	most := arc(r.PeakToPeakLimits.High)
	switch {
	case nothing && f.given > 0:
		return say.Of("no wobble seen, too short for the gear's period", period(r.PeriodS), wait(enoughPeriods*r.PeriodS))
	case nothing:
		return say.Of("no wobble seen, nor could one be")
	case f.given > 0:
		return say.Of("no wobble seen at the gear's period", period(r.PeriodS), most)
	}
	slower := say.Of("a slower one may hide", period(longestGear), arc(slow))
	switch {
	case slow > largestGear:
		slower = say.Of("nothing known of slower ones", wait(enoughPeriods*longestGear))
	case slow <= r.PeakToPeakLimits.High:
		slower = say.Of("a slower one looks like a rate")
	}
	return say.All(say.Of("no wobble seen", most, period(r.PeriodLimitsS.Low), period(r.PeriodLimitsS.High)), slower)
}

// otherPeriod tells when the pictures contradict the period given; none where they do not.
func (f *fitter) otherPeriod() say.Line {
	if f.given == 0 {
		return say.Line{}
	}
	const clearly = 20 // in the criterion: odds of e¹⁰
	for k := 1; k <= mostHarmonics; k++ {
		for _, i := range f.valleys(k) {
			freq := f.polishTrial(i, k)
			if k > f.allowed(freq) || freq*f.seen < enoughPeriods {
				continue
			}
			if s := f.solve(freq, k, true); s.bic < f.top.bic-clearly {
				return say.Of("another period fits better", say.Period{Seconds: 1 / freq, Sigma: s.freqSigma() / freq / freq})
			}
		}
	}
	return say.Line{}
}

func period(s float64) say.Period  { return say.Period{Seconds: s} }
func arc(value float64) say.Arcsec { return say.Arcsec{Value: unit.AngleFromSec(value)} }
func wait(s float64) say.Wait      { return say.Wait(s * 1e9) }

// between are limits in arcseconds.
func between(l Limits) say.Line {
	switch {
	case math.IsInf(l.High, 0):
		return say.Of("at least", arc(l.Low))
	case l.Low < 0.005:
		return say.Of("at most", arc(l.High))
	}
	return say.Of("between", arc(l.Low), arc(l.High))
}

// sizeOf are the limits of peak to peak.
func sizeOf(l Limits) say.Line {
	if math.IsInf(l.High, 0) && l.Low < 0.005 {
		return say.Of("any size")
	}
	return say.Of("from peak to peak", between(l))
}
