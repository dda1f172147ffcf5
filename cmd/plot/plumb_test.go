package plot

import (
	"encoding/xml"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/soniakeys/unit"
)

// where the star's dot and the horizon are drawn.
func where(t *testing.T, l Plumb) (x, y, horizon float64) {
	t.Helper()
	read(t, string(l.SVG()), func(e xml.StartElement) {
		v := map[string]string{}
		for _, a := range e.Attr {
			v[a.Name.Local] = a.Value
		}
		switch {
		case v["class"] == "dot":
			x, _ = strconv.ParseFloat(v["cx"], 64)
			y, _ = strconv.ParseFloat(v["cy"], 64)
		case v["class"] == "limit" && horizon == 0: // drawn before the pole's own mark
			horizon, _ = strconv.ParseFloat(v["y1"], 64)
		}
	})
	return x, y, horizon
}

// A finder turns the view by half a turn about the pole, horizon included.
func TestFinderTurnsTheView(t *testing.T) {
	l := Plumb{Star: "Polaris", Right: unit.AngleFromMin(-30), Up: unit.AngleFromMin(20), Pole: unit.AngleFromDeg(46)}
	x, y, horizon := where(t, l)
	if !(x < plumbX && y < plumbPole && horizon > plumbPole) {
		t.Errorf("by eye: star at %.0f, %.0f, horizon at %.0f", x, y, horizon)
	}
	l.Inverted = true
	const pole = plumbHeight - plumbPole
	turnedX, turnedY, turnedHorizon := where(t, l)
	if math.Abs(turnedX-plumbX-(plumbX-x)) > 0.01 || math.Abs(turnedY-pole-(plumbPole-y)) > 0.01 || math.Abs(turnedHorizon-pole-(plumbPole-horizon)) > 0.01 {
		t.Errorf("in the finder: star at %.0f, %.0f, horizon at %.0f; by eye %.0f, %.0f, %.0f", turnedX, turnedY, turnedHorizon, x, y, horizon)
	}
}

// A horizon within the drawing stands where it is: on the same scale as the star.
func TestLowHorizonIsToScale(t *testing.T) {
	for _, min := range []float64{0, 10, 29, 45} {
		l := Plumb{Star: "Polaris", Up: unit.AngleFromMin(-30), Pole: unit.AngleFromMin(min)}
		_, y, horizon := where(t, l)
		if got := (horizon - plumbPole) / (y - plumbPole); math.Abs(got-min/30) > 1e-3 {
			t.Errorf("a pole %v′ up: the horizon is drawn %.3f times as far below it as a star 30′ below, want %.3f", min, got, min/30)
		}
	}
}

// A file is well-formed, holds every drawing, and needs no variables to be red on black.
func TestFile(t *testing.T) {
	l := Plumb{Star: "Polaris <&>", Up: 0.01, Pole: 0.8}
	finder := l
	finder.Inverted = true
	text := string(File("pole <&> star", l.SVG(), "", finder.SVG()))
	drawn := map[string]int{}
	read(t, text, func(e xml.StartElement) { drawn[e.Name.Local]++ })
	if drawn["svg"] != 3 || drawn["style"] != 1 || drawn["title"] != 1 {
		t.Errorf("elements: %v", drawn)
	}
	for _, m := range regexp.MustCompile(`(?m)[\w-]+: var\(--\w+\);`).FindAllStringIndex(text, -1) {
		if before := text[max(0, m[0]-30):m[0]]; !regexp.MustCompile(`#[0-9a-f]{6}; $`).MatchString(before) {
			t.Errorf("no colour before %q", text[m[0]:m[1]])
		}
	}
	if !strings.Contains(text, ` viewBox="0 0 360 800"`) {
		t.Errorf("not two drawings high: %s", text[:120])
	}
	read(t, string(File("", "nothing")), func(xml.StartElement) {})
}
