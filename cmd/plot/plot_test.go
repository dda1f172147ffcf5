package plot

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"trueturn/cmd/markup"

	"github.com/google/go-cmp/cmp"
	"github.com/soniakeys/unit"
)

var update = flag.Bool("update", false, "write the golden files anew")

var (
	nan     = math.NaN()
	inf     = math.Inf(1)
	evening = time.Date(2026, 11, 20, 20, 4, 0, 0, time.UTC)
)

// drawing is anything of the package.
type drawing interface{ SVG() markup.Safe }

// drawings are one of each kind, and what may come in their way. Golden files hold those with a name without a space.
var drawings = map[string]drawing{
	"line":    Chart{Title: "A line", Detail: "It rises.", X: Axis{Label: "exposure, s"}, Y: Axis{Label: "elongation", Include: []float64{1}}, Layers: []Layer{Line{X: []float64{0, 10, 20, 30}, Y: []float64{1, 1.1, 1.3, 1.6}}, Mark{At: 1.25, Text: "tolerance 1.25"}, Mark{At: 20, Upright: true, Text: "planned 20 s"}}},
	"time":    Chart{Title: "In time", X: Axis{Kind: Time}, Y: Axis{Label: "drift, ″"}, Layers: []Layer{Span{From: sec(60), To: sec(240), Text: "dark"}, Line{X: []float64{sec(0), sec(60), nan, sec(240)}, Y: []float64{1, 2, 3, 4}, Dashed: true}, Points{X: []float64{sec(0), sec(60), sec(120)}, Y: []float64{1, -2, 0.5}, Sigma: []float64{0.5, nan}}, Points{X: []float64{sec(180)}, Y: []float64{2}, Hollow: true}}},
	"log":     Chart{Title: "Periods", X: Axis{Label: "period, s", Kind: Logarithmic}, Y: Axis{Label: "share", Include: []float64{0, 0.8}}, Layers: []Layer{Line{X: []float64{-1, 0, 10, 100, 1000}, Y: []float64{9, 9, 0.1, 0.5, 0.2}}}},
	"lying":   Tube{Name: "Azimuth", Value: unit.AngleFromMin(-48), Sigma: unit.AngleFromMin(4), Stands: unit.AngleFromMin(26), Low: "too far left", High: "too far right"},
	"turning": Tube{Name: "Base", Value: unit.AngleFromMin(-48), Sigma: unit.AngleFromMin(4), Stands: unit.AngleFromMin(26), Low: "too far left", High: "too far right", Turning: true},
	"upright": Tube{Name: "Altitude", Standing: true, Value: unit.AngleFromMin(3), Sigma: unit.AngleFromMin(6), Stands: unit.AngleFromMin(18), Low: "too low", High: "too high"},
	"field":   Field{Name: "Over the picture", Width: 400, Height: 300, Stars: []Whisker{{10, 10, 1.5}, {20, 20, 1.3}, {30, 10, 1.4}, {200, 150, 1.01}, {210, 150, 1.05}, {200, 160, 9}, {390, 290, 40}}, Tolerance: 1.25, Limit: "tolerance", Sparse: "too few stars"},
	"plumb":   Plumb{Name: "The pole star", Star: "Polaris", Right: unit.AngleFromMin(-30), Up: unit.AngleFromMin(20), Facing: "north", Pole: unit.AngleFromDeg(46)},
	"later":   Plumb{Name: "Now and later", Star: "Polaris", Right: unit.AngleFromMin(8), Up: unit.AngleFromMin(36), Facing: "north", Pole: unit.AngleFromDeg(46), Later: []Offset{{unit.AngleFromMin(3), unit.AngleFromMin(37)}, {unit.AngleFromMin(-2), unit.AngleFromMin(37)}}, Then: "in 20 min", Words: "one Moon width above the pole"},
	"finder":  Plumb{Name: "In a finder", Star: "σ Octantis", Right: unit.AngleFromMin(50), Up: unit.AngleFromMin(-48), Facing: "south", Pole: unit.AngleFromDeg(33), Later: []Offset{{unit.AngleFromMin(60), unit.AngleFromMin(-35)}}, Then: "in an hour", Words: "2.2 Moon widths above and left of the pole", Inverted: true},
	"low":     Plumb{Name: "On the equator", Star: "Polaris", Right: unit.AngleFromMin(-20), Up: unit.AngleFromMin(-31), Facing: "north", Pole: unit.AngleFromMin(29)},
	"empty":   Chart{Title: "Nothing", Empty: "no picture yet"},

	"no name":            Chart{},
	"not a number":       Chart{Layers: []Layer{Line{X: []float64{nan, inf, 1}, Y: []float64{1, 1, -inf}}, Points{X: []float64{nan}, Y: []float64{nan}}}},
	"one value":          Chart{Layers: []Layer{Points{X: []float64{5}, Y: []float64{5}, Sigma: []float64{inf}}}},
	"one instant":        Chart{X: Axis{Kind: Time}, Layers: []Layer{Line{X: []float64{sec(0)}, Y: []float64{0}}}},
	"far future":         Chart{X: Axis{Kind: Time}, Layers: []Layer{Line{X: []float64{-1e300, 1e300}, Y: []float64{-1e300, 1e300}}}},
	"largest values":     Chart{Layers: []Layer{Line{X: []float64{-math.MaxFloat64, math.MaxFloat64}, Y: []float64{5e-324, math.MaxFloat64}}}},
	"hair's breadth":     Chart{Layers: []Layer{Line{X: []float64{1e15, 1e15 + 0.125}, Y: []float64{1, 1 + 1e-15}}}},
	"many decades":       Chart{X: Axis{Kind: Logarithmic}, Y: Axis{Kind: Logarithmic}, Layers: []Layer{Points{X: []float64{1e-300, 1e300}, Y: []float64{1, 2}, Sigma: []float64{5, 5}}}},
	"not above zero":     Chart{X: Axis{Kind: Logarithmic}, Layers: []Layer{Line{X: []float64{-1, 0}, Y: []float64{1, 2}}}},
	"unequal lengths":    Chart{Layers: []Layer{Line{X: []float64{1, 2, 3}, Y: []float64{1}}, Points{X: []float64{1}, Y: nil}}},
	"marks alone":        Chart{Layers: []Layer{Mark{At: 3, Text: "three"}, Mark{At: nan, Upright: true}}},
	"odd size":           Chart{Width: nan, Height: -4},
	"hostile words":      Chart{Title: `"><script>&`, Detail: "\x00\xff\ufffe", X: Axis{Label: "<a>"}, Y: Axis{Label: "]]>"}, Layers: []Layer{Points{X: []float64{1}, Y: []float64{1}}, Mark{At: 1, Text: "</text><script>"}}},
	"unmeasured tube":    Tube{Name: "Azimuth", Value: unit.Angle(nan), Stands: unit.AngleFromMin(26)},
	"tube of nothing":    Tube{},
	"nothing to turn":    Tube{Turning: true, Value: unit.Angle(nan)},
	"turning far off":    Tube{Turning: true, Standing: true, Value: unit.AngleFromDeg(170), Sigma: unit.AngleFromDeg(400)},
	"tube of nonsense":   Tube{Standing: true, Value: unit.Angle(inf), Sigma: unit.Angle(inf), Stands: unit.Angle(nan), Reach: unit.Angle(-inf)},
	"tube far off":       Tube{Value: unit.AngleFromDeg(170), Sigma: unit.AngleFromDeg(400), Stands: unit.AngleFromSec(1)},
	"tube short":         Tube{Value: unit.AngleFromMin(50), Sigma: unit.AngleFromMin(1), Reach: unit.AngleFromMin(10)},
	"tube of hair":       Tube{Value: unit.AngleFromSec(0.01), Sigma: unit.AngleFromSec(0.001)},
	"field of nothing":   Field{},
	"field of nonsense":  Field{Width: 1, Height: 1 << 40, Stars: []Whisker{{nan, 0, 2}, {0, 0, nan}, {0, 0, inf}, {0, 0, 0.5}, {-50, 0, 2}}, Empty: "too few stars"},
	"field far too long": Field{Width: 400, Height: 300, Stars: []Whisker{{1, 1, 1e9}, {2, 2, 1e9}, {3, 3, 1e9}}},
	"star nowhere":       Plumb{Right: unit.Angle(nan)},
	"pole nowhere":       Plumb{Right: 0.01, Pole: unit.Angle(nan), Later: []Offset{{unit.Angle(nan), 0}, {unit.Angle(inf), 1}}, Then: "<b>", Inverted: true},
	"pole overhead":      Plumb{Star: "Polaris", Up: 0.01, Pole: unit.AngleFromDeg(90), Facing: "172.2° W"},
	"star on the pole":   Plumb{Star: "Polaris", Pole: unit.AngleFromDeg(10), Later: []Offset{{}}},
	"star far off":       Plumb{Star: strings.Repeat("w", 40), Right: unit.AngleFromDeg(100), Up: unit.AngleFromDeg(-100)},
}

