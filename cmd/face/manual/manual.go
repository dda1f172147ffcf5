// Package manual holds the chapters of the manual, each under the name that
// `trueturn help` shows it by. Start with [Topics].
//
// A chapter is a text file: its first line is "name: what it is about". Sessions
// that are shown stand two columns in and begin with "  $ "; TestReadme types them.
package manual

import (
	"embed"
	"strings"
)

//go:embed *.txt
var texts embed.FS

// order is the one a newcomer reads in. None is the name of a command.
var order = [...]string{
	"swing", "answer", "place", "long-lenses", "exposures", "night", "north", "page", "phone", "equipment", "formats", "limits", "care", "glossary", "credits",
}

// Topic is a chapter.
type Topic struct {
	Name  string // one word
	About string // what it is about, in a few
	Text  string // lines of at most 80 columns; the first is both of the above
}

// Topics are all chapters, in the order a newcomer reads in.
func Topics() []Topic {
	var all []Topic
	for _, name := range order {
		text, _ := texts.ReadFile(name + ".txt") // built in: TestTopics has opened each
		title, _, _ := strings.Cut(string(text), "\n")
		all = append(all, Topic{name, strings.TrimPrefix(title, name+": "), string(text)})
	}
	return all
}
