package align

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// AimKind says which point of the sky the axis should have.
type AimKind string

// The kinds of aim. The refracted pole is where the pole is seen, the best for pictures near
// it and a good one everywhere; the true pole is where it would be without air; field is the
// axis about which one target drifts least over the coming hours.
const (
	AimRefracted AimKind = "refracted"
	AimTrue      AimKind = "true"
	AimField     AimKind = "field"
)

// ErrAim: the aim cannot be formed from what was given.
var ErrAim = errors.New("no such aim")

// ParseAimKind reads refracted, true or field.
func ParseAimKind(s string) (AimKind, error) {
	switch k := AimKind(strings.ToLower(strings.TrimSpace(s))); k {
	case AimRefracted, AimTrue, AimField:
		return k, nil
	case "":
		return AimRefracted, nil
	}
	return "", &amiss.Error{Kind: ErrAim, Text: fmt.Sprintf("unknown aim %q", s), Ways: []amiss.Way{{Thing: amiss.Aim}}}
}

// Target is a place in the sky, ICRS.
type Target struct {
	RA  unit.RA
	Dec unit.Angle
}

// ErrTarget: a target that cannot be read.
var ErrTarget = errors.New("no such place in the sky")

// ParseTarget reads "RA,Dec": both in decimal degrees, or sexagesimal with RA in hours
// ("18h36m56s,+38d47m01s", "18:36:56,+38:47:01").
func ParseTarget(s string) (Target, error) {
	bad := func(why string) (Target, error) {
		return Target{}, amiss.New(ErrTarget, fmt.Sprintf("target %q: %s", s, why),
			"give right ascension and declination, in degrees as 279.23,38.78 or as 18:36:56,+38:47:01")
	}
	ra, dec, ok := strings.Cut(s, ",")
	if !ok {
		return bad("there is no comma between right ascension and declination")
	}
	const marks = ":hdms°′″'\" "
	raDeg, _, ok := ephem.Sexagesimal(ra, marks)
	if !ok {
		return bad("the right ascension is no number")
	}
	if strings.ContainsAny(strings.TrimSpace(ra), marks) {
		raDeg *= 15
	}
	decDeg, _, ok := ephem.Sexagesimal(dec, marks)
	if !ok {
		return bad("the declination is no number")
	}
	if raDeg < 0 || raDeg > 360 || math.Abs(decDeg) > 90 {
		return bad("right ascension runs from 0 to 360°, declination from −90° to 90°")
	}
	return Target{unit.RAFromDeg(raDeg), unit.AngleFromDeg(decDeg)}, nil
}

// Aim is where the axis's elevated end should point.
type Aim struct {
	Kind      AimKind
	Direction r3.Vec
}

// Altitude of the aim.
func (a Aim) Altitude() unit.Angle { return ephem.HorizontalOf(a.Direction).Altitude }

// Azimuth of the aim.
func (a Aim) Azimuth() unit.Angle { return ephem.HorizontalOf(a.Direction).Azimuth }

// fieldHours is the span the field aim serves.
const fieldHours = 3

// NewAim forms the aim for a site and instant; the target is used by [AimField] alone.
//
// Errors: [ErrAim]; those of ephem.NewSky.
func NewAim(kind AimKind, site ephem.Site, air ephem.Air, at time.Time, target *Target) (Aim, error) {
	sky, err := ephem.NewSky(site, air, at)
	if err != nil {
		return Aim{}, err
	}
	switch kind {
	case AimTrue:
		return Aim{kind, sky.TruePole().Direction()}, nil
	case AimField:
		if target == nil {
			return Aim{}, &amiss.Error{Kind: ErrAim, Text: "the aim for a field needs the field", Ways: []amiss.Way{{Thing: amiss.Target}}}
		}
		return fieldAim(site, air, at, *target)
	}
	return Aim{AimRefracted, sky.RefractedPole().Direction()}, nil
}

