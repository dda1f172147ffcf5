package sheet

import (
	"fmt"
	"math"
	"strings"
)

// Table is a table of words and figures; the first column stands left, the others right.
type Table struct {
	Caption string
	Columns []string
	Rows    [][]string
}

// Row adds a row: strings as they are, whole numbers, and other numbers to three figures (see [Figure]).
func (t *Table) Row(cells ...any) {
	row := make([]string, len(cells))
	for i, c := range cells {
		switch v := c.(type) {
		case string:
			row[i] = v
		case float64:
			row[i] = Figure(v, 3)
		default:
			row[i] = fmt.Sprint(v)
		}
	}
	t.Rows = append(t.Rows, row)
}

// Figure is a number to so many figures, without powers of ten where these are not needed; – for one that is not known.
func Figure(v float64, figures int) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "–"
	case v == 0:
		return "0"
	}
	decimals := figures - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	return strings.Replace(fmt.Sprintf("%.*f", max(decimals, 0), v), "-", "−", 1)
}

// PlusMinus is a figure with its standard error, both to so many decimals.
func PlusMinus(v, err float64, decimals int) string {
	if math.IsNaN(v) {
		return "–"
	}
	return strings.Replace(fmt.Sprintf("%.*f ± %.*f", decimals, v, decimals, err), "-", "−", 1)
}

func (t *Table) markdown() string {
	var b strings.Builder
	if t.Caption != "" {
		b.WriteString(t.Caption + "\n\n")
	}
	line := func(cells []string) {
		b.WriteString("| " + strings.Join(cells, " | ") + " |\n")
	}
	line(t.Columns)
	b.WriteString("|---|" + strings.Repeat("---:|", max(len(t.Columns)-1, 0)) + "\n")
	for _, r := range t.Rows {
		line(escaped(r))
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// escaped keeps a bar in a cell from ending it.
func escaped(cells []string) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = strings.ReplaceAll(c, "|", `\|`)
	}
	return out
}
