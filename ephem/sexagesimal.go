package ephem

import (
	"math"
	"strconv"
	"strings"
)

// Sexagesimal reads one number or up to three parts that are sixtieths of each other, each followed by any of the marks
// or parted by them: 83.633, -0:30:12, 43d30m12.5s. It gives the value in the unit of the first part and how many parts there
// were; only the last may have a fraction, and those after the first run below 60. False for anything else, a range
// is the caller's.
func Sexagesimal(s, marks string) (value float64, parts int, ok bool) {
	s = strings.ReplaceAll(strings.TrimSpace(s), "−", "-")
	magnitude := strings.TrimPrefix(strings.TrimPrefix(s, "-"), "+")
	fields := strings.FieldsFunc(magnitude, func(r rune) bool { return strings.ContainsRune(marks, r) })
	if len(fields) < 1 || len(fields) > 3 {
		return 0, 0, false
	}
	weight := 1.0
	for i, f := range fields {
		v, err := strconv.ParseFloat(f, 64)
		last := i == len(fields)-1
		if err != nil || !strings.ContainsAny(f[:1], ".0123456789") || i > 0 && v >= 60 || !last && v != math.Trunc(v) {
			return 0, 0, false
		}
		value += weight * v
		weight /= 60
	}
	if strings.HasPrefix(s, "-") {
		value = -value
	}
	return value, len(fields), true
}
