package exposure

import (
	"errors"
	"math"
)

// Causes of refusal, for errors.Is.
var (
	// ErrLens: the lens or the picture's size make no picture.
	ErrLens = errors.New("no such lens")
	// ErrPlace: the place in the sky does not exist, or is below the horizon.
	ErrPlace = errors.New("no such place in the sky")
	// ErrWidth: the width of a star is no width.
	ErrWidth = errors.New("no such star")
	// ErrMount: axis, rate or wobble are out of range.
	ErrMount = errors.New("no such mount")
	// ErrAsked: tolerance, share or exposure are out of range.
	ErrAsked = errors.New("no such question")
)

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
