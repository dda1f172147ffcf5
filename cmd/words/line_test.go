package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// call is a line as the engine makes it: its key, and with how many quantities (-1: a list, or a key alone).
type call struct {
	key  say.Key
	with int
	at   token.Position
}

// calls are all lines made: say.Of and Say with a literal, and literals of type say.Key.
func calls(t *testing.T) (all []call) {
	t.Helper()
	for _, dir := range []string{"align", "drift", "ephem", "cmd"} {
		err := filepath.WalkDir(filepath.Join("../..", dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") || filepath.Base(filepath.Dir(path)) == "say" {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if c, ok := madeBy(n); ok {
					c.at = set.Position(n.Pos())
					all = append(all, c)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// madeBy reads say.Of("key", …), words.Say("key", …), Say("key", …) in this package, and say.Key("key").
func madeBy(n ast.Node) (call, bool) {
	c, ok := n.(*ast.CallExpr)
	if !ok || len(c.Args) == 0 {
		return call{}, false
	}
	lit, ok := c.Args[0].(*ast.BasicLit)
	if !ok {
		return call{}, false
	}
	key, err := strconv.Unquote(lit.Value)
	if err != nil {
		return call{}, false
	}
	switch types.ExprString(c.Fun) {
	case "say.Of", "words.Say", "Say":
		if c.Ellipsis == token.NoPos {
			return call{key: say.Key(key), with: len(c.Args) - 1}, true
		}
		return call{key: say.Key(key), with: -1}, true
	case "say.Key":
		return call{key: say.Key(key), with: -1}, true
	}
	return call{}, false
}

// gaps is how many quantities a sentence takes.
func gaps(template string) (n int) {
	next := 0
	for _, part := range strings.Split(template, "{")[1:] {
		gap, _, _ := strings.Cut(part, "}")
		if at, err := strconv.Atoi(gap); err == nil {
			n = max(n, at)
		} else {
			next++
		}
	}
	return max(n, next)
}

// TestEveryKey: what the engine says has one sentence, with a gap for each quantity, and no sentence is left that nobody says.
func TestEveryKey(t *testing.T) {
	used := map[say.Key]bool{}
	for k := range common {
		used[k] = true
	}
	for _, c := range calls(t) {
		used[c.key] = true
		s, ok := template(c.key)
		switch {
		case !ok:
			t.Errorf("%s: %q has no sentence", c.at, c.key)
		case c.with >= 0 && gaps(s) != c.with:
			t.Errorf("%s: %q has %d gaps for %d quantities: %s", c.at, c.key, gaps(s), c.with, s)
		}
	}
	seen := map[say.Key]bool{}
	for _, table := range tables {
		for k := range table {
			if !used[k] {
				t.Errorf("nobody says %q", k)
			}
			if seen[k] {
				t.Errorf("%q has two sentences", k)
			}
			seen[k] = true
		}
	}
}

// TestKind: the head of a line, in plain words where JSON has one of the trade's.
func TestKind(t *testing.T) {
	for kind, want := range map[align.Kind]string{align.KindFlexure: "Bend or creep", align.KindLowAltitude: "Aimed low", align.KindWrongRate: "Wrong rate"} {
		if got := Kind(string(kind)); got != want {
			t.Errorf("%s: %q, want %q", kind, got, want)
		}
	}
}

// TestQuantities: one form for each.
func TestQuantities(t *testing.T) {
	arc := unit.AngleFromMin
	for _, row := range []struct {
		v    any
		want string
	}{
		{arc(-0.05), "3″"}, {arc(0.8), "0.8′"}, {arc(48.2), "48′"}, {arc(100), "1.7°"},
		{say.Off{Value: arc(25), Sigma: arc(3)}, "25′ ± 3′"}, {say.Off{Value: arc(0.8), Sigma: arc(0.2)}, "0.8′ ± 0.2′"},
		{say.Off{Value: arc(8.4), Sigma: arc(8.3)}, "8.4′ ± 8.3′"}, {say.Off{Value: arc(96), Sigma: arc(58)}, "1.6° ± 1.0°"},
		{say.Off{Value: arc(25), Sigma: arc(0.4)}, "25.0′ ± 0.4′"}, {say.Off{Value: arc(12), Sigma: arc(0.02)}, "12.0′ ± 0.1′"}, {say.Off{Value: arc(0.5), Sigma: arc(0.05)}, "30″ ± 3″"}, {say.Off{Value: arc(0.02), Sigma: arc(0.004)}, "1″ ± 1″"},
		{say.Moons(arc(3.11)), "0.1 Moon widths"}, {say.Moons(arc(31.1)), "one Moon width"}, {say.Moons(arc(93.3)), "3.0 Moon widths"},
		{30 * time.Second, "30 s"}, {4200 * time.Millisecond, "4.2 s"}, {5 * time.Second, "5 s"}, {10 * time.Minute, "10 min"}, {time.Hour, "60 min"},
		{say.Longest(time.Hour), "an hour and more"}, {say.Longest(41 * time.Second), "41 s"},
		{say.Wait(20 * time.Second), "one minute"}, {say.Wait(3 * time.Minute), "3 minutes"},
		{say.Span(-3690 * time.Second), "1 h 1 min"}, {say.Span(-time.Hour), "an hour"}, {say.Offset(-90 * time.Minute), "-01:30"},
		{say.Times(2), "twice"}, {time.Date(2026, 11, 25, 22, 4, 30, 0, time.FixedZone("", 3600)), "21:04 UTC"},
		{say.Rate(unit.AngleFromSec(15.041)), "15″ a second"}, {say.Rate(unit.AngleFromSec(-0.041)), "0.04″ a second"}, {say.Wind(unit.AngleFromDeg(-50)), "north-west"}, {say.Wind(unit.AngleFromDeg(22)), "north"}, {say.Wind(unit.AngleFromDeg(23)), "north-east"}, {say.Wind(unit.AngleFromDeg(350)), "north"},
		{say.Pictures(1), "one picture"}, {say.Pictures(7), "7 pictures"}, {say.Share(0.31), "31 %"},
		{say.Degrees(unit.AngleFromDeg(25)), "25°"}, {say.Degrees(unit.AngleFromDeg(-3.24)), "-3.2°"},
		{say.Arcsec{Value: unit.AngleFromSec(44), Sigma: unit.AngleFromSec(1.2)}, "44.0 ± 1.2″"}, {say.Arcsec{Value: unit.AngleFromSec(0.58)}, "0.58″"},
		{say.Ratio{Value: 0.5, Sigma: 0.012}, "0.500 ± 0.012"}, {say.Ratio{Value: 1 / 1.0027379, Sigma: 1e-6}, "0.99727 ± 0.00001"}, {say.Hundredths(1.2), "1.20"}, {say.Pixels(1.24), "1.2 px"}, {say.Kilometres(3.21), "3.2 km"}, {say.Kilometres(1234), "1200 km"},
		{say.Place{LatitudeDeg: 50, LongitudeDeg: -3.456}, "50.00° N, 3.46° W"}, {say.Files{"a.jpg", "b.jpg", "c.jpg"}, "a.jpg and 2 more"},
		{say.All(say.Text("One."), say.Line{}, say.Text("Two.")), "One. Two."},
	} {
		if got := Quantity(row.v); got != row.want {
			t.Errorf("%v: %q, want %q", row.v, got, row.want)
		}
	}
}
