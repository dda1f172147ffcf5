package simulate

import (
	"math"
	"slices"
)

// Clouds close the sky now and then.
type Clouds struct {
	Gaps []int // pictures in which the sky is closed
}

// closedMag is what a closed sky takes from a star.
const closedMag = 9

// clouds gives the share of starlight that passes in picture i, and how much brighter the sky is for the clouds, which
// send back the ground's light.
func (r *Run) clouds(i int) (transmission, glow float64) {
	if !slices.Contains(r.e.Conditions.Clouds.Gaps, i) {
		return 1, 1
	}
	transmission = math.Pow(10, -0.4*closedMag)
	return transmission, 1 + 1.5*(1-transmission)
}
