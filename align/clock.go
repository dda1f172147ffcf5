package align

import (
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// # What clock and place do to an axis
//
// Stars give attitudes among the stars; site and time alone carry them to the horizon. A time wrong by δ, the same for all
// pictures, turns the sky by −ωδ about the pole, and with it whatever was found over the horizon, pole excepted. So an axis ε
// from the pole stays ε from the pole, on another side of it: its two errors, and with them both turns of the knobs, change by up to
// 2ε sin(ωδ/2). A wrong site is the same kind of turn, from one place's east, north and up to another's. Nothing is left over but
// refraction, which is why pictures can seldom tell.

// NorthPole is the direction (east, north, up) of the celestial north pole, above or below the horizon.
func NorthPole(latitude unit.Angle) r3.Vec {
	sin, cos := latitude.Sincos()
	return r3.Vec{Y: cos, Z: sin}
}

// ClockMoves is where an axis (east, north, up, either end) is found if the pictures were taken later than reckoned with by
// so much; north is the celestial north pole, see [NorthPole]. It is exact but for refraction, which stays that of
// the heights reckoned with: where another time or place puts the field low, what is found there may differ by some arcminutes.
func ClockMoves(axis, north r3.Vec, later time.Duration) r3.Vec {
	return turn.About(north, unit.Angle(-ephem.SiderealRadPerS*later.Seconds())).Apply(axis)
}

// SiteMoves is where an axis found for one site is found for another at the same instants: the end toward the elevated pole of each,
// east, north, up of each. It is as exact as [ClockMoves].
func SiteMoves(axis r3.Vec, from, to ephem.Site) r3.Vec {
	// From the ground to the equator, round the Earth's axis, and down to the other ground: about east the pole goes from its
	// height to the zenith.
	lifted := turn.About(r3.Vec{X: 1}, unit.AngleFromDeg(90)-from.Latitude).Apply(axis)
	// East of from, the same stars have moved on.
	round := turn.About(r3.Vec{Z: 1}, from.Longitude-to.Longitude).Apply(lifted)
	there := turn.About(r3.Vec{X: 1}, to.Latitude-unit.AngleFromDeg(90)).Apply(round)
	if (from.Latitude < 0) != (to.Latitude < 0) {
		return r3.Scale(-1, there)
	}
	return there
}
