package session

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"trueturn/cmd/report"
)

func index(_ *testing.T, l Look) string { return string(Index(l)) }

// What a content policy without 'unsafe-inline' forbids (W3C Content Security Policy Level 3, §8.3) stands nowhere: no
// style in attributes or elements, no script but by its file, no handlers in attributes.
var inline = regexp.MustCompile(`(?i)\sstyle\s*=|<style|<script>|<script [^>]*>[^<]|\son\w+\s*=|javascript:`)

func TestIndexHasNothingInline(t *testing.T) {
	if m := inline.FindString(index(t, Look{})); m != "" {
		t.Errorf("in the page: %q", m)
	}
	for _, bad := range []string{`<p style="x">`, `<style>x</style>`, `<script>x</script>`, `<a onclick="x">`} {
		if !inline.MatchString(bad) {
			t.Errorf("the test is blind to %s", bad)
		}
	}
}

func TestIndexAsksNoOtherHost(t *testing.T) {
	all := index(t, Look{}) + pageCSS + string(pageJS)
	if m := regexp.MustCompile(`(?i)(https?:)?//[a-z0-9.-]+\.[a-z]+|@import|url\(`).FindString(all); m != "" {
		t.Errorf("the page names %q", m)
	}
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(index(t, Look{}), -1) {
		if !slices.Contains([]string{"page.css", "page.js", "line.js", "report.html", "data:,"}, m[1]) {
			t.Errorf("the page refers to %q", m[1])
		}
	}
}

func TestIndexSaysCautionsAndPlan(t *testing.T) {
	text := index(t, Look{Planned: 45 * time.Second})
	for _, c := range report.Cautions() {
		if !strings.Contains(text, strings.ReplaceAll(c, "'", "&#39;")) {
			t.Errorf("the page does not say %q", c)
		}
	}
	if strings.Index(text, `id="care"`) > strings.Index(text, "<main") {
		t.Error("the cautions do not come first")
	}
	if !strings.Contains(text, "45 s planned") {
		t.Error("the page does not say what is planned")
	}
}

func TestIndexTitleIsHarmless(t *testing.T) {
	text := index(t, Look{Title: `</title><script>alert(1)</script>`})
	if strings.Contains(text, "<script>") || !strings.Contains(text, "&lt;script&gt;") {
		t.Error("the title was taken for more than words")
	}
}

// The script finds each element it asks for, and every thing one can operate has a name.
func TestScriptAndPageFit(t *testing.T) {
	text := index(t, Look{})
	ids := map[string]int{}
	for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(text, -1) {
		if ids[m[1]]++; ids[m[1]] > 1 {
			t.Errorf("two elements are called %s", m[1])
		}
	}
	asked := regexp.MustCompile(`\$\('([a-z-]+)'\)`).FindAllStringSubmatch(string(pageJS), -1)
	if len(asked) < 20 {
		t.Fatalf("only %d elements asked for: the test reads the script wrongly", len(asked))
	}
	for _, m := range asked {
		if ids[m[1]] == 0 {
			t.Errorf("the script asks for #%s, which is not there", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`(?:for|aria-labelledby|aria-controls)="([^"]+)"`).FindAllStringSubmatch(text, -1) {
		if ids[m[1]] == 0 {
			t.Errorf("%s names #%s, which is not there", m[0], m[1])
		}
	}
	for _, m := range regexp.MustCompile(`<input [^>]*id="([^"]+)"`).FindAllStringSubmatch(text, -1) {
		if !strings.Contains(text, `<label for="`+m[1]+`"`) {
			t.Errorf("the field %s has no label", m[1])
		}
	}
}

// Nothing is white before the first word: the meta element makes the canvas dark before any style sheet has
// come (CSS Color Adjustment Level 1, §2.3), the sheet stands in the head, and its ground is black.
func TestNoWhiteFlash(t *testing.T) {
	text := index(t, Look{})
	head, _, _ := strings.Cut(text, "<body")
	scheme, sheet := strings.Index(head, `<meta name="color-scheme" content="dark">`), strings.Index(head, `rel="stylesheet"`)
	if scheme < 0 || sheet < scheme {
		t.Error("the colour scheme does not come before the style sheet in the head")
	}
	if !strings.Contains(string(Stylesheet()), "html { background: var(--paper);") || colours(t)["paper"] != "#000000" {
		t.Error("the ground is not black")
	}
}

// colours are the night's.
func colours(t *testing.T) map[string]string {
	t.Helper()
	night, _, _ := strings.Cut(string(Stylesheet()), "@media print")
	v := map[string]string{}
	for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6});`).FindAllStringSubmatch(night, -1) {
		v[m[1]] = m[2]
	}
	return v
}

var (
	rule       = regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`)
	foreground = regexp.MustCompile(`(?:^|[\s;])color: var\(--(\w+)\)`)
	ground     = regexp.MustCompile(`background: var\(--(\w+)\)`)
)

