package simulate

import (
	"time"

	"github.com/soniakeys/unit"
)

// Rates of a mount's motor, as shares of the sidereal rate.
const (
	RateSidereal        = 1.0
	RateOff             = 0.0
	RateWrongHemisphere = -1.0
	RateHalf            = 0.5
	RateSolar           = 365.2422 / 366.2422 // one turn in a mean solar day; days of the tropical year
	RateLunar           = 0.96350             // sidereal less 13.17640° a day: J. Meeus, Astronomical Algorithms, 2nd ed., p. 338 (47.1)
)

// Pole is which pole the mount's errors are counted from.
type Pole uint8

// The refracted pole is where the pole is seen; the true pole is where it
// would be seen without air.
const (
	RefractedPole Pole = iota
	TruePole
)

// Mount is the tracking mount and everything that is wrong with it. A fault
// whose field is zero is absent – except Rate: a motor at rate 0 stands.
//
// The camera's attitude (horizon frame → camera) while it runs is
//
//	C(t) = F(t) · C₀ · Rot(â, θ(t)) · H(t)⁻¹
//
// â is the end of the axis toward the north pole, θ(t) = ω·Rate·t + wobble +
// swings + slipping, H whatever turned the whole head (knobs, a knocked
// tripod, a leg that settles) and F whatever turned the camera on it (flexure, a bending holder, a slipping ball, a
// knock).
type Mount struct {
	// The axis' elevated end less the pole at the start: altitude positive when
	// the axis is too high, azimuth positive when it is too far clockwise seen
	// from above, as a turn about the vertical.
	AltitudeError, AzimuthError unit.Angle
	Counted                     Pole

	Rate     float64 // share of the sidereal rate: RateSidereal for a sound mount
	Tripod   bool    // no axis at all: the camera stands still, Rate and Wobble do not count
	Wobble   Wobble
	Play     time.Duration // after the start and after every swing the motor runs this long before the axis follows
	Swings   []unit.Angle  // turn about the axis made by hand before each picture, in the tracking sense; may be shorter than the run
	Slip     unit.Angle    // how far the clutch slips backward about the axis over the run, in unequal steps
	BallSlip unit.Angle    // the same for the camera's clamp: a turn about no axis of the mount
	Flexure  unit.Angle    // steady turn of the camera over the run, across the axis
	Sag      unit.Angle    // how far the camera hangs down when gravity pulls square to its view; changes with swings

	Bend     Bend       // of the holder, under gravity
	Relaxing []Relaxing // legs that settle, heads that cool down
	Creep    Creep      // of the camera, in steps

	// The base leans by BaseTilt toward azimuth BaseTiltToward; the azimuth
	// knob turns about its leaning vertical, the altitude knob square to that.
	BaseTilt, BaseTiltToward unit.Angle

	Knobs  []Knob
	Knocks []Knock
	Shake  float64 // px rms the camera swings to and fro during an exposure, in another direction each time
}

// Wobble is the periodic error of the gear: an angle about the axis of
//
//	P(t) = PeakToPeak/2 · (sin(2πt/Period + Phase) + Third·sin(3·(2πt/Period + Phase)))
//
// with t the time the gear has run at the sidereal rate.
type Wobble struct {
	PeakToPeak unit.Angle // of the fundamental
	Period     time.Duration
	Phase      unit.Angle
	Third      float64 // size of the third harmonic against the fundamental
}

// Knob is a turn of the mount's knobs before picture Frame: the elevated end
// goes up by Altitude and clockwise seen from above by Azimuth. For Frame 0 the
// camera is aimed first, then the knobs are turned.
type Knob struct {
	Frame             int
	Altitude, Azimuth unit.Angle
}

// Knock is a sudden turn by Size about a direction chosen by the seed, before
// picture Frame: of the whole tripod, axis included, or of the camera alone.
type Knock struct {
	Frame  int
	Size   unit.Angle
	Camera bool
}

// Handling holds what happens to camera and pictures during the run. A field
// that is zero changes nothing.
type Handling struct {
	ReAims []ReAim
	Crops  []Crop
	Capped []int // pictures taken with the cap on: hot pixels and noise alone

	Wander          float64 // px rms in x and in y: the optical centre jumps from picture to picture
	Breathing       float64 // share by which the scale grows over the run
	BreathingJitter float64 // share rms by which it changes from picture to picture
	FocusLoss       float64 // share by which stars widen over the run
	Dew             float64 // magnitudes lost over the run

	StampStep  time.Duration // time stamps are cut to multiples of this; 0 keeps nanoseconds
	ClockError time.Duration // how far the camera's clock is fast
	Stacked    Stacking
}

// ReAim points the camera anew before picture Frame, by the ball head: Target
// stands in the middle of that picture.
type ReAim struct {
	Frame  int
	Target Target
	Roll   unit.Angle
}

// Crop multiplies the focal length in pixels by Factor from picture Frame on,
// as a phone does that quietly cuts its picture from another camera; that
// camera's centre lies up to ten pixels elsewhere.
type Crop struct {
	Frame  int
	Factor float64
}

// Stacking is what the phone's own program does to pictures before it saves
// them.
type Stacking uint8

const (
	NotStacked      Stacking = iota
	StackedRound             // every picture is made of short ones laid star on star: stars do not trail
	StackedStanding          // so, and all pictures keep the same stars in the middle: only the field's rotation is left
)
