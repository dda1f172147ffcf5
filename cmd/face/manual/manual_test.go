package manual_test

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"trueturn/cmd/face/manual"
)

// TestTopics: every file is a chapter, and each reads well on a terminal of 80 columns.
func TestTopics(t *testing.T) {
	files, err := filepath.Glob("*.txt")
	if err != nil {
		t.Fatal(err)
	}
	var shown []string
	for _, topic := range manual.Topics() {
		shown = append(shown, topic.Name+".txt")
		if topic.About == "" || !strings.HasPrefix(topic.Text, topic.Name+": "+topic.About+"\n\n") {
			t.Errorf("%s: the first line is not its name and what it is about: %.60q", topic.Name, topic.Text)
		}
		if !strings.HasSuffix(topic.Text, "\n") || strings.HasSuffix(topic.Text, "\n\n") {
			t.Errorf("%s does not end with one line's end", topic.Name)
		}
		for i, line := range strings.Split(topic.Text, "\n") {
			if n := utf8.RuneCountInString(line); n > 80 {
				t.Errorf("%s.txt:%d: %d columns", topic.Name, i+1, n)
			}
			if strings.TrimRight(line, " ") != line || strings.ContainsRune(line, '\t') {
				t.Errorf("%s.txt:%d: a tab or a trailing blank", topic.Name, i+1)
			}
		}
	}
	slices.Sort(shown)
	if !slices.Equal(shown, files) {
		t.Errorf("shown are %v, the folder has %v", shown, files)
	}
}
