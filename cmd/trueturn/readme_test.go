package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestReadme runs every block of README.md that begins with $ as a user would
// type it, all in one folder, and compares what is printed. An … stands for
// anything within a line, a line of … alone for any lines.
func TestReadme(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?ms)^```\n\\$ (.*?)\n(.*?)^```$").FindAllStringSubmatch(string(raw), -1)
	if len(blocks) < 3 {
		t.Fatalf("README.md has %d blocks that begin with $, want 3 or more", len(blocks))
	}
	dir := t.TempDir()
	for _, b := range blocks {
		line, want := b[1], b[2]
		words := strings.Fields(line)
		if words[0] != "trueturn" {
			t.Errorf("$ %s: only trueturn is run here", line)
			continue
		}
		// Both streams, as on a terminal. Failures are shown there too, so the
		// exit code is not asked for.
		got, _ := program(t, dir, words[1:]...).CombinedOutput()
		if !elided(want).Match(trimEnds(got)) {
			t.Errorf("$ %s\nprinted\n%s\nREADME.md says\n%s", line, got, want)
		}
	}
}

// trimEnds takes blanks off the ends of lines, where a README must not have
// them.
func trimEnds(text []byte) []byte {
	return regexp.MustCompile(`(?m)[ \t]+$`).ReplaceAll(text, nil)
}

// elided is the pattern a text with … stands for.
func elided(text string) *regexp.Regexp {
	var pattern strings.Builder
	for line := range strings.Lines(text) {
		if line == "…\n" {
			pattern.WriteString(`(?:.*\n)*`)
			continue
		}
		pattern.WriteString(strings.ReplaceAll(regexp.QuoteMeta(line), "…", `.*`))
	}
	return regexp.MustCompile(`^` + pattern.String() + `$`)
}

// TestElided holds the comparison itself to what it promises: a test of the
// README that lets anything pass would be worth nothing.
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
		{"signs are themselves", "a.c (±)\n", "abc (±)\n", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := elided(row.want).MatchString(row.got); got != row.match {
				t.Errorf("%q matches %q: %v, want %v", row.want, row.got, got, row.match)
			}
		})
	}
}
