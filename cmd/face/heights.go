package face

import (
	"fmt"
	"math"
	"strings"
	"time"
	"trueturn/cmd/markup"

	"trueturn/cmd/kit"
	"trueturn/cmd/plot"
)

// heights are how high target, Moon and Sun stand over a night, at instants evenly spaced.
type heights struct {
	at                   []time.Time
	target, moon, sun    []float64 // degrees; target nil where none was named
	name                 string    // of the target
	limitDeg             float64   // below which the target is not photographed
	darkFrom, darkTo     time.Time // zero where there is no darkness
	windowFrom, windowTo time.Time // zero where the target is never above the limit in the dark
	zone                 *time.Location
}

// Altitudes of the Sun, in degrees, at which the day ends and the darkness begins.
const (
	sunDownDeg = -50.0 / 60
	darkDeg    = -18
)

// The terminal plot: a step of height to each line, from the horizon to the zenith.
const (
	plotRows    = 12
	plotMargin  = 5 // columns left of the frame, for the height
	leastPlot   = 30
	degPerRow   = 90.0 / plotRows
	signTarget  = '*'
	signMoon    = 'o'
	signLimit   = '-'
	signDark    = '#'
	signTwilit  = ':'
	signDaylit  = ' '
	hourColumns = 6 // at least, from one written hour to the next
)

// terminal draws the heights with plain characters, so many columns wide: one line for every 7.5° of height, the hours
// and the darkness beneath, and what the signs mean. It needs no colour.
func (h heights) terminal(columns int) []string {
	if len(h.at) < 2 {
		return nil
	}
	n := max(columns, leastPlot) - plotMargin - 1
	grid := make([][]rune, plotRows)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", n))
	}
	h.ruleLimit(grid, n)
	h.trace(grid, h.moon, signMoon)
	h.trace(grid, h.target, signTarget)
	var lines []string
	for r, row := range grid {
		label := ""
		if top := 90 - float64(r)*degPerRow; math.Mod(top, 15) == 0 {
			label = fmt.Sprintf("%.0f°", top)
		}
		lines = append(lines, fmt.Sprintf("%*s|%s", plotMargin-1, label, strings.TrimRight(string(row), " ")))
	}
	lines = append(lines, fmt.Sprintf("%*s+%s", plotMargin-1, "0°", strings.TrimRight(h.darkness(n), " ")), h.hours(n))
	return append(lines, h.legend(columns)...)
}

// row is the line a height belongs to, −1 below the horizon.
func plotRow(deg float64) int {
	if !(deg >= 0) {
		return -1
	}
	return max(0, plotRows-1-int(deg/degPerRow))
}

func (h heights) ruleLimit(grid [][]rune, n int) {
	if r := plotRow(h.limitDeg); r >= 0 && h.target != nil {
		for c := range n {
			grid[r][c] = signLimit
		}
	}
}

func (h heights) trace(grid [][]rune, deg []float64, sign rune) {
	for c := range grid[0] {
		if r := plotRow(h.value(deg, c, len(grid[0]))); r >= 0 {
			grid[r][c] = sign
		}
	}
}

// value is what a series has at the middle of a column.
func (h heights) value(series []float64, column, columns int) float64 {
	if len(series) < 2 {
		return math.NaN()
	}
	x := (float64(column) + 0.5) / float64(columns) * float64(len(series)-1)
	i := min(int(x), len(series)-2)
	return series[i] + (x-float64(i))*(series[i+1]-series[i])
}

// darkness is the strip at the horizon.
func (h heights) darkness(n int) string {
	var b strings.Builder
	for c := range n {
		switch sun := h.value(h.sun, c, n); {
		case sun <= darkDeg:
			b.WriteRune(signDark)
		case sun <= sunDownDeg:
			b.WriteRune(signTwilit)
		default:
			b.WriteRune(signDaylit)
		}
	}
	return b.String()
}

