package simulate

import (
	"fmt"
	"math"
)

// InvalidError refuses an evening that cannot be rendered. It names the field
// at fault; use errors.As to tell it from failures of rendering.
type InvalidError struct {
	Field   string // as in the struct, e.g. "Camera.FocalPx"
	Problem string // what is wrong with it, with its value
	hint    string
}

func (e *InvalidError) Error() string { return e.Field + " " + e.Problem }

// Hint says what would be accepted.
func (e *InvalidError) Hint() string { return e.hint }

// bounds is one number and what it may be.
type bounds struct {
	field    string
	value    float64
	min, max float64
	hint     string
}

// check refuses the first number that is not finite or out of its bounds.
func check(list []bounds) error {
	for _, b := range list {
		if math.IsNaN(b.value) || b.value < b.min || b.value > b.max {
			hint := b.hint
			if hint == "" {
				hint = fmt.Sprintf("choose a value from %g to %g", b.min, b.max)
			}
			return &InvalidError{b.field, fmt.Sprintf("is %g", b.value), hint}
		}
	}
	return nil
}