func sec(s float64) float64 { return float64(evening.Unix()) + s }

func TestGolden(t *testing.T) {
	for name, d := range drawings {
		if strings.ContainsAny(name, " ") {
			continue
		}
		t.Run(name, func(t *testing.T) {
			path, got := filepath.Join("testdata", name+".svg"), string(d.SVG())
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(strings.Split(string(want), "<"), strings.Split(got, "<")); diff != "" {
				t.Errorf("%s changed; look at it, then run with -update (− as it was, + as it is)\n%s", path, diff)
			}
		})
	}
}

// Whatever comes in, a drawing is XML, small, with words to it, and every number in it is one.
func TestDrawingsAreSound(t *testing.T) {
	for name, d := range drawings {
		t.Run(name, func(t *testing.T) {
			text := string(d.SVG())
			if len(text) > 100_000 {
				t.Errorf("%d bytes", len(text))
			}
			if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
				t.Errorf("a number that is none: %s", text)
			}
			read(t, text, func(e xml.StartElement) {
				if e.Name.Local == "script" || e.Name.Local == "a" {
					t.Errorf("words became an element: %s", text)
				}
				for _, a := range e.Attr {
					if (a.Name.Local == "width" || a.Name.Local == "height" || a.Name.Local == "r") && strings.HasPrefix(a.Value, "-") {
						t.Errorf("a negative %s in %v", a.Name.Local, e)
					}
				}
			})
		})
	}
}

