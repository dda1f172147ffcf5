package legible

import (
	"encoding/json"
	"io"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// rows are texts as they come from elsewhere, and as they stand in a line and in a cell.
var rows = []struct{ text, line, cell string }{
	{"", "", ""},
	{"sky 0001.jpg", "sky 0001.jpg", "sky 0001.jpg"},
	{"Ländersternwarte 星空 ﷺ.jpg", "Ländersternwarte 星空 ﷺ.jpg", "Ländersternwarte 星空 ﷺ.jpg"},
	{"e\u0301 and 5\u00a0s", "e\u0301 and 5\u00a0s", "e\u0301 and 5\u00a0s"}, // a mark of its own; a hard space
	{"\x1b[2Jgone", `\x1b[2Jgone`, `\x1b[2Jgone`},
	{"\u009b2Jgone", `\u009b2Jgone`, `\u009b2Jgone`}, // the same in one character, ECMA-48 §5.4
	{"a\nerror: b\r\tc\x00\x7f", `a\nerror: b\r\tc\x00\x7f`, `a\nerror: b\r\tc\x00\x7f`},
	{"sky\u202egpj.exe", `sky\u202egpj.exe`, `sky\u202egpj.exe`}, // UAX #9 §2: embeddings, overrides, isolates
	{"\u2066\u2067\u2068\u2069\u200e\u061c", `\u2066\u2067\u2068\u2069\u200e\u061c`, `\u2066\u2067\u2068\u2069\u200e\u061c`},
	{"a\u200bb\u200d\ufeff\u00ad", `a\u200bb\u200d\ufeff\u00ad`, `a\u200bb\u200d\ufeff\u00ad`},
	{"a\u2028b\u2029\u0085", `a\u2028b\u2029\u0085`, `a\u2028b\u2029\u0085`},
	{"\U000e0041\ue000", `\U000e0041\ue000`, `\U000e0041\ue000`}, // a tag, and a letter of private use
	{"bad\xff\xc3", `bad\xff\xc3`, `bad\xff\xc3`},
	{"\ufffd", "\ufffd", "\ufffd"},
	{"=1+1", "=1+1", "'=1+1"}, {"+1", "+1", "'+1"}, {"-1", "-1", "'-1"}, {"@f", "@f", "'@f"}, {"＝1", "＝1", "'＝1"},
	{"\t=1", `\t=1`, `\t=1`}, {"\r=1", `\r=1`, `\r=1`}, {"a=1", "a=1", "a=1"}, {"'=1", "'=1", "'=1"},
	{strings.Repeat("ä", longest), strings.Repeat("ä", longest), strings.Repeat("ä", longest)},
	{strings.Repeat("ä", longest+1), strings.Repeat("ä", longest-1) + "…", strings.Repeat("ä", longest-1) + "…"},
}

func TestTextsAreFitToBeShown(t *testing.T) {
	for _, r := range rows {
		if got := Line(r.text); got != r.line {
			t.Errorf("%q in a line is %q, want %q", r.text, got, r.line)
		}
		if got := Cell(r.text); got != r.cell {
			t.Errorf("%q in a cell is %q, want %q", r.text, got, r.cell)
		}
	}
}

// A page keeps its own lines, however it is cut up on its way.
func TestLinesStayLines(t *testing.T) {
	const page, want = "<p>ä\u202e星\n\x1b[1m</p>\n", `<p>ä\u202e星` + "\n" + `\x1b[1m</p>` + "\n"
	for _, cut := range []int{1, 2, 3, 5, 100} {
		var got strings.Builder
		w := Lines(&got)
		for rest := page; rest != ""; {
			n, err := w.Write([]byte(rest[:min(cut, len(rest))]))
			if err != nil || n != min(cut, len(rest)) {
				t.Fatal(n, err)
			}
			rest = rest[n:]
		}
		if got.String() != want {
			t.Errorf("cut in pieces of %d: %q", cut, got.String())
		}
	}
	closed, end := io.Pipe()
	closed.Close()
	if _, err := Lines(end).Write([]byte("a")); err == nil {
		t.Error("a failure was swallowed")
	}
}

// Fit texts hold nothing that is not seen, stay fit, and JSON says the same as before.
func FuzzLine(f *testing.F) {
	for _, r := range rows {
		f.Add(r.text)
	}
	f.Fuzz(func(t *testing.T, s string) {
		line := Line(s)
		if !fit(line) || utf8.RuneCountInString(line) > longest || Line(line) != line || Cell(Cell(s)) != Cell(s) {
			t.Errorf("%q is shown as %q, in a cell as %q", s, line, Cell(s))
		}
		text, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var back, safe string
		if json.Unmarshal(text, &back) != nil || json.Unmarshal(JSON(text), &safe) != nil || back != safe || !fit(string(JSON(text))) {
			t.Errorf("%q in JSON is %s", s, JSON(text))
		}
	})
}

func fit(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsGraphic(r) })
}
