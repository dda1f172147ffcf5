package sheet

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// wellFormed reads a drawing as XML 1.0 (encoding/xml).
func wellFormed(t *testing.T, svg []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("not XML: %v\n%s", err, svg)
		}
	}
}

// TestChart: what cannot be drawn is left out, and what can stands in the file, at the right height of the frame.
func TestChart(t *testing.T) {
	c := Chart{Title: "a < b & c", X: Axis{Label: "x", Log: true}, Y: Axis{Label: "y"},
		Series: []Series{{Name: "one", X: []float64{1, 10, 100, -1}, Y: []float64{0, 1, math.NaN(), 2}, Sigma: []float64{0.1, 99, 1, 1}}, {Name: "two", X: []float64{1}, Y: []float64{1}, Loose: true}},
		Lines:  []Line{{At: 1, Name: "limit"}}}
	svg := c.SVG()
	wellFormed(t, svg)
	if n := bytes.Count(svg, []byte("<circle")); n != 2+1+2 { // points that can be drawn, and a mark each in the legend
		t.Errorf("%d marks, want 5", n)
	}
	if bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
		t.Error("something that is no number was drawn")
	}
	if !bytes.Equal(svg, c.SVG()) {
		t.Error("drawn twice, it differs")
	}
	wellFormed(t, Chart{}.SVG())
}

func TestFigures(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0"}, {1.234, "1.23"}, {-0.01234, "−0.0123"}, {1234.4, "1234"}, {math.NaN(), "–"}, {math.Inf(1), "–"}} {
		if got := Figure(c.v, 3); got != c.want {
			t.Errorf("%v is %q, want %q", c.v, got, c.want)
		}
	}
	for _, c := range []struct {
		figure, err float64
		want        Verdict
	}{{1, 0.05, Pass}, {1.1, 0.05, Open}, {1.3, 0.05, Miss}, {1.2, 0.05, Open}, {math.NaN(), 1, Open}} {
		if got := AtMost(c.figure, c.err, 1.15); got != c.want {
			t.Errorf("%v ± %v is %v, want %v", c.figure, c.err, got, c.want)
		}
	}
}

// TestBook: a page with its plots beside it, no trace of how they were written, and the same bytes again.
func TestBook(t *testing.T) {
	b := New("title")
	b.Head("run on %s", "a machine")
	c := &Chapter{Title: "part"}
	table := Table{Caption: "what", Columns: []string{"a", "b"}}
	table.Row("x|y", 1.5)
	c.Table(table)
	c.Chart("part-plot", Chart{Title: "plot"})
	c.Target(Target{What: "w", Limit: "≤ 1", Figure: "2", Verdict: Miss})
	b.Add(c)
	dir := filepath.Join(t.TempDir(), "new")
	for range 2 {
		if err := b.Save(dir); err != nil {
			t.Fatal(err)
		}
	}
	md, err := os.ReadFile(filepath.Join(dir, "study.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"# title\n", "run on a machine", "| part | w | ≤ 1 | 2 | **miss** |", `| x\|y | 1.50 |`, "](part-plot.svg)"} {
		if !strings.Contains(string(md), want) {
			t.Errorf("the page has no %q:\n%s", want, md)
		}
	}
	if files, _ := os.ReadDir(dir); len(files) != 2 {
		t.Errorf("%d files in the folder, want 2", len(files))
	}
	if err := b.Save(filepath.Join(dir, "study.md")); err == nil {
		t.Error("a file was taken for a folder")
	}
}
