package page

import (
	"bufio"
	"io"
	"strings"

	"rsc.io/qr"
)

// quiet is the empty margin a QR code needs, in modules: ISO/IEC 18004, 4 on every side.
const quiet = 4

// Code is a QR code to be drawn in a terminal.
type Code struct{ c *qr.Code }

// NewCode makes the code of a link. The error is of links too long, some thousand letters.
func NewCode(link string) (Code, error) {
	c, err := qr.Encode(link, qr.L)
	return Code{c}, err
}

// Width is how many columns of a terminal the code takes.
func (c Code) Width() int { return c.c.Size + 2*quiet }

// Write draws the code in half blocks, two modules a letter. What is light in the code is drawn in
// the terminal's ink, what is dark left to its ground: right way round on a dark terminal.
func (c Code) Write(w io.Writer) error {
	out := bufio.NewWriter(w)
	for y := -quiet; y < c.c.Size+quiet; y += 2 {
		var row strings.Builder
		for x := -quiet; x < c.c.Size+quiet; x++ {
			row.WriteString(c.block(x, y))
		}
		out.WriteString(row.String() + "\n")
	}
	return out.Flush()
}

// block is the letter of the module at x, y and the one below it.
func (c Code) block(x, y int) string {
	above, below := !c.c.Black(x, y), !c.c.Black(x, y+1) && y+1 < c.c.Size+quiet
	switch {
	case above && below:
		return "█"
	case above:
		return "▀"
	case below:
		return "▄"
	}
	return " "
}
