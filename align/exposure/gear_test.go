package exposure

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// TestUnseenGear: a forecast on a gear nobody has seen never says an hour, says what it rests on, and its range is wide enough for mounts as
// they are: of many drawn as small mounts' gears spread, two in three stand as long as it says.
func TestUnseenGear(t *testing.T) {
	for _, c := range []struct {
		name    string
		focalPx float64
	}{{"wide", 800}, {"tele", 6645}, {"long tele", 30000}} {
		t.Run(c.name, func(t *testing.T) {
			p := Plan{FWHM: 2.5, View: toward(t, Lens{c.focalPx, 2000, 1500}, 0, 0), Mount: Mount{Wobble: Reckoned(nil)}}
			p.Mount.Axis = p.View.Off(0, unit.AngleFromMin(5))
			f := forecast(t, p)
			if f.Gear != GearUsual || f.LongestS > FaithS || f.HighS > FaithS || f.RestsOn().None() || f.Endless && !f.Advice.Same(f.Says()) {
				t.Errorf("gear %q, longest %.4g (%.4g to %.4g), rests %q, advice %q", f.Gear, f.LongestS, f.LowS, f.HighS, f.RestsOn(), f.Advice)
			}
			within, long := 0, 0
			const mounts = 200
			r := rand.New(rand.NewPCG(7, 7))
			for range mounts {
				q := p
				q.Mount.Wobble = &Wobble{PeriodS: 480 * power(1.5, r.NormFloat64()), PeakToPeak: unit.AngleFromSec(30 * power(2.5, r.NormFloat64()))}
				s := min(longestOf(q), FaithS)
				if s >= f.LowS*0.99 && s <= f.HighS*1.01 {
					within++
				}
				if s >= f.LongestS*0.99 {
					long++
				}
			}
			// 68 and 84 to 100 of 100, by 200 mounts to 3 and 64 draws to 6; where all stand 480 s, all are within.
			if within < mounts*55/100 || long < mounts*75/100 {
				t.Errorf("of %d mounts %d lie from %.4g to %.4g s, and %d stand %.4g s", mounts, within, f.LowS, f.HighS, long, f.LongestS)
			}
			t.Logf("%.4g s, %.4g to %.4g: %d within, %d as long", f.LongestS, f.LowS, f.HighS, within, long)
		})
	}
}

// TestReckoned: what is known goes before what is usual, even a gear that runs evenly; and a planned exposure no forecast reaches
// is not called round.
func TestReckoned(t *testing.T) {
	even := &Wobble{PeriodS: 480, Source: GearTold}
	if Reckoned(even) != even {
		t.Error("a gear that was told is replaced")
	}
	p := Plan{FWHM: 2.5, PlannedS: 3000, View: toward(t, Lens{800, 2000, 1500}, 0, 0), Mount: Mount{Wobble: even}}
	if f := forecast(t, p); !f.Endless || !f.Rounded || !f.RestsOn().None() || f.LimitedBy != LimitNone {
		t.Errorf("on an even gear: %+v", f)
	}
	p.Mount.Wobble = Reckoned(nil)
	if f := forecast(t, p); f.Rounded || f.LongestS > FaithS || f.LimitedBy != LimitWobble {
		t.Errorf("on an unseen gear: %+v", f)
	}
}

// TestSays: each source has a sentence of its own, with size and period.
func TestSays(t *testing.T) {
	size := unit.AngleFromSec(44)
	for _, c := range []struct {
		w    *Wobble
		want say.Line
	}{
		{nil, say.Line{}},
		{Reckoned(nil), say.All(say.Of("gear reckoned with as usual", say.Arcsec{Value: unit.AngleFromSec(30)}, say.Period{Seconds: 480}, say.Number(2.5)), say.Of("what shows a gear"))},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Sigma: size / 10, Source: GearMeasured}, say.Of("gear reckoned with as measured", say.Arcsec{Value: size, Sigma: size / 10}, say.Period{Seconds: 480})},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Source: GearTold}, say.Of("gear reckoned with as told", say.Arcsec{Value: size}, say.Period{Seconds: 480})},
		{&Wobble{PeriodS: 480, Source: GearTold}, say.Of("gear told to run evenly")},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Sigma: size, Source: GearBounded}, say.All(say.Of("gear reckoned with as bounded", say.Arcsec{Value: size, Sigma: size}, say.Period{Seconds: 480}), say.Of("what shows a gear"))},
	} {
		if got := c.w.Says(); !got.Same(c.want) {
			t.Errorf("%+v: %v, want %v", c.w, got, c.want)
		}
	}
}

// TestLongBefore: stars the lens has drawn long are said to be, whatever the mount does.
func TestLongBefore(t *testing.T) {
	p := Plan{FWHM: 2.5, View: toward(t, tele(t), 0, 0), Elongation: 1.2}
	if f := forecast(t, p); f.Long != 0 || !f.LongSays().None() {
		t.Errorf("stars within the tolerance: %v", f.LongSays())
	}
	p.Elongation = 1.4
	if f := forecast(t, p); f.Long != 1.4 || !f.LongSays().Same(say.Of("stars long before the mount moves them", say.Number(1.4))) {
		t.Errorf("long stars: %.3g, %v", f.Long, f.LongSays())
	}
}

// TestRoundSetOnAnUnseenGear: what is said behind pictures that are all round rests on the same as any other forecast.
func TestRoundSetOnAnUnseenGear(t *testing.T) {
	const key = "as the mount stands, stars stay round for"
	longest := func(s float64) say.Longest { return say.LongestOf(s) }
	unseen := say.Of("on most gears, from one length on", 150*time.Second, 480*time.Second)
	for _, row := range []struct {
		f    Forecast
		says say.Line
	}{
		{Forecast{LongestS: FaithS, Endless: true, LowS: 150, HighS: FaithS, Gear: GearUsual}, say.Of(key, longest(FaithS), unseen)},
		{Forecast{LongestS: LongestS, Endless: true, LowS: LongestS, HighS: LongestS, Gear: GearMeasured}, say.Of(key, longest(LongestS), say.Line{})},
		{Forecast{LongestS: 100, LowS: 80, HighS: 130, Gear: GearMeasured}, say.Of(key, longest(100), say.Of("between two lengths", longest(80), longest(130)))},
	} {
		v := Verdict{Forecast: &row.f}
		if said := v.longestSays(); !said.Same(row.says) {
			t.Errorf("%v, want %v", said, row.says)
		}
	}
}

// TestRestsOn: a figure is told with what it rests on as long as nobody has seen the gear.
func TestRestsOn(t *testing.T) {
	for _, row := range []struct {
		gear      Source
		low, high float64
		want      say.Key
	}{
		{GearMeasured, 10, 20, ""}, {GearTold, 10, 10, ""}, {GearUsual, 10, 10, "on most gears, this one unseen"}, {GearUsual, 0.14, 0.1401, "on most gears, this one unseen"},
		{GearUsual, 10, 20, "on most gears, between two lengths"}, {GearUsual, 10, FaithS, "on most gears, from one length on"},
	} {
		if got := RestsOn(row.gear, row.low, row.high).Key; got != row.want {
			t.Errorf("%s, %g to %g: %q, want %q", row.gear, row.low, row.high, got, row.want)
		}
	}
}
