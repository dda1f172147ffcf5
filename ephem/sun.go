package ephem

import (
	"math"

	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/meeus/v3/globe"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Body is the Sun or the Moon as it stands over a site: its middle, as it would
// be seen without air, parallax and aberration included.
type Body struct {
	Direction    r3.Vec     // east, north, up, a unit vector
	Semidiameter unit.Angle // as seen from the site
	DistanceKM   float64    // from the site
}

// Altitude of the middle, without air.
func (b Body) Altitude() unit.Angle { return HorizontalOf(b.Direction).Altitude }

// Sun tells where the Sun stands. The theory is good to 0.3″; ΔT, half a minute too large
// in 2026 (see [JulianDates]), adds 1.4″ there and 3″ in 2050. Against astropy with its
// built-in ephemeris (testdata/authorities/night_bodies.csv) it is off by 4″ at the most.
func (s Sky) Sun() Body {
	lon, lat, distanceAU := sunEcliptic(s.tt)
	const radiusKM = 696000 // 959.63″ at one astronomical unit: Meeus, ch. 55, p. 389
	return s.topocentric(lon, lat, distanceAU*base.AU, radiusKM)
}

// topocentric takes a direction in the mean ecliptic and equinox of the date, from
// the middle of the Earth, and a distance, to what is seen from the site.
func (s Sky) topocentric(lon, lat unit.Angle, distanceKM, radiusKM float64) Body {
	v := r3.Scale(distanceKM, s.ecliptic.Apply(Direction(unit.RA(lon), lat)))
	v = r3.Sub(v, s.site.fromCentre())
	d := r3.Norm(v)
	return Body{Direction: r3.Scale(1/d, v), Semidiameter: unit.Angle(math.Asin(radiusKM / d)), DistanceKM: d}
}

// fromCentre is where the site stands as seen from the middle of the Earth, in
// kilometres toward east, north and up (Meeus, ch. 11, p. 82; the sine and cosine
// there are those of the geocentric latitude, times the distance).
func (s Site) fromCentre() r3.Vec {
	axial, equatorial := globe.Earth76.ParallaxConstants(s.Latitude, s.HeightM)
	sin, cos := s.Latitude.Sincos()
	return r3.Scale(globe.Earth76.Er, r3.Vec{Y: axial*cos - equatorial*sin, Z: axial*sin + equatorial*cos})
}

// sunEcliptic is the Sun's apparent direction from the middle of the Earth but for
// nutation: longitude and latitude in the mean ecliptic and equinox of the date,
// and the distance in astronomical units. It is the Earth's place turned round,
// brought to the axes of the FK5, with the aberration of the Sun (Meeus, ch. 25,
// p. 166–167, eq. 25.9 and 25.10). The low accuracy of that chapter, 36″, is not enough.
func sunEcliptic(tt float64) (lon, lat unit.Angle, distanceAU float64) {
	τ := base.J2000Century(tt) / 10
	distanceAU = sum(earthDistance, τ)
	// The latitude's share of the turn to the FK5, under 0.04″, is left out.
	turned := unit.AngleFromSec(-0.09033 - 20.4898/distanceAU)
	lon = unit.Angle(fullTurn(math.Remainder(sum(earthLongitude, τ)+math.Pi, 2*math.Pi))) + turned
	return lon, unit.Angle(-sum(earthLatitude, τ)), distanceAU
}

// series is a sum of A cos(B + Cτ), τ in thousands of Julian years from J2000.0, A
// in radians or astronomical units.
type series [][3]float64

func (s series) at(τ float64) float64 {
	var sum float64
	for _, t := range s {
		sum += t[0] * math.Cos(t[1]+t[2]*τ)
	}
	return sum
}

// sum is a polynomial in τ whose coefficients are series, the constant one first:
// VSOP87 (P. Bretagnon and G. Francou, Astron. Astrophys. 202, 1988, 309).
func sum(powers []series, τ float64) float64 {
	c := make([]float64, len(powers))
	for i, s := range powers {
		c[i] = s.at(τ)
	}
	return base.Horner(τ, c...)
}
