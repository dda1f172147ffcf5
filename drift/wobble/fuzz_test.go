package wobble

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
)

// Any numbers make an error or a result whose figures are numbers; nothing panics.
func FuzzFit(f *testing.F) {
	pack := func(ps []Point) (b []byte) {
		for _, p := range ps {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Time.Sub(begin).Seconds()))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Angle.Rad()))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Sigma.Rad()))
			b = append(b, byte(p.Stretch))
		}
		return b
	}
	for _, c := range badPoints {
		ps := gear.with(func(r *run) { r.n = 20 }).points(1)
		c.change(ps)
		f.Add(pack(ps), 0.0)
		f.Add(pack(ps), 480.0)
	}
	f.Fuzz(func(t *testing.T, b []byte, period float64) {
		var ps []Point
		for ; len(b) >= 25 && len(ps) < 40; b = b[25:] {
			n := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[i:])) }
			ps = append(ps, Point{Time: begin.Add(time.Duration(n(0) * 1e9)), Angle: unit.Angle(n(8)), Sigma: unit.Angle(n(16)), Stretch: int(b[24])})
		}
		r, err := Fit(ps, Options{PeriodS: period})
		if err != nil {
			return
		}
		for _, v := range []float64{r.PeriodS, r.PeriodSigmaS, r.PeakToPeak.Sec(), r.PeakToPeakSigma.Sec(), r.MaxRateArcsecPerS, r.MaxRateSigma,
			r.RateArcsecPerS, r.RateSigmaArcsecPerS, r.Periods, r.At(begin).Sec()} {
			if !finite(v) {
				t.Fatalf("%+v", r)
			}
		}
		for _, l := range []Limits{r.PeriodLimitsS, r.PeakToPeakLimits, r.MaxRateLimits} {
			if !(l.Low >= 0 && l.Low <= l.High) {
				t.Fatalf("%+v", r)
			}
		}
		if r.Note.None() {
			t.Fatalf("%+v", r)
		}
	})
}
