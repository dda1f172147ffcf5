package report

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/ephem/say"
)

var (
	update = flag.Bool("update", false, "write the golden files anew")
	keep   = flag.String("keep", "", "write the simulated evening's page to this `file`, to look at")
)

func written(t testing.TB, d Data) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s changed; look at it, then run with -update (− as it was, + as it is)\n%s", path, d)
	}
}

func TestGoldenPages(t *testing.T) {
	golden(t, "full.html", written(t, full()))
	golden(t, "nothing.html", written(t, nothing()))
}

func TestGoldenTable(t *testing.T) {
	var b bytes.Buffer
	if err := CSV(&b, full().Answer); err != nil {
		t.Fatal(err)
	}
	golden(t, "full.csv", b.String())
}

// pages are all the kinds of page there are.
func pages(t testing.TB) map[string]string {
	return map[string]string{"full": written(t, full()), "nothing": written(t, nothing()), "hostile": written(t, hostile()),
		"zero": written(t, Data{}), "simulated": written(t, simulated(t)),
		"swung": written(t, swung(t)), "standing": written(t, standing(t))}
}

func TestSimulatedEvening(t *testing.T) {
	d := simulated(t)
	page := written(t, d)
	if *keep != "" {
		if err := os.WriteFile(*keep, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"Turn the knobs", "anticlockwise seen from above, left when facing the pole", "too high", "no stars: cloud", "up is north",
		"Left over upward", "Turn about the axis", "Elongation over the picture", "What happened, and what to do", "Take care in the dark"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, want := range []string{"Round for ", "Periodogram", "500 rule", "Elongation by length of exposure"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	// The camera and its noise are the simulation's: 0.05 px in each of 80 stars of 11″ a pixel leave far less than 5″.
	const farTooMuch = 5.0
	for i := range d.Drift.Mid {
		if !(abs(d.Drift.AltitudeArcsec[i]) < farTooMuch && abs(d.Drift.SidewaysArcsec[i]) < farTooMuch) {
			t.Errorf("picture %d: the axis leaves over %.1f″, %.1f″", i, d.Drift.AltitudeArcsec[i], d.Drift.SidewaysArcsec[i])
		}
	}
}

// The dots of the wobble lie on its curve, which is the mount's own: 44″ at 480 s put in.
func TestWobbleIsDrawnAsItWas(t *testing.T) {
	w := simulated(t).Wobble
	if w == nil || len(w.CurveMid) < 100 || len(w.Mid) < 25 {
		t.Fatalf("no wobble drawn: %+v", w)
	}
	if math.Abs(w.PeriodS/480-1) > 0.03 { // what is asked of a run this long
		t.Errorf("marked at %.0f s", w.PeriodS)
	}
	low, high := slices.Min(w.CurveArcsec), slices.Max(w.CurveArcsec)
	if math.Abs((high-low)/44-1) > 0.1 {
		t.Errorf("the curve spans %.1f″", high-low)
	}
	const nextTo = 1.5 // arcseconds: three times what 0.05 px in 80 stars leave, and the curve's steps
	for i, mid := range w.Mid {
		near := slices.MinFunc(w.CurveMid, func(a, b time.Time) int { return int(a.Sub(mid).Abs() - b.Sub(mid).Abs()) })
		if k := slices.Index(w.CurveMid, near); abs(w.CurveArcsec[k]-w.Arcsec[i]) > nextTo {
			t.Errorf("picture %d: %.2f″, the curve %.2f″", i, w.Arcsec[i], w.CurveArcsec[k])
		}
	}
	best := w.Frequencies[slices.Index(w.Spectrum, slices.Max(w.Spectrum))]
	if math.Abs(1/best/480-1) > 0.1 {
		t.Errorf("the periodogram peaks at %.0f s", 1/best)
	}
}

// Of nothing there is nothing to draw.
func TestNothingToDraw(t *testing.T) {
	if Of(drift.Sequence{}, answer.Answer{}).Field != nil {
		t.Error("a field of nothing")
	}
}

func TestVerdictIsShown(t *testing.T) {
	j := &exposure.Verdict{Round: 1, Of: 2, Advice: say.Text("Leave b out."), Causes: []exposure.Share{{Cause: exposure.CauseDec, Share: 0.7, Says: say.Text("The axis is off.")}},
		Frames: []exposure.Judged{{File: "a", Round: true}, {File: "b", Cause: exposure.CauseDec, TrailPx: 4, Elongation: 1.5}}}
	page := written(t, Data{Judged: j, Answer: answer.Answer{Frames: []answer.FrameJSON{{File: "a"}, {File: "b"}}}})
	for _, want := range []string{"1 of 2 are round", "Leave b out.", "70 % of the excess. The axis is off.", "not round: declination drift", ">round<"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func abs(v float64) float64 { return max(v, -v) }

// Rows: sessions in which less can be seen, and what the page then says.
func TestOtherEvenings(t *testing.T) {
	for name, c := range map[string]struct {
		page  string
		words []string
	}{
		"swung":    {written(t, swung(t)), []string{"Turn the knobs", "swung or the camera re-aimed between most pictures", "Left over upward"}},
		"standing": {written(t, standing(t)), []string{"Round for ", "Not turning", "None could be measured, for the reason above", "up is east", "Share of exposures"}},
	} {
		if *keep != "" {
			if err := os.WriteFile(*keep+"-"+name+".html", []byte(c.page), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		for _, w := range c.words {
			if !strings.Contains(c.page, w) {
				t.Errorf("%s: the page does not say %q", name, w)
			}
		}
	}
}

// What is not known is said to be so, and nothing is shown as 0.
func TestNothingKnown(t *testing.T) {
	page := written(t, nothing())
	for _, want := range []string{"No axis from these pictures", "There is no picture", "Not measured", "Not forecast", "Not drawn", "Fewer than two pictures"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(page, "<svg") {
		t.Error("a drawing of nothing")
	}
	d := nothing()
	d.Missing.Wobble = "The pictures span two minutes only."
	if page := written(t, d); !strings.Contains(page, d.Missing.Wobble) {
		t.Error("the reason given is not shown")
	}
}

// Rows: what an answer knows, and what the page must begin with (design §9: the job's own figure).
func TestHeadline(t *testing.T) {
	turn := answer.Answer{Advice: answer.AdviceJSON{Next: to("turn"), NextText: "Turn."}}
	exposed := func(longest float64, planned bool) answer.Answer {
		a := turn
		a.Exposure = &answer.ExposureJSON{LongestS: &longest, PlannedS: 30, PlannedStaysRound: &planned}
		return a
	}
	for _, c := range []struct {
		name         string
		d            Data
		figure, plan string
	}{
		{"longest known", Data{Answer: exposed(74, true)}, "Round for 74 s", "30 s is fine: stars stay round for up to 74 s."},
		{"too long planned", Data{Answer: exposed(12.4, false)}, "Round for 12 s", "30 s is too long: as it stands, stars stay round for 12 s."},
		{"a quarter of an hour", Data{Answer: exposed(900, true)}, "Round for 15 min", "30 s is fine: stars stay round for up to 15 min."},
		{"an hour", Data{Answer: exposed(3600, true)}, "Round for an hour and more", "30 s is fine: stars stay round for up to an hour and more."},
		{"short", Data{Answer: exposed(1.26, false)}, "Round for 1.3 s", "30 s is too long: as it stands, stars stay round for 1.3 s."},
		{"axis alone", Data{Answer: turn}, "Turn the knobs", ""},
		{"judged alone", Data{Judged: &exposure.Verdict{Round: 3, Of: 7}}, "3 of 7 are round", ""},
		{"a failure", Data{Answer: answer.Answer{Finding: answer.Finding{Err: errors.New("x")}}}, "No axis from these pictures", ""},
		{"nothing", Data{}, "No axis from these pictures", ""},
	} {
		if h := headlineOf(c.d); h.Figure != c.figure || h.Planned != c.plan {
			t.Errorf("%s: %q, %q; want %q, %q", c.name, h.Figure, h.Planned, c.figure, c.plan)
		}
	}
}

// A name that is a script must come out as a name. Looked for are the ways out of text and of attributes.
func TestHostileNamesAreHarmless(t *testing.T) {
	page := written(t, hostile())
	for _, never := range []string{"<script", "<img", "onerror=alert(2)>.jpg\""} {
		if strings.Contains(page, never) {
			i := strings.Index(page, never)
			t.Errorf("%q gets through: …%s…", never, page[max(0, i-60):min(len(page), i+60)])
		}
	}
	if !strings.Contains(page, "&lt;script&gt;alert(1)") {
		t.Error("the name is not shown at all")
	}
}

// The page is XML as far as its drawings go, and has no way to load anything.
func TestPagesStandForThemselves(t *testing.T) {
	drawing := regexp.MustCompile(`(?s)<svg .*?</svg>\n`)
	loads := regexp.MustCompile(`(?i)(src|href|srcset|action|poster|data|xlink:href)\s*=\s*"([^"]*)"|url\(|@import|<script|<iframe|<object|<embed|<form|javascript:`)
	for name, page := range pages(t) {
		if strings.Contains(page, "ZgotmplZ") {
			t.Errorf("%s: the template refused a value", name)
		}
		for _, m := range loads.FindAllStringSubmatch(page, -1) {
			if m[2] != "data:," {
				t.Errorf("%s: %s might load something", name, m[0])
			}
		}
		for _, m := range regexp.MustCompile(`https?:[^"<\s]*`).FindAllString(page, -1) {
			if m != "http://www.w3.org/2000/svg" { // the name of a namespace is no address
				t.Errorf("%s: an address, %s", name, m)
			}
		}
		for _, s := range drawing.FindAllString(page, -1) {
			wellFormed(t, name, s)
			if !strings.Contains(s, `role="img"`) || strings.Contains(s, `aria-label=""`) || !strings.Contains(s, "aria-label=") {
				t.Errorf("%s: a drawing without words: %.120s", name, s)
			}
		}
		if n := strings.Count(page, "<svg xmlns"); n != strings.Count(page, "<figcaption>") {
			t.Errorf("%s: %d drawings, %d captions", name, n, strings.Count(page, "<figcaption>"))
		}
	}
}

func wellFormed(t *testing.T, name, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Errorf("%s: %v in %.200s", name, err, text)
			return
		}
	}
}

// The table's names are the keys of the JSON, in their order.
func TestColumnsAreTheKeys(t *testing.T) {
	var want, got []string
	for _, f := range reflect.VisibleFields(reflect.TypeFor[answer.FrameJSON]()) {
		want = append(want, strings.Split(f.Tag.Get("json"), ",")[0])
	}
	for _, c := range columns {
		got = append(got, c.name)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestTableReadsBack(t *testing.T) {
	var b bytes.Buffer
	if err := CSV(&b, hostile().Answer); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if n := len(hostile().Answer.Frames); len(rows) != n+1 {
		t.Fatalf("%d rows for %d pictures", len(rows), n)
	}
	if got, want := rows[1][0], hostile().Answer.Frames[0].File; got != want {
		t.Errorf("the name comes back as %q, was %q", got, want)
	}
	if clouded := rows[10]; clouded[1] != "" || clouded[7] != "" || clouded[13] != "" || clouded[3] != "false" || clouded[5] != "2" {
		t.Errorf("unknown cells must be empty and counts stand: %q", clouded)
	}
}

// Colours are the drawings' variables, whose contrast is tested with them; black and white alone may stand by themselves,
// where no variable is known yet.
func TestColoursAreVariables(t *testing.T) {
	for _, m := range regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgb|hsl`).FindAllString(style, -1) {
		if m != "#fff" {
			t.Errorf("a colour by itself: %s", m)
		}
	}
}

// deaf is a writer that fails.
type deaf struct{}

func (deaf) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestFullDiskIsReported(t *testing.T) {
	if err := HTML(deaf{}, full()); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("page: %v", err)
	}
	if err := CSV(deaf{}, full().Answer); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("table: %v", err)
	}
}

func TestCautionsNameTheDangers(t *testing.T) {
	all := strings.Join(Cautions(), " ") // design §10
	for _, w := range []string{"ledges", "water", "red lamp", "daylight", "Cold", "alone", "Sun", "rules", "licensed"} {
		if !strings.Contains(all, w) {
			t.Errorf("no word of %s", w)
		}
	}
}