// Text keeps 4.5 to 1 on whatever ground it may stand on, WCAG 2.2 (W3C Recommendation, 5 October 2023), criterion 1.4.3.
// Every colour of text in the sheet is tried on every ground of the sheet that it can meet: all stand on paper, and a rule
// with a ground of its own is tried with ink, the colour the page hands down, and with its own.
func TestContrastAtNight(t *testing.T) {
	const textContrast = 4.5 // WCAG 2.2, 1.4.3, level AA
	v, tried := colours(t), 0
	for _, m := range rule.FindAllStringSubmatch(pageCSS, -1) {
		text, on := "ink", "paper"
		if c := foreground.FindStringSubmatch(m[2]); c != nil {
			text = c[1]
		}
		if g := ground.FindStringSubmatch(m[2]); g != nil {
			on = g[1]
		}
		if strings.Contains(m[1], "progress") { // no text in it
			continue
		}
		tried++
		if c := contrast(t, v[text], v[on]); c < textContrast {
			t.Errorf("%s: %s on %s has %.2f, below %.1f", strings.TrimSpace(m[1]), text, on, c, textContrast)
		}
	}
	if tried < 40 {
		t.Errorf("only %d rules read", tried)
	}
	if c := contrast(t, v["rule"], v["paper"]); c < 3 { // edges of buttons: 1.4.11
		t.Errorf("edges have %.2f, below 3", c)
	}
	if c := contrast(t, "#777777", "#ffffff"); math.Abs(c-4.48) > 0.005 { // the W3C's own example of a grey that just fails
		t.Errorf("#777 on white has %.3f, want 4.48", c)
	}
}

// contrast is the contrast ratio of WCAG 2.2, as its glossary defines it.
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	luminance := func(hex string) float64 {
		n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
		if err != nil {
			t.Fatalf("%q is no colour: %v", hex, err)
		}
		linear := func(shift int) float64 {
			c := float64(n>>shift&255) / 255
			if c <= 0.04045 {
				return c / 12.92
			}
			return math.Pow((c+0.055)/1.055, 2.4)
		}
		return 0.2126*linear(16) + 0.7152*linear(8) + 0.0722*linear(0)
	}
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// No colour stands in the page's rules but through a variable, and none is thinned, else contrast would not be tested.
func TestPageColoursAreVariables(t *testing.T) {
	bare := regexp.MustCompile(`/\*(?s:.*?)\*/`).ReplaceAllString(pageCSS, "")
	for _, input := range []string{"#send input", ".choice-row input"} {
		bare = strings.ReplaceAll(bare, input+" { position: absolute; opacity: 0;", "") // the labels stand for them
	}
	named := regexp.MustCompile(`(?i):[^;{}]*(#[0-9a-f]{3,8}\b|rgb|hsl|\b(?:white|black|red)\b)`)
	for _, m := range rule.FindAllStringSubmatch(bare, -1) {
		if n := named.FindString("x:" + m[2]); n != "" {
			t.Errorf("%s has a colour by itself: %s", strings.TrimSpace(m[1]), n)
		}
	}
	if strings.Contains(bare, "opacity") || strings.Contains(bare, "filter") {
		t.Error("something is thinned")
	}
}

// Motion is only ever added for those who did not ask for less of it.
func TestMotionIsAskedFor(t *testing.T) {
	calm := regexp.MustCompile(`@media \(prefers-reduced-motion: no-preference\) \{.*\}`).ReplaceAllString(pageCSS, "")
	if m := regexp.MustCompile(`transition|animation|@keyframes`).FindString(calm); m != "" {
		t.Errorf("%s without asking", m)
	}
	if !strings.Contains(string(pageJS), "prefers-reduced-motion: reduce") {
		t.Error("the script does not ask")
	}
}
