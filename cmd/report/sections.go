package report

import (
	"fmt"
	"math"
	"strings"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/drift/wobble"
)

// or is the first that says something.
func or(list ...string) string {
	for _, w := range list {
		if w != "" {
			return w
		}
	}
	return ""
}

// series is a quantity in time, one panel.
type series struct {
	title, label, detail string
	x, y, sigma          []float64
	stretch              []int
}

func (s series) panel() Figure {
	lx, ly := broken(s.x, s.y, s.stretch)
	c := plot.Chart{Title: s.title, Detail: s.detail, X: plot.Axis{Kind: plot.Time}, Y: plot.Axis{Label: s.label, Include: []float64{0}},
		Layers: []plot.Layer{plot.Line{X: lx, Y: ly}, plot.Points{X: s.x, Y: s.y, Sigma: s.sigma}, plot.Mark{At: 0}}}
	return Figure{c.SVG(), s.title + ". " + s.detail}
}

// known is whether anything of it can be drawn.
func (s series) known() bool {
	for _, v := range s.y {
		if finite(v) {
			return true
		}
	}
	return false
}

// driftSection is what crept over the sky, and what the axis leaves over.
func driftSection(d Data) Section {
	s := Section{Name: "Drift, picture by picture"}
	c := creptOf(d.Answer.Frames)
	x := plot.Seconds(c.mid)
	switch {
	case len(c.mid) < 2:
		s.Words = append(s.Words, "Fewer than two pictures were used, so no creep can be seen.")
	case alone(c.stretch):
		s.Words = append(s.Words, "The axis was swung or the camera re-aimed between most pictures; so creep cannot be seen from one to the next.")
	default:
		for _, p := range []series{
			{"North and south", "declination less the first’s, ″", "How far the middle of the picture crept over the sky; up is north.", x, c.north, c.northSigma, c.stretch},
			{"East and west", "right ascension × cos δ, less the first’s, ″", "How far it crept the other way; up is east.", x, c.east, c.northSigma, c.stretch},
			{"Turning of the picture", "roll less the first’s, ′", "How far the camera turned about its line of sight; up is from north toward east.", x, c.roll, nil, c.stretch},
		} {
			s.Figures = append(s.Figures, p.panel())
		}
	}
	s.leftOver(d)
	if len(s.Figures) > 0 && len(s.Words) == 0 {
		s.Words = []string{"Bars are one standard error. Where the axis was swung or the camera re-aimed, the count begins anew."}
	}
	return s
}

// leftOver adds the panels of the fit.
func (s *Section) leftOver(d Data) {
	if d.Drift == nil || len(d.Drift.Mid) == 0 {
		return
	}
	x := plot.Seconds(d.Drift.Mid)
	for _, p := range []series{
		{"Left over upward", "height, ″", "How much higher the camera looks than the fitted axis says.", x, d.Drift.AltitudeArcsec, nil, d.Drift.Stretch},
		{"Left over sideways", "to the right, ″", "How much farther right it looks than the fitted axis says.", x, d.Drift.SidewaysArcsec, nil, d.Drift.Stretch},
	} {
		s.Figures = append(s.Figures, p.panel())
	}
	turn := series{"Turn about the axis, less a steady rate", "angle, ″", "What the gear did; each stretch about its own mean.", x, d.Drift.TurnArcsec, d.Drift.TurnSigmaArcsec, d.Drift.Stretch}
	if turn.known() && !alone(d.Drift.Stretch) {
		s.Figures = append(s.Figures, turn.panel())
	}
}

// wobbleSection is the gear.
func wobbleSection(d Data) Section {
	s := Section{Name: "Wobble of the gear", Facts: periodicFacts(d.Answer.PeriodicError, d.Wobble)}
	if p := d.Answer.PeriodicError; p != nil && p.Note != "" {
		s.Words = append(s.Words, sentence(p.Note))
	}
	w := d.Wobble
	if w == nil {
		if len(s.Words) == 0 {
			s.Words = []string{or(d.Missing.Wobble, "Not measured: it takes pictures over more than one turn of the worm, some eight to fifteen minutes, hands off.")}
		}
		return s
	}
	if !w.Note.None() && len(s.Words) == 0 {
		s.Words = append(s.Words, words.Line(w.Note))
	}
	if len(w.Mid) > 0 {
		s.Figures = append(s.Figures, w.inTime())
	}
	if len(w.Frequencies) > 1 {
		s.Figures = append(s.Figures, w.periodogram())
	}
	return s
}

