package plot

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Kind is how an axis counts.
type Kind int

// The kinds of axis. Times are seconds since 1970-01-01 UTC (see [Seconds]); on a logarithmic axis what is not above
// zero is left out.
const (
	Linear Kind = iota
	Logarithmic
	Time
)

// Axis is one of a chart's two.
type Axis struct {
	Label     string // quantity and unit; of a time axis the zone and the date are added
	Kind      Kind
	Zone      *time.Location // of a time axis; nil: UTC
	ZoneWords string         // what the zone is called; "" with UTC
	Include   []float64      // values that must lie inside
}

// Seconds are instants as a time axis takes them.
func Seconds(at []time.Time) []float64 {
	s := make([]float64, len(at))
	for i, t := range at {
		s[i] = float64(t.Unix()) + float64(t.Nanosecond())/1e9
	}
	return s
}

// extent is a range that grows; the zero value holds nothing.
type extent struct {
	low, high float64
	any       bool
	kind      Kind
}

// holds is whether a value can be drawn.
func (e *extent) holds(v float64) bool { return finite(v) && (e.kind != Logarithmic || v > 0) }

func (e *extent) take(v ...float64) {
	for _, x := range v {
		switch {
		case !e.holds(x):
		case !e.any:
			e.low, e.high, e.any = x, x, true
		default:
			e.low, e.high = min(e.low, x), max(e.high, x)
		}
	}
}

// ticks are the marks of an axis.
type tick struct {
	at    float64
	label string
}

// scale maps values to the drawing.
type scale struct {
	kind      Kind
	low, high float64 // logarithms on a logarithmic scale
	from, to  float64
	zone      *time.Location // of a time scale; nil: UTC
}

// value is a value as the scale counts it; NaN where it cannot be drawn.
func (s scale) value(v float64) float64 {
	if s.kind != Logarithmic {
		return v
	}
	if v <= 0 {
		return math.NaN()
	}
	return math.Log10(v)
}

func (s scale) at(v float64) float64 {
	return s.from + (s.value(v)-s.low)/(s.high-s.low)*(s.to-s.from)
}

// room left between the data and the frame, as a share of the range.
const room = 0.05

// largest value drawn: beyond it differences overflow.
const largest = 1e150

// scaleOver is the scale of an axis for the data's extent, drawn between from and to.
func scaleOver(a Axis, e extent, from, to float64) scale {
	s := scale{kind: a.Kind, from: from, to: to, zone: a.Zone}
	var in extent
	for _, v := range append([]float64{e.low, e.high}, a.Include...) {
		if e.any || len(a.Include) > 0 {
			in.take(s.value(max(-largest, min(largest, v))))
		}
	}
	if !in.any {
		in.take(0, 1)
	}
	s.low, s.high = widen(in, a.Kind)
	return s
}

// widen leaves room, and makes a range of a single value.
func widen(e extent, k Kind) (low, high float64) {
	least := max(1e-9*math.Max(math.Abs(e.low), math.Abs(e.high)), 1e-12)
	switch k {
	case Time:
		least = 10 // seconds
	case Logarithmic:
		least = 0.05
	}
	if span := e.high - e.low; span > least {
		return e.low - room*span, e.high + room*span
	}
	half := least
	if k == Linear {
		half = max(least, 0.5)
		if e.low != 0 {
			half = max(least, 0.1*math.Abs(e.low))
		}
	}
	return e.low - half, e.high + half
}

// ticks are at most about most marks at round values, 1, 2 or 5 times a power of ten.
func (s scale) ticks(most int) []tick {
	switch s.kind {
	case Time:
		return s.timeTicks(most)
	case Logarithmic:
		if t := s.logTicks(most); len(t) >= 2 {
			return t
		}
		return s.plainTicks(most, func(v float64) float64 { return math.Pow(10, v) })
	}
	return s.plainTicks(most, func(v float64) float64 { return v })
}

// roundStep is the smallest of 1, 2, 5 times a power of ten that is not below v.
func roundStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// plainTicks are at round values between the ends as seen through show (10^v on a logarithmic scale too narrow for
// powers).
func (s scale) plainTicks(most int, show func(float64) float64) []tick {
	low, high := show(s.low), show(s.high)
	step := roundStep((high - low) / float64(max(most, 1)))
	decimals := max(0, int(-math.Floor(math.Log10(step)*(1+1e-12)+1e-9)))
	var ts []tick
	for k := math.Ceil(low / step); k*step <= high && len(ts) <= 2*most+2; k++ {
		ts = append(ts, tick{k * step, number(k*step, decimals)})
	}
	return ts
}

// logTicks are at 1, 2, 5 times powers of ten, or at the powers alone, or at some of them.
func (s scale) logTicks(most int) []tick {
	decades := s.high - s.low
	marks := []float64{1, 2, 5}
	every := 1.0
	if 3*decades > float64(most+2) { // numbers of a logarithmic scale are short
		marks, every = marks[:1], max(1, math.Ceil(decades/float64(max(most, 1))))
	}
	var ts []tick
	for d := math.Floor(s.low); d <= s.high && len(ts) <= 3*most; d++ {
		for _, m := range marks {
			if v := m * math.Pow(10, d); math.Mod(d, every) == 0 && math.Log10(v) >= s.low && math.Log10(v) <= s.high {
				ts = append(ts, tick{v, number(v, max(0, int(-d)))})
			}
		}
	}
	return ts
}

// number prints a tick's value with a true minus sign; very large and very small ones by powers.
func number(v float64, decimals int) string {
	if math.Abs(v) < 1e-300 {
		v = 0
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if decimals > 6 || math.Abs(v) >= 1e7 {
		text = strconv.FormatFloat(v, 'g', 6, 64)
	}
	return strings.Replace(text, "-", "−", 1)
}

// timeSteps are the steps a clock is read by, in seconds.
var timeSteps = []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400}

func timeStep(span float64, most int) float64 {
	for _, s := range timeSteps {
		if span/s <= float64(most) {
			return s
		}
	}
	return 86400 * roundStep(span/86400/float64(max(most, 1)))
}

func (s scale) timeTicks(most int) []tick {
	step := timeStep(s.high-s.low, most)
	layout := "15:04"
	switch {
	case step < 60:
		layout = "15:04:05"
	case step >= 86400:
		layout = "2 Jan"
	}
	_, ahead := s.instant(s.low).Zone() // marks are round on the zone's clock
	shift := float64(ahead)
	var ts []tick
	for k := math.Ceil((s.low + shift) / step); k*step-shift <= s.high && len(ts) <= 2*most+2; k++ {
		ts = append(ts, tick{k*step - shift, s.instant(k*step - shift).Format(layout)})
	}
	return ts
}

// instant is a time axis's value as a time; far-off values are held at the ends of four-digit years.
func (s scale) instant(seconds float64) time.Time {
	zone := s.zone
	if zone == nil {
		zone = time.UTC
	}
	return time.Unix(int64(max(-6.2e10, min(2.5e11, seconds))), 0).In(zone)
}

// label is the axis's label, with zone and date where it counts time.
func (s scale) label(a Axis) string {
	if s.kind != Time {
		return a.Label
	}
	first, last := s.instant(s.low), s.instant(s.high)
	zone := a.ZoneWords
	if zone == "" {
		zone = "UTC"
	}
	date := first.Format("2 January 2006")
	if y, m, d := last.Date(); y != first.Year() || m != first.Month() || d != first.Day() {
		date = first.Format("2 Jan") + " to " + last.Format("2 Jan 2006")
	}
	return strings.TrimSpace(a.Label + " " + zone + ", " + date)
}
