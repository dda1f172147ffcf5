package answer

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/align/simulate"
	"trueturn/drift/wobble"
	"trueturn/ephem/amiss"
)

// gearRun is twenty-five minutes with a small camera of 135 mm on an uneven gear.
func gearRun(p2pArcsec float64, stamp time.Duration) func(*simulate.Evening) {
	return func(e *simulate.Evening) {
		e.Camera = simulate.Small(135, 2.8, 3.9, 6000, 4000)
		e.Count, e.Every, e.Exposure = 60, 25*time.Second+200*time.Millisecond, 10*time.Second
		e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(p2pArcsec), Period: 480 * time.Second, Third: 0.15, Phase: 1}
		e.Handling.StampStep = stamp
	}
}

// The figures: period within 3 %, size within 10 %, fastest rate within 20 %.
func TestGearFromPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty pictures each; not in -short")
	}
	for _, c := range []struct {
		name  string
		stamp time.Duration
	}{{"fine stamps", 0}, {"whole-second stamps", time.Second}} {
		t.Run(c.name, func(t *testing.T) {
			run, q, site := practice(t, 46, gearRun(44, c.stamp))
			truth, err := run.Truth()
			if err != nil {
				t.Fatal(err)
			}
			a := New(q, Options{Site: &site})
			p := a.PeriodicError
			if a.Err != nil || p == nil || p.State != "measured" {
				t.Fatalf("error %v, periodic error %+v", a.Err, p)
			}
			t.Logf("%s", p.Note)
			within(t, "period", *p.PeriodS, truth.PeriodicError.PeriodS, 0.03)
			within(t, "peak to peak", *p.PeakToPeakArcsec, truth.PeriodicError.PeakToPeakArcsec, 0.10)
			within(t, "fastest rate", *p.MaxRateArcsecPerSec, truth.PeriodicError.MaxRateArcsecPerSec, 0.20)
		})
	}
}

func within(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got/want-1) > share {
		t.Errorf("%s %.4g, want %.4g within %.0f %%", what, got, want, 100*share)
	}
}

// A small wobble is found, or bounded so that the truth lies within what is said.
func TestSmallGearIsFoundOrBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty pictures; not in -short")
	}
	run, q, site := practice(t, 46, gearRun(10, time.Second))
	truth, err := run.Truth()
	if err != nil {
		t.Fatal(err)
	}
	a := New(q, Options{Site: &site})
	if a.Err != nil || a.Measured == nil || a.Gear == nil {
		t.Fatalf("error %v", a.Err)
	}
	g := a.Gear
	size := truth.PeriodicError.PeakToPeakArcsec
	if g.State == "unseen" || size < g.PeakToPeakLimits.Low || size > g.PeakToPeakLimits.High {
		t.Errorf("%s, limits %+v, true size %.1f″", g.Note, g.PeakToPeakLimits, size)
	}
}

// What a forecast reckons with: the pictures' measurement, else what was told, unless the pictures limit the gear to less, else their
// limit, else a usual gear.
func TestGearReckonedWith(t *testing.T) {
	arcsec := unit.AngleFromSec
	told := &exposure.Wobble{PeriodS: 480, PeakToPeak: arcsec(44)}
	measured := &wobble.Result{State: wobble.Measured, PeriodS: 300, PeakToPeak: arcsec(20), PeakToPeakSigma: arcsec(1)}
	limited := func(state wobble.State, arcsec float64) *wobble.Result {
		return &wobble.Result{State: state, PeakToPeakLimits: wobble.Limits{High: arcsec}, PeriodLimitsS: wobble.Limits{High: 600}}
	}
	for _, c := range []struct {
		name   string
		seen   *wobble.Result
		told   *exposure.Wobble
		source exposure.Source
		arcsec float64
	}{
		{"nothing known", nil, nil, exposure.GearUsual, 30},
		{"told", nil, told, exposure.GearTold, 44},
		{"measured", measured, nil, exposure.GearMeasured, 20},
		{"measured and told", measured, told, exposure.GearMeasured, 20},
		{"limited", limited(wobble.Bounded, 100), nil, exposure.GearBounded, 50},
		{"limited to more than told", limited(wobble.Bounded, 100), told, exposure.GearTold, 44},
		{"limited to less than told", limited(wobble.Bounded, 40), told, exposure.GearBounded, 20},
		{"a limit that says nothing", limited(wobble.Bounded, math.Inf(1)), nil, exposure.GearUsual, 30},
		{"nothing beyond chance, and that is little", limited(wobble.Unseen, 20), nil, exposure.GearBounded, 10},
		{"nothing beyond chance, which says little", limited(wobble.Unseen, 200), nil, exposure.GearUsual, 30},
	} {
		w := gearOf(c.seen, c.told)
		if w.Source != c.source || math.Abs(w.PeakToPeak.Sec()-c.arcsec) > 1e-6 {
			t.Errorf("%s: %.1f″, %s; want %.1f″, %s", c.name, w.PeakToPeak.Sec(), w.Source, c.arcsec, c.source)
		}
	}
}