// periodicFacts are the answer's figures with the errors of the fit, where there are any.
func periodicFacts(p *answer.PeriodicJSON, w *Wobble) []Fact {
	if p == nil {
		return nil
	}
	if w == nil {
		w = &Wobble{}
	}
	fs := []Fact{{"state", p.State}}
	add := func(name string, v *float64, sigma float64, decimals int, of string) {
		switch {
		case v == nil:
		case finite(sigma) && sigma > 0:
			fs = append(fs, Fact{name, words.Within(*v, sigma, of)})
		default:
			fs = append(fs, Fact{name, digits(v, decimals) + of})
		}
	}
	add("period", p.PeriodS, w.PeriodSigmaS, 0, " s")
	add("from peak to peak, about the axis", p.PeakToPeakArcsec, w.PeakToPeakSigma.Sec(), 1, "″")
	add("fastest", p.MaxRateArcsecPerSec, w.MaxRateSigma, 2, "″ per second")
	return fs
}

func (w Wobble) inTime() Figure {
	title, detail := "Angle about the axis, less the steady rate", "Dots are pictures with one standard error, the curve is the fitted wobble."
	if len(w.CurveMid) < 2 {
		detail = "Dots are pictures with one standard error."
	}
	c := plot.Chart{Title: title, Detail: detail, X: plot.Axis{Kind: plot.Time}, Y: plot.Axis{Label: "angle, ″", Include: []float64{0}},
		Layers: []plot.Layer{plot.Line{X: plot.Seconds(w.CurveMid), Y: w.CurveArcsec}, plot.Points{X: plot.Seconds(w.Mid), Y: w.Arcsec, Sigma: w.SigmaArcsec}}}
	return Figure{c.SVG(), title + ". " + detail}
}

func (w Wobble) periodogram() Figure {
	title := "Periodogram"
	detail := "For each period, the share of the scatter that a sine of it explains; 1 is all."
	periods := make([]float64, len(w.Frequencies))
	for i, f := range w.Frequencies {
		periods[i] = 1 / f
	}
	c := plot.Chart{Title: title, Detail: detail, X: plot.Axis{Label: "period, s", Kind: plot.Logarithmic}, Y: plot.Axis{Label: "share explained", Include: []float64{0, 1}},
		Layers: []plot.Layer{plot.Line{X: periods, Y: w.Spectrum}}}
	if w.State == wobble.Measured {
		c.Layers = append(c.Layers, plot.Mark{At: w.PeriodS, Upright: true, Text: fmt.Sprintf("%.0f s", w.PeriodS)})
	}
	return Figure{c.SVG(), title + ". " + detail}
}

// fieldSection is the elongation over one picture.
func fieldSection(d Data) Section {
	s := Section{Name: "Elongation over the picture"}
	f := d.Field
	if f == nil || len(f.Stars) == 0 {
		s.Words = []string{or(d.Missing.Field, "Not drawn: no picture with measured stars was given.")}
		return s
	}
	detail := fmt.Sprintf("%s: each stroke lies along a star, and is longer the longer the star; round stars are dots.", f.File)
	k := 0.0
	if d.Exposure != nil {
		k = d.Exposure.MaxElongation
	}
	p := plot.Field{Name: "Elongation over the picture", Detail: detail, Width: f.Width, Height: f.Height, Whiskers: f.Stars, Key: k}
	s.Figures = []Figure{{p.SVG(), detail}}
	return s
}

// exposureSection is the forecast by length.
func exposureSection(d Data) Section {
	s := Section{Name: "How long stars stay round"}
	e := d.Exposure
	if e == nil || len(e.Curve) == 0 {
		s.Words = []string{or(d.Missing.Exposure, "Not forecast: it takes an axis, the lens and the width of a star.")}
		return s
	}
	if e.LimitedBy != "" {
		s.Words = append(s.Words, sentence("limited by "+string(e.LimitedBy)))
	}
	if !e.Advice.None() {
		s.Words = append(s.Words, words.Line(e.Advice))
	}
	s.Figures = []Figure{e.elongations(d.Answer.Exposure), e.shares(d.Answer.Exposure)}
	for _, r := range []struct {
		name string
		s    *float64
	}{{"500 rule, standing tripod", e.Rules.Rule500S}, {"NPF rule, standing tripod", e.Rules.NPFS}} {
		if r.s != nil {
			s.Facts = append(s.Facts, Fact{r.name, words.Exposure(*r.s)})
		}
	}
	if len(s.Facts) > 0 {
		s.Words = append(s.Words, words.RulesDiffer)
	}
	return s
}

// lengths are the marks of planned and longest exposure, where they are known and on the curve.
func (e Exposure) lengths(a *answer.ExposureJSON) []plot.Layer {
	if a == nil {
		return nil
	}
	last := e.Curve[len(e.Curve)-1].ExposureS
	var ls []plot.Layer
	if a.PlannedS > 0 && a.PlannedS <= last {
		ls = append(ls, plot.Mark{At: a.PlannedS, Upright: true, Text: "planned " + words.Exposure(a.PlannedS)})
	}
	if a.LongestS != nil && *a.LongestS <= last && *a.LongestS > 0 {
		ls = append(ls, plot.Mark{At: *a.LongestS, Upright: true, Text: "longest " + words.Longest(*a.LongestS)})
	}
	return ls
}

// axis is logarithmic: exposures double rather than add up.
func (e Exposure) axis() plot.Axis { return plot.Axis{Label: "exposure, s", Kind: plot.Logarithmic} }

