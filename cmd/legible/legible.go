// Package legible makes texts that come from elsewhere, file names and headers of pictures, fit to be shown. A terminal
// obeys control characters, a reader is misled by letters turned round or of no width, a table program takes a cell that
// begins like a formula for one. Letters, marks, figures, signs and spaces stay; anything else stands there as it is
// escaped in a Go string: \n, \x1b, \u202e.
package legible

import (
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// longest is far beyond any sentence of ours, letters.
const longest = 2000

// Line is a text in one line, cut where it has no end. A line is its own line.
func Line(s string) string {
	s = replaced(s, "")
	if utf8.RuneCountInString(s) > longest {
		s = string([]rune(s)[:longest-1]) + "…"
	}
	return s
}

// replaced is s with all unfit for showing escaped, but for what is kept.
func replaced(s, kept string) string {
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			b.WriteString(`\x` + strconv.FormatUint(uint64(s[0]), 16))
		case unicode.IsGraphic(r) || strings.ContainsRune(kept, r):
			b.WriteRune(r)
		default:
			b.WriteString(strings.Trim(strconv.QuoteRuneToGraphic(r), "'"))
		}
		s = s[n:]
	}
	return b.String()
}

// Cell is a text for a cell of a table. Table programs reckon what begins with = + - or @; after an apostrophe they
// do not (OWASP, CSV Injection, which also names the wide forms; from memory). Figures need no Cell.
func Cell(s string) string {
	if r, _ := utf8.DecodeRuneInString(s); strings.ContainsRune("=+-@＝＋－＠", r) {
		s = "'" + s
	}
	return Line(s)
}

// JSON is a JSON text that means the same, with all unfit for showing escaped that its encoder let stand: DEL, the
// controls from U+0080 on, letters without width and those that turn the writing round.
func JSON(text []byte) []byte {
	out := make([]byte, 0, len(text))
	for _, r := range string(text) {
		switch {
		case unicode.IsGraphic(r) || r == '\n':
			out = utf8.AppendRune(out, r)
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			out = escaped(escaped(out, high), low)
		default:
			out = escaped(out, r)
		}
	}
	return out
}

func escaped(out []byte, r rune) []byte {
	hex := strconv.FormatUint(uint64(r), 16)
	return append(append(out, `\u0000`[:6-len(hex)]...), hex...)
}

// Lines passes on what is written, pages and notes, fit to be shown; only the ends of lines stay as they are.
func Lines(w io.Writer) io.Writer { return &lines{w: w} }

type lines struct {
	w    io.Writer
	torn []byte // a letter's first bytes, until the rest comes
}

func (l *lines) Write(p []byte) (int, error) {
	whole := append(l.torn, p...)
	end := len(whole)
	for back := 1; back < utf8.UTFMax && back <= len(whole); back++ {
		if at := len(whole) - back; utf8.RuneStart(whole[at]) {
			if !utf8.FullRune(whole[at:]) {
				end = at
			}
			break
		}
	}
	l.torn = append([]byte(nil), whole[end:]...)
	if _, err := io.WriteString(l.w, replaced(string(whole[:end]), "\n")); err != nil {
		return 0, err
	}
	return len(p), nil
}
