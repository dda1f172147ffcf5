package plot

import (
	_ "embed"
)

//go:embed plot.css
var style string

// Style is the style sheet of the drawings. It sets the variables --paper, --ink, --soft, --rule, --faint and --fill, which pages
// may use for the rest of their look: red on black, and dark on white for the printer. Contrast of all of them
// against --paper is tested.
func Style() string { return style }
