package ephem

import (
	"math"
	"testing"
)

// allMarks are those of every caller.
const allMarks = ":hdms°′″'\" "

// Angles as tables and headers write them. 18h36m56.3s, +38°47′01″ is Vega's place rounded (ESA, The Hipparcos Catalogue, 1997).
var sexagesimals = []struct {
	text  string
	value float64
	parts int // 0: refused
}{
	{"83.633", 83.633, 1},
	{" -70 ", -70, 1},
	{".5", 0.5, 1},
	{"5h", 5, 1},
	{"18:36:56.3", 18 + 36./60 + 56.3/3600, 3},
	{"18h36m56.3s", 18 + 36./60 + 56.3/3600, 3},
	{"+38°47′01″", 38 + 47./60 + 1./3600, 3},
	{"-43 59 13.2", -(43 + 59./60 + 13.2/3600), 3},
	{"-0:30", -0.5, 2}, // the sign counts before a nought
	{"−0:30:00", -0.5, 3},
	{"170d27.9m", 170.465, 2},
	{"", 0, 0},
	{"-", 0, 0},
	{"somewhere", 0, 0},
	{"12:60", 0, 0},
	{"12:-5", 0, 0},
	{"12.5:30", 0, 0},
	{"1 2 3 4", 0, 0},
	{"NaN", 0, 0},
	{"Inf:0", 0, 0},
	{"1e999", 0, 0},
}

func TestSexagesimal(t *testing.T) {
	const rounding = 1e-12
	for _, c := range sexagesimals {
		v, parts, ok := Sexagesimal(c.text, allMarks)
		if ok != (c.parts > 0) || parts != c.parts || math.Abs(v-c.value) > rounding {
			t.Errorf("%q: %v in %d parts, %t; want %v in %d", c.text, v, parts, ok, c.value, c.parts)
		}
	}
	if _, _, ok := Sexagesimal("5h30", ":"); ok {
		t.Error("a mark that is none of the caller's was read")
	}
}

func FuzzSexagesimal(f *testing.F) {
	for _, c := range sexagesimals {
		f.Add(c.text)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, parts, ok := Sexagesimal(s, allMarks)
		if math.IsNaN(v) || math.IsInf(v, 0) || ok != (parts >= 1 && parts <= 3) || !ok && v != 0 {
			t.Errorf("%q: %v in %d parts, %t", s, v, parts, ok)
		}
	})
}
