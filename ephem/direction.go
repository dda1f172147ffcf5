package ephem

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Horizontal is a direction over the site: azimuth from true north through
// east, 0–360°, and altitude above the horizon.
type Horizontal struct{ Azimuth, Altitude unit.Angle }

// Direction is the unit vector (east, north, up) of h.
func (h Horizontal) Direction() r3.Vec {
	sa, ca := h.Azimuth.Sincos()
	sh, ch := h.Altitude.Sincos()
	return r3.Vec{X: ch * sa, Y: ch * ca, Z: sh}
}

// HorizontalOf is the azimuth and altitude of a direction (east, north, up) of
// any length but zero. At the zenith and nadir the azimuth is of no meaning.
func HorizontalOf(enu r3.Vec) Horizontal {
	return Horizontal{
		Azimuth:  unit.Angle(fullTurn(math.Atan2(enu.X, enu.Y))),
		Altitude: unit.Angle(math.Atan2(enu.Z, math.Hypot(enu.X, enu.Y))),
	}
}

// Direction is the unit vector toward a right ascension and declination, in the
// frame those are given in (ICRS for a catalogue).
func Direction(ra unit.RA, dec unit.Angle) r3.Vec {
	sa, ca := ra.Sincos()
	sd, cd := dec.Sincos()
	return r3.Vec{X: cd * ca, Y: cd * sa, Z: sd}
}

// RADec is the right ascension, 0–24 h, and declination of a direction of any
// length but zero.
func RADec(v r3.Vec) (unit.RA, unit.Angle) {
	return unit.RA(fullTurn(math.Atan2(v.Y, v.X))), unit.Angle(math.Atan2(v.Z, math.Hypot(v.X, v.Y)))
}

// fullTurn carries an angle of −π to π into 0 to 2π, 2π itself left out: a rounding
// below zero is zero.
func fullTurn(rad float64) float64 {
	if rad < 0 {
		rad += 2 * math.Pi
	}
	if rad >= 2*math.Pi {
		return 0
	}
	return rad
}