func (e Exposure) columns() (length, elongation, share []float64) {
	for _, p := range e.Curve {
		length, elongation, share = append(length, p.ExposureS), append(elongation, p.Elongation), append(share, 100*p.ShareRound)
	}
	return length, elongation, share
}

func (e Exposure) elongations(a *answer.ExposureJSON) Figure {
	x, y, _ := e.columns()
	title := "Elongation by length of exposure"
	detail := fmt.Sprintf("Long axis over short at the worst place of the picture, not exceeded by %.0f of 100 exposures; the line at %.2f is the tolerance.", 100*e.Share, e.MaxElongation)
	layers := append([]plot.Layer{plot.Line{X: x, Y: y}, plot.Mark{At: e.MaxElongation, Text: fmt.Sprintf("tolerance %.2f", e.MaxElongation)}}, e.lengths(a)...)
	c := plot.Chart{Title: title, Detail: detail, X: e.axis(), Y: plot.Axis{Label: "elongation", Include: []float64{1}}, Layers: layers}
	return Figure{c.SVG(), title + ". " + detail}
}

func (e Exposure) shares(a *answer.ExposureJSON) Figure {
	x, _, y := e.columns()
	title := "Share of exposures that stay round"
	detail := "Of a hundred exposures of that length, begun at any moment of the wobble."
	layers := append([]plot.Layer{plot.Line{X: x, Y: y}, plot.Mark{At: 100 * e.Share, Text: fmt.Sprintf("wanted: %.0f", 100*e.Share)}}, e.lengths(a)...)
	c := plot.Chart{Title: title, Detail: detail, X: e.axis(), Y: plot.Axis{Label: "of 100 exposures", Include: []float64{0, 100}}, Layers: layers}
	return Figure{c.SVG(), title + ". " + detail}
}

// judgedView is what became of exposures taken.
type judgedView struct {
	Words  string
	Causes []Fact
	Advice string
}

func judgedOf(d Data) *judgedView {
	if d.Judged == nil {
		return nil
	}
	v := &judgedView{Words: fmt.Sprintf("%d of %d exposures are round.", d.Judged.Round, d.Judged.Of), Advice: words.Line(d.Judged.Advice)}
	for _, c := range d.Judged.Causes {
		v.Causes = append(v.Causes, Fact{string(c.Cause), strings.TrimSpace(words.Share(max(0, math.Min(1, c.Share))) + " of the excess. " + words.Line(c.Says))})
	}
	return v
}

// framesView is the table of pictures.
type framesView struct {
	Count string
	Heads []string
	Rows  []row
}

// row is one picture: cells in the order of the heads.
type row struct {
	File  string
	Used  bool
	Why   string
	Cells []Fact
}

func framesOf(d Data) framesView {
	v := framesView{Heads: []string{"picture"}}
	rounds := map[string]exposure.Judged{}
	if d.Judged != nil {
		for _, f := range d.Judged.Frames {
			rounds[f.File] = f
		}
	}
	used := 0
	for _, f := range d.Answer.Frames {
		r := row{File: f.File, Used: f.Used, Why: f.WhyNot, Cells: cellsOf(f)}
		if d.Judged != nil {
			r.Cells = append(r.Cells, roundCell(rounds, f.File))
		}
		if f.Used {
			used++
		}
		v.Rows = append(v.Rows, r)
	}
	v.Count = fmt.Sprintf("%d pictures, %d used for the axis.", len(v.Rows), used)
	if len(v.Rows) > 0 {
		for _, c := range v.Rows[0].Cells {
			v.Heads = append(v.Heads, c.Name)
		}
	}
	return v
}

func cellsOf(f answer.FrameJSON) []Fact {
	return []Fact{
		{"UTC", clock(f.MidUTC)},
		{"exposure, s", digits(f.ExposureS, 1)},
		{"known/seen", fmt.Sprintf("%d/%d", f.Matched, f.Stars)},
		{"scatter, px", digits(f.RMSPx, 2)},
		{"RA, °", digits(f.RADeg, 3)},
		{"Dec, °", digits(f.DecDeg, 3)},
		{"roll, °", rollOf(f.RollDeg)},
		{"scale, ″/px", digits(f.ScaleArcsecPx, 2)},
		{"width, px", digits(f.FWHMPx, 2)},
		{"elongation", digits(f.Elongation, 2)},
	}
}

// rollOf keeps rounding from making a full turn of nearly one.
func rollOf(v *float64) string {
	if s := digits(v, 2); s != "360.00" {
		return s
	}
	return "0.00"
}

func roundCell(rounds map[string]exposure.Judged, file string) Fact {
	f, ok := rounds[file]
	words := "–"
	switch {
	case ok && f.Round:
		words = "yes"
	case ok && f.Cause != "":
		words = "no: " + string(f.Cause)
	case ok:
		words = "no"
	}
	return Fact{"round", words}
}
