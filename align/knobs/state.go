package knobs

import (
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// Measurement is a measured axis and what it was measured from.
type Measurement struct {
	Input align.Input
	Axis  align.Axis
	Rate  align.Rate // zero where not known: the sidereal rate is reckoned with
	Aim   align.Aim
}

// Options are what is known of the mount and of the evening's plan; zero is
// unknown, everywhere.
type Options struct {
	Stands           unit.Angle `json:"stands_rad"` // the axis error the planned exposure stands
	PlannedS         float64    `json:"planned_s"`
	Play             unit.Angle `json:"play_rad"`                // of the knobs; 2′ where unknown
	WobblePeakToPeak unit.Angle `json:"wobble_peak_to_peak_rad"` // of the gear

	// How a turn of each knob moves the axis.
	ArcminPerTurnAltitude float64 `json:"arcmin_per_turn_altitude"`
	ArcminPerTurnAzimuth  float64 `json:"arcmin_per_turn_azimuth"`
	// For mounts without knobs: the radius of the head's rim, where the base is turned, and how
	// far the leg that is lengthened stands from the line through the other two.
	RimMM float64 `json:"rim_mm"`
	LegMM float64 `json:"leg_mm"`
}

// Matrix3 is a covariance of small turns or shifts, radians².
type Matrix3 [3][3]float64

// Pose is an attitude at an instant.
type Pose struct {
	Mid        time.Time `json:"mid"`
	Rotation   r3.Vec    `json:"rotation"`   // rotation vector of the attitude, horizon frame to camera
	Covariance Matrix3   `json:"covariance"` // of a small turn about the camera's axes
}

func (p Pose) attitude() turn.Turn { return turn.Exp(p.Rotation) }

// Request is what was asked of the hand last.
type Request struct {
	Knob   Knob       `json:"knob"`
	Turn   unit.Angle `json:"turn_rad"`
	Beyond unit.Angle `json:"beyond_rad"` // to be turned past it and back
}

// State is the adjustment so far. Its fields are for JSON; use the methods.
type State struct {
	Aim     align.Aim  `json:"aim"`
	Options Options    `json:"options"`
	South   bool       `json:"south"` // the elevated end is the south end
	Rate    align.Rate `json:"rate"`
	// Body is the axis's elevated end in the camera's frame, with its covariance.
	Body           r3.Vec  `json:"body"`
	BodyCovariance Matrix3 `json:"body_covariance"`
	WanderPx       float64 `json:"wander_px"`

	// Reference is the last picture of the measurement, as it was solved then.
	Reference Pose `json:"reference"`

	Stand   Pose  `json:"stand"`             // the first picture since the last motion
	Now     Pose  `json:"now"`               // the last one used
	Pending *Pose `json:"pending,omitempty"` // one that was not believed, until the next agrees
	Doubts  int   `json:"doubts"`            // pictures in sequence that were not believed
	Strays  int   `json:"strays"`            // motions nobody asked for since one that was asked
	Axes    Axes  `json:"axes"`              // of the knobs
	Turns   int   `json:"turns"`             // motions seen since the measurement

	AltitudeTrack Track      `json:"altitude_track"` // what the turns of either knob have told of the clock
	AzimuthTrack  Track      `json:"azimuth_track"`
	ClockTold     int        `json:"clock_told"` // 1: it was asked for, 2: it was named
	Skew          unit.Angle `json:"skew_rad"`   // β of a clock that was named, which Axes allow for

	Asked       *Request `json:"asked,omitempty"`
	AzimuthSide int      `json:"azimuth_side"` // sign of the direction in which azimuth is always finished; 0: not chosen
	Tightening  bool     `json:"tightening"`   // there was nothing left to turn
	Lost        say.Line `json:"lost"`         // why a fresh measurement is needed; none: it is not
}

// ErrMeasurement: the measurement is no start for turning the knobs.
var ErrMeasurement = errors.New("this measurement cannot guide the knobs")

func unusable(format string, args ...any) error {
	return amiss.New(ErrMeasurement, fmt.Sprintf(format, args...), "measure the axis again: several pictures without touching the mount")
}

// Start begins the adjustment at a measured axis. The input is the one the axis was
// estimated from. Whether the axis is trustworthy is not asked here (package policy says so): its
// covariance is taken at its word.
//
// Errors: [ErrMeasurement].
func Start(m Measurement, o Options) (State, error) {
	s := State{Aim: m.Aim, Options: o, Rate: m.Rate, WanderPx: m.Axis.WanderPx}
	if err := s.refer(m); err != nil {
		return State{}, err
	}
	if limit := math.Sin(zenith.Rad()); math.Abs(m.Axis.Direction.Z) > limit || math.Abs(m.Aim.Direction.Z) > limit {
		return State{}, amiss.New(ErrMeasurement, "so near the zenith the two knobs cannot be told apart by what they do to the axis",
			"turn one knob at a time and measure the axis afresh after each")
	}
	s.Axes = guessAxes(s.axisAt(s.Now).Direction)
	return s.ask(), nil
}

// Renew goes on from a fresh measurement and keeps what was learnt of the knobs.
func (s State) Renew(m Measurement) (State, error) {
	next := State{Aim: m.Aim, Options: s.Options, Rate: m.Rate, WanderPx: m.Axis.WanderPx,
		Axes: s.Axes, AzimuthSide: s.AzimuthSide, AltitudeTrack: s.AltitudeTrack, AzimuthTrack: s.AzimuthTrack, ClockTold: s.ClockTold, Skew: s.Skew}
	if err := next.refer(m); err != nil {
		return s, err
	}
	return next.ask(), nil
}

// zenith: higher up the hinge of a base a few degrees off level may stand any way
// round, and what raises the axis on one side lowers it on the other.
const zenith = 87.5 * ephem.Degree

// unknownRate is how well the rate of a motor is known that was not measured: what tells the
// sidereal from the solar rate is a quarter of a percent, from the lunar one 4 %.
const unknownRate = 0.01

// refer takes the axis into the camera's frame. The estimator's residuals are taken
// off the last picture, so that it stands for all of its group.
func (s *State) refer(m Measurement) error {
	last, n := -1, len(m.Input.Samples)
	if n != len(m.Axis.Stray) || n != len(m.Axis.Theta) || n != len(m.Axis.Residual) || n != len(m.Axis.Group) {
		return unusable("the axis was not measured from these pictures")
	}
	for i, stray := range m.Axis.Stray {
		if !stray {
			last = i
		}
	}
	if last < 0 || !usable(m) {
		return unusable("no axis was measured")
	}
	if s.Rate == (align.Rate{}) {
		s.Rate = align.Rate{SiderealRatio: 1, Sigma: unknownRate}
	}
	s.South = m.Input.Site.Latitude < 0
	sample := m.Input.Samples[last]
	c, cov := sample.Attitude.Given(s.WanderPx)
	s.Reference = Pose{sample.Mid, c.Log(), cov}
	model := c.Then(turn.Exp(r3.Scale(-1, m.Axis.Residual[last])))
	mean, theta := groupMean(m, last, s.WanderPx)
	s.Body = model.Apply(m.Axis.Direction)
	// The errors of axis and camera are independent at the middle of the group's turn.
	middle := turn.About(s.northward(m.Axis.Direction), theta).Then(model)
	s.BodyCovariance = sum(carried(middle, tangential(m.Axis)), crossed(mean, s.Body))
	s.Now = Pose{sample.Mid, model.Log(), mean}
	s.Stand = s.Now
	return nil
}

// usable is whether direction, covariance and aim are numbers.
func usable(m Measurement) bool {
	c := m.Axis.Covariance
	size := r3.Norm(m.Axis.Direction) + r3.Norm(m.Aim.Direction)
	return math.Abs(size-2) < 1e-6 && c[0][0] > 0 && c[1][1] > 0 && c[0][0]*c[1][1] > c[0][1]*c[1][0] && !math.IsInf(c[0][0]+c[1][1], 0)
}

// groupMean is the covariance of the mean of the last group's attitudes, and how far
// the mean angle about the axis lies beyond that of sample last.
func groupMean(m Measurement, last int, wanderPx float64) (mean Matrix3, theta unit.Angle) {
	n := 0.0
	for i, sample := range m.Input.Samples {
		if m.Axis.Stray[i] || m.Axis.Group[i] != m.Axis.Group[last] {
			continue
		}
		_, cov := sample.Attitude.Given(wanderPx)
		mean = sum(mean, cov)
		theta += m.Axis.Theta[i] - m.Axis.Theta[last]
		n++
	}
	for r := range 3 {
		for c := range 3 {
			mean[r][c] /= n * n
		}
	}
	return mean, theta.Div(n)
}

// northward is the end toward the north pole, about which the motor's turn is positive.
func (s State) northward(elevated r3.Vec) r3.Vec {
	if s.South {
		return r3.Scale(-1, elevated)
	}
	return elevated
}

// axisAt is the axis as an attitude shows it: direction and covariance, nothing else.
func (s State) axisAt(p Pose) align.Axis {
	back := p.attitude().Inverse()
	a := align.Axis{Direction: back.Apply(s.Body)}
	cov := turn.Mat(carried(back, sum(s.BodyCovariance, crossed(p.Covariance, s.Body))))
	across, up := turn.Tangent(a.Direction)
	pair := [2]r3.Vec{across, up}
	for r := range 2 {
		for c := range 2 {
			a.Covariance[r][c] = r3.Dot(pair[r], cov.MulVec(pair[c]))
		}
	}
	return a
}
