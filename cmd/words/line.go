package words

import (
	"strconv"
	"strings"

	"trueturn/ephem/say"
)

// The sentences, one table a room of the engine: sentences_*.go. A gap {} takes the next quantity, {2} the second one. There is
// no other place for them.

// tables are all of them.
var tables = []map[say.Key]string{common, orders, acts, situations, answers, exposures, gears, nights, positions, reports, axes, terminals, poles, plans}

// common are the keys package say has itself.
var common = map[say.Key]string{"as it is": "{}", "one after another": "{}"}

// template is the sentence of a key.
func template(k say.Key) (string, bool) {
	for _, t := range tables {
		if s, ok := t[k]; ok {
			return s, true
		}
	}
	return "", false
}

// Line is a line in words.
func Line(l say.Line) string {
	if l.None() {
		return ""
	}
	t, ok := template(l.Key)
	if !ok {
		return l.String() // TestEveryKey sees to it that there is none
	}
	var out strings.Builder
	next := 0
	for {
		before, rest, found := strings.Cut(t, "{")
		out.WriteString(before)
		if !found {
			return out.String()
		}
		var gap string
		gap, t, _ = strings.Cut(rest, "}")
		at := next
		if n, err := strconv.Atoi(gap); err == nil {
			at = n - 1
		} else {
			next++
		}
		if at < len(l.With) {
			out.WriteString(Quantity(l.With[at]))
		}
	}
}

// Say is the sentence of a key in words.
func Say(k say.Key, with ...any) string { return Line(say.Of(k, with...)) }

// sequence is several lines with a blank between.
func sequence(lines []say.Line) string {
	var all []string
	for _, l := range lines {
		if text := Line(l); text != "" {
			all = append(all, text)
		}
	}
	return strings.Join(all, " ")
}

// The voices: for who sits at the command line, and for who looks at the page.
var (
	ForTerminal = say.Voice{Voice: Flags, Line: Line}
	ForPage     = say.Voice{Voice: Page, Line: Line}
)
