package report

import (
	_ "embed"
	"fmt"
	"io"
	"trueturn/align/answer"
	"trueturn/cmd/markup"

	"trueturn/cmd/plot"
	"trueturn/cmd/words"
)

//go:embed report.css
var style string

// HTML writes the report, which tells the place to 0.01° only. The error is the writer's.
func HTML(w io.Writer, d Data) error {
	d.Answer = d.Answer.Abroad()
	p := &markup.Page{}
	p.Raw("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n" + head)
	p.Element("title", titleOf(d))
	p.Block("style", func() { p.Raw(markup.Safe(plot.Style() + style)) })
	p.Raw("</head>\n<body>\n")
	p.Block("main", func() { body(p, d) })
	p.Raw("</body>\n</html>\n")
	_, err := io.WriteString(w, p.String())
	return err
}

// head is what a page that needs no network says of itself.
const head markup.Safe = `<meta charset="utf-8">
<style>html { background: #000; }</style>
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="dark">
<meta name="theme-color" content="#000000">
<meta name="referrer" content="no-referrer">
<link rel="icon" href="data:,">
`

// body is the report from the figure that matters to the pictures one by one.
func body(p *markup.Page, d Data) {
	p.Block("header", func() { heading(p, d) })
	if len(d.Answer.Situations) > 0 {
		titled(p, "What happened, and what to do", func() { troubles(p, d.Answer.Situations) })
	}
	titled(p, "The axis", func() { theAxis(p, axisOf(d)) })
	if j := judgedOf(d); j != nil {
		titled(p, "Exposures that were taken", func() {
			p.Element("p", j.Words)
			facts(p, j.Causes)
			optional(p, "p", j.Advice)
		})
	}
	for _, s := range Sections(d) {
		titled(p, s.Name, func() { s.Write(p) })
	}
	p.Block(`div class="closing"`, func() {
		titled(p, "Take care in the dark", func() { p.Block("ul", func() { p.Elements("li", Cautions()) }) })
		titled(p, "How this was measured", func() { p.Elements(`p class="small"`, methodOf(d)) })
	})
	titled(p, "The pictures", func() { pictures(p, framesOf(d)) })
}

func titled(p *markup.Page, title string, inside func()) {
	p.Block("section", func() {
		p.Element("h2", title)
		inside()
	})
}

func optional(p *markup.Page, tag markup.Safe, words string) {
	if words != "" {
		p.Element(tag, words)
	}
}

func heading(p *markup.Page, d Data) {
	h := headlineOf(d)
	p.Element(`p class="title"`, titleOf(d))
	p.Element("h1", h.Figure)
	optional(p, `p class="planned"`, h.Planned)
	optional(p, `p class="doing"`, h.Doing)
	if notes := notesOf(d); len(notes) > 0 {
		p.Block("ul", func() { p.Elements("li", notes) })
	}
}

func troubles(p *markup.Page, all []answer.Situation) {
	p.Block(`dl class="troubles"`, func() {
		for _, t := range all {
			p.Within("dt", func() {
				p.Text(words.Kind(t.Kind))
				if len(t.Files) > 0 {
					p.Raw(` <span class="files">from `)
					p.Text(t.Files[0])
					if len(t.Files) > 1 {
						p.Raw(" on")
					}
					p.Raw("</span>")
				}
			})
			p.Raw("\n")
			p.Element("dd", t.Text)
		}
	})
}

func theAxis(p *markup.Page, a axisView) {
	if a.Why != "" {
		p.Element("p", a.Why)
		return
	}
	p.Block(`div class="pair"`, func() {
		a.Azimuth.Write(p)
		a.Altitude.Write(p)
	})
	p.Elements(`p class="small"`, a.Words)
	facts(p, a.Facts)
}

// Write writes a section's words and drawings, below a title of the page's own.
func (s Section) Write(p *markup.Page) {
	p.Elements("p", s.Words)
	facts(p, s.Facts)
	if len(s.Figures) == 0 {
		return
	}
	p.Block(`div class="panels"`, func() {
		for _, f := range s.Figures {
			f.Write(p)
		}
	})
}

// Write writes a drawing with its caption.
func (f Figure) Write(p *markup.Page) {
	p.Block("figure", func() {
		p.Raw(f.Drawing)
		p.Element("figcaption", f.Caption)
	})
}

func facts(p *markup.Page, all []Fact) {
	if len(all) == 0 {
		return
	}
	p.Block(`dl class="facts"`, func() {
		for _, f := range all {
			p.Block("div", func() {
				p.Element("dt", f.Name)
				p.Element("dd", f.Value)
			})
		}
	})
}

func pictures(p *markup.Page, v framesView) {
	p.Element("p", v.Count)
	if len(v.Rows) == 0 {
		return
	}
	p.Block(`div class="scroll" role="region" aria-label="The pictures" tabindex="0"`, func() {
		p.Block("table", func() {
			p.Block("thead", func() { p.Block("tr", func() { p.Elements(`th scope="col"`, v.Heads) }) })
			for _, r := range v.Rows {
				p.Block("tbody", func() { r.write(p, len(v.Heads)) })
			}
		})
	})
}

func (r row) write(p *markup.Page, columns int) {
	p.Block("tr", func() {
		p.Within(`th scope="row"`, func() {
			p.Text(r.File)
			if !r.Used {
				p.Raw(` <span class="not">not used</span>`)
			}
		})
		p.Raw("\n")
		for _, c := range r.Cells {
			p.Element("td", c.Value)
		}
	})
	if r.Why != "" {
		p.Within(`tr class="why"`, func() {
			p.Within(markup.Safe(fmt.Sprintf(`td colspan="%d"`, columns)), func() { p.Within("span", func() { p.Text(r.Why) }) })
		})
		p.Raw("\n")
	}
}

// headline is the job's own figure and what to do.
type headline struct{ Figure, Doing, Planned string }

// Sections are the drawings of drift, wobble, field and exposure, in that order, for any page that shows them.
func Sections(d Data) []Section {
	return []Section{driftSection(d), wobbleSection(d), fieldSection(d), exposureSection(d)}
}

// Figure is a drawing with its caption.
type Figure struct {
	Drawing markup.Safe
	Caption string
}

// Fact is a name and a value in words.
type Fact struct{ Name, Value string }

// Section is drawings with a few words; without drawings the words say why.
type Section struct {
	Name    string
	Words   []string
	Facts   []Fact
	Figures []Figure
}

// axisView is the axis's section: the two tubes stand apart.
type axisView struct {
	Why               string // why there is none
	Words             []string
	Azimuth, Altitude Figure
	Facts             []Fact
}

// Cautions are the usual ones for work in the dark; whoever prints this job's results prints them too.
func Cautions() []string {
	return []string{
		"Keep clear of ledges, railings, drops and water; light your path with a red lamp.",
		"Set up in daylight; secure tripod and cables.",
		"Cold drains people and batteries: dress for it, keep your hands working, do not work alone in remote places.",
		"Never point optics near the Sun.",
		"Follow local rules (access, lasers, drones, protected areas) and the mount's manual.",
		"Electrical or structural work on a mount, pier or building is for licensed people under local codes.",
	}
}
