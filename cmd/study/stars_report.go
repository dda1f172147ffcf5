package main

import (
	"fmt"
	"math"

	"trueturn/cmd/study/sheet"
)

// The targets of the design, §7: isolated stars of signal-to-noise 20 to 200, 2 to 5 px wide.
const (
	starScatterLimit = 1.15
	starBiasLimitPx  = 0.01
)

// inTarget is whether the design's target speaks of a kind and a level.
func (k starKind) inTarget(snr float64) bool {
	return k.apart == 0 && k.fwhm >= 2 && k.fwhm <= 5 && snr >= 20 && snr <= 200
}

func (k starKind) profileName() string {
	if k.moffat {
		return fmt.Sprintf("Moffat β=%d", starBeta)
	}
	return "Gaussian"
}

func (k starKind) name() string {
	n := fmt.Sprintf("%s, %g px", k.profileName(), k.fwhm)
	if k.trail > 0 {
		n += fmt.Sprintf(", trail %g px", k.trail)
	}
	if k.sky != starSky {
		n += ", dark sky"
	}
	if k.apart > 0 {
		n += fmt.Sprintf(", neighbour of %g its light at %g FWHM", k.ratio, k.apart)
	}
	return n
}

func starSay(c *sheet.Chapter) {
	c.Say(`Drawn: %d stars a picture in slots far apart, all signal-to-noise ratios mixed, at phases spread evenly over the
pixel; profiles integrated over the pixels; sky of %d electrons a pixel (dark: %d), read noise %g, photons by Poisson's law; nothing
rounded, nothing clipped. Measured: star.Find as it is, once a picture. Widths are FWHM of the profile before the pixels'
own width. Trails are straight and evenly lit; one picture's have all one direction.`, starSide*starSide, starSky, starDark, starSensor.ReadNoise)
	c.Say(`Signal-to-noise is light over its error when place, shape and sky are known, with the star's own photons in the noise. The bound is
Cramér and Rao's for the place in each pixel phase, unknown besides: the light, three moments of shape and the level of the sky, and the same
of a neighbour. The pixels' noise is taken as known. Scatter is the root mean square about the truth of all stars that were found, wild
ones included, in units of the bound (whitened, so that trails count along and across alike). At a signal-to-noise of 5 and
10 those found are the lucky ones.`)
}

// starTargets holds the figures to the design.
func starTargets(c *sheet.Chapter, rows []starRow) {
	for _, trailed := range []bool{false, true} {
		name := "round"
		if trailed {
			name = "trailed"
		}
		what := fmt.Sprintf("isolated %s stars, S/N 20–200, 2–5 px", name)
		scatter, bias := starWorst(rows, trailed)
		if scatter.where == "" {
			continue // nothing of the kind was drawn
		}
		c.Target(sheet.Target{What: what + ": scatter over bound, worst of all cells (" + scatter.where + ")", Limit: fmt.Sprintf("≤ %g", starScatterLimit),
			Figure: sheet.PlusMinus(scatter.v, scatter.err, 3), Verdict: sheet.AtMost(scatter.v, scatter.err, starScatterLimit)})
		c.Target(sheet.Target{What: what + ": bias, px, worst of all widths (" + bias.where + ")", Limit: fmt.Sprintf("< %g", starBiasLimitPx),
			Figure: sheet.PlusMinus(bias.v, bias.err, 4), Verdict: sheet.AtMost(bias.v, bias.err, starBiasLimitPx)})
	}
}

// starExtreme is a figure with the place it comes from.
type starExtreme struct {
	starFigure
	where string
}

// starWorst looks for the largest scatter of a cell, and the largest bias of a kind: mean or phase, all levels of the target
// weighted together, for alone a cell's own error is too wide to tell a hundredth of a pixel.
func starWorst(rows []starRow, trailed bool) (scatter, bias starExtreme) {
	for i := range rows {
		r := &rows[i]
		if trailed != (r.kind.trail > 0) {
			continue
		}
		for l, snr := range starLevels {
			if f := r.levels[l].ratio(); r.kind.inTarget(snr) && f.v > scatter.v {
				scatter = starExtreme{f, fmt.Sprintf("%s, S/N %g", r.kind.name(), snr)}
			}
		}
		for _, f := range r.biases(starLevels) {
			if f.v = math.Abs(f.v); r.kind.inTarget(20) && f.v > bias.v {
				bias = starExtreme{f, r.kind.name()}
			}
		}
	}
	return scatter, bias
}

// biases are along, across and by phase, the levels of the target weighted together.
func (r *starRow) biases(levels []float64) (out [3]starFigure) {
	for k := range out {
		var sum, weight float64
		for l, snr := range levels {
			t := &r.levels[l]
			if f := t.biasOf(k); snr >= 20 && snr <= 200 && f.err > 0 {
				sum, weight = sum+f.v/(f.err*f.err), weight+1/(f.err*f.err)
			}
		}
		if weight > 0 {
			out[k] = starFigure{sum / weight, 1 / math.Sqrt(weight)}
		}
	}
	return out
}

func (t *starTally) biasOf(k int) starFigure {
	if k == 2 {
		return t.phaseBias()
	}
	return t.bias(k)
}

// starCell is what a table shows of a tally.
type starCell struct {
	caption string
	show    func(t *starTally) string
}

