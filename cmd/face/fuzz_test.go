package face

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trueturn/align"
	"trueturn/cmd/kit"
	"trueturn/ephem"
)

// typedValues are what people and machines put behind flags.
var typedValues = []string{"", "0", "12.5", "−3", "-3", "1e5", "1e999", "-1e-999", "NaN", "inf", "0x1p4", "1_000", "12,5", "60,480", "60;480", "-60,480", "60,1e-9",
	"1e4,1e6", ",", "5h35m17s,-5d23m28s", "83.8,-5.4", "83.8,-95", "M42", "vega", "+02:00", "−04:30", "+14:00", "+14:01", "-12:01", "Z", "+2:00", "+02:00:00",
	"4032x3024", "4032X3024", "4032×3024", "0x0", "1048577x1", "99999999999x1", "-1x-1", "21.3", "B4", "bortle 4", "B0", "7", "46.02,7.75,1620", "46.02N,7.75E",
	"-5,880", "-300,1000", "20,-1", "2026-11-25T21:30:00Z", "2026-11-25", "\x00", "１２", "١٢", strings.Repeat("9", 400), strings.Repeat("1,", 400)}

// FuzzValues: whatever is typed behind a flag is refused with a way out, or means something within the flag's limits.
func FuzzValues(f *testing.F) {
	for _, s := range typedValues {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		in := func(what string, err error, ok bool) {
			t.Helper()
			switch {
			case err != nil && (hint(err) == "" || err.Error() == ""):
				t.Errorf("%s %q: error %q has no way out", what, typed, err)
			case err == nil && !ok:
				t.Errorf("%s %q was taken", what, typed)
			}
		}
		x, err := parseNumber(typed)
		in("number", err, !math.IsNaN(x) && !math.IsInf(x, 0))
		var y float64
		err = between("N", &y, 1, 50).Set(typed)
		in("number within limits", err, y >= 1 && y <= 50)
		var d time.Duration
		in("seconds", seconds(&d, 0.001, 3600).Set(typed), d >= time.Millisecond && d <= time.Hour)
		list, err := numbers(typed)
		in("list", err, len(list) == strings.Count(typed, ",")+1)
		arcsec, period, err := parseWobble(typed)
		in("gear", err, arcsec >= 0 && arcsec <= 36000 && period >= time.Second && period <= 1e6*time.Second)
		zone, err := kit.Zone(typed)
		if err == nil {
			_, offset := time.Time{}.In(zone).Zone()
			in("zone", nil, offset >= -12*3600 && offset <= 14*3600)
		}
		in("zone", err, true)
		var at *align.Target
		err = target(&at).Set(typed)
		in("place in the sky", err, at != nil && math.Abs(at.Dec.Deg()) <= 90)
		var a *ephem.Air
		in("air", air(&a).Set(typed), a != nil && a.PressureHPa >= 0)
		var w wondering
		in("size", w.setSize(typed), w.width > 0 && w.height > 0)
		in("axis error", w.setAxisError(typed), w.axisError != nil && *w.axisError >= 0)
		in("gear's figures", w.setWobble(typed), w.wobble != nil)
	})
}

// FuzzEarlier: whatever the truth.json of an earlier simulation says, only files of its own folder are named for removal.
func FuzzEarlier(f *testing.F) {
	good, err := json.Marshal(map[string]any{"frames": []map[string]string{{"file": "sky-001.jpg", "start_utc": "x", "mid_utc": "y"}}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	for _, name := range []string{"../x", "/etc/x", "..", ".", "", `a\b`, "a/b"} {
		f.Add([]byte(strings.Replace(string(good), "sky-001.jpg", name, 1)))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, truthFile), text, 0o666); err != nil {
			t.Fatal(err)
		}
		for _, name := range earlier(dir) {
			if full := filepath.Join(dir, name); filepath.Dir(full) != dir || full == dir {
				t.Errorf("%q would be removed", name)
			}
		}
	})
}
