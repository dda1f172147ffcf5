package answer

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Abroad is the answer as it may leave the device: it tells the place to a hundredth of a degree, about a kilometre.
// Aim and axis are as they stand over that place's horizon, for the height of the pole is the latitude. What the hand
// has to turn, the error between the two, is that of the true place; reckoned at the rounded one it differs by under
// 0.1′, what refraction and the hour leave of 0.3′.
func (a Answer) Abroad() Answer {
	if a.Site == nil {
		return a
	}
	site, over := rounded(*a.Site)
	a.Site = &site
	if a.Aim != nil {
		aim := *a.Aim
		aim.AltitudeDeg, aim.AzimuthDeg = carriedOver(over, aim.AltitudeDeg, aim.AzimuthDeg)
		a.Aim = &aim
	}
	if a.Axis != nil {
		axis := *a.Axis
		axis.AltitudeDeg, axis.AzimuthDeg = carriedOver(over, axis.AltitudeDeg, axis.AzimuthDeg)
		a.Axis = &axis
	}
	return a
}

// rounded is a site to 0.01°, and what turns directions over the site's ground into those over the rounded one's: the
// poles rise and sink with the latitude, and are the same for all longitudes.
func rounded(s ephem.Site) (ephem.Site, turn.Turn) {
	at := s
	at.Latitude, at.Longitude = unit.AngleFromDeg(hundredths(s.Latitude)), unit.AngleFromDeg(hundredths(s.Longitude))
	return at, turn.About(r3.Vec{X: 1}, at.Latitude-s.Latitude)
}

// hundredths is an angle in degrees, rounded to 0.01.
func hundredths(a unit.Angle) float64 { return math.Round(a.Deg()*100) / 100 }

func carriedOver(over turn.Turn, altitudeDeg, azimuthDeg float64) (altitude, azimuth float64) {
	h := ephem.Horizontal{Altitude: unit.AngleFromDeg(altitudeDeg), Azimuth: unit.AngleFromDeg(azimuthDeg)}
	h = ephem.HorizontalOf(over.Apply(h.Direction()))
	return h.Altitude.Deg(), h.Azimuth.Deg()
}
