package wobble

import (
	"math"
	"strings"
	"testing"
	"time"

	"trueturn/ephem/say"
)

// in is whether limits hold a figure.
func (l Limits) in(v float64) bool { return l.Low <= v && v <= l.High }

// held counts how often limits hold the truth.
type held struct{ all, period, size, rate, unbounded, figures int }

// hold fits a run's series, phase and noise of each by its seed. Limits of a wave unseen speak of periods in PeriodLimitsS alone:
// of a slower one they say nothing, nor does a note call it absent.
func (r run) hold(t *testing.T, seeds int) (h held) {
	t.Helper()
	size, rate := r.truth()
	for seed := range uint64(seeds) {
		got, err := Fit(r.points(seed), Options{})
		if err != nil {
			t.Fatal(err)
		}
		h.all++
		none := got.State == Unseen && !got.PeriodLimitsS.in(r.period)
		count1(&h.period, none || got.PeriodLimitsS.in(r.period))
		count1(&h.size, none || got.PeakToPeakLimits.in(size))
		count1(&h.rate, none || got.MaxRateLimits.in(rate))
		count1(&h.unbounded, math.IsInf(got.PeakToPeakLimits.High, 1))
		count1(&h.figures, got.PeriodS > 0)
		got.checkShort(t)
	}
	return h
}

// says is whether a key is in the note.
func (r Result) says(key string) bool { return strings.Contains(r.Note.String(), key) }

// checkShort holds a result to its word: no bound beyond any gear, no figure where limits lie far apart.
func (r Result) checkShort(t *testing.T) {
	t.Helper()
	if h := r.PeakToPeakLimits.High; h > largestGear && !math.IsInf(h, 1) {
		t.Errorf("a bound of %.0f″: %s", h, r.Note)
	}
	said := r.says("its size unknown from so short a span") || r.says("at least") || r.says("any size")
	if math.IsInf(r.PeakToPeakLimits.High, 1) && r.State == Bounded && !said {
		t.Errorf("no bound, and no word of it: %s", r.Note)
	}
	if r.State == Measured && r.manyPeriods() {
		t.Errorf("measured, with a period in %v: %s", r.PeriodLimitsS, r.Note)
	}
	if r.State != Bounded || r.PeriodLimitsS.High <= periodFactor*r.PeriodLimitsS.Low {
		return
	}
	if r.PeriodS != 0 || r.PeakToPeak != 0 || r.MaxRateArcsecPerS != 0 || r.Harmonics != nil || r.At(begin) != 0 {
		t.Errorf("figures under limits %v: %+v", r.PeriodLimitsS, r)
	}
}

// Waves of which 0.2 to 1.1 periods were seen: the truth lies within the 95 % limits, slow waves among them.
func TestLimitsOfShortViewsHoldTheTruth(t *testing.T) {
	const (
		held = 0.90 // the least asked of limits of 95 %
		few  = 2    // standard deviations of a count of few seeds
	)
	seeds := 2 * *seedsFlag
	for _, c := range []struct {
		name string
		run  run
	}{
		{"0.2 of 900 s, 0.3″", run{n: 10, cadence: 20, sigma: 0.3, p2p: 30, period: 900}},
		{"0.2 of 900 s, 0.1″", run{n: 10, cadence: 20, sigma: 0.1, p2p: 30, period: 900}},
		{"0.4 of 700 s, 0.3″", run{n: 15, cadence: 20, sigma: 0.3, p2p: 30, period: 700}},
		{"0.6 of 480 s, 0.3″", run{n: 20, cadence: 15, sigma: 0.3, p2p: 44, period: 480}},
		{"0.6 of 480 s, 2″", run{n: 20, cadence: 15, sigma: 2, p2p: 44, period: 480}},
		{"0.6 of 600 s, 12 pictures", run{n: 12, cadence: 30, sigma: 0.3, p2p: 30, period: 600}},
		{"0.9 of 600 s, 10 pictures", run{n: 10, cadence: 60, sigma: 0.3, p2p: 30, period: 600}},
		{"0.9 of 480 s, 1″", run{n: 30, cadence: 15, sigma: 1, p2p: 44, period: 480}},
		{"0.9 of 1200 s, 1″", run{n: 36, cadence: 30, sigma: 1, p2p: 60, period: 1200}},
		{"1.1 of 480 s, 1″", run{n: 36, cadence: 15, sigma: 1, p2p: 44, period: 480}},
		{"0.9 of 480 s, a third harmonic", run{n: 30, cadence: 15, sigma: 1, p2p: 44, period: 480, third: 0.3}},
		{"1.1 of 480 s, a third harmonic", run{n: 36, cadence: 15, sigma: 1, p2p: 44, period: 480, third: 0.3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.run.rate = 15.041
			got := c.run.hold(t, seeds)
			t.Logf("%+v", got)
			least := held*float64(seeds) - few*math.Sqrt(held*(1-held)*float64(seeds))
			if seeds >= 200 {
				least = held * float64(seeds)
			}
			if float64(min(got.period, got.size, got.rate)) < least {
				t.Errorf("%+v", got)
			}
		})
	}
}

