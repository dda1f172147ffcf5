package ephem

import (
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Motion is a star's proper motion in one Julian year: toward east (the
// great-circle arc, cos δ included) and toward north, in the ICRS.
type Motion struct{ East, North unit.Angle }

// ProperMotion gives the motion of the two stars by which poles are found:
// Polaris (HIP 11767) and σ Octantis (HIP 104382). For any other star ok is
// false: the catalogue this tool carries has none.
func ProperMotion(hip int32) (m Motion, ok bool) {
	const year = 1e-3 // the catalogue counts milliseconds of arc
	switch hip {
	case 11767:
		return Motion{unit.AngleFromSec(44.22 * year), unit.AngleFromSec(-11.74 * year)}, true
	case 104382:
		return Motion{unit.AngleFromSec(26.30 * year), unit.AngleFromSec(5.02 * year)}, true
	}
	return Motion{}, false
}

// Moved carries a star's direction (ICRS, at the epoch J2000.0) to the instant
// t by its proper motion, or leaves it alone if that is not known.
func Moved(direction r3.Vec, hip int32, t time.Time) r3.Vec {
	m, ok := ProperMotion(hip)
	if !ok {
		return direction
	}
	const secondsPerYear = 365.25 * 86400
	years := t.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Seconds() / secondsPerYear
	ra, _ := RADec(direction) // defined at the pole too, where a cross product is not
	sin, cos := ra.Sincos()
	east := r3.Vec{X: -sin, Y: cos}
	north := r3.Cross(direction, east)
	shift := r3.Add(r3.Scale(m.East.Rad()*years, east), r3.Scale(m.North.Rad()*years, north))
	return r3.Unit(r3.Add(direction, shift))
}
