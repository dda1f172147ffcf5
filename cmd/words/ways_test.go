package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"trueturn/ephem/amiss"
)

// flag is how a flag looks in a text.
var flag = regexp.MustCompile(`(^|[^-\w])--[a-z]`)

// things are the names package amiss has for what can be given.
func things(t *testing.T) (all []amiss.Thing) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../../ephem/amiss/amiss.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok && len(v.Values) == 1 {
			name, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, amiss.Thing(name))
		}
		return true
	})
	return all
}

// TestEveryThing: each has words for both who type and who look at the page; only the first can name a flag.
func TestEveryThing(t *testing.T) {
	all := things(t)
	if len(all) < 10 {
		t.Fatalf("found %q alone", all)
	}
	for _, thing := range all {
		p, ok := given[thing]
		if !ok || p.flag == "" || p.page == "" {
			t.Errorf("the %s has no words", thing)
		}
		if flag.MatchString(p.page) {
			t.Errorf("the page says %q", p.page)
		}
	}
}

func TestWays(t *testing.T) {
	ways := []amiss.Way{{Act: "wait"}, {Thing: amiss.TimesAnew}}
	for _, row := range []struct {
		name string
		say  amiss.Voice
		ways []amiss.Way
		want string
	}{
		{"no way", Flags, nil, ""},
		{"an act", Flags, ways[:1], "wait"},
		{"flags", Flags, ways, "wait, or give the times with --times"},
		{"a value", Flags, []amiss.Way{{When: "if GPS is right", Thing: amiss.ClockOffset, Value: "-3600"}}, "if GPS is right, add --clock-offset -3600"},
		{"page", Page, ways, "wait, or give a table of times at the computer"},
	} {
		if got := row.say.List(row.ways); got != row.want {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}

// TestNoFlagBelow: what runs in a browser as well knows of no command line. Programs of their own have one.
func TestNoFlagBelow(t *testing.T) {
	read := 0
	for _, dir := range []string{"align", "drift", "ephem"} {
		err := filepath.WalkDir(filepath.Join("../..", dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, 0)
			if err != nil || file.Name.Name == "main" {
				return err
			}
			read++
			ast.Inspect(file, func(n ast.Node) bool {
				if text, ok := n.(*ast.BasicLit); ok && text.Kind == token.STRING && flag.MatchString(text.Value[1:]) {
					t.Errorf("%s: %s", set.Position(text.Pos()), text.Value)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if read < 150 {
		t.Errorf("looked into %d files only", read)
	}
}
