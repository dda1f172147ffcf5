package main

import (
	"context"

	"trueturn/cmd/study/sheet"
)

// part is one question with its answer.
type part struct {
	name string // as --part takes it
	what string // a line for the help
	run  func(ctx context.Context, o options, c *sheet.Chapter) error
}

// parts in the order of the page.
var parts = []part{
	{"stars", "Places of stars against the Cramér–Rao bound", stars},
	{"solve", "Recognising the sky, and never wrongly", solveStudy},
	{"attitude", "One picture's attitude and its stated error", attitudeStudy},
	{"axis", "The axis: scatter against the Cramér–Rao bound, and the stated error", axisStudy},
	{"minutes", "Minutes of pictures until the axis is known", minutesStudy},
}
