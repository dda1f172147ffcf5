package exposure

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/soniakeys/unit"
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
			if f.Gear != GearUsual || f.LongestS > FaithS || f.HighS > FaithS || !strings.Contains(f.Rests(), "nobody has seen") || strings.Contains(f.Advice, "hour") {
				t.Errorf("gear %q, longest %.4g (%.4g to %.4g), rests %q, advice %q", f.Gear, f.LongestS, f.LowS, f.HighS, f.Rests(), f.Advice)
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
	if f := forecast(t, p); !f.Endless || !f.Rounded || f.Rests() != "" || f.LimitedBy != LimitNone {
		t.Errorf("on an even gear: %+v", f)
	}
	p.Mount.Wobble = Reckoned(nil)
	if f := forecast(t, p); f.Rounded || f.LongestS > FaithS || f.LimitedBy != LimitWobble {
		t.Errorf("on an unseen gear: %+v", f)
	}
}

// TestSaid: each source has words of its own.
func TestSaid(t *testing.T) {
	size := unit.AngleFromSec(44)
	for _, c := range []struct {
		w    *Wobble
		want string
	}{
		{nil, ""},
		{Reckoned(nil), "Nobody has seen the gear"},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Sigma: size / 10, Source: GearMeasured}, "as measured: a wobble of 44″ ± 4″ in 480 s"},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Source: GearTold}, "as told: a wobble of 44″ in 480 s"},
		{&Wobble{PeriodS: 480, Source: GearTold}, "run evenly, as told"},
		{&Wobble{PeriodS: 480, PeakToPeak: size, Sigma: size, Source: GearBounded}, "not fully seen"},
	} {
		if got := c.w.Said(); !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%+v: %q, want %q in it", c.w, got, c.want)
		}
	}
}

// TestLongBefore: stars the lens has drawn long are said to be, whatever the mount does.
func TestLongBefore(t *testing.T) {
	p := Plan{FWHM: 2.5, View: toward(t, tele(t), 0, 0), Elongation: 1.2}
	if f := forecast(t, p); f.Long != 0 || f.LongWords() != "" {
		t.Errorf("stars within the tolerance: %q", f.LongWords())
	}
	p.Elongation = 1.4
	if f := forecast(t, p); f.Long != 1.4 || !strings.Contains(f.LongWords(), "1.40 times longer than wide") {
		t.Errorf("long stars: %.3g, %q", f.Long, f.LongWords())
	}
}

// TestRoundSetOnAnUnseenGear: what is said behind pictures that are all round rests on the same as any other forecast.
func TestRoundSetOnAnUnseenGear(t *testing.T) {
	for _, row := range []struct {
		f    Forecast
		says string
	}{
		{Forecast{LongestS: FaithS, Endless: true, LowS: 150, HighS: FaithS, Gear: GearUsual}, ""},
		{Forecast{LongestS: LongestS, Endless: true, LowS: LongestS, HighS: LongestS, Gear: GearMeasured}, "stars stay round for an hour and more."},
		{Forecast{LongestS: 100, LowS: 80, HighS: 130, Gear: GearMeasured}, "stars stay round for 100 s (80 s to 130 s)."},
	} {
		v := Verdict{Forecast: &row.f}
		said := v.longestWords()
		if row.f.Gear == GearUsual {
			if !strings.Contains(said, "nobody has seen") || strings.Contains(said, "hour") {
				t.Errorf("%q promises what nobody has seen", said)
			}
			continue
		}
		if !strings.HasSuffix(said, row.says) {
			t.Errorf("%q, want %q at the end", said, row.says)
		}
	}
}
