package face

import (
	"fmt"
	"math"
	"strings"

	"trueturn/ephem/pole"
)

// panel is a drawing of signs: the plumb line through the pole down to the horizon, and the star beside it. A sign is half as wide
// as it is high.
type panel [panelHigh][panelWide]rune

const (
	panelWide, panelHigh = 35, 16
	poleColumn, poleRow  = panelWide / 2, 6
	starReach            = 12 // columns from the pole to the star
)

// drawPole shows the star by eye and as an inverting finder does, side by side.
func (f *face) drawPole(p found) {
	now, then := p.now(), p.views[len(p.views)-1]
	perArcmin := starReach / max(arc(now).Min(), arc(then).Min(), moonWidthArcmin) // columns
	eye, horizonRow, broken := drawn(now, then, perArcmin)
	finder := eye.turned()
	horizon := " horizon "
	if broken {
		horizon = fmt.Sprintf(" horizon %.1f° below ", now.Seen.Altitude.Deg())
	}
	eye.write(poleRow, poleColumn+3, "pole")
	eye.write(horizonRow, 1, horizon)
	finder.write(panelHigh-1-poleRow, poleColumn+3, "pole")
	finder.write(panelHigh-1-horizonRow, 1, " horizon ")
	const gap = "      "
	fmt.Fprintf(f.out, "%-*s%s%s\n\n", panelWide, "by eye, facing "+p.facing(), gap, "in an inverting finder")
	for row := range eye {
		line := string(eye[row][:]) + gap + string(finder[row][:])
		fmt.Fprintln(f.out, strings.TrimRight(line, " "))
	}
	legend := "* " + now.Star.Name + " now"
	if len(p.views) > 1 {
		legend += ", o in " + minutesLater(then.At.Sub(now.At))
	}
	bar := strings.Repeat("─", max(0, int(math.Round(moonWidthArcmin*perArcmin))-1))
	fmt.Fprintf(f.out, "\n%s   ├%s┤ one Moon width\n", legend, bar)
}

// drawn is what the eye sees. The horizon stands where it is if it is close enough to the pole, else at the end of a broken line.
func drawn(now, then pole.View, perArcmin float64) (p panel, horizonRow int, broken bool) {
	for row := range p {
		for column := range p[row] {
			p[row][column] = ' '
		}
	}
	horizonRow = panelHigh - 1
	if rows := math.Round(now.Seen.Altitude.Min() * perArcmin / 2); poleRow+rows < panelHigh-1 {
		horizonRow = poleRow + int(max(rows, 0))
	} else {
		broken = true
	}
	for row := range horizonRow {
		p[row][poleColumn] = '│'
	}
	for column := range panelWide {
		p[horizonRow][column] = '─'
	}
	if broken {
		p[horizonRow-2][poleColumn], p[horizonRow-1][poleColumn] = ':', 'v'
	}
	p[poleRow][poleColumn-1], p[poleRow][poleColumn], p[poleRow][poleColumn+1] = '─', '┼', '─'
	p.put(then, perArcmin, 'o')
	p.put(now, perArcmin, '*')
	return p, horizonRow, broken
}

func (p *panel) put(v pole.View, perArcmin float64, sign rune) {
	column := poleColumn + int(math.Round(v.Star.Right.Min()*perArcmin))
	row := poleRow - int(math.Round(v.Star.Up.Min()*perArcmin/2))
	if row >= 0 && row < panelHigh && column >= 0 && column < panelWide {
		p[row][column] = sign
	}
}

// turned is the panel upside down.
func (p panel) turned() (t panel) {
	for row := range p {
		for column, sign := range p[row] {
			if sign == 'v' {
				sign = '^'
			}
			t[panelHigh-1-row][panelWide-1-column] = sign
		}
	}
	return t
}

// write puts words into a row where they cover neither star nor line: at a column, else as far from the other end.
func (p *panel) write(row, column int, words string) {
	letters := []rune(words)
	for _, start := range []int{column, panelWide - column - len(letters)} {
		if p.free(row, start, len(letters)) {
			copy(p[row][start:], letters)
			return
		}
	}
}

func (p *panel) free(row, start, n int) bool {
	for _, sign := range p[row][start : start+n] {
		if sign != ' ' && sign != '─' {
			return false
		}
	}
	return true
}
