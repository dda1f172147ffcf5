package ephem

import (
	"math"

	"github.com/soniakeys/unit"
)

// Units of angle, for constants: 10 * Arcmin.
const (
	Degree = unit.Angle(math.Pi / 180)
	Arcmin = unit.Angle(math.Pi / 180 / 60)
	Arcsec = unit.Angle(math.Pi / 180 / 3600)
)
