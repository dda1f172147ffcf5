package session

import (
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/guide"
	"trueturn/cmd/plot"
	"trueturn/cmd/report"
)

// drawable has something for each of the drawings, and a name that is none.
func drawable() report.Data {
	const name = `<script>alert(1)</script>"><img src=x onerror=alert(2)>.jpg`
	t := time.Date(2026, 11, 20, 20, 4, 0, 0, time.UTC)
	mids := []time.Time{t, t.Add(time.Minute), t.Add(2 * time.Minute)}
	return report.Data{
		Answer: answer.Answer{PeriodicError: &answer.PeriodicJSON{State: "measured", PeriodS: ptr(480.0), Note: name}},
		Drift: &report.Drift{Mid: mids, AltitudeArcsec: []float64{1, -2, 1}, SidewaysArcsec: []float64{0, 1, math.NaN()},
			TurnArcsec: []float64{3, 4, 5}, TurnSigmaArcsec: []float64{1, 1, 1}, Stretch: []int{0, 0, 0}},
		Wobble:   &report.Wobble{Mid: mids, Arcsec: []float64{3, 4, 5}, SigmaArcsec: []float64{1, 1, 1}},
		Exposure: &report.Exposure{MaxElongation: 1.25, Share: 0.9, Forecast: exposure.Forecast{LimitedBy: name, Curve: []exposure.Point{{ExposureS: 10, Elongation: 1.1, ShareRound: 1}, {ExposureS: 40, Elongation: 1.4, ShareRound: 0.5}}}},
		Field:    &report.Field{File: name, Width: 400, Height: 300, Stars: []plot.Whisker{{X: 10, Y: 10, Elongation: 1.5}}},
	}
}

func TestDrawingsAreHarmless(t *testing.T) {
	text := string(draw(drawable()))
	tidy(t, text)
	if m := inline.FindString(strings.ReplaceAll(text, " onerror=alert(2)", "")); m != "" { // in words it may be said
		t.Errorf("inline: %q", m)
	}
	for _, want := range []string{"How long stars stay round", "Drift, picture by picture", "Wobble of the gear", "Elongation over the picture"} {
		if !strings.Contains(text, "<h3>"+want) {
			t.Errorf("no %q", want)
		}
	}
	if n := strings.Count(text, `<svg xmlns`); n < 6 {
		t.Errorf("%d drawings", n)
	}
	if strings.Index(text, "How long stars") > strings.Index(text, "Drift,") {
		t.Error("the exposure does not come first")
	}
}

// Without pictures each section says why there is nothing to see.
func TestDrawingsOfNothing(t *testing.T) {
	text := string(new(Gallery).Drawings(numbered(1)))
	tidy(t, text)
	if n := strings.Count(text, "<section>"); n != 4 || strings.Contains(text, "<svg") {
		t.Errorf("%d sections: %s", n, text)
	}
	if strings.Count(text, "<p>") < 4 {
		t.Errorf("a section says nothing: %s", text)
	}
}

// numbered is a word without pictures.
func numbered(serial uint64) *Word {
	return &Word{View: guide.View{Live: guide.Live{Serial: serial}}}
}

func TestDrawingsAreMadeOnce(t *testing.T) {
	var g Gallery
	var all sync.WaitGroup
	got := make([][]byte, 20)
	for i := range got {
		all.Go(func() { got[i] = g.Drawings(numbered(7)) })
	}
	all.Wait()
	for i := range got {
		if &got[i][0] != &got[0][0] {
			t.Fatal("drawn more than once for one serial")
		}
	}
	if next := g.Drawings(numbered(8)); &next[0] == &got[0][0] {
		t.Error("not drawn anew for a new serial")
	}
	if again := g.Drawings(numbered(7)); again == nil { // a session begun anew counts from the start
		t.Error("nothing for an earlier serial")
	}
}
