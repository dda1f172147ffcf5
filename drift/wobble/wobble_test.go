package wobble

import (
	"encoding/csv"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/amiss"
)

// authority reads a table of testdata/authorities, by the name in its first column.
func authority(t *testing.T, name string) map[string][][]float64 {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "authorities", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	tables := map[string][][]float64{}
	for _, row := range rows[1:] {
		var values []float64
		for _, cell := range row[1:] {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			values = append(values, v)
		}
		tables[row[0]] = append(tables[row[0]], values)
	}
	return tables
}

func column(rows [][]float64, k int) (list []float64) {
	for _, r := range rows {
		list = append(list, r[k])
	}
	return list
}

// periodogram is the power of one wave beside a zero, at instants t. The rate that Fit takes out along with it, astropy does not
// know: with all instants alike there is none to take.
func periodogram(t, y, sigma, freq []float64) []float64 {
	n := len(t)
	b := basis{t: make([]float64, n), root: make([]float64, n), exposure: make([]float64, n), stretch: make([]int, n), stretches: 1}
	for i, s := range sigma {
		b.root[i] = 1 / s
	}
	b.prepare(y)
	b.t = t
	power, w := make([]float64, len(freq)), newWork(n, 1)
	for i, f := range freq {
		power[i] = b.power(b.chi2(w, f, 1)[0])
	}
	return power
}

// Source: astropy 5.2.1, LombScargle(fit_mean=True, normalization="standard").power(method="slow");
// testdata/authorities/wobble_power.csv, made by wobble_reference.py.
func TestPeriodogramAgainstAstropy(t *testing.T) {
	const sameNumbers = 1e-6 // asked for; what is left is rounding
	series, powers := authority(t, "wobble_series.csv"), authority(t, "wobble_power.csv")
	if len(series) < 5 {
		t.Fatalf("%d series", len(series))
	}
	worst := 0.0
	for name, s := range series {
		want := powers[name]
		got := periodogram(column(s, 0), column(s, 1), column(s, 2), column(want, 0))
		for i, w := range want {
			d := math.Abs(got[i] - w[1])
			worst = max(worst, d)
			if !(d <= sameNumbers) {
				t.Errorf("%s at %.6f Hz: %.9f, astropy %.9f", name, w[0], got[i], w[1])
			}
		}
	}
	t.Logf("largest difference %.1e", worst)
}

// Source: astropy 5.2.1, false_alarm_probability(method="baluev"); wobble_alarm.csv.
func TestFalseAlarmAgainstAstropy(t *testing.T) {
	const sameFormula = 1e-9 // relative
	for name, rows := range authority(t, "wobble_alarm.csv") {
		for _, r := range rows {
			if got := falseAlarm(r[0], r[1], r[2], int(r[3]), 1); !(math.Abs(got/r[4]-1) < sameFormula) {
				t.Errorf("%s, power %v: %v, astropy %v", name, r[0], got, r[4])
			}
		}
	}
}

// seeds of every statistic. The default keeps `go test` quick; `go test -seeds 200 ./drift/wobble` is the full one.
var seedsFlag = flag.Int("seeds", 12, "series per statistic")

// tally counts how a case of invented series fares over many seeds.
type tally struct {
	measured, bounded, unseen int
	period, size, rate        int // truth within the stated σ
	periodIn, sizeIn, rateIn  int // relative error within what the issue asks
	sizeLimits, rateLimits    int
}

// What the issue asks for, relative.
const (
	periodWithin = 0.03
	sizeWithin   = 0.10
	rateWithin   = 0.20
)

func count1(n *int, yes bool) {
	if yes {
		*n++
	}
}

func (r run) tally(t *testing.T, seeds int) (c tally) {
	t.Helper()
	size, rate := r.truth()
	for seed := range seeds {
		got, err := Fit(r.points(uint64(seed)), Options{})
		if err != nil {
			t.Fatal(err)
		}
		count1(&c.sizeLimits, got.PeakToPeakLimits.Low <= size && size <= got.PeakToPeakLimits.High)
		count1(&c.rateLimits, got.MaxRateLimits.Low <= rate && rate <= got.MaxRateLimits.High)
		switch got.State {
		case Bounded:
			c.bounded++
		case Unseen:
			c.unseen++
		case Measured:
			c.measured++
			dp, ds, dr := math.Abs(got.PeriodS-r.period), math.Abs(got.PeakToPeak.Sec()-size), math.Abs(got.MaxRateArcsecPerS-rate)
			count1(&c.period, dp < got.PeriodSigmaS)
			count1(&c.size, ds < got.PeakToPeakSigma.Sec())
			count1(&c.rate, dr < got.MaxRateSigma)
			count1(&c.periodIn, dp < periodWithin*r.period)
			count1(&c.sizeIn, ds < sizeWithin*size)
			count1(&c.rateIn, dr < rateWithin*rate)
		}
	}
	return c
}

