package face

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"trueturn/align/answer"
)

// earlierFiles holds files as an earlier version wrote them; its README says how they were made.
const earlierFiles = "testdata/earlier"

func fromEarlier(t *testing.T, name string, into any) (path string) {
	t.Helper()
	path, err := filepath.Abs(filepath.Join(earlierFiles, name))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err == nil && into != nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// TestEarlierKits: a kit written by an earlier version holds what it held; a later one may say more of it.
func TestEarlierKits(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"kit-init", "kit-by-hand"} {
		var was, is any
		fromEarlier(t, name+".json", &was)
		runJSON(t, t.TempDir(), &is, "kit", "show", "--json", "--kit", fromEarlier(t, name+".toml", nil))
		for _, gone := range missing(name, was, is) {
			t.Error(gone)
		}
	}
}

// missing lists what one JSON value holds and another does not, or holds otherwise.
func missing(at string, was, is any) (list []string) {
	w, object := was.(map[string]any)
	i, _ := is.(map[string]any)
	if !object {
		if was != is {
			list = append(list, fmt.Sprintf("%s is %v, was %v", at, is, was))
		}
		return list
	}
	for key, value := range w {
		list = append(list, missing(at+"."+key, value, i[key])...)
	}
	return list
}

// What may change between versions. A saved measurement is read, not measured: its axis stays to the last digits a file keeps. A
// forecast may be reckoned better; the one here is limited by an axis 4.8° off, which leaves little to reckon.
const (
	savedOffDeg = 1e-9
	forecastOff = 0.1 // of the longest exposure
)

// TestEarlierSaves: measurements saved by align and by live are read, and forecast what they did.
func TestEarlierSaves(t *testing.T) {
	t.Parallel()
	var was struct {
		LongestS  float64 `json:"longest_s"`
		LimitedBy string  `json:"limited_by"`
	}
	fromEarlier(t, "expose.json", &was)
	is := was
	runJSON(t, t.TempDir(), &is, "expose", "--json", "--session", fromEarlier(t, "axis.json", nil))
	if math.Abs(is.LongestS/was.LongestS-1) > forecastOff || is.LimitedBy != was.LimitedBy {
		t.Errorf("forecast %+v, was %+v", is, was)
	}
	for _, name := range []string{"axis.json", "session/mount.json"} {
		var saved struct {
			Mount struct {
				Altitude float64 `json:"axis_altitude_deg"`
				Azimuth  float64 `json:"axis_azimuth_deg"`
			} `json:"mount"`
		}
		f, err := os.Open(fromEarlier(t, name, &saved))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		s, err := answer.ReadSession(f)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if m := s.Mount; m == nil || math.Abs(m.AxisAltitudeDeg-saved.Mount.Altitude) > savedOffDeg || math.Abs(m.AxisAzimuthDeg-saved.Mount.Azimuth) > savedOffDeg {
			t.Errorf("%s: the mount is %+v, was %+v", name, m, saved.Mount)
		}
		runJSON(t, t.TempDir(), &is, "expose", "--json", "--session", fromEarlier(t, name, nil))
		if !(is.LongestS > 0) {
			t.Errorf("%s: forecast %+v", name, is)
		}
	}
}
