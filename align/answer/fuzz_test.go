package answer

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// savedSession is a session as align --save writes it, with all it may hold.
func savedSession(t testing.TB) string {
	sec := unit.AngleFromSec
	s := Session{Kind: sessionKind, Version: Version, FWHMPx: 2.4,
		Site: ephem.Place{LatitudeDeg: 46.02, LongitudeDeg: 7.75, HeightM: 1620}, Air: ephem.Air{TemperatureC: -2, PressureHPa: 830},
		View: SessionView{MidUTC: "2026-11-25T21:30:00Z", RADeg: 83.8, DecDeg: -5.4, FocalPx: 3000, Width: 4000, Height: 3000},
		Mount: &SessionMount{AxisAltitudeDeg: 46.1, AxisAzimuthDeg: 0.3, CovarianceRad2: [2][2]float64{{1e-7, 1e-8}, {1e-8, 2e-7}}, RateSigma: 1e-4,
			Wobble: &exposure.Wobble{PeriodS: 480, PeakToPeak: sec(40), Sigma: sec(3), Harmonics: []wobble.Harmonic{{Cos: sec(10), Sin: sec(17)}, {Cos: sec(1), Sin: sec(2)}}}}}
	var b bytes.Buffer
	if err := s.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// FuzzSession: whatever a session file holds, it is refused with a way out, or reads the same when written
// again and its forecast is a number of seconds or refused with a way out.
func FuzzSession(f *testing.F) {
	good := savedSession(f)
	f.Add(good)
	f.Add(good[:len(good)/2])
	for _, change := range [][2]string{{"83.8", "1e300"}, {"3000", "1e-300"}, {"480", "0"}, {"480", "1e-9"}, {"1e-7", "1e300"}, {"2.4", "1e9"}, {"0.0001", "-1"},
		{`"mount": {`, `"mount": null, "x": {`}, {"2026", "0001"}, {"2026", "9999"}, {"830", "-830"}, {"-2,", "-273.15,"}, {"4000", "2147483647"}, {"46.1", "90"}} {
		f.Add(strings.Replace(good, change[0], change[1], 1))
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ReadSession(strings.NewReader(text))
		if err != nil {
			if !errors.Is(err, ErrSession) {
				t.Errorf("%v is no ErrSession", err)
			}
			wayOut(t, err)
			return
		}
		var b bytes.Buffer
		if err := s.Write(&b); err != nil {
			t.Fatal(err)
		}
		again, err := ReadSession(&b)
		if err != nil {
			t.Fatalf("written again it is refused: %v", err)
		}
		if again.View != s.View || again.Site != s.Site || !reflect.DeepEqual(again.Mount, s.Mount) {
			t.Errorf("read %+v, and again %+v", s, again)
		}
		plan, err := s.Plan()
		if err != nil {
			wayOut(t, err)
			return
		}
		forecast, err := exposure.Longest(plan)
		if err != nil {
			wayOut(t, err)
			return
		}
		if !(forecast.LongestS >= 0) || math.IsInf(forecast.LongestS, 0) {
			t.Errorf("round for %v s", forecast.LongestS)
		}
	})
}

func wayOut(t *testing.T, err error) {
	t.Helper()
	if amiss.Ways(err) == nil || err.Error() == "" {
		t.Errorf("error %q has no way out", err)
	}
}
