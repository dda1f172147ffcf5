package kit

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"trueturn/cmd/words"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog/spelling"
)

// Mistake is one thing wrong in the file.
type Mistake struct {
	Line   int    `json:"line"`   // from 1
	Column int    `json:"column"` // letters from 1
	Text   string `json:"text"`
	Way    string `json:"way"` // the way out
}

// FileError is all that is wrong in a kit file; there is at least one mistake.
type FileError struct{ Mistakes []Mistake }

func (e *FileError) Error() string {
	first := e.Mistakes[0]
	s := fmt.Sprintf("line %d, column %d: %s", first.Line, first.Column, first.Text)
	if n := len(e.Mistakes) - 1; n > 0 {
		s += fmt.Sprintf(" (and %d more)", n)
	}
	return s
}

// Unwrap is the first mistake with its way out.
func (e *FileError) Unwrap() error { return amiss.New(nil, e.Error(), e.Mistakes[0].Way) }

// mostMistakes are told; who made more begins anew.
const mostMistakes = 100

// checker goes through the text once, expression by expression. The decoder of the library
// stops at the first wrong value, so that this looks by itself and leaves to the decoder only
// what it let pass.
type checker struct {
	text  []byte
	base  int // where the parser's text begins in the whole
	in    []string
	found []Mistake
	seen  map[string]int  // where each key and table stands, by its path
	given map[string]mark // the named things, by their path
	names []string        // the same, in order
}

// mark is a named thing: where it stands and what of it is told.
type mark struct {
	section Section
	name    string
	offset  int
	values  map[string]float64
	at      map[string]int
}

