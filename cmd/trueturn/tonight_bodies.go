package main

import (
	"math"
	"time"

	"github.com/soniakeys/meeus/v3/coord"
	"github.com/soniakeys/meeus/v3/globe"
	"github.com/soniakeys/meeus/v3/moonposition"
	"github.com/soniakeys/meeus/v3/nutation"
	"github.com/soniakeys/meeus/v3/solar"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// auKM is the astronomical unit (IAU 2012, resolution B2).
const auKM = 149597870.7

// sighted is where a body is: a direction (east, north, up) without air, and how far off, in kilometres.
type sighted struct {
	direction r3.Vec
	km        float64
}

func (s sighted) altitudeDeg() float64 {
	return math.Atan2(s.direction.Z, math.Hypot(s.direction.X, s.direction.Y)) * 180 / math.Pi
}

// sunAt is the Sun from the middle of the Earth (Meeus, chapter 25, the lower accuracy, 0.01°): the site's parallax of 9″ is less
// than that. Instants outside 1900 to 2100 are refused before.
func sunAt(site ephem.Site, t time.Time) sighted {
	_, tt, err := ephem.JulianDates(t)
	if err != nil {
		return sighted{}
	}
	ra, dec := solar.ApparentEquatorial(tt)
	return sighted{horizonOf(site, t, ra, dec), solar.Radius((tt-2451545)/36525) * auKM}
}

// moonAt is the Moon as it stands over the site (Meeus, chapter 47, 10″; parallax by taking the site's place off, after chapter 11).
func moonAt(site ephem.Site, t time.Time) sighted {
	_, tt, err := ephem.JulianDates(t)
	if err != nil {
		return sighted{}
	}
	lon, lat, km := moonposition.Position(tt)
	dψ, dε := nutation.Nutation(tt)
	var eq coord.Equatorial
	eq.EclToEq(&coord.Ecliptic{Lon: lon + dψ, Lat: lat}, coord.NewObliquity(nutation.MeanObliquity(tt)+dε))
	s, c := globe.Earth76.ParallaxConstants(site.Latitude, site.HeightM)
	sin, cos := site.Latitude.Sincos()
	here := r3.Scale(globe.Earth76.Er, r3.Vec{Y: s*cos - c*sin, Z: c*cos + s*sin})
	from := r3.Sub(r3.Scale(km, horizonOf(site, t, eq.RA, eq.Dec)), here)
	return sighted{r3.Unit(from), r3.Norm(from)}
}

// horizonOf turns the equator of the date to east, north, up.
func horizonOf(site ephem.Site, t time.Time, ra unit.RA, dec unit.Angle) r3.Vec {
	gst, err := ephem.ApparentSiderealTime(t)
	if err != nil {
		return r3.Vec{}
	}
	sh, ch := math.Sincos(gst.Rad() + site.Longitude.Rad() - ra.Rad()) // hour angle
	sf, cf := site.Latitude.Sincos()
	sd, cd := dec.Sincos()
	return r3.Vec{X: -cd * sh, Y: sd*cf - cd*ch*sf, Z: sd*sf + cd*ch*cf}
}

// illuminated is the share of the Moon's disc that is lit (Meeus, eq. 48.1 and 48.3).
func illuminated(sun, moon sighted) float64 {
	elongation := math.Atan2(r3.Norm(r3.Cross(sun.direction, moon.direction)), r3.Dot(sun.direction, moon.direction))
	phase := math.Atan2(sun.km*math.Sin(elongation), moon.km-sun.km*math.Cos(elongation))
	return (1 + math.Cos(phase)) / 2
}

// moonLimbDeg is the altitude of the Moon's middle, without air, at which its upper edge rises: 34′ of refraction (Meeus, p. 101) and its
// radius, 0.2725 of the Earth's.
func moonLimbDeg(m sighted) float64 {
	return -34.0/60 - math.Asin(0.2725*globe.Earth76.Er/m.km)*180/math.Pi
}
