package ephem

import (
	"math"

	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/meeus/v3/moonposition"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Moon tells where the Moon stands, as seen from the site: Meeus' main terms of
// the theory ELP 2000-82 (ch. 47), good to 10″ in longitude and 4″ in latitude as he
// says there, and the parallax, up to a degree, by the site's place in the Earth. ΔT,
// half a minute too large in 2026 (see [JulianDates]), adds up to 0.3′ there and 0.7′ in 2050.
func (s Sky) Moon() Body {
	lon, lat, distanceKM := moonposition.Position(s.tt)
	// Of the Earth's equatorial radius: Meeus, ch. 55, p. 390.
	const radiusKM = 0.272481 * 6378.14
	return s.topocentric(lon, lat, distanceKM, radiusKM)
}

// MoonIlluminated is the lit share of the Moon's disc, 0 new to 1 full, as seen from
// the middle of the Earth (Meeus, ch. 48, eq. 48.1 to 48.3), as almanacs print it. A
// site sees up to 0.01 more or less.
func (s Sky) MoonIlluminated() float64 {
	lon, lat, distanceKM := moonposition.Position(s.tt)
	sunLon, sunLat, sunAU := sunEcliptic(s.tt)
	moon := r3.Scale(distanceKM, Direction(unit.RA(lon), lat))
	sun := r3.Scale(sunAU*base.AU, Direction(unit.RA(sunLon), sunLat))
	// The phase angle is the one at the Moon between Sun and Earth.
	toSun, toEarth := r3.Sub(sun, moon), r3.Scale(-1, moon)
	phase := math.Atan2(r3.Norm(r3.Cross(toSun, toEarth)), r3.Dot(toSun, toEarth))
	return base.Illuminated(unit.Angle(phase))
}
