package face

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

func TestWrap(t *testing.T) {
	for _, row := range []struct {
		name, text string
		width      int
		want       []string
	}{
		{"short", "turn it", 20, []string{"turn it"}},
		{"between words", "turn the base left", 10, []string{"turn the", "base left"}},
		{"to the last column", "12345 7890", 10, []string{"12345 7890"}},
		{"a word too long stays whole", "a 1234567890123 b", 5, []string{"a", "1234567890123", "b"}},
		{"signs count once", "48′ ± 3″ off", 8, []string{"48′ ± 3″", "off"}},
		{"paint takes no room", paintBold + "48′" + paintThin + " off", 7, []string{paintBold + "48′" + paintThin + " off"}},
		{"empty", "", 10, []string{""}},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := wrap(row.text, row.width); !slices.Equal(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

// TestNightWriter: every line begins red on black and ends with the terminal as
// it was, however the text arrives.
func TestNightWriter(t *testing.T) {
	const text = "one\n\ntwo lines\n"
	const want = paintLine + "one" + paintRest + "\n" + paintLine + paintRest + "\n" + paintLine + "two lines" + paintRest + "\n"
	var whole, bytewise strings.Builder
	n, err := (&nightWriter{w: &whole}).Write([]byte(text))
	if n != len(text) || err != nil || whole.String() != want {
		t.Errorf("whole: %d, %v, %q, want %d, nil, %q", n, err, whole.String(), len(text), want)
	}
	w := &nightWriter{w: &bytewise}
	for i := range len(text) {
		if _, err := w.Write([]byte{text[i]}); err != nil {
			t.Fatal(err)
		}
	}
	if bytewise.String() != want {
		t.Errorf("byte by byte: %q, want %q", bytewise.String(), want)
	}
}

// TestDress: colours are for terminals, and for those who want them.
func TestDress(t *testing.T) {
	for _, row := range []struct {
		name    string
		face    face
		env     map[string]string
		painted bool
	}{
		{"terminal", face{outScreen: true}, nil, true},
		{"pipe", face{}, nil, false},
		{"--no-color", face{outScreen: true, noColor: true}, nil, false},
		{"NO_COLOR", face{outScreen: true}, map[string]string{"NO_COLOR": "1"}, false},
		{"dumb terminal", face{outScreen: true}, map[string]string{"TERM": "dumb"}, false},
		{"JSON", face{outScreen: true, json: true}, nil, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Setenv("NO_COLOR", "")
			t.Setenv("TERM", "xterm")
			for k, v := range row.env {
				t.Setenv(k, v)
			}
			row.face.dress()
			if _, painted := row.face.out.(*nightWriter); painted != row.painted {
				t.Errorf("painted %v, want %v", painted, row.painted)
			}
		})
	}
}

// Every error has a line of its own and its way out, however its text came about.
func TestErrorsHaveALineEach(t *testing.T) {
	var said strings.Builder
	f := &face{err: &said}
	disk, name := failed("disk full", "make room", nil), failed("a\nhint: none\x1b[2J", "", nil)
	code := f.conclude(errors.Join(errors.Join(disk, nil), name))
	if want := "error: disk full\nhint: make room\nerror: a\\nhint: none\\x1b[2J\n"; said.String() != want || code != exitNoAnswer {
		t.Errorf("%q, exit code %d, want %q", said.String(), code, want)
	}
}