func starCells() []starCell {
	return []starCell{
		{"Scatter over bound.", func(t *starTally) string { f := t.ratio(); return sheet.PlusMinus(f.v, f.err, 2) }},
		{"The same by the median, which wild places do not move.", func(t *starTally) string { return sheet.Figure(t.core(), 3) }},
		{"The bound itself, px, an axis.", func(t *starTally) string { return sheet.Figure(t.best(), 2) }},
		{"Found, %.", func(t *starTally) string { return fmt.Sprintf("%.1f", 100*float64(t.found)/float64(t.drawn)) }},
		{"Error stated over scatter; under 1 is too small.", func(t *starTally) string { f := t.stated(); return sheet.PlusMinus(f.v, f.err, 2) }},
		{fmt.Sprintf("Stars more than %d stated errors from the truth, of all found.", starBeyond),
			func(t *starTally) string { return fmt.Sprintf("%d of %d", t.wild, t.found) }},
	}
}

func starTable(rows []starRow, levels []float64, cell starCell) sheet.Table {
	t := sheet.Table{Caption: cell.caption, Columns: []string{"S/N"}}
	for _, l := range levels {
		t.Columns = append(t.Columns, fmt.Sprintf("%g", l))
	}
	for i := range rows {
		row := []any{rows[i].kind.name()}
		for l := range levels {
			text := "–"
			if rows[i].levels[l].found > 1 {
				text = cell.show(&rows[i].levels[l])
			}
			row = append(row, text)
		}
		t.Row(row...)
	}
	return t
}

func starLoneTables(c *sheet.Chapter, rows []starRow) {
	c.Head("Isolated stars")
	for _, cell := range starCells() {
		c.Table(starTable(rows, starLevels, cell))
	}
	t := sheet.Table{Caption: "Bias, px, S/N 20–200 weighted together: the mean along x (of trails: along them) and y (across), and the amplitude of what the place within the pixel does.",
		Columns: []string{"", "along", "across", "phase", "false stars a megapixel"}}
	for i := range rows {
		b := rows[i].biases(starLevels)
		t.Row(rows[i].kind.name(), sheet.PlusMinus(b[0].v, b[0].err, 4), sheet.PlusMinus(b[1].v, b[1].err, 4), sheet.PlusMinus(b[2].v, b[2].err, 4), rows[i].falseRate())
	}
	c.Table(t)
}

// falseRate has Poisson's error.
func (r *starRow) falseRate() string {
	return sheet.PlusMinus(float64(r.wrong)/r.megapixels, math.Sqrt(math.Max(float64(r.wrong), 1))/r.megapixels, 2)
}

func starPairTables(c *sheet.Chapter, rows []starRow) {
	c.Head("Stars with a neighbour")
	c.Say("Along is toward the neighbour. A star and its neighbour found as one count as one of them missed; the star then is the nearer to what was found.")
	for _, cell := range starCells() {
		c.Table(starTable(rows, starPairLevels, cell))
	}
	c.Table(starTable(rows, starPairLevels, starCell{"The neighbour found too, %.", func(t *starTally) string {
		return fmt.Sprintf("%.1f", 100*float64(t.nearFound)/float64(t.nearDrawn))
	}}))
	c.Table(starTable(rows, starPairLevels, starCell{"Bias toward the neighbour, px.", func(t *starTally) string {
		f := t.bias(0)
		return sheet.PlusMinus(f.v, f.err, 3)
	}}))
	t := sheet.Table{Caption: "False stars.", Columns: []string{"", "a megapixel"}}
	for i := range rows {
		t.Row(rows[i].kind.name(), rows[i].falseRate())
	}
	c.Table(t)
}

// starCharts draws scatter over bound, a curve a width, for round and trailed stars of either profile.
func starCharts(c *sheet.Chapter, rows []starRow) {
	for _, moffat := range []bool{false, true} {
		for _, trail := range starTrails {
			ch := sheet.Chart{X: sheet.Axis{Label: "signal-to-noise", Log: true}, Y: sheet.Axis{Label: "scatter over bound", Include: []float64{0.9, 1.4}},
				Lines: []sheet.Line{{At: starScatterLimit, Name: "target"}, {At: 1, Name: "bound"}}}
			for i := range rows {
				if k := rows[i].kind; k.moffat == moffat && k.trail == trail && k.sky == starSky {
					ch.Series = append(ch.Series, rows[i].curve())
				}
			}
			if len(ch.Series) == 0 {
				continue
			}
			k := starKind{moffat: moffat}
			ch.Title = fmt.Sprintf("%s, trail %g px: scatter of isolated stars", k.profileName(), trail)
			c.Chart(fmt.Sprintf("stars-%s-%g", map[bool]string{false: "gaussian", true: "moffat"}[moffat], trail), ch)
		}
	}
}

func (r *starRow) curve() sheet.Series {
	s := sheet.Series{Name: fmt.Sprintf("%g px", r.kind.fwhm)}
	for l, snr := range starLevels {
		if f := r.levels[l].ratio(); r.levels[l].found > 1 {
			s.X, s.Y, s.Sigma = append(s.X, snr), append(s.Y, f.v), append(s.Sigma, f.err)
		}
	}
	return s
}