func check(text []byte) []Mistake {
	c := &checker{text: text, seen: map[string]int{}, given: map[string]mark{}}
	if !utf8.Valid(text) {
		at := 0
		for utf8.Valid(text[:at+1]) || !fullBad(text[at:]) {
			at++
		}
		c.add(at, "not UTF-8", "save the file as UTF-8 text")
		return c.found
	}
	for c.base <= len(text) && len(c.found) < mostMistakes {
		if !c.pass() {
			break
		}
	}
	for _, n := range c.names {
		c.whole(c.given[n])
	}
	slices.SortStableFunc(c.found, func(a, b Mistake) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return c.found[:min(mostMistakes, len(c.found))]
}

// fullBad is whether text begins with bytes that are no letter.
func fullBad(text []byte) bool {
	r, n := utf8.DecodeRune(text)
	return r == utf8.RuneError && n <= 1
}

// pass reads on to the end or to the next broken line, which it steps over; false at the end.
func (c *checker) pass() bool {
	var p unstable.Parser
	rest := c.text[c.base:]
	p.Reset(rest)
	for p.NextExpression() {
		c.expression(p.Expression())
	}
	var broken *unstable.ParserError
	if err := p.Error(); err == nil || !errors.As(err, &broken) {
		return false
	}
	at := c.base + cap(rest) - cap(broken.Highlight)
	if at < c.base || at > len(c.text) {
		at = c.base
	}
	c.add(at, "not TOML: "+broken.Message, `write key = value, a text in "quotes", and a heading as [sites.NAME]`)
	if start := bytes.LastIndexByte(c.text[:at], '\n') + 1; bytes.HasPrefix(bytes.TrimLeft(c.text[start:at], " \t"), []byte("[")) {
		c.in = unknownPlace // the heading cannot be made out, nor whose the next keys are
	}
	next := bytes.IndexByte(c.text[at:], '\n')
	if next < 0 {
		return false
	}
	c.base = at + next + 1
	return true
}

// unknownPlace is a table whose keys are passed over.
var unknownPlace = []string{"", ""}

// expression looks at one line: a heading or a key with its value.
func (c *checker) expression(n *unstable.Node) {
	switch n.Kind {
	case unstable.Table:
		path, at := c.path(n)
		c.in = path
		c.heading(path, at)
	case unstable.ArrayTable:
		path, at := c.path(n)
		c.add(at, fmt.Sprintf("[[%s]] is a list", strings.Join(path, ".")), "write one heading for each thing, as in [cameras.NAME]")
		c.in = unknownPlace // what follows belongs to it and is passed over
	case unstable.KeyValue:
		if len(c.in) == 2 && c.in[0] == "" {
			return
		}
		path, at := c.path(n)
		c.value(slices.Concat(c.in, path), at, n.Value())
	}
}

// path is the dotted key of a line and where it begins.
func (c *checker) path(n *unstable.Node) (path []string, at int) {
	at = -1
	for it := n.Key(); it.Next(); {
		k := it.Node()
		if at < 0 {
			at = c.base + int(k.Raw.Offset)
		}
		path = append(path, string(k.Data))
	}
	return path, at
}

// once refuses what stands there a second time.
func (c *checker) once(path []string, at int, what string) bool {
	id := strings.Join(path, "\x00")
	if first, twice := c.seen[id]; twice {
		line, _ := c.place(first)
		c.add(at, fmt.Sprintf("%s %q is here a second time, first in line %d", what, path[len(path)-1], line), "keep one of them, or give it another name")
		return false
	}
	c.seen[id] = at
	return true
}

// heading looks at the name of a table.
func (c *checker) heading(path []string, at int) {
	s := Section(path[0])
	named := s != defaults && fields[s] != nil
	switch {
	case fields[s] == nil:
		c.unknownSection(path[0], at)
		return
	case named && len(path) > 2, !named && len(path) > 1:
		c.add(at, fmt.Sprintf("[%s] is one heading too deep", strings.Join(path, ".")), "write [sites.NAME], [cameras.NAME], [lenses.NAME], [mounts.NAME] or [defaults]; a name with a dot in it goes in quotes")
		return
	}
	what := "section"
	if len(path) == 2 {
		what = s.One()
	}
	if c.once(path, at, what) && len(path) == 2 {
		c.thing(path, at)
	}
}

func (c *checker) unknownSection(word string, at int) {
	known := []string{string(Sites), string(Cameras), string(Lenses), string(Mounts), string(defaults)}
	way := "write [sites.NAME], [cameras.NAME], [lenses.NAME], [mounts.NAME] or [defaults]"
	if i := spelling.Nearest(word, known); i >= 0 {
		way = fmt.Sprintf("did you mean %s?", known[i])
	}
	c.add(at, fmt.Sprintf("there is no section %q", word), way)
}

// thing notes a named piece of equipment.
func (c *checker) thing(path []string, at int) mark {
	id := strings.Join(path, "\x00")
	m, ok := c.given[id]
	if ok {
		return m
	}
	m = mark{Section(path[0]), path[1], at, map[string]float64{}, map[string]int{}}
	if !GoodName(m.name) {
		c.add(at, fmt.Sprintf("%q is no name", m.name), "give it a name you can type")
	}
	c.given[id], c.names = m, append(c.names, id)
	return m
}

// value looks at a key with its value, wherever its tables were opened.
func (c *checker) value(path []string, at int, v *unstable.Node) {
	s := Section(path[0])
	if fields[s] == nil {
		if len(c.in) == 0 { // else its heading was told already
			c.unknownSection(path[0], at)
		}
		return
	}
	if v.Kind == unstable.InlineTable {
		c.inline(path, at, v)
		return
	}
	depth := 3
	if s == defaults {
		depth = 2
	}
	if len(path) != depth {
		if len(c.in) < depth { // else its heading was told already
			c.add(at, fmt.Sprintf("%q belongs under a heading with a name", path[len(path)-1]), fmt.Sprintf("put it under [%s]", heading(s)))
		}
		return
	}
	f, ok := fieldOf(s, path[depth-1])
	if !ok {
		c.unknownKey(s, path[depth-1], at)
		return
	}
	if !c.once(path, at, "key") {
		return
	}
	x, good := c.figure(f, at, v)
	if depth == 3 {
		m := c.thing(path[:2], at)
		m.at[f.key] = at
		if good {
			m.values[f.key] = x
		}
	}
}

func heading(s Section) string {
	if s == defaults {
		return string(s)
	}
	return string(s) + ".NAME"
}

// inline goes into { key = value, … }.
func (c *checker) inline(path []string, at int, v *unstable.Node) {
	if len(path) == 2 && path[0] != string(defaults) {
		if !c.once(path, at, Section(path[0]).One()) {
			return
		}
		c.thing(path, at)
	}
	for it := v.Children(); it.Next(); {
		n := it.Node()
		if n.Kind != unstable.KeyValue {
			continue
		}
		deeper, where := c.path(n)
		c.value(slices.Concat(path, deeper), where, n.Value())
	}
}

func (c *checker) unknownKey(s Section, key string, at int) {
	known := keysOf(s)
	way := fmt.Sprintf("[%s] knows %s", heading(s), strings.Join(known, ", "))
	if i := spelling.Nearest(key, known); i >= 0 { // people leave units out: a beginning is enough
		way = fmt.Sprintf("did you mean %s?", known[i])
	}
	c.add(at, fmt.Sprintf("there is no key %q under [%s]", key, heading(s)), way)
}

// figure looks at a value by itself.
func (c *checker) figure(f field, at int, v *unstable.Node) (float64, bool) {
	if f.zone {
		if v.Kind != unstable.String {
			c.add(at, f.key+" is no text", `write it in quotes, as in tz = "+02:00"`)
		} else if _, err := Zone(string(v.Data)); err != nil {
			c.add(at, fmt.Sprintf("%s %q is no time zone", f.key, v.Data), words.Hint(err))
		}
		return 0, false
	}
	like := "write a bare number, as in " + f.key + " = " + example(f)
	switch {
	case v.Kind == unstable.Integer && f.whole, (v.Kind == unstable.Integer || v.Kind == unstable.Float) && !f.whole:
	case v.Kind == unstable.Float:
		c.add(at, f.key+" is no whole number", like)
		return 0, false
	default:
		c.add(at, fmt.Sprintf("%s is no number but %s", f.key, kindWord(v.Kind)), like)
		return 0, false
	}
	x := parse(string(v.Data))
	if math.IsNaN(x) || x < f.low || x > f.high {
		c.add(at, fmt.Sprintf("%s = %s is out of range", f.key, v.Data), fmt.Sprintf("choose a value from %s to %s", plain(f.low), plain(f.high)))
		return 0, false
	}
	return x, true
}

// plain writes a number as people do.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func example(f field) string { return plain(max(math.Ceil(f.low), min(f.high, 2))) }

func kindWord(k unstable.Kind) string {
	switch k {
	case unstable.String:
		return "a text"
	case unstable.Bool:
		return "true or false"
	case unstable.Array:
		return "a list"
	}
	return "a date or time"
}

// parse reads a number as TOML writes it; NaN when it cannot be.
func parse(s string) float64 {
	s = strings.ReplaceAll(s, "_", "")
	if n, err := strconv.ParseInt(s, 0, 64); err == nil && len(s) > 2 && strings.ContainsAny(s[1:2], "xob") {
		return float64(n)
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

// whole looks at what of a thing must be told together.
func (c *checker) whole(m mark) {
	has := func(key string) bool { _, ok := m.at[key]; return ok }
	for _, f := range fields[m.section] {
		if f.required && !has(f.key) {
			c.add(m.offset, fmt.Sprintf("%s %q has no %s", m.section.One(), m.name, f.key), "add "+f.key+" = DEGREES, north and east positive")
		}
	}
	switch m.section {
	case Cameras:
		if has("width_px") != has("height_px") {
			c.add(m.offset, fmt.Sprintf("camera %q has one side of its picture", m.name), "give both width_px and height_px")
		} else if m.values["width_px"]*m.values["height_px"] > 200e6 {
			c.add(m.at["width_px"], "width_px times height_px is too large", "pictures have at most 200 megapixels")
		}
	case Lenses:
		if has("focal_length_mm") == has("equivalent_mm") {
			c.add(m.offset, fmt.Sprintf("lens %q must be given in one way", m.name), "give focal_length_mm, or equivalent_mm, and not both")
		}
	case Mounts:
		if has("peak_to_peak_arcsec") && !has("period_s") {
			c.add(m.offset, fmt.Sprintf("mount %q wobbles without a period", m.name), "add period_s, the time of one turn of the worm")
		}
	}
}

// add notes a mistake.
func (c *checker) add(at int, text, way string) {
	line, column := c.place(at)
	c.found = append(c.found, Mistake{line, column, text, way})
}

// place is the line and the letter of an offset, from 1.
func (c *checker) place(at int) (line, column int) {
	before := c.text[:max(0, min(at, len(c.text)))]
	start := bytes.LastIndexByte(before, '\n') + 1
	return 1 + bytes.Count(before, []byte{'\n'}), 1 + utf8.RuneCount(before[start:])
}

// mistakeOf is what the decoder says of what was let pass.
func mistakeOf(err error) Mistake {
	m := Mistake{1, 1, strings.TrimPrefix(err.Error(), "toml: "), "correct this line; trueturn kit show tells what a kit looks like"}
	var strict *toml.StrictMissingError
	var bad *toml.DecodeError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		bad = &strict.Errors[0]
	} else {
		errors.As(err, &bad)
	}
	if bad != nil {
		m.Line, m.Column = bad.Position()
		m.Text = strings.TrimPrefix(bad.Error(), "toml: ")
	}
	return m
}