// hours writes the full hours beneath the columns they fall on, as many as there is room for.
func (h heights) hours(n int) string {
	first, last := h.at[0], h.at[len(h.at)-1]
	span := last.Sub(first)
	every := 1
	for _, e := range []int{1, 2, 3, 4, 6, 12} {
		every = e
		if float64(n)*float64(e)*float64(time.Hour)/float64(span) >= hourColumns {
			break
		}
	}
	line := []rune(strings.Repeat(" ", n+plotMargin+1))
	local := first.In(h.zone)
	for t := time.Date(local.Year(), local.Month(), local.Day(), local.Hour(), 0, 0, 0, h.zone); !t.After(last); t = t.Add(time.Hour) {
		c := plotMargin + int(float64(n)*float64(t.Sub(first))/float64(span))
		if t.Before(first) || t.Hour()%every != 0 || c+2 > len(line) {
			continue
		}
		copy(line[c:], []rune(fmt.Sprintf("%02d", t.Hour())))
	}
	return strings.TrimRight(string(line), " ")
}

// legend says what the signs mean.
func (h heights) legend(columns int) []string {
	items := []string{fmt.Sprintf("hours %s.", h.zoneWords())}
	if h.target != nil {
		items = append(items, fmt.Sprintf("%c %s", signTarget, h.name), fmt.Sprintf("%c limit %.0f°", signLimit, h.limitDeg))
	}
	items = append(items, fmt.Sprintf("%c Moon", signMoon), fmt.Sprintf("%c dark", signDark), fmt.Sprintf("%c twilight", signTwilit))
	width := max(columns, leastPlot) - plotMargin
	lines, line := []string(nil), ""
	for _, it := range items {
		if line != "" && seen(line)+2+seen(it) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += "  "
		}
		line += it
	}
	lines = append(lines, line)
	for i, l := range lines {
		r := []rune(l) // a long name is cut rather than let break the drawing
		lines[i] = strings.Repeat(" ", plotMargin) + string(r[:min(len(r), width)])
	}
	return lines
}

// zoneWords name the clock the times of the night are told by.
func (h heights) zoneWords() string { return kit.ZoneWords(h.zone, h.at[0], h.at[len(h.at)-1]) }

// chart draws the heights as SVG.
func (h heights) chart(detail string) markup.Safe {
	x := plot.Seconds(h.at)
	var layers []plot.Layer
	span := func(from, to time.Time, text string) {
		if !from.IsZero() && !to.IsZero() {
			s := plot.Seconds([]time.Time{from, to})
			layers = append(layers, plot.Span{From: s[0], To: s[1], Text: text})
		}
	}
	span(h.darkFrom, h.darkTo, "dark")
	title := "Height of the Moon through the night"
	layers = append(layers, plot.Line{X: x, Y: aboveHorizon(h.moon), Dashed: true})
	if h.target != nil {
		title = "Height of " + h.name + " through the night"
		layers = append(layers, plot.Line{X: x, Y: aboveHorizon(h.target)}, plot.Mark{At: h.limitDeg, Text: fmt.Sprintf("limit %.0f°", h.limitDeg)})
	}
	if !h.windowFrom.IsZero() {
		for i, t := range plot.Seconds([]time.Time{h.windowFrom, h.windowTo}) {
			layers = append(layers, plot.Mark{At: t, Upright: true, Text: [...]string{"from here", "to here"}[i]})
		}
	}
	return plot.Chart{
		Title: title, Detail: detail, Width: 720, Height: 360,
		X: plot.Axis{Kind: plot.Time, Zone: h.zone, ZoneWords: h.zoneWords(), Include: []float64{x[0], x[len(x)-1]}}, Y: plot.Axis{Label: "height, degrees; the Moon dashed", Include: []float64{0, 90}},
		Layers: layers,
	}.SVG()
}

// aboveHorizon leaves out what stands below it.
func aboveHorizon(deg []float64) []float64 {
	out := make([]float64, len(deg))
	for i, d := range deg {
		out[i] = d
		if d < 0 {
			out[i] = math.NaN()
		}
	}
	return out
}