// A limit of size must also be of use where most of a period was seen.
func TestLimitsOfAlmostAPeriodAreNarrow(t *testing.T) {
	const (
		width = 2.0 // High over truth: a bound of twice the size still tells a good gear from a bad one
		most  = 0.8 // of series
	)
	r := run{n: 30, cadence: 15, sigma: 1, p2p: 44, period: 480, rate: 15.041}
	narrow := 0
	for seed := range uint64(*seedsFlag) {
		got, err := Fit(r.points(seed), Options{})
		if err != nil {
			t.Fatal(err)
		}
		count1(&narrow, got.PeakToPeakLimits.High < width*r.p2p)
	}
	if float64(narrow) < most*float64(*seedsFlag) {
		t.Errorf("narrow in %d of %d", narrow, *seedsFlag)
	}
}

// Some minutes of whatever moves tell nothing of slow waves, with the gear's period given or not.
func TestTooShortASpanSaysSo(t *testing.T) {
	for _, c := range []struct {
		name string
		run  run
		o    Options
		want string
	}{
		{"a bend in 5 min", run{n: 20, cadence: 15, sigma: 4, p2p: 44, period: 480}, Options{}, "something moves, slow waves unknown"},
		{"a bend in 95 s, period given", run{n: 20, cadence: 5, sigma: 3, p2p: 300, period: 480}, Options{PeriodS: 1200}, "its size unknown from so short a span"},
		{"nothing in 2 min", run{n: 20, cadence: 6, sigma: 1}, Options{}, say.Of("nothing known of slower ones", say.Wait(26*time.Minute)).String()},
		{"nothing in 2 min, period given", run{n: 20, cadence: 6, sigma: 2}, Options{PeriodS: 1200}, say.Of("no wobble seen, too short for the gear's period", say.Period{Seconds: 1200}, say.Wait(24*time.Minute)).String()},
	} {
		c.run.rate = 15.041
		seen := 0
		for seed := range uint64(12) {
			got, err := Fit(c.run.points(seed), c.o)
			if err != nil {
				t.Fatal(err)
			}
			got.checkShort(t)
			count1(&seen, got.says(c.want))
			unbounded := got.State == Bounded && math.IsInf(got.PeakToPeakLimits.High, 1)
			if unbounded && (!got.says(c.want) || !got.says("follow for so much more")) {
				t.Errorf("%s, seed %d: %s", c.name, seed, got.Note)
			}
			if seed == 0 {
				t.Log(got.State, got.Note)
			}
		}
		if seen == 0 {
			t.Errorf("%s: no note says %q", c.name, c.want)
		}
	}
}

func TestNoteOfFewPoints(t *testing.T) {
	for _, n := range []int{0, 1, 7} {
		got, err := Fit(gear.points(1)[:n], Options{})
		if err != nil || !got.Note.Same(say.Of("too few angles for a wobble", n, 8)) {
			t.Errorf("%d points: %v, %v", n, err, got.Note)
		}
	}
}
