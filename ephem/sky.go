package ephem

import (
	"math"
	"time"

	"github.com/soniakeys/meeus/v3/apparent"
	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/meeus/v3/coord"
	"github.com/soniakeys/meeus/v3/globe"
	"github.com/soniakeys/meeus/v3/nutation"
	"github.com/soniakeys/meeus/v3/precess"
	"github.com/soniakeys/meeus/v3/sidereal"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Sky is the sky over one site at one instant: everything that is the same for
// all stars, worked out once. It is a value, cheap to use and safe to share
// between goroutines. Make it with [NewSky]; the zero Sky is not usable.
//
// Directions agree with ERFA's to 0.15″ from 1905 to 2095 when both use UTC as
// UT1, above 5° of altitude and away from the Sun; see [Refraction] for what the
// air adds and the package comment for what is left out.
type Sky struct {
	site       Site
	refraction Refraction
	// The horizon's axes as seen in the ICRS: rows of the matrix ICRS → ENU.
	east, north, up r3.Vec
	aberration      aberration
	tt              float64   // the instant as a Julian date of terrestrial time
	ecliptic        turn.Turn // from the mean ecliptic and equinox of the date to ENU
}

// NewSky prepares the sky over a site at an instant. Errors are [ErrSite],
// [ErrAir] or, outside the years 1900 to 2100, [ErrDate].
func NewSky(site Site, air Air, t time.Time) (Sky, error) {
	if err := site.check(); err != nil {
		return Sky{}, err
	}
	if err := air.check(); err != nil {
		return Sky{}, err
	}
	ut, tt, err := JulianDates(t)
	if err != nil {
		return Sky{}, err
	}
	nutated, horizon := nutationTurn(tt), horizonTurn(site, sidereal.Apparent(ut))
	toHorizon := precession(tt).Then(nutated).Then(horizon)
	s := Sky{site: site, refraction: air.Refraction(), tt: tt}
	s.ecliptic = turn.About(r3.Vec{X: 1}, nutation.MeanObliquity(tt)).Then(nutated).Then(horizon)
	s.east, s.north, s.up = toHorizon.Rows()
	s.aberration = newAberration(r3.Add(earthVelocity(tt), r3.Scale(groundSpeed(site), s.east)))
	return s, nil
}

// Site is where this sky is seen from.
func (s Sky) Site() Site { return s.site }

// Refraction is that of this sky's air.
func (s Sky) Refraction() Refraction { return s.refraction }

// Apparent is the direction (east, north, up) in which a star of the catalogue
// is seen, refraction included. The argument is a unit vector in the ICRS at
// the star's place on the date: see [Moved] for the stars near the pole.
func (s Sky) Apparent(icrs r3.Vec) r3.Vec {
	v := s.True(icrs)
	r := math.Sqrt(v.X*v.X + v.Y*v.Y)
	if r < atZenith {
		return v
	}
	up, out := raise(v.Z, r, s.refraction.lift(v.Z, r))
	k := out / r
	return r3.Vec{X: k * v.X, Y: k * v.Y, Z: up}
}

// atZenith is the distance from the zenith, in radians, within which
// refraction is below the rounding of the numbers.
const atZenith = 1e-12

// True is the direction (east, north, up) of a star as it would be seen without
// air: precession, nutation, and the aberration due to the Earth's orbit and
// spin.
func (s Sky) True(icrs r3.Vec) r3.Vec {
	v := s.aberration.apply(icrs)
	return r3.Vec{X: r3.Dot(s.east, v), Y: r3.Dot(s.north, v), Z: r3.Dot(s.up, v)}
}

// ICRS undoes [Sky.Apparent]: it takes a direction (east, north, up, a unit
// vector) as seen in the sky to the catalogue's frame. The way there and back
// closes to 0.0001″ everywhere; below 5° of altitude the result is only as good
// as the refraction there.
func (s Sky) ICRS(enu r3.Vec) r3.Vec {
	v := enu
	if r := math.Sqrt(v.X*v.X + v.Y*v.Y); r >= atZenith {
		up, out := raise(v.Z, r, -s.refraction.at(v.Z, r))
		k := out / r
		v = r3.Vec{X: k * v.X, Y: k * v.Y, Z: up}
	}
	w := r3.Add(r3.Scale(v.X, s.east), r3.Add(r3.Scale(v.Y, s.north), r3.Scale(v.Z, s.up)))
	return s.aberration.undo(w)
}

// HourAngle gives where a star stands against the equator of the date, as seen
// without air: hour angle, positive west of the meridian, −12 to 12 h, and
// declination.
func (s Sky) HourAngle(icrs r3.Vec) (unit.HourAngle, unit.Angle) {
	v := s.True(icrs)
	sin, cos := s.site.Latitude.Sincos()
	south := v.Z*cos - v.Y*sin // toward the equator's culmination
	pole := v.Z*sin + v.Y*cos
	return unit.HourAngle(math.Atan2(-v.X, south)), unit.Angle(math.Atan2(pole, math.Hypot(v.X, south)))
}

// TruePole is where the celestial pole of the date that stands above the site's
// horizon is, without air: the north pole at northern latitudes and on the
// equator, else the south pole. Its altitude is the latitude's size.
func (s Sky) TruePole() Horizontal {
	if s.site.Latitude < 0 {
		return Horizontal{Azimuth: math.Pi, Altitude: -s.site.Latitude}
	}
	return Horizontal{Altitude: s.site.Latitude}
}

// RefractedPole is [Sky.TruePole] lifted by refraction: the point about which
// stars near the pole are seen to turn. (Aberration moves every star near it
// alike, and the pole itself, being an axis of the Earth, not at all: 0.3″ of
// diurnal aberration, which carries the circles of the stars east, are left out.)
// Within 5° of the equator it is no better known than refraction at the horizon,
// to minutes of arc.
func (s Sky) RefractedPole() Horizontal {
	p := s.TruePole()
	p.Altitude = s.refraction.Apparent(p.Altitude)
	return p
}

// PoleOfDate is where the celestial pole of an instant's mean equator stands among the stars (ICRS): the
// sky turns about it, to the 9″ of nutation. The error is for instants outside 1800–2200.
func PoleOfDate(t time.Time) (r3.Vec, error) {
	_, tt, err := JulianDates(t)
	if err != nil {
		return r3.Vec{}, err
	}
	return precession(tt).Inverse().Apply(r3.Vec{Z: 1}), nil
}

// precession is the turn from the mean equator and equinox of J2000.0 to those
// of the date: the library's precession (IAU 1976) of the three axes.
func precession(tt float64) turn.Turn {
	p := precess.NewPrecessor(2000, base.JDEToJulianYear(tt))
	image := func(ra unit.RA, dec unit.Angle) r3.Vec {
		var eq coord.Equatorial
		p.Precess(&coord.Equatorial{RA: ra, Dec: dec}, &eq)
		return Direction(eq.RA, eq.Dec)
	}
	// The images of the axes are the columns of the matrix, the rows of its
	// inverse.
	const quarter = math.Pi / 2
	return turn.FromRows(image(0, 0), image(quarter, 0), image(0, quarter)).Inverse()
}

// nutationTurn is the turn from the mean to the true equator and equinox of the
// date (IAU 1980): into the ecliptic, along it, and out by the true obliquity.
func nutationTurn(tt float64) turn.Turn {
	x, z := r3.Vec{X: 1}, r3.Vec{Z: 1}
	Δψ, Δε := nutation.Nutation(tt)
	ε0 := nutation.MeanObliquity(tt)
	// A frame turned by an angle sees directions turned by its negative.
	return turn.About(x, -ε0).Then(turn.About(z, Δψ)).Then(turn.About(x, ε0+Δε))
}

// horizonTurn is the turn from the true equator and equinox of the date to
// east, north, up. It is the one place where an east longitude is added to a
// sidereal time.
func horizonTurn(site Site, greenwich unit.Time) turn.Turn {
	// The zenith stands at right ascension = local sidereal time, declination =
	// latitude; east is 90° further on the equator.
	st, ct := math.Sincos(greenwich.Rad() + site.Longitude.Rad())
	sf, cf := site.Latitude.Sincos()
	return turn.FromRows(
		r3.Vec{X: -st, Y: ct},
		r3.Vec{X: -sf * ct, Y: -sf * st, Z: cf},
		r3.Vec{X: cf * ct, Y: cf * st, Z: sf})
}

// earthVelocity is the Earth's velocity about the barycentre of the Solar
// System over that of light, along the axes of J2000.0: the expression of Ron and
// Vondrák (Meeus, eq. 23.4, p. 153–156), good to about 0.001″ of aberration. The
// library gives the shift of a star; that of a star at the vernal point and of
// one 90° east of it are the velocity's components.
func earthVelocity(tt float64) r3.Vec {
	y, z := apparent.AberrationRonVondrak(0, 0, tt)
	minusX, _ := apparent.AberrationRonVondrak(math.Pi/2, 0, tt)
	return r3.Vec{X: -minusX.Rad(), Y: y.Rad(), Z: z.Rad()}
}

// SiderealRadPerS is the turn of the sky, radians per second: IERS Conventions (2010), table 1.2.
const SiderealRadPerS = 7.292115e-5

// groundSpeed is the speed at which the site is carried east by the Earth's
// spin, over that of light: 0.32″ at the equator.
func groundSpeed(site Site) float64 {
	const (
		lightKMPerS = 299792.458
	)
	_, c := globe.Earth76.ParallaxConstants(site.Latitude, site.HeightM)
	return SiderealRadPerS * c * globe.Earth76.Er / lightKMPerS
}

// aberration is the change of direction seen by an observer moving with
// velocity v, in units of that of light, by special relativity (Explanatory
// Supplement to the Astronomical Almanac, 1992, eq. 3.252-3). It is a turn along
// the great circle toward v, valid in every direction.
type aberration struct {
	v        r3.Vec
	along    r3.Vec  // v/(1+√(1−v²))
	slowness float64 // √(1−v²)
}

func newAberration(v r3.Vec) aberration {
	slowness := math.Sqrt(1 - r3.Norm2(v))
	return aberration{v, r3.Scale(1/(1+slowness), v), slowness}
}

// apply moves a unit vector toward v.
func (a aberration) apply(u r3.Vec) r3.Vec { return a.shift(u, 1) }

// undo moves it back: the same law with the velocity reversed, so exact.
func (a aberration) undo(u r3.Vec) r3.Vec { return a.shift(u, -1) }

func (a aberration) shift(u r3.Vec, sign float64) r3.Vec {
	d := sign * r3.Dot(u, a.v)
	k := 1 / (1 + d)
	return r3.Add(r3.Scale(k*a.slowness, u), r3.Add(r3.Scale(k*sign, a.v), r3.Scale(k*sign*d, a.along)))
}