func read(t *testing.T, text string, see func(xml.StartElement)) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		if e, ok := tok.(xml.StartElement); ok {
			see(e)
		}
	}
}

// Words must stand inside the drawing: their anchor and their counted width.
func TestWordsStayInside(t *testing.T) {
	for name, d := range drawings {
		if name == "hostile words" || name == "star far off" { // longer than the drawing is wide
			continue
		}
		var width, height float64
		anchor := map[string]func(x, w float64) (float64, float64){
			"start":  func(x, w float64) (float64, float64) { return x, x + w },
			"middle": func(x, w float64) (float64, float64) { return x - w/2, x + w/2 },
			"end":    func(x, w float64) (float64, float64) { return x - w, x },
		}
		text := string(d.SVG())
		if m := regexp.MustCompile(`viewBox="0 0 ([\d.]+) ([\d.]+)"`).FindStringSubmatch(text); m != nil {
			width, _ = strconv.ParseFloat(m[1], 64)
			height, _ = strconv.ParseFloat(m[2], 64)
		}
		for _, m := range regexp.MustCompile(`<text [^>]*text-anchor="(\w+)" x="([-\d.]+)" y="([-\d.]+)">([^<]*)</text>`).FindAllStringSubmatch(text, -1) {
			x, _ := strconv.ParseFloat(m[2], 64)
			y, _ := strconv.ParseFloat(m[3], 64)
			// 0.5 of the type's size is what system fonts draw on average; numbers of a scale that has no room are allowed to be long.
			left, right := anchor[m[1]](x, 0.5*typeSize*float64(len([]rune(m[4]))))
			if left < 0 || right > width || y > height || y < 8 {
				t.Errorf("%s: %q stands from %.0f to %.0f at %.0f of %.0f × %.0f", name, m[4], left, right, y, width, height)
			}
		}
	}
}

