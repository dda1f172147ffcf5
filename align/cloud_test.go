package align

import (
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem/turn"
)

// TestClouded: a picture is clouded beside its neighbours, not beside the middle of the set.
func TestClouded(t *testing.T) {
	for _, c := range []struct {
		name  string
		stars []int
		field string // a letter a picture, for the field it was recognised in; a dot: not recognised; empty: none was
		want  string // x: clouded
	}{
		{"clear", []int{102, 95, 110, 90, 99, 105}, "", "......"},
		{"one", []int{102, 95, 20, 90, 99, 105}, "", "..x..."},
		{"a bank longer than half the set", []int{100, 98, 21, 22, 19, 23, 20, 25, 18, 22, 101, 103}, "", "..xxxxxxxx.."},
		{"the same, recognised all the same", []int{100, 98, 21, 22, 19, 23, 20, 25, 18, 22, 101, 103}, "aaaaaaaaaaaa", "..xxxxxxxx.."},
		{"to the end", []int{100, 98, 103, 97, 0, 0, 0, 0, 0}, "aaaa.....", "....xxxxx"},
		{"dusk", []int{12, 18, 25, 36, 50, 70, 95, 120}, "", "........"},
		{"dew", []int{120, 95, 75, 60, 48, 38, 30, 24}, "", "........"},
		{"dew, fast", []int{600, 461, 290, 189, 135, 91}, "aaaaaa", "......"},
		{"aimed at a poorer field", []int{200, 205, 198, 203, 60, 58, 63, 61}, "aaaabbbb", "........"},
		{"few stars tell nothing", []int{12, 14, 3, 11, 13}, "", "....."},
		{"lamps among pictures of stars", []int{60, 62, 400, 61, 58}, "aa.aa", "....."},
		{"one alone", []int{100}, "", "."},
	} {
		var shots []drift.Shot
		for i, n := range c.stars {
			s := drift.Shot{File: fmt.Sprint(i), Width: 1200, Height: 800}
			s.Field.Stars = make([]star.Star, n)
			if c.field != "" && c.field[i] != '.' {
				look := turn.Exp(r3.Vec{X: float64(c.field[i] - 'a')}) // a radian from field to field
				s.Solution = &solve.Solution{Pose: solve.Pose{Attitude: look, Lens: solve.Lens{FocalPx: 3000, Width: 1200, Height: 800}}, Sightings: make([]solve.Sighting, n)}
			}
			shots = append(shots, s)
		}
		var got strings.Builder
		for _, clouded := range Clouded(shots) {
			got.WriteString(map[bool]string{false: ".", true: "x"}[clouded])
		}
		if got.String() != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.String(), c.want)
		}
	}
}