// gear is the issue's: 44″ at 480 s with a third harmonic of 30 %, a rate half a part in a thousand wrong.
var gear = run{n: 60, cadence: 25, exposure: 10, sigma: 2, p2p: 44, period: 480, third: 0.3, rate: 15.041 * 1.0005}

func (r run) with(change func(*run)) run {
	change(&r)
	return r
}

// Invented series of known truth, 25 minutes each.
func TestTwentyFiveMinutes(t *testing.T) {
	const (
		cover, coverWithin = 0.68, 0.08 // what is asked of 200 and more
		nearlyAlways       = 0.95
	)
	seeds := *seedsFlag
	within := coverWithin
	if seeds < 200 { // three standard deviations of a count
		within = 3 * math.Sqrt(cover*(1-cover)/float64(seeds))
	}
	for _, c := range []struct {
		name string
		run  run
	}{
		{"75 pictures, 1.5″", gear.with(func(r *run) { r.n, r.cadence, r.sigma = 75, 20, 1.5 })},
		{"60 pictures, 2″", gear},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := c.run.tally(t, seeds)
			share := func(n int) float64 { return float64(n) / float64(seeds) }
			t.Logf("%+v", got)
			if share(got.measured) < nearlyAlways || share(got.periodIn) < nearlyAlways || share(got.sizeIn) < nearlyAlways || share(got.rateIn) < nearlyAlways {
				t.Errorf("of %d: %d measured, %d periods, %d sizes, %d rates as asked", seeds, got.measured, got.periodIn, got.sizeIn, got.rateIn)
			}
			for what, n := range map[string]int{"period": got.period, "peak to peak": got.size} {
				if s := share(n); math.Abs(s-cover) > within {
					t.Errorf("%s within its σ in %.0f %%", what, 100*s)
				}
			}
		})
	}
}

func TestNoiseIsNoGear(t *testing.T) {
	const allowed = 0.01
	seeds := 4 * *seedsFlag
	r := gear.with(func(r *run) { r.p2p, r.period = 0, 0 })
	measured := 0
	for seed := range uint64(seeds) {
		got, err := Fit(r.points(seed), Options{})
		if err != nil {
			t.Fatal(err)
		}
		count1(&measured, got.State == Measured)
	}
	if float64(measured) > allowed*float64(seeds) {
		t.Errorf("a gear measured in %d of %d", measured, seeds)
	}
}

// A wobble of 10″ is found or honestly bounded, and never denied.
func TestSmallWobble(t *testing.T) {
	const honest = 0.85 // limits are for 95 of 100, less two standard deviations of few trials
	seeds := *seedsFlag
	got := gear.with(func(r *run) { r.p2p = 10 }).tally(t, seeds)
	t.Logf("%+v", got)
	if got.unseen > 0 || float64(got.sizeLimits) < honest*float64(seeds) {
		t.Errorf("%d unseen, %d of %d sizes within the limits", got.unseen, got.sizeLimits, seeds)
	}
}

// Too short a view must not be called a measurement.
func TestShortViewIsBounded(t *testing.T) {
	const hasty = 0.05
	seeds := *seedsFlag
	for _, pictures := range []int{10, 13, 16, 19, 22} {
		r := gear.with(func(r *run) { r.n = pictures })
		got := r.tally(t, seeds)
		t.Logf("%.2f periods: %+v", float64(pictures-1)*r.cadence/r.period, got)
		if float64(got.measured) > math.Ceil(hasty*float64(seeds)) {
			t.Errorf("%d pictures: measured in %d of %d", pictures, got.measured, seeds)
		}
	}
}

func TestGivenPeriod(t *testing.T) {
	size, rate := gear.truth()
	for _, c := range []struct {
		name     string
		pictures int
		period   float64
		state    State
	}{
		{"three periods seen", 60, 480, Measured},
		{"0.9 of a period seen", 18, 480, Bounded},
	} {
		got, err := Fit(gear.with(func(r *run) { r.n = c.pictures }).points(5), Options{PeriodS: c.period})
		if err != nil {
			t.Fatal(err)
		}
		if got.State != c.state || math.Abs(got.PeriodS-c.period) > 1e-9 || got.PeriodSigmaS != 0 {
			t.Errorf("%s: %s, period %v ± %v", c.name, got.State, got.PeriodS, got.PeriodSigmaS)
		}
		if l := got.PeakToPeakLimits; size < l.Low || size > l.High {
			t.Errorf("%s: size %v not in %v", c.name, size, l)
		}
		if l := got.MaxRateLimits; rate < l.Low || rate > l.High {
			t.Errorf("%s: rate %v not in %v", c.name, rate, l)
		}
		t.Log(got.Note)
	}
}

