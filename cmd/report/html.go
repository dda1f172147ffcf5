package report

import (
	_ "embed"
	"html/template"
	"io"

	"trueturn/cmd/plot"
	"trueturn/cmd/legible"
	"trueturn/cmd/words"
)

//go:embed report.css
var style string

//go:embed report.html
var layout string

var page = template.Must(template.New("report").Funcs(template.FuncMap{"kind": words.Kind}).Parse(layout))

// HTML writes the report, which tells the place to 0.01° only. The error is the writer's.
func HTML(w io.Writer, d Data) error {
	d.Answer = d.Answer.Abroad()
	return page.Execute(legible.Lines(w), view{
		Style:    plot.Style() + template.CSS(style),
		Title:    titleOf(d),
		Headline: headlineOf(d),
		Axis:     axisOf(d),
		Sections: Sections(d),
		Judged:   judgedOf(d),
		Frames:   framesOf(d),
		Troubles: d.Answer.Situations,
		Notes:    notesOf(d),
		Cautions: Cautions(),
		Method:   methodOf(d),
	})
}

// view is what the layout shows: words and drawings, nothing left to count.
type view struct {
	Style    template.CSS
	Title    string
	Headline headline
	Axis     axisView
	Sections []Section
	Judged   *judgedView
	Frames   framesView
	Troubles any
	Notes    []string
	Cautions []string
	Method   []string
}

// headline is the job's own figure and what to do.
type headline struct{ Figure, Doing, Planned string }

// Sections are the drawings of drift, wobble, field and exposure, in that order, for any page that shows them.
func Sections(d Data) []Section {
	return []Section{driftSection(d), wobbleSection(d), fieldSection(d), exposureSection(d)}
}

// Figure is a drawing with its caption.
type Figure struct {
	Drawing template.HTML
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
