package page

import (
	"strings"
	"testing"
)

const sampleLink = "http://192.168.178.123:65535/AtzPPr8NbeoF3uTQ8FGfvg/"

// modules are what a phone sees of a code drawn on a dark terminal: true is light.
func modules(text string) [][]bool {
	var rows [][]bool
	for line := range strings.Lines(text) {
		var upper, lower []bool
		for _, r := range strings.TrimSuffix(line, "\n") {
			upper = append(upper, r == '█' || r == '▀')
			lower = append(lower, r == '█' || r == '▄')
		}
		rows = append(rows, upper, lower)
	}
	return rows
}

// TestCode: a quiet zone of four light modules all round, and the finder patterns in three corners: ISO/IEC 18004, a dark
// ring of 7 × 7, a light one, a dark middle of 3 × 3. That the modules between them spell the link is left to the library.
func TestCode(t *testing.T) {
	c, err := NewCode(sampleLink)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := c.Write(&b); err != nil {
		t.Fatal(err)
	}
	m := modules(b.String())
	wide := c.Width()
	const size = 29 // version 3: 53 letters at level L
	if wide != size+8 || len(m) != wide+1 {
		t.Fatalf("%d columns and %d rows of modules, want %d and %d", wide, len(m), size+8, size+9)
	}
	for y, row := range m {
		if len(row) != wide {
			t.Fatalf("row %d has %d modules, want %d", y, len(row), wide)
		}
		for x, light := range row {
			margin := x < 4 || y < 4 || x >= wide-4 || y >= wide-4
			if margin && y < wide && !light {
				t.Errorf("dark at %d, %d in the quiet zone", x, y)
			}
		}
	}
	for _, corner := range [][2]int{{4, 4}, {4 + size - 7, 4}, {4, 4 + size - 7}} {
		for y := range 7 {
			for x := range 7 {
				ring := max(x-3, 3-x, y-3, 3-y)
				if light := m[corner[1]+y][corner[0]+x]; light != (ring == 2) {
					t.Errorf("finder pattern at %v: light %v at %d, %d", corner, light, x, y)
				}
			}
		}
	}
}

// TestCodeTooLong: the standard ends at 2953 letters.
func TestCodeTooLong(t *testing.T) {
	if _, err := NewCode(strings.Repeat("x", 2954)); err == nil {
		t.Error("no error")
	}
}