func TestPointsThatLieOff(t *testing.T) {
	size, _ := gear.truth()
	for _, c := range []struct {
		name string
		off  map[int]float64 // arcseconds
	}{
		{"the first", map[int]float64{0: -60}},
		{"the first two", map[int]float64{0: -90, 1: -50}},
		{"one within", map[int]float64{30: 40}},
		{"two within", map[int]float64{20: 300, 41: -80}},
	} {
		ps := gear.points(8)
		for i, a := range c.off {
			ps[i].Angle += unit.AngleFromSec(a)
		}
		got, err := Fit(ps, Options{})
		if err != nil {
			t.Fatal(err)
		}
		f, _ := newFitter(ps, Options{})
		f.search()
		for i, root := range f.basis.root {
			if _, off := c.off[i]; off != (root == 0) {
				t.Errorf("%s: point %d left out: %v", c.name, i, root == 0)
			}
		}
		if got.State != Measured || math.Abs(got.PeakToPeak.Sec()-size) > 4*got.PeakToPeakSigma.Sec() {
			t.Errorf("%s: %s", c.name, got.Note)
		}
	}
}

// Stretches have zeros of their own and share rate and wave; order does not matter; At gives the curve back.
func TestStretchesAndCurve(t *testing.T) {
	ps := gear.points(9)
	for i := range ps {
		if i >= 25 {
			ps[i].Angle += unit.AngleFromDeg(30)
			ps[i].Stretch = 7
			ps[i].Time = ps[i].Time.Add(0)
		}
	}
	for i := range len(ps) / 2 {
		ps[i], ps[len(ps)-1-i] = ps[len(ps)-1-i], ps[i]
	}
	got, err := Fit(ps, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.State != Measured || math.Abs(got.PeriodS-480) > 4*got.PeriodSigmaS {
		t.Fatalf("%s: %s", got.State, got.Note)
	}
	if math.Abs(got.RateArcsecPerS-gear.rate) > 4*got.RateSigmaArcsecPerS {
		t.Errorf("rate %v ± %v, want %v", got.RateArcsecPerS, got.RateSigmaArcsecPerS, gear.rate)
	}
	var sum, square float64
	for _, p := range ps {
		zero := 0.0
		if p.Stretch == 7 {
			zero = 30 * 3600
		}
		rest := p.Angle.Sec() - zero - got.RateArcsecPerS*p.Time.Sub(begin).Seconds() - got.At(p.Time).Sec()
		sum, square = sum+rest, square+rest*rest
	}
	n := float64(len(ps))
	if rms := math.Sqrt(square/n - sum*sum/n/n); rms > 1.5*gear.sigma {
		t.Errorf("the curve leaves %.2f″ over noise of %.2f″", rms, gear.sigma)
	}
}

// badPoints seed the fuzzer, too.
var badPoints = []struct {
	name   string
	change func([]Point)
	want   error // nil = answered without a measurement
}{
	{"NaN", func(ps []Point) { ps[3].Angle = unit.Angle(math.NaN()) }, ErrPoint},
	{"infinite", func(ps []Point) { ps[3].Angle = unit.Angle(math.Inf(1)) }, ErrPoint},
	{"NaN error", func(ps []Point) { ps[3].Sigma = unit.Angle(math.NaN()) }, ErrPoint},
	{"negative error", func(ps []Point) { ps[3].Sigma = -1 }, ErrPoint},
	{"negative exposure", func(ps []Point) { ps[3].Exposure = -1 }, ErrPoint},
	{"one instant", func(ps []Point) {
		for i := range ps {
			ps[i].Time = begin
		}
	}, nil},
	{"all the same angle", func(ps []Point) {
		for i := range ps {
			ps[i].Angle = 1
		}
	}, nil},
	{"every point a stretch", func(ps []Point) {
		for i := range ps {
			ps[i].Stretch = i
		}
	}, nil},
	{"far ends of time", func(ps []Point) { ps[0].Time = time.Time{}; ps[1].Time = time.Unix(1<<40, 0) }, nil},
}

func TestBadPoints(t *testing.T) {
	for _, c := range badPoints {
		ps := gear.points(1)
		c.change(ps)
		got, err := Fit(ps, Options{})
		if c.want != nil {
			if !errors.Is(err, c.want) || amiss.Ways(err) == nil {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if err != nil || got.State == Measured || got.Note.None() {
			t.Errorf("%s: %v, %s, %q", c.name, err, got.State, got.Note)
		}
	}
	for _, o := range []Options{{PeriodS: -1}, {PeriodS: math.NaN()}, {PeriodS: math.Inf(1)}} {
		if _, err := Fit(gear.points(1), o); !errors.Is(err, ErrOption) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	for n := range fewestPoints {
		if got, err := Fit(gear.points(1)[:n], Options{}); err != nil || got.State != Unseen || got.Note.None() {
			t.Errorf("%d points: %v, %+v", n, err, got)
		}
	}
}

// Errors of zero are unknown: the scatter alone decides, and the answer stays.
func TestUnknownErrors(t *testing.T) {
	ps := gear.points(3)
	for i := range ps {
		ps[i].Sigma = 0
		if i%9 == 0 {
			ps = append(ps, ps[i]) // a time twice does no harm either
		}
	}
	got, err := Fit(ps, Options{})
	if err != nil || got.State != Measured || math.Abs(got.PeriodS-480) > 10 {
		t.Errorf("%v, %s", err, got.Note)
	}
}