// Rows: a range, how many marks at most, and the marks a person would choose.
func TestTicks(t *testing.T) {
	at := func(h, m, s int) float64 { return float64(time.Date(2026, 11, 20, h, m, s, 0, time.UTC).Unix()) }
	for _, c := range []struct {
		name string
		s    scale
		most int
		want string
	}{
		{"to ten", scale{low: 0, high: 10}, 5, "0 2 4 6 8 10"},
		{"about zero", scale{low: -1.2, high: 1.2}, 4, "−1 0 1"},
		{"tenths", scale{low: 1, high: 1.32}, 4, "1.0 1.1 1.2 1.3"},
		{"hundredths", scale{low: -0.011, high: 0.02}, 4, "−0.01 0.00 0.01 0.02"},
		{"thousands", scale{low: 0, high: 45000}, 5, "0 10000 20000 30000 40000"},
		{"decades", scale{kind: Logarithmic, low: 0, high: 4}, 5, "1 10 100 1000 10000"},
		{"one decade", scale{kind: Logarithmic, low: 1, high: 2.05}, 4, "10 20 50 100"},
		{"below one", scale{kind: Logarithmic, low: -2, high: 0}, 6, "0.01 0.02 0.05 0.1 0.2 0.5 1"},
		{"within a decade", scale{kind: Logarithmic, low: math.Log10(41), high: math.Log10(49)}, 4, "42 44 46 48"},
		{"seconds", scale{kind: Time, low: at(20, 4, 1), high: at(20, 4, 40)}, 4, "20:04:10 20:04:20 20:04:30 20:04:40"},
		{"minutes", scale{kind: Time, low: at(20, 4, 1), high: at(20, 19, 0)}, 4, "20:05 20:10 20:15"},
		{"a night", scale{kind: Time, low: at(16, 0, 0), high: at(16, 0, 0) + 15*3600}, 5, "18:00 21:00 00:00 03:00 06:00"},
		{"a night by a clock half an hour off", scale{kind: Time, low: at(16, 0, 0), high: at(16, 0, 0) + 15*3600, zone: time.FixedZone("", -12600)}, 5, "15:00 18:00 21:00 00:00 03:00"},
		{"days", scale{kind: Time, low: at(0, 0, 0), high: at(0, 0, 0) + 4*86400}, 5, "20 Nov 21 Nov 22 Nov 23 Nov 24 Nov"},
	} {
		var got []string
		for _, k := range c.s.ticks(c.most) {
			got = append(got, k.label)
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s: %s, want %s", c.name, g, c.want)
		}
	}
}

// The bubble says what may be said: it is wholly between the marks only if two standard errors are.
func TestBubble(t *testing.T) {
	for _, c := range []struct {
		name                string
		value, sigma, marks float64
		inside, outside     bool
	}{
		{"surely good", 3, 4, 20, true, false},
		{"surely off", -48, 5, 20, false, true},
		{"cannot tell", 15, 10, 20, false, false},
	} {
		for _, standing := range []bool{false, true} {
			text := string(Tube{Standing: standing, Value: unit.AngleFromMin(c.value), Sigma: unit.AngleFromMin(c.sigma), Stands: unit.AngleFromMin(c.marks)}.SVG())
			b0, b1 := side(t, text, "bubble", standing)
			m0, m1 := side(t, text, "stands", standing)
			if inside, outside := b0 > m0 && b1 < m1, b1 < m0 || b0 > m1; inside != c.inside || outside != c.outside {
				t.Errorf("%s (standing %v): bubble %.0f to %.0f, marks %.0f to %.0f", c.name, standing, b0, b1, m0, m1)
			}
			// Up is up and right is right.
			middle, centre := (b0+b1)/2, (m0+m1)/2
			if up := middle > centre; up != (c.value > 0 != standing) {
				t.Errorf("%s (standing %v): the bubble is on the wrong side", c.name, standing)
			}
			if half, want := (b1-b0)/(m1-m0), math.Max(2*c.sigma, 0)/c.marks; math.Abs(half-want) > 0.01 {
				t.Errorf("%s: the bubble is %.3f of the marks' room, want %.3f", c.name, half, want)
			}
		}
	}
}

