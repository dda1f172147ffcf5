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
	case ambiguous:
		return fmt.Sprintf("periods from %s to %s fit about as well, %s. "+
			"Take more pictures, without gaps", seconds(r.PeriodLimitsS.Low, ""), seconds(r.PeriodLimitsS.High, " s"), sizeWords(r.PeakToPeakLimits))
	case noisy:
		return fmt.Sprintf("a wave of %s shows at the edge of what the pictures can tell, but not its size: %s. More pictures would tell",
			seconds(r.PeriodS, " s"), sizeWords(r.PeakToPeakLimits))
	}
	text := fmt.Sprintf("%.3g periods of %s seen: %s from peak to peak, at its fastest %s per second", r.Periods,
		withSigma(r.PeriodS, r.PeriodSigmaS, " s"), withSigma(r.PeakToPeak.Sec(), r.PeakToPeakSigma.Sec(), "″"),
		withSigma(r.MaxRateArcsecPerS, r.MaxRateSigma, "″"))
	return text + f.otherPeriod()
}

// shortNote tells what less than a period allows.
func (f *fitter) shortNote(r *Result) string {
	follow := minutes(max(enoughPeriods*r.PeriodLimitsS.High-f.seen, f.cadence))
	if f.given > 0 {
		view := fmt.Sprintf("only %.2g of a period of the gear's %s seen: ", r.Periods, seconds(r.PeriodS, " s"))
		if math.IsInf(r.PeakToPeakLimits.High, 0) {
			return fmt.Sprintf("%snothing can be said of its size from so short a span. Follow for %s more", view, follow)
		}
		return fmt.Sprintf("%s%s, at its fastest %s per second. A wave this slow looks like a wrong rate. Follow for %s more",
			view, sizeWords(r.PeakToPeakLimits), between(r.MaxRateLimits, "″"), follow)
	}
	guess := fmt.Sprintf("One wave that fits has %s in %s", seconds(r.PeakToPeak.Sec(), "″"), seconds(r.PeriodS, " s"))
	if r.manyPeriods() {
		guess += ", but it is one of many"
	}
	if math.IsInf(r.PeakToPeakLimits.High, 0) {
		return fmt.Sprintf("something moves, but nothing can be said of slow waves from so short a span: %s. %s. Follow for %s more, or give the gear's period",
			sizeWords(r.PeakToPeakLimits), guess, follow)
	}
	return fmt.Sprintf("less than %.2g periods seen: %s, at its fastest %s per second, if the period is no longer than %s. "+
		"%s. So slow a wave looks like a wrong rate. Follow for %s more, or give the gear's period",
		enoughPeriods, sizeWords(r.PeakToPeakLimits), between(r.MaxRateLimits, "″"), minutes(1/f.lowest()), guess, follow)
}

// unseenNote tells what may still hide; slow is the most of a wave too slow to be seen.
func (f *fitter) unseenNote(r *Result, slow float64) string {
	nothing := math.IsInf(r.PeakToPeakLimits.High, 0)
	most := seconds(r.PeakToPeakLimits.High, "″")
	switch {
	case nothing && f.given > 0:
		return fmt.Sprintf("no wobble seen, but so short a span cannot show one of the gear's %s: follow for %s in all",
			seconds(r.PeriodS, " s"), minutes(enoughPeriods*r.PeriodS))
	case nothing:
		return "no wobble seen, but these pictures cannot tell one: take more over a quarter of an hour"
	case f.given > 0:
		return fmt.Sprintf("no wobble seen at the gear's %s: at most %s from peak to peak", seconds(r.PeriodS, " s"), most)
	}
	slower := fmt.Sprintf("a slower one, of up to %s, looks like a rate and may have %s", minutes(longestGear), seconds(slow, "″"))
	switch {
	case slow > largestGear:
		slower = fmt.Sprintf("of slower ones nothing can be said: follow for %s in all", minutes(enoughPeriods*longestGear))
	case slow <= r.PeakToPeakLimits.High:
		slower = "a slower one would look like a rate"
	}
	return fmt.Sprintf("no wobble seen: at most %s from peak to peak at periods from %s to %s; %s",
		most, seconds(r.PeriodLimitsS.Low, ""), seconds(r.PeriodLimitsS.High, " s"), slower)
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
	switch {
	case math.IsInf(l.High, 0):
		return "at least " + seconds(l.Low, what)
	case l.Low < 0.005:
		return "at most " + seconds(l.High, what)
	}
	return "between " + seconds(l.Low, "") + " and " + seconds(l.High, what)
}

// sizeWords are the limits of peak to peak.
func sizeWords(l Limits) string {
	if math.IsInf(l.High, 0) && l.Low < 0.005 {
		return "the size may be any"
	}
	return between(l, "″") + " from peak to peak"
}

// withSigma prints value and error to the error's second digit, at most three decimals.
func withSigma(v, sigma float64, what string) string {
	if sigma <= 0 {
		return seconds(v, what)
	}
	digits := min(max(1-int(math.Floor(math.Log10(sigma))), 0), 3)
	return fmt.Sprintf("%.*f ± %.*f%s", digits, v, digits, sigma, what)
}