// An answer says in its first line what rests on a gear nobody has seen, and so does a session kept of it; a file from before the
// source was kept too.
func TestUnseenGearIsSaid(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) { e.Count = 6 })
	a := New(q, Options{Site: &site})
	if a.Err != nil || a.Exposure == nil {
		t.Fatal(a.Err)
	}
	if a.Exposure.Gear != exposure.GearUsual || !strings.Contains(a.Measured.Question.Rests.String(), "on most gears") || *a.Exposure.LongestS > exposure.FaithS {
		t.Errorf("%+v, %q", a.Exposure, a.Measured.Question.Rests)
	}
	s, err := a.Session()
	if err != nil {
		t.Fatal(err)
	}
	s.Mount.Wobble.Source, s.Mount.Wobble.SizeFactor = "", 0
	if p, err := s.Plan(); err != nil || p.Mount.Wobble.Source != exposure.GearUsual || p.Mount.Wobble.SizeFactor == 0 {
		t.Errorf("an old session: %v, %+v", err, p.Mount.Wobble)
	}
	told := New(q, Options{Site: &site, Gear: &exposure.Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(44)}})
	if told.Exposure.Gear != exposure.GearTold || !told.Exposure.RestsOn().None() {
		t.Errorf("a gear that was told: %+v", told.Exposure)
	}
}

// A session file must bring the forecast back as it was.
func TestSessionRoundTrip(t *testing.T) {
	_, q, site := practice(t, -33, func(e *simulate.Evening) { e.Count = 12 })
	a := New(q, Options{Site: &site})
	if a.Err != nil || a.Forecast == nil {
		t.Fatal(a.Err)
	}
	s, err := a.Session()
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	if err := s.Write(&file); err != nil {
		t.Fatal(err)
	}
	text := file.String()
	back, err := ReadSession(&file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := back.Plan()
	if err != nil {
		t.Fatal(err)
	}
	f, err := exposure.Longest(p)
	if err != nil {
		t.Fatal(err)
	}
	// The view is laid anew through right ascension, declination and roll: refraction's tilt of the
	// picture makes the difference.
	within(t, "longest exposure", f.LongestS, a.Forecast.LongestS, 0.01)
	for name, broken := range map[string]string{
		"cut off":         text[:len(text)/2],
		"another version": strings.Replace(text, `"version": 1`, `"version": 99`, 1),
		"another file":    `{"kind": "something else", "version": 1}`,
		"no JSON":         "axis = 3",
		"empty":           "",
		"impossible site": strings.Replace(text, `"latitude_deg": -33`, `"latitude_deg": -133`, 1),
		"no star width":   strings.Replace(text, `"fwhm_px": `, `"fwhm_px": -`, 1),
	} {
		if _, err := ReadSession(strings.NewReader(broken)); !errors.Is(err, ErrSession) || amiss.Ways(err) == nil {
			t.Errorf("%s: %v, want ErrSession with a hint", name, err)
		}
	}
}
