package sheet

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"trueturn/cmd/trueturn/files"
)

// Book is the whole of what a run of the study found.
type Book struct {
	title    string
	head     []string
	chapters []*Chapter
}

// New is an empty book.
func New(title string) *Book { return &Book{title: title} }

// Head adds a paragraph beneath the title: what was run, and on what.
func (b *Book) Head(format string, a ...any) { b.head = append(b.head, fmt.Sprintf(format, a...)) }

// Add takes a finished chapter in.
func (b *Book) Add(c *Chapter) { b.chapters = append(b.chapters, c) }

// Chapter is one part of the study: paragraphs, tables and plots in the order they came, and the targets it was held to.
// The zero value but for the title is empty and ready.
type Chapter struct {
	Title   string
	body    []string
	plots   []plot
	targets []Target
}

type plot struct {
	name string
	svg  []byte
}

// Say adds a paragraph.
func (c *Chapter) Say(format string, a ...any) { c.body = append(c.body, fmt.Sprintf(format, a...)) }

// Head adds a heading within the chapter.
func (c *Chapter) Head(format string, a ...any) {
	c.body = append(c.body, "### "+fmt.Sprintf(format, a...))
}

// Table adds a table.
func (c *Chapter) Table(t Table) { c.body = append(c.body, t.markdown()) }

// Chart adds a plot, written to name.svg. Names must differ in all of a book: begin them with the part's.
func (c *Chapter) Chart(name string, ch Chart) {
	c.plots = append(c.plots, plot{name + ".svg", ch.SVG()})
	c.body = append(c.body, fmt.Sprintf("![%s](%s.svg)", ch.Title, name))
}

// Verdict is how a figure stands to its target.
type Verdict int

// The verdicts. Open is for figures too uncertain to say.
const (
	Pass Verdict = iota
	Miss
	Open
)

// String is the word in the table.
func (v Verdict) String() string { return [...]string{"pass", "**miss**", "open"}[v] }

// Target is a figure beside what it should be.
type Target struct {
	What, Limit, Figure string
	Verdict             Verdict
}

// Target adds a line to the table of targets, which stands first in the chapter and, with all others, first in the book.
func (c *Chapter) Target(t Target) { c.targets = append(c.targets, t) }

// AtMost judges a figure with its standard error against an upper limit: it passes or misses by two standard errors, and
// is open between.
func AtMost(figure, err, limit float64) Verdict {
	switch {
	case figure+2*err <= limit:
		return Pass
	case figure-2*err > limit:
		return Miss
	}
	return Open
}

func targetTable(chapters ...*Chapter) Table {
	t := Table{Columns: []string{"part", "what", "target", "measured", ""}}
	for _, c := range chapters {
		for _, g := range c.targets {
			t.Row(c.Title, g.What, g.Limit, g.Figure, g.Verdict.String())
		}
	}
	return t
}

// Markdown is the page.
func (b *Book) Markdown() []byte {
	parts := append([]string{"# " + b.title}, b.head...)
	if t := targetTable(b.chapters...); len(t.Rows) > 0 {
		parts = append(parts, "## Targets", t.markdown())
	}
	for _, c := range b.chapters {
		parts = append(append(parts, "## "+c.Title), c.body...)
	}
	return []byte(strings.Join(parts, "\n\n") + "\n")
}

// Save writes study.md and the plots into a folder, which it makes. The page comes last: where it stands, its plots do.
func (b *Book) Save(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, c := range b.chapters {
		for _, p := range c.plots {
			if err := write(filepath.Join(dir, p.name), p.svg); err != nil {
				return err
			}
		}
	}
	return write(filepath.Join(dir, "study.md"), b.Markdown())
}

// write puts a file in place at once or not at all.
func write(path string, content []byte) error {
	if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, content) {
		return nil
	}
	return files.Write(path, 0o644, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}