// side is from where to where along the tube a part lies.
func side(t *testing.T, text, class string, standing bool) (from, to float64) {
	t.Helper()
	read(t, text, func(e xml.StartElement) {
		v := map[string]string{}
		for _, a := range e.Attr {
			v[a.Name.Local] = a.Value
		}
		if v["class"] != class {
			return
		}
		place, length := "x", "width"
		if standing {
			place, length = "y", "height"
		}
		from, _ = strconv.ParseFloat(v[place], 64)
		to, _ = strconv.ParseFloat(v[length], 64)
		to += from
	})
	return from, to
}

// What is shaded is the middle one of a cell's stars, which one odd star does not move; a cell with too few is not guessed at.
func TestCellsAreMedians(t *testing.T) {
	f := Field{Width: 300, Height: 300}
	for i := range 9 {
		x, y := float64(i%3)*100+50, float64(i/3)*100+50
		for k := range i {
			e := 1 + float64(i)/100 + 0.001*float64(k-i/2)
			if k == 0 {
				e = 30
			}
			f.Stars = append(f.Stars, Whisker{x, y, e})
		}
	}
	g := f.cells()
	if g.columns < fewestAlong || g.columns != g.rows || g.columns > mostAlong {
		t.Fatalf("%d by %d cells", g.columns, g.rows)
	}
	for i := range 9 {
		k := cell(float64(i/3)*100+50, 300, g.rows)*g.columns + cell(float64(i%3)*100+50, 300, g.columns)
		const apart = 0.0015 // two neighbours in the list of stars
		if m := g.medians[k]; i < leastStars != math.IsNaN(m) || i >= leastStars && math.Abs(m-1-float64(i)/100) > apart {
			t.Errorf("cell of %d stars: %.4f", i, m)
		}
	}
	drawn := string(f.SVG())
	if n := strings.Count(drawn, `class="none"`); n != 2*(3+1) { // two strokes in each cell with fewer, and in the scale
		t.Errorf("%d strokes of crosses", n)
	}
	if least, most, ok := f.Ends(); !ok || math.Abs(least-1.03) > 0.002 || math.Abs(most-1.08) > 0.002 {
		t.Errorf("%.3f to %.3f", least, most)
	}
}

// A long series is drawn as the same stroke with fewer points.
func TestLongSeriesAreThinned(t *testing.T) {
	var l Line
	for i := range 200_000 {
		l.X, l.Y = append(l.X, float64(i)), append(l.Y, math.Sin(float64(i)))
	}
	l.Y[123_456] = 7 // one peak that must not be lost
	text := string(Chart{Layers: []Layer{l}}.SVG())
	if len(text) > 60_000 {
		t.Errorf("%d bytes", len(text))
	}
	top := topMargin + room/(1+2*room)*(220-topMargin-bottomMargin)
	if !strings.Contains(text, " "+num(top)+"L") {
		t.Error("the peak was lost")
	}
}

