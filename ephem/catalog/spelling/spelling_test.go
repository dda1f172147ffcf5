package spelling_test

import (
	"testing"

	"trueturn/ephem/catalog/spelling"
)

func TestNearest(t *testing.T) {
	known := []string{"align", "simulate", "demo", "focal-length", "equivalent", "exposure", "Größe", "grey", "gray"}
	for _, row := range []struct{ name, typed, want string }{
		{"letters swapped", "algin", "align"},
		{"letter missing", "simulte", "simulate"},
		{"letter too many", "demoo", "demo"},
		{"letter changed", "grez", "grey"},
		{"beginning of a word", "foc", "focal-length"},
		{"capitals", "ALIGN", "align"},
		{"letters, not bytes", "größ", "Größe"},
		{"one letter in four: two of eight", "simuxxte", "simulate"},
		{"two of seven are too many", "siulxte", ""},
		{"nothing like it", "polish", ""},
		{"one letter, the beginning of a word or not", "d", ""},
		{"all its letters wrong", "xyz", ""},
		{"empty", "", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := ""
			if i := spelling.Nearest(row.typed, known); i >= 0 {
				got = known[i]
			}
			if got != row.want {
				t.Errorf("nearest to %q is %q, want %q", row.typed, got, row.want)
			}
		})
	}
	if got := spelling.Nearest("align", nil); got != -1 {
		t.Errorf("nearest of none is %d", got)
	}
}
