package scene

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Facing is a camera that looks along forward (east, north, up) and whose picture's "up" leans by roll from the zenith,
// clockwise as the picture shows it. Looking straight up, roll is counted from north.
func Facing(forward r3.Vec, roll unit.Angle) Aim {
	f := r3.Unit(forward)
	right := r3.Cross(f, r3.Vec{Z: 1})
	if r3.Norm(right) < 1e-9 {
		right = r3.Cross(f, r3.Vec{Y: 1})
	}
	right = r3.Unit(right)
	return Aim{Right: right, Down: r3.Cross(f, right), Forward: f}.Turned(f, roll)
}

// EarthRadPerS is how fast the Earth turns, radians a second (IERS Conventions 2010, table 1.2), written out here
// because the study shares nothing of motion with what it measures.
const EarthRadPerS = 7.292115e-5

// Mount turns a camera about one axis. The zero rate is a motor that stands.
type Mount struct {
	Axis   r3.Vec  // unit vector east-north-up, the end toward the north pole
	Rate   float64 // of the motor, in turns of the sky
	Wobble Wobble
}

// Wobble is what a worm adds: a sine of the angle about the axis.
type Wobble struct {
	PeakToPeak unit.Angle
	Period     time.Duration // 0: none
	Phase      unit.Angle
}

// at is the wobble after some time of running.
func (w Wobble) at(t time.Duration) unit.Angle {
	if w.Period <= 0 {
		return 0
	}
	return w.PeakToPeak / 2 * unit.Angle(math.Sin(2*math.Pi*t.Seconds()/w.Period.Seconds()+w.Phase.Rad()))
}

// Angle is how far the motor has turned since it was at time zero, positive with the sky.
func (m Mount) Angle(t time.Duration) unit.Angle {
	return unit.Angle(m.Rate*EarthRadPerS*t.Seconds()) + m.Wobble.at(t) - m.Wobble.at(0)
}

// Carried is where a camera aimed at start at time zero is aimed after t, when hands have swung the axis by swung
// besides (positive with the sky, westward). The sky goes westward, which about the axis' north end is against the
// right hand.
func (m Mount) Carried(start Aim, t time.Duration, swung unit.Angle) Aim {
	return start.Turned(m.Axis, -m.Angle(t)-swung)
}

// Pointing is the direction east-north-up of a place by declination and hour angle (positive west), at a latitude:
// spherical trigonometry without air.
func Pointing(latitude, declination, hourAngle unit.Angle) r3.Vec {
	sf, cf := latitude.Sincos()
	sd, cd := declination.Sincos()
	sh, ch := hourAngle.Sincos()
	return r3.Vec{X: -cd * sh, Y: sd*cf - cd*ch*sf, Z: sd*sf + cd*ch*cf}
}

// AxisAt is a mount's axis off the pole at a latitude: raised by up (of the elevated end) and turned by aside clockwise as
// seen from above, as the knobs do it. The result is the north end.
func AxisAt(latitude, up, aside unit.Angle) r3.Vec {
	sign := 1.0
	if latitude < 0 {
		sign, latitude = -1, -latitude
	}
	sh, ch := (latitude + up).Sincos()
	sa, ca := aside.Sincos()
	// North: azimuth = aside; south: 180° + aside. The north end there is the opposite of the elevated one.
	elevated := r3.Vec{X: sign * ch * sa, Y: sign * ch * ca, Z: sh}
	return r3.Scale(sign, elevated)
}
