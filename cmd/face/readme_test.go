package face

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"trueturn/cmd/face/manual"
)

// TestReadme runs every session that README.md and the manual show as a user
// would type it, all in one folder and in the order they are read in, and compares
// what is printed. An … stands for anything within a line, a line of … alone for
// any lines; a line too long for the manual goes on two columns in.
func TestReadme(t *testing.T) {
	t.Parallel()
	all := readmeSessions(t)
	for _, topic := range manual.Topics() {
		all = append(all, manualSessions(topic)...)
	}
	const shown = 17
	if len(all) != shown {
		t.Errorf("%d sessions are shown, want %d: change the number with them", len(all), shown)
	}
	dir := t.TempDir()
	for _, s := range all {
		words := strings.Fields(s.line)
		if words[0] != "trueturn" {
			t.Errorf("%s: $ %s: only trueturn is run here", s.where, s.line)
			continue
		}
		// Both streams, as on a terminal. Failures are shown there too, so the
		// exit code is not asked for.
		got, _ := program(t, dir, words[1:]...).CombinedOutput()
		if !elided(s.want).Match(trimEnds(got)) {
			t.Errorf("$ %s\nprinted\n%s\n%s says\n%s", s.line, got, s.where, s.want)
		}
	}
}

// session is a command line and what it prints.
type session struct {
	where, line, want string
}

func readmeSessions(t *testing.T) (all []session) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range regexp.MustCompile("(?ms)^```\n\\$ (.*?)\n(.*?)^```$").FindAllStringSubmatch(string(raw), -1) {
		all = append(all, session{"README.md", b[1], b[2]})
	}
	return all
}

// manualSessions are those of a topic: from a $ two columns in to the next line that
// is not. A backslash at its end continues the command line.
func manualSessions(topic manual.Topic) (all []session) {
	var now *session
	typing := false
	for line := range strings.Lines(topic.Text) {
		typed, begins := strings.CutPrefix(line, "  $ ")
		switch {
		case begins:
			all = append(all, session{where: "help " + topic.Name})
			now, typing = &all[len(all)-1], true
		case line != "\n" && !strings.HasPrefix(line, "  "):
			now = nil
		case !typing && now != nil:
			now.want += strings.TrimPrefix(line, "  ")
		default:
			typed = line
		}
		if typing {
			now.line += strings.TrimSuffix(strings.TrimSpace(typed), `\`)
			typing = strings.HasSuffix(typed, "\\\n")
		}
	}
	for i := range all {
		all[i].want = strings.TrimRight(all[i].want, "\n") + "\n"
	}
	return all
}

// TestManualSessions: a topic's sessions are found whole, whatever stands around them.
func TestManualSessions(t *testing.T) {
	text := "x: y\n\nWords.\n\n  trueturn live\n\n  $ trueturn a \\\n      --b c\n  one\n\n    two\n\n  $ trueturn d\n  …\n\nMore:\n\n  not printed\n"
	want := []session{{"help x", "trueturn a --b c", "one\n\n  two\n"}, {"help x", "trueturn d", "…\n"}}
	if got := manualSessions(manual.Topic{Name: "x", Text: text}); !slices.Equal(got, want) {
		t.Errorf("found %+v\nwant  %+v", got, want)
	}
}

// TestReferences: chapters and commands that texts send the reader to are there.
func TestReferences(t *testing.T) {
	known := map[string]bool{"TOPIC": true}
	for _, c := range newFace(os.Stdout, os.Stderr).rootCommand().Commands() {
		known[c.Name()] = true
	}
	for _, topic := range manual.Topics() {
		if known[topic.Name] {
			t.Errorf("%s is the name of a command", topic.Name)
		}
		known[topic.Name] = true
	}
	mentions := 0
	for _, pattern := range []string{"*.go", "*/*.go", "*/*.txt", "../../*.md", "page/web/*"} {
		paths, _ := filepath.Glob(pattern)
		for _, path := range paths {
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range regexp.MustCompile(`trueturn\s+help\s+([a-zA-Z][a-zA-Z-]*)`).FindAllStringSubmatch(string(raw), -1) {
				mentions++
				if !known[m[1]] && !strings.HasSuffix(path, "_test.go") {
					t.Errorf("%s sends the reader to %q", path, m[0])
				}
			}
		}
	}
	if mentions < 5 {
		t.Errorf("only %d mentions of chapters were found", mentions)
	}
}

// TestCautions: the README gives the cautions of "help care" in full.
func TestCautions(t *testing.T) {
	care, _ := chapter("care")
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	words := func(text string) string {
		return strings.Join(strings.Fields(regexp.MustCompile(`(?m)\*\*|^- `).ReplaceAllString(text, "")), " ")
	}
	_, care, _ = strings.Cut(care, "\n\n")
	if !strings.Contains(words(string(readme)), words(care)) {
		t.Errorf("the README does not say\n%s", care)
	}
}

// trimEnds takes blanks off the ends of lines, where texts must not have them.
func trimEnds(text []byte) []byte {
	return regexp.MustCompile(`(?m)[ \t]+$`).ReplaceAll(text, nil)
}

// elided is the pattern a text with … and folded lines stands for.
func elided(text string) *regexp.Regexp {
	var pattern strings.Builder
	for line := range strings.Lines(text) {
		if line == "…\n" {
			pattern.WriteString(`(?:.*\n)*`)
			continue
		}
		pattern.WriteString(strings.ReplaceAll(regexp.QuoteMeta(line), "…", `.*`))
	}
	return regexp.MustCompile(`^` + strings.ReplaceAll(pattern.String(), "\n  ", "(?:\n  | )") + `$`)
}

// TestElided holds the comparison itself to what it promises: a test of the
// texts that lets anything pass would be worth nothing.
func TestElided(t *testing.T) {
	for _, row := range []struct {
		name, want, got string
		match           bool
	}{
		{"same", "a\nb\n", "a\nb\n", true},
		{"other", "a\nb\n", "a\nc\n", false},
		{"more", "a\n", "a\nb\n", false},
		{"less", "a\nb\n", "a\n", false},
		{"within a line", "a…c\n", "abbbc\n", true},
		{"not across lines", "a…c\n", "a\nc\n", false},
		{"lines", "a\n…\nd\n", "a\nb\nc\nd\n", true},
		{"no line", "a\n…\nd\n", "a\nd\n", true},
		{"last line other", "a\n…\nd\n", "a\nb\nc\n", false},
		{"folded", "a\n  b\n", "a b\n", true},
		{"two columns in", "a\n  b\n", "a\n  b\n", true},
		{"folded elsewhere", "a\nb\n", "a b\n", false},
		{"signs are themselves", "a.c (±)\n", "abc (±)\n", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := elided(row.want).MatchString(row.got); got != row.match {
				t.Errorf("%q matches %q: %v, want %v", row.want, row.got, got, row.match)
			}
		})
	}
}
