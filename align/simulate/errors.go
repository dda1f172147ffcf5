package simulate

import (
	"errors"
	"fmt"
	"math"

	"trueturn/ephem/amiss"
)

// ErrInvalid: an evening that cannot be rendered. The text names the field at fault as in the struct, e.g. Camera.FocalPx.
var ErrInvalid = errors.New("no such evening")

func invalid(field, problem, act string) error { return amiss.New(ErrInvalid, field+" "+problem, act) }

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
			return invalid(b.field, fmt.Sprintf("is %g", b.value), hint)
		}
	}
	return nil
}
