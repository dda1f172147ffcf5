package wobble

import (
	"fmt"
	"math"
)

// note puts a result into words.
func (f *fitter) note(r *Result, why doubt) string {
	switch why {
	case shortView:
		return f.shortNote(r)
	case byStamps:
		return fmt.Sprintf("a wave of %s shows at %s, but the whole steps of the time stamps make one there too: "+
			"it may be none of the gear's. Take the next pictures at another interval, or with finer stamps",
			seconds(r.PeakToPeak.Sec(), "″"), seconds(r.PeriodS, " s"))
	case ambiguous:
		return fmt.Sprintf("periods from %s to %s fit about as well, with %s from peak to peak: "+
			"take more pictures, without gaps", seconds(r.PeriodLimitsS.Low, ""), seconds(r.PeriodLimitsS.High, " s"), between(r.PeakToPeakLimits, "″"))
	case noisy:
		return fmt.Sprintf("a wave of %s shows at %s, but not its size: %s from peak to peak. More pictures would tell",
			seconds(r.PeriodS, " s"), "the edge of what the pictures can tell", between(r.PeakToPeakLimits, "″"))
	}
	text := fmt.Sprintf("%.3g periods of %s seen: %s from peak to peak, at its fastest %s per second", r.Periods,
		withSigma(r.PeriodS, r.PeriodSigmaS, " s"), withSigma(r.PeakToPeak.Sec(), r.PeakToPeakSigma.Sec(), "″"),
		withSigma(r.MaxRateArcsecPerS, r.MaxRateSigma, "″"))
	return text + f.otherPeriod()
}

// shortNote tells what less than a period allows.
func (f *fitter) shortNote(r *Result) string {
	known := "a wave of unknown period"
	if f.given > 0 {
		known = fmt.Sprintf("the gear's %s", seconds(r.PeriodS, " s"))
	}
	more := max(enoughPeriods*r.PeriodS-f.seen, f.cadence)
	text := fmt.Sprintf("only %.2g of a period of %s seen: %s from peak to peak, at its fastest %s per second. "+
		"A wave this slow looks like a wrong rate. Follow for %s more",
		r.Periods, known, between(r.PeakToPeakLimits, "″"), between(r.MaxRateLimits, "″"), minutes(more))
	if f.given == 0 {
		text = fmt.Sprintf("less than %.2g periods seen: %s from peak to peak, at its fastest %s per second, if the period is no longer than %s. "+
			"So slow a wave looks like a wrong rate. Follow for %s more, or give the gear's period",
			enoughPeriods, between(r.PeakToPeakLimits, "″"), between(r.MaxRateLimits, "″"), minutes(1/f.lowest()), minutes(more))
	}
	return text
}

// unseenNote tells what may still hide.
func (f *fitter) unseenNote(r *Result) string {
	if math.IsInf(r.PeakToPeakLimits.High, 0) {
		return "no wobble seen; the pictures cannot tell one of that period"
	}
	if f.given > 0 {
		return fmt.Sprintf("no wobble seen at the gear's %s: at most %s from peak to peak", seconds(r.PeriodS, " s"), seconds(r.PeakToPeakLimits.High, "″"))
	}
	return fmt.Sprintf("no wobble seen: at most %s from peak to peak at periods from %s to %s; a slower one would look like a rate",
		seconds(r.PeakToPeakLimits.High, "″"), seconds(r.PeriodLimitsS.Low, ""), seconds(r.PeriodLimitsS.High, " s"))
}

// otherPeriod tells when the pictures contradict the period given.
func (f *fitter) otherPeriod() string {
	if f.given == 0 {
		return ""
	}
	const clearly = 20 // in the criterion: odds of e¹⁰
	for k := 1; k <= mostHarmonics; k++ {
		for _, i := range f.valleys(k) {
			freq := f.polishTrial(i, k)
			if k > f.allowed(freq) || freq*f.seen < enoughPeriods {
				continue
			}
			if s := f.solve(freq, k, true); s.bic < f.top.bic-clearly {
				return fmt.Sprintf("; but a period of %s fits far better than the one given: is it this mount's?",
					withSigma(1/freq, s.freqSigma()/freq/freq, " s"))
			}
		}
	}
	return ""
}

func minutes(s float64) string {
	if s < 100 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.0f min", math.Ceil(s/60))
}

// seconds prints a figure to what it is worth.
func seconds(v float64, what string) string {
	switch {
	case math.Abs(v) >= 9.95:
		return fmt.Sprintf("%.0f%s", v, what)
	case math.Abs(v) >= 0.995:
		return fmt.Sprintf("%.1f%s", v, what)
	}
	return fmt.Sprintf("%.2f%s", v, what)
}

func between(l Limits, what string) string {
	if math.IsInf(l.High, 0) {
		return "at least " + seconds(l.Low, what)
	}
	return "between " + seconds(l.Low, "") + " and " + seconds(l.High, what)
}

// withSigma prints value and error to the error's second digit, at most three decimals.
func withSigma(v, sigma float64, what string) string {
	if sigma <= 0 {
		return seconds(v, what)
	}
	digits := min(max(1-int(math.Floor(math.Log10(sigma))), 0), 3)
	return fmt.Sprintf("%.*f ± %.*f%s", digits, v, digits, sigma, what)
}
