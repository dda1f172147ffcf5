package drift

import (
	"bytes"
	"math"
	"strconv"
)

// numbers is a row of numbers on paper: [1.5,2,null,"+Inf"]. JSON has no numbers for the last two,
// NaN and the infinities, yet an unknown error of a star may be one.
type numbers struct {
	v     []float64
	short bool // to the digits a float32 holds
}

func exactly(v ...float64) numbers { return numbers{v: v} }

// MarshalJSON writes the fewest digits that are read back as the same number.
func (n numbers) MarshalJSON() ([]byte, error) {
	out := append(make([]byte, 0, 16*len(n.v)+2), '[')
	for i, v := range n.v {
		if i > 0 {
			out = append(out, ',')
		}
		out = appendNumber(out, v, n.short)
	}
	return append(out, ']'), nil
}

func appendNumber(out []byte, v float64, short bool) []byte {
	switch {
	case math.IsNaN(v):
		return append(out, "null"...)
	case math.IsInf(v, 0):
		return strconv.AppendQuote(out, strconv.FormatFloat(v, 'g', -1, 64))
	case short && math.Abs(v) <= math.MaxFloat32:
		return strconv.AppendFloat(out, v, 'g', -1, 32)
	}
	return strconv.AppendFloat(out, v, 'g', -1, 64)
}

// UnmarshalJSON reads a row.
func (n *numbers) UnmarshalJSON(text []byte) error {
	text = bytes.TrimSpace(text)
	if bytes.Equal(text, []byte("null")) {
		return nil
	}
	if len(text) < 2 || text[0] != '[' || text[len(text)-1] != ']' {
		return noShot("a row of numbers")
	}
	n.v = nil
	if text = bytes.TrimSpace(text[1 : len(text)-1]); len(text) == 0 {
		return nil
	}
	n.v = make([]float64, 0, bytes.Count(text, []byte(","))+1)
	for word := range bytes.SplitSeq(text, []byte(",")) {
		v, err := numberOf(string(bytes.TrimSpace(word)))
		if err != nil {
			return noShot("a number")
		}
		n.v = append(n.v, v)
	}
	return nil
}

func numberOf(word string) (float64, error) {
	switch word {
	case "null":
		return math.NaN(), nil
	case `"+Inf"`:
		return math.Inf(1), nil
	case `"-Inf"`:
		return math.Inf(-1), nil
	}
	return strconv.ParseFloat(word, 64)
}

// these are the numbers, where there are as many as there must be.
func (n numbers) these(count int) ([]float64, bool) { return n.v, len(n.v) == count }

// finite is whether all are numbers to reckon with.
func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