// fieldAim is the axis about which the target's apparent path over the coming hours is
// most nearly a circle (the question of E. S. King, A Manual of Celestial Photography,
// 1931): the estimator of this package, fed with the attitudes of a camera that holds
// the target.
func fieldAim(site ephem.Site, air ephem.Air, at time.Time, target Target) (Aim, error) {
	m, weight := &model{shared: map[int]int{}, link: []float64{0}}, fieldWeight()
	centre := ephem.Direction(target.RA, target.Dec)
	beside := turn.About(r3.Cross(centre, r3.Vec{X: 0.3, Y: 0.2, Z: 0.93}), unit.AngleFromDeg(1)).Apply(centre)
	square := turn.About(centre, math.Pi/2).Apply(beside)
	for k := 0; k <= fieldHours*6; k++ {
		sky, err := ephem.NewSky(site, air, at.Add(time.Duration(k)*10*time.Minute))
		if err != nil {
			return Aim{}, err
		}
		z := sky.Apparent(centre)
		if z.Z < math.Sin(5*ephem.Degree.Rad()) {
			continue
		}
		m.obs = append(m.obs, observation{c: holding(z, bearing(z, sky.Apparent(beside), sky.Apparent(square))), weight: weight})
	}
	if len(m.obs) < 6 {
		return Aim{}, amiss.New(ErrAim, "the target stands below 5° for most of the coming three hours", "choose a target above the horizon, or aim at the refracted pole")
	}
	n := len(m.obs)
	m.used, m.theta = make([]bool, n), make([]float64, n)
	for i := range m.used {
		m.used[i] = true
	}
	m.blocks = []block{{members: upTo(n), c0: m.obs[n/2].c}}
	m.axis = []r3.Vec{m.guessAxis()}
	if _, ok := m.converge(); !ok {
		return Aim{}, amiss.New(ErrAim, "no axis serves this target", "aim at the refracted pole")
	}
	a := Axis{}
	a.elevate(site.Latitude < 0, m.axis[0])
	return Aim{AimField, a.Direction}, nil
}

// fieldWeight counts a second of arc of drift in the middle as much as ten of
// rotation, that is one at 6° from the middle.
func fieldWeight() *r3.Mat {
	const sec = float64(ephem.Arcsec)
	return r3.NewMat([]float64{1 / (sec * sec), 0, 0, 0, 1 / (sec * sec), 0, 0, 0, 1 / (100 * sec * sec)})
}

// bearing is the direction from z that takes the mean of the turns of two neighbours at a right
// angle: refraction shears the field, and either alone would count the shear as a turn.
func bearing(z, b, square r3.Vec) r3.Vec {
	level := func(v r3.Vec) r3.Vec { return r3.Unit(r3.Sub(v, r3.Scale(r3.Dot(v, z), z))) }
	return r3.Add(z, r3.Add(level(b), turn.About(z, -math.Pi/2).Apply(level(square))))
}

// holding is the attitude of a camera with the line of sight z whose picture is
// turned so that b lies along its x axis.
func holding(z, b r3.Vec) turn.Turn {
	y := r3.Unit(r3.Cross(z, b))
	return turn.FromRows(r3.Cross(y, z), y, z)
}

// Deviation is the axis less the aim.
type Deviation struct {
	Altitude   unit.Angle // positive: axis too high
	Azimuth    unit.Angle // positive: axis too far clockwise seen from above, as a turn about the vertical
	Total      unit.Angle // true angle between the two
	TotalSigma unit.Angle
}

// Deviation compares an axis with its aim.
func (a Axis) Deviation(aim Aim) Deviation {
	d := Deviation{Altitude: a.Altitude() - aim.Altitude(), Azimuth: (a.Azimuth() - aim.Azimuth()).Mod1()}
	if d.Azimuth > math.Pi {
		d.Azimuth -= 2 * math.Pi
	}
	d.Total = unit.Angle(math.Atan2(r3.Norm(r3.Cross(a.Direction, aim.Direction)), r3.Dot(a.Direction, aim.Direction)))
	across, up := turn.Tangent(a.Direction)
	away := r3.Sub(a.Direction, aim.Direction)
	x, y := r3.Dot(away, across), r3.Dot(away, up)
	if n := math.Hypot(x, y); n > a.WorstSigma().Rad() {
		c := a.Covariance
		d.TotalSigma = unit.Angle(math.Sqrt((x*x*c[0][0]+2*x*y*c[0][1]+y*y*c[1][1])/(n*n)) + 0)
	} else { // so close that the direction of the error means nothing
		d.TotalSigma = a.WorstSigma()
	}
	return d
}
