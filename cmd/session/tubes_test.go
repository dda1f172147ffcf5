package session

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/guide"
)

func ptr[T any](v T) *T { return &v }

// levelled is an invented view: 48′ anticlockwise and 24.3′ too high, with the axis at 60°, where a turn of the
// base is twice the error on the sky.
func levelled() guide.View {
	return guide.View{
		Answer: answer.Answer{
			Axis:     &answer.AxisJSON{AltitudeDeg: 60},
			Exposure: &answer.ExposureJSON{PlannedS: 30, PlannedStaysRound: ptr(false)},
			Finding:  answer.Finding{Plan: &exposure.Plan{View: exposure.View{Lens: exposure.Lens{Width: 4000, Height: 3000, FocalPx: 13289}}}},
		},
		Live: guide.Live{Level: &guide.Level{AltitudeArcmin: 24.3, AltitudeSigmaArcmin: 2, AzimuthArcmin: -48, AzimuthSigmaArcmin: 3.1, StandsArcmin: 8}},
	}
}

func TestTubesInWords(t *testing.T) {
	for _, c := range []struct {
		name                string
		change              func(*guide.View)
		base, tilt, planned string
	}{
		{"off both ways", func(*guide.View) {},
			"48′ ± 3′ too far anticlockwise (left); 30 s can take 16′", // 8′ / cos 60°
			"24′ ± 2′ too high; 30 s can take 8.0′",
			"30 s planned, 115 mm equivalent: too long"}, // 13289 px of a diagonal of 5000 on one of 43.27 mm
		{"the other way", func(v *guide.View) {
			v.Live.Level.AltitudeArcmin, v.Live.Level.AzimuthArcmin = -0.5, 300
			v.Exposure.PlannedStaysRound = ptr(true)
		},
			"5.0° ± 0.1° too far clockwise (right); 30 s can take 16′", "0.5′ ± 2.0′ too low; 30 s can take 8.0′",
			"30 s planned, 115 mm equivalent: fine"},
		{"nothing known of the exposure", func(v *guide.View) { v.Live.Level.StandsArcmin = 0; v.Exposure, v.Plan = nil, nil },
			"48′ ± 3′ too far anticlockwise (left)", "24′ ± 2′ too high", ""},
		{"short exposures", func(v *guide.View) { v.Exposure.PlannedS = 2.5; v.Plan = nil; v.Exposure.PlannedStaysRound = nil },
			"48′ ± 3′ too far anticlockwise (left); 2.5 s can take 16′", "24′ ± 2′ too high; 2.5 s can take 8.0′",
			"2.5 s planned"},
		{"no axis", func(v *guide.View) { v.Live.Level = nil }, "", "", "30 s planned, 115 mm equivalent: too long"},
		{"not a number", func(v *guide.View) { v.Live.Level.AzimuthArcmin = math.NaN() }, "", "", "30 s planned, 115 mm equivalent: too long"},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := levelled()
			c.change(&v)
			got := tubes(v)
			if got.AzimuthText != c.base {
				t.Errorf("base: %q, want %q", got.AzimuthText, c.base)
			}
			if got.AltitudeText != c.tilt {
				t.Errorf("tilt: %q, want %q", got.AltitudeText, c.tilt)
			}
			if got.Tolerance != c.planned {
				t.Errorf("tolerance: %q, want %q", got.Tolerance, c.planned)
			}
			if drawn := got.Azimuth != "" && got.Altitude != ""; drawn != (c.base != "") {
				t.Errorf("drawn: %v", drawn)
			}
		})
	}
}

// The bubble must run through the tube while the knob is turned home: the scale may change few times on the way.
func TestTubesKeepTheirScale(t *testing.T) {
	scales, last := 0, 0.0
	for value := 90.0; value >= 0; value -= 0.5 {
		r := reading{value: value, sigma: 1, stands: 8}
		reach := r.reach()
		if reach < value+2 {
			t.Fatalf("at %.1f′ the tube reaches %.1f′: the bubble rests against its end", value, reach)
		}
		if reach != last {
			scales++
		}
		last = reach
	}
	if scales > 3 {
		t.Errorf("%d scales from 90′ home, want three at most", scales)
	}
	if last < 2*8 {
		t.Errorf("at home the tube reaches %.1f′, the marks of 8′ stand too far out", last)
	}
}

func TestTubesReachIsBounded(t *testing.T) {
	for _, r := range []reading{
		{}, {value: math.Inf(1)}, {value: 1, sigma: math.Inf(1)}, {value: 1, sigma: math.NaN(), stands: math.NaN()},
		{value: 1e300, stands: 1e-300}, {value: -1e9, stands: 1e9}, {stands: -4},
	} {
		if got := r.reach(); !(got >= leastRung && got <= lastRung) {
			t.Errorf("%+v reaches %g′", r, got)
		}
	}
}

// tidy reads markup and finds what a content policy without inline styles and scripts would suppress.
func tidy(t *testing.T, markup string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader("<all>" + markup + "</all>"))
	d.Entity = xml.HTMLEntity
	for {
		token, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if n := strings.ToLower(e.Name.Local); n == "script" || n == "style" || n == "img" || n == "foreignobject" {
			t.Errorf("an element %s", n)
		}
		for _, a := range e.Attr {
			if n := strings.ToLower(a.Name.Local); n == "style" || n == "href" || n == "id" || strings.HasPrefix(n, "on") {
				t.Errorf("%s has the attribute %s", e.Name.Local, n)
			}
		}
	}
}

func TestTubesAreHarmless(t *testing.T) {
	got := tubes(levelled())
	tidy(t, string(got.Azimuth))
	tidy(t, string(got.Altitude))
	for _, s := range []string{string(got.Azimuth), string(got.Altitude)} {
		if !strings.Contains(s, `role="img"`) || !strings.Contains(s, "aria-label=") {
			t.Error("a tube has no text alternative")
		}
	}
}

// The keys are what the script reads.
func TestTubesJSON(t *testing.T) {
	text, err := json.Marshal(tubes(levelled()))
	if err != nil {
		t.Fatal(err)
	}
	var keys map[string]string
	if err := json.Unmarshal(text, &keys); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"azimuth", "altitude", "azimuth_text", "altitude_text", "azimuth_reach", "altitude_reach", "tolerance"} {
		if keys[k] == "" {
			t.Errorf("%s is empty", k)
		}
		if !strings.Contains(string(pageJS), "tubes."+k) {
			t.Errorf("the script does not read %s", k)
		}
	}
}
