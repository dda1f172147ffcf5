package report

import (
	"fmt"
	"math"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/drift/wobble"
	"trueturn/ephem/say"
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
	caption, label string
	x, y, sigma    []float64
	stretch        []int
}

func (s series) panel() Figure {
	lx, ly := broken(s.x, s.y, s.stretch)
	return drawn(s.caption, plot.Chart{X: plot.Axis{Kind: plot.Time}, Y: plot.Axis{Label: s.label, Include: []float64{0}},
		Layers: []plot.Layer{plot.Line{X: lx, Y: ly}, plot.Points{X: s.x, Y: s.y, Sigma: s.sigma}, plot.Mark{At: 0}}})
}

// drawn is a chart that its caption tells to those who do not see it.
func drawn(caption string, c plot.Chart) Figure {
	c.Title = caption
	return Figure{c.SVG(), caption}
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
		s.Words = append(s.Words, words.Say("no creep from fewer than two"))
	case alone(c.stretch):
		s.Words = append(s.Words, words.Say("swings hide creep"))
	default:
		for _, p := range []series{
			{words.Say("panel: north"), "declination less the first’s, ″", x, c.north, c.northSigma, c.stretch},
			{words.Say("panel: east"), "right ascension × cos δ, less the first’s, ″", x, c.east, c.northSigma, c.stretch},
			{words.Say("panel: roll"), "roll less the first’s, ′", x, c.roll, nil, c.stretch},
		} {
			s.Figures = append(s.Figures, p.panel())
		}
	}
	s.leftOver(d)
	if len(s.Figures) > 0 && len(s.Words) == 0 {
		s.Words = []string{words.Say("how panels count")}
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
		{words.Say("panel: upward"), "height, ″", x, d.Drift.AltitudeArcsec, nil, d.Drift.Stretch},
		{words.Say("panel: sideways"), "to the right, ″", x, d.Drift.SidewaysArcsec, nil, d.Drift.Stretch},
	} {
		s.Figures = append(s.Figures, p.panel())
	}
	turn := series{words.Say("panel: turn"), "angle, ″", x, d.Drift.TurnArcsec, d.Drift.TurnSigmaArcsec, d.Drift.Stretch}
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
			s.Words = []string{or(d.Missing.Wobble, words.Say("wobble not measured"))}
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
	caption := words.Say("panel: wobble, with curve")
	if len(w.CurveMid) < 2 {
		caption = words.Say("panel: wobble")
	}
	return drawn(caption, plot.Chart{X: plot.Axis{Kind: plot.Time}, Y: plot.Axis{Label: "angle, ″", Include: []float64{0}},
		Layers: []plot.Layer{plot.Line{X: plot.Seconds(w.CurveMid), Y: w.CurveArcsec}, plot.Points{X: plot.Seconds(w.Mid), Y: w.Arcsec, Sigma: w.SigmaArcsec}}})
}

func (w Wobble) periodogram() Figure {
	periods := make([]float64, len(w.Frequencies))
	for i, f := range w.Frequencies {
		periods[i] = 1 / f
	}
	c := plot.Chart{X: plot.Axis{Label: "period, s", Kind: plot.Logarithmic}, Y: plot.Axis{Label: "share explained", Include: []float64{0, 1}},
		Layers: []plot.Layer{plot.Line{X: periods, Y: w.Spectrum}}}
	if w.State == wobble.Measured {
		c.Layers = append(c.Layers, plot.Mark{At: w.PeriodS, Upright: true, Text: words.Exposure(w.PeriodS)})
	}
	return drawn(words.Say("panel: periods"), c)
}

// fieldSection is the elongation over one picture.
func fieldSection(d Data) Section {
	s := Section{Name: "Elongation over the picture"}
	f := d.Field
	if f == nil || len(f.Stars) == 0 {
		s.Words = []string{or(d.Missing.Field, words.Say("no field"))}
		return s
	}
	p := plot.Field{Width: f.Width, Height: f.Height, Stars: f.Stars, Limit: words.Say("tolerance"), Sparse: words.Say("too few stars"), Empty: words.Say("too few stars")}
	if d.Exposure != nil {
		p.Tolerance = d.Exposure.MaxElongation
	}
	p.Name = words.Say("panel: field, too few", f.File)
	if least, most, ok := p.Ends(); ok && p.Tolerance > 1 && most > p.Tolerance {
		p.Name = words.Say("panel: field, longer framed", f.File, say.Hundredths(least), say.Hundredths(most))
	} else if ok {
		p.Name = words.Say("panel: field", f.File, say.Hundredths(least), say.Hundredths(most))
	}
	s.Figures = []Figure{{p.SVG(), p.Name}}
	return s
}

// exposureSection is the forecast by length.
func exposureSection(d Data) Section {
	s := Section{Name: "How long stars stay round"}
	e := d.Exposure
	if e == nil || len(e.Curve) == 0 {
		s.Words = []string{or(d.Missing.Exposure, words.Say("not forecast"))}
		return s
	}
	if limit := e.LimitedBy.Says(); e.LimitedBy != "" && !limit.None() {
		s.Words = append(s.Words, words.Say("the limit is", limit))
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
		ls = append(ls, plot.Mark{At: a.PlannedS, Upright: true, Text: words.Say("planned", say.Seconds(a.PlannedS))})
	}
	if a.LongestS != nil && *a.LongestS <= last && *a.LongestS > 0 {
		ls = append(ls, plot.Mark{At: *a.LongestS, Upright: true, Text: words.Say("longest", say.LongestOf(*a.LongestS))})
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
	tolerance := say.Hundredths(e.MaxElongation)
	return e.curve(words.Say("panel: elongation", hundredths(e.Share), tolerance), x, y, plot.Axis{Label: "elongation", Include: []float64{1}},
		plot.Mark{At: e.MaxElongation, Text: words.Say("tolerance of", tolerance)}, a)
}

func (e Exposure) shares(a *answer.ExposureJSON) Figure {
	x, _, y := e.columns()
	return e.curve(words.Say("panel: share"), x, y, plot.Axis{Label: "of 100 exposures", Include: []float64{0, 100}},
		plot.Mark{At: 100 * e.Share, Text: words.Say("wanted", hundredths(e.Share))}, a)
}

// curve is drawn through every length that was worked out, each with its dot: between them it is a guess.
func (e Exposure) curve(caption string, x, y []float64, over plot.Axis, wanted plot.Mark, a *answer.ExposureJSON) Figure {
	layers := append([]plot.Layer{plot.Line{X: x, Y: y}, plot.Points{X: x, Y: y}, wanted}, e.lengths(a)...)
	return drawn(caption, plot.Chart{X: e.axis(), Y: over, Layers: layers})
}

// hundredths is a share as a whole number of a hundred.
func hundredths(share float64) int { return int(math.Round(100 * share)) }

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
	v := &judgedView{Words: words.Say("so many are round", d.Judged.Round, d.Judged.Of), Advice: words.Line(d.Judged.Advice)}
	for _, c := range d.Judged.Causes {
		text := words.Say("part of the excess", say.Share(max(0, min(1, c.Share))))
		if !c.Says.None() {
			text += " " + words.Line(c.Says)
		}
		v.Causes = append(v.Causes, Fact{string(c.Cause), text})
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
	v.Count = words.Say("pictures used", len(v.Rows), used)
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
	if f, ok := rounds[file]; ok {
		return Fact{"verdict", words.Judged(f)}
	}
	return Fact{"verdict", "–"}
}
