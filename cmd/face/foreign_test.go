package face

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"trueturn/align/exposure"
)

// Names as somebody may give files: a terminal is wiped and its title set (ECMA-48 §5.4, xterm's OSC 0), the writing turned
// round (UAX #9), a line forged, a cell that a table program reckons (OWASP, CSV Injection).
const (
	foreignFolder = "evening\x1b]0;mine\a"
	foreignRound  = "=1+\x1b[2J\u202e\u200bgpj.jpg"
	foreignBroken = "a\nerror: all is lost\u009b31m\t.jpg"
	foreignOther  = "notes\x1b[31m\r.txt"
)

// foreignPictures is a folder of four good pictures, one called foreignRound, and of files that cannot be used.
func foreignPictures(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := program(t, dir, "simulate", "--site", "46,7.75", "--megapixels", "0.3", "--count", "4", "--out", foreignFolder).CombinedOutput(); err != nil {
		t.Fatalf("simulate: %v\n%s", err, out)
	}
	in := func(name string) string { return filepath.Join(dir, foreignFolder, name) }
	if err := os.Rename(in("sky-001.jpg"), in(foreignRound)); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{foreignBroken: "no picture", foreignOther: "", "bad\xff.jpg": "", "packed.fits": foreignHeader()} {
		if err := os.WriteFile(in(name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// foreignHeader is a packed FITS picture whose method is none, but a word to the terminal (FITS 4.0 §10.1).
func foreignHeader() string {
	var b strings.Builder
	for _, card := range []string{"SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", "NAXIS2  = 1", "TFIELDS = 1", "TTYPE1  = 'COMPRESSED_DATA'", "TFORM1  = '1PB(4)'",
		"ZIMAGE  = T", "ZBITPIX = 8", "ZNAXIS  = 2", "ZNAXIS1 = 2", "ZNAXIS2 = 2", "ZTILE2  = 2", "ZCMPTYPE= 'X\x1b[2J\u009bm'", "END"} {
		b.WriteString(card + strings.Repeat(" ", 80-len(card)))
	}
	return b.String() + strings.Repeat(" ", 2880-b.Len()) + strings.Repeat("\x00", 2880)
}

// Whatever files are called and their headers say: no terminal, table or page is given a character it would obey, and JSON
// has the names to the letter.
func TestForeignTextsAreFitToBeShown(t *testing.T) {
	t.Parallel()
	dir := foreignPictures(t)
	for _, command := range []string{"align", "subs"} {
		t.Run(command, func(t *testing.T) {
			at := func(ending string) string { return filepath.Join(dir, command+ending) }
			said, warned := ran(t, dir, exitAnswered, command, "--site", "46,7.75", "--csv", at(".csv"), "--report", at(".html"), foreignFolder)
			for name, text := range map[string]string{"stdout": said, "stderr": warned, "table": read(t, at(".csv")), "report": read(t, at(".html"))} {
				onlySeen(t, name, text)
			}
			wantForeign(t, "stdout", said, `\u202e\u200bgpj.jpg`)
			wantForeign(t, "stderr", warned, `notes\x1b[31m\r.txt`)
			if command == "align" {
				wantForeign(t, "stdout", said, `a\nerror: all is lost\u009b31m\t.jpg`, `X\x1b[2J\u009bm`, `bad\xff.jpg`)
			}
			wantForeign(t, "report", read(t, at(".html")), `evening\x1b]0;mine\a`, `\u202e\u200bgpj.jpg`, `\u009b31m\t.jpg`)
			rows, err := csv.NewReader(strings.NewReader(read(t, at(".csv")))).ReadAll()
			if err != nil || !slices.ContainsFunc(rows, func(r []string) bool { return r[0] == `'=1+\x1b[2J\u202e\u200bgpj.jpg` }) {
				t.Errorf("table %q, %v", rows, err)
			}
			var a struct{ Frames []struct{ File string } }
			told, _ := ran(t, dir, exitAnswered, command, "--site", "46,7.75", "--json", foreignFolder)
			if err := json.Unmarshal([]byte(told), &a); err != nil {
				t.Fatal(err)
			}
			onlySeen(t, "JSON", told)
			var names []string
			for _, f := range a.Frames {
				names = append(names, f.File)
			}
			for _, want := range []string{foreignRound, foreignBroken} {
				if !slices.Contains(names, want) {
					t.Errorf("pictures %q, without %q", names, want)
				}
			}
		})
	}
}

// A list of bare names is for programs, which must find the files: a pipe gets them to the letter. Where a name would be
// taken for two, it is refused before a name is printed.
func TestListOfForeignNames(t *testing.T) {
	t.Parallel()
	dir := foreignPictures(t)
	said, warned := ran(t, dir, exitNoAnswer, "subs", "--list", "not-round", foreignFolder)
	if said != "" || !strings.Contains(warned, `error: a list of one name a line cannot hold "a\nerror: all is lost`) || !strings.Contains(warned, "hint: ") {
		t.Errorf("%q and %q", said, warned)
	}
	onlySeen(t, "stderr", warned)
	said, _ = ran(t, dir, exitAnswered, "subs", "--list", "round", foreignFolder)
	if !slices.Contains(strings.Split(said, "\n"), foreignRound) {
		t.Errorf("round are %q", said)
	}
	var screen bytes.Buffer
	f := &face{out: &screen, outScreen: true}
	if err := f.list(exposure.Verdict{Frames: []exposure.Judged{{File: foreignRound, Round: true}}}, true); err != nil {
		t.Fatal(err)
	}
	onlySeen(t, "a terminal", screen.String())
}

// ran runs trueturn, which must end with this code.
func ran(t *testing.T, dir string, code int, args ...string) (stdout, stderr string) {
	t.Helper()
	c := program(t, dir, args...)
	var out, warnings bytes.Buffer
	c.Stdout, c.Stderr = &out, &warnings
	if err := c.Run(); c.ProcessState == nil || c.ProcessState.ExitCode() != code {
		t.Fatalf("trueturn %q: %v, want exit code %d\n%q", args, err, code, warnings.String())
	}
	return out.String(), warnings.String()
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// onlySeen wants nothing in a text but what is seen, and ends of lines.
func onlySeen(t *testing.T, name, text string) {
	t.Helper()
	if !utf8.ValidString(text) {
		t.Errorf("%s is no UTF-8", name)
	}
	for i, r := range text {
		if r != '\n' && !unicode.IsGraphic(r) {
			t.Errorf("%s: %s", name, fmt.Sprintf("%q", text[max(0, i-30):min(len(text), i+10)]))
			return
		}
	}
}

func wantForeign(t *testing.T, name, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("%s lacks %s", name, w)
		}
	}
}
