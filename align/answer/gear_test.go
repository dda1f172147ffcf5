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
	if a.Err != nil || a.Measured == nil || a.Measured.Gear == nil {
		t.Fatalf("error %v", a.Err)
	}
	g := a.Measured.Gear
	size := truth.PeriodicError.PeakToPeakArcsec
	if g.State == "unseen" || size < g.PeakToPeakLimits.Low || size > g.PeakToPeakLimits.High {
		t.Errorf("%s, limits %+v, true size %.1f″", g.Note, g.PeakToPeakLimits, size)
	}
}

// A session file must bring the forecast back as it was.
func TestSessionRoundTrip(t *testing.T) {
	_, q, site := practice(t, -33, func(e *simulate.Evening) { e.Count = 12 })
	a := New(q, Options{Site: &site})
	if a.Err != nil || a.Measured.Exposure == nil {
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
	within(t, "longest exposure", f.LongestS, a.Measured.Exposure.LongestS, 0.01)
	for name, broken := range map[string]string{
		"cut off":         text[:len(text)/2],
		"another version": strings.Replace(text, `"version": 1`, `"version": 99`, 1),
		"another file":    `{"kind": "something else", "version": 1}`,
		"no JSON":         "axis = 3",
		"empty":           "",
		"impossible site": strings.Replace(text, `"latitude_deg": -33`, `"latitude_deg": -133`, 1),
		"no star width":   strings.Replace(text, `"fwhm_px": `, `"fwhm_px": -`, 1),
	} {
		var hint interface{ Hint() string }
		if _, err := ReadSession(strings.NewReader(broken)); !errors.Is(err, ErrSession) || !errors.As(err, &hint) || hint.Hint() == "" {
			t.Errorf("%s: %v, want ErrSession with a hint", name, err)
		}
	}
}