// Contrast by WCAG 2.2 (W3C Recommendation, 5 October 2023): relative luminance and contrast ratio as defined there; 4.5 for
// text (criterion 1.4.3), 3 for what drawings need to be understood (1.4.11).
func TestContrast(t *testing.T) {
	night, print := variables(t, "(?s)^(.*?)@media print"), variables(t, "(?s)@media print(.*)")
	for name, colours := range map[string]map[string]string{"night": night, "print": print} {
		paper := colours["paper"]
		for use, least := range map[string]float64{"ink": 4.5, "soft": 4.5, "rule": 3} {
			if c := contrast(t, colours[use], paper); c < least {
				t.Errorf("%s: %s has a contrast of %.2f on paper, below %.1f", name, use, c, least)
			}
		}
		// Bubbles and curves lie on filled parts, words on shaded ones.
		for under, least := range map[string]float64{"fill": 3, "faint": 4.5} {
			if c := contrast(t, colours["ink"], colours[under]); c < least {
				t.Errorf("%s: ink has a contrast of %.2f on %s, below %.1f", name, c, under, least)
			}
		}
	}
	for use, c := range night { // dark-adapted eyes: hardly any light but red
		if r, g, b := rgb(t, c); 4*g > r || 4*b > r {
			t.Errorf("night: %s is %s, which is not red", use, c)
		}
	}
	if c := contrast(t, "#000000", "#ffffff"); c != 21 {
		t.Errorf("black on white has %.2f, want 21 by definition", c)
	}
	if c := contrast(t, "#777777", "#ffffff"); math.Abs(c-4.48) > 0.005 { // the W3C's own example of a grey that just fails
		t.Errorf("#777 on white has %.3f, want 4.48", c)
	}
}

func variables(t *testing.T, where string) map[string]string {
	t.Helper()
	part := regexp.MustCompile(where).FindStringSubmatch(string(Style()))
	if part == nil {
		t.Fatal("the style sheet has another shape")
	}
	v := map[string]string{}
	for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6});`).FindAllStringSubmatch(part[1], -1) {
		v[m[1]] = m[2]
	}
	if len(v) != 6 {
		t.Fatalf("%d colours, want 6", len(v))
	}
	return v
}

func rgb(t *testing.T, hex string) (r, g, b float64) {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	return float64(n >> 16), float64(n >> 8 & 255), float64(n & 255)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	luminance := func(hex string) float64 {
		linear := func(c float64) float64 {
			if c /= 255; c <= 0.04045 {
				return c / 12.92
			}
			return math.Pow((c+0.055)/1.055, 2.4)
		}
		r, g, b := rgb(t, hex)
		return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
	}
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// No colour may stand in the rules but through a variable, else contrast would not be tested.
func TestColoursAreVariables(t *testing.T) {
	rules := regexp.MustCompile(`--\w+: #[0-9a-f]{6};`).ReplaceAllString(string(Style()), "")
	if m := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgb|hsl`).FindString(rules); m != "" {
		t.Errorf("a colour by itself: %s", m)
	}
}

func FuzzChart(f *testing.F) {
	f.Add(1.0, 2.0, 3.0, 4.0, 0.5, 0, "drift")
	f.Add(nan, inf, -inf, 0.0, -1.0, 1, "<b>")
	f.Add(1e300, -1e300, 1e-300, 5e-324, 1e18, 2, "\xff")
	f.Fuzz(func(t *testing.T, x0, x1, y0, y1, s float64, kind int, words string) {
		k := Kind(((kind % 3) + 3) % 3)
		text := string(Chart{Title: words, X: Axis{Kind: k, Label: words}, Y: Axis{Kind: k % 2, Include: []float64{s}},
			Layers: []Layer{Span{From: x0, To: s}, Line{X: []float64{x0, x1}, Y: []float64{y0, y1}}, Points{X: []float64{x0, x1}, Y: []float64{y0, y1}, Sigma: []float64{s, s}},
				Mark{At: s, Text: words}, Mark{At: s, Upright: true, Text: words}}}.SVG())
		if len(text) > 40_000+40*len(words) || strings.Contains(text, "=\"NaN") {
			t.Errorf("%d bytes", len(text))
		}
		read(t, text, func(xml.StartElement) {})
	})
}
