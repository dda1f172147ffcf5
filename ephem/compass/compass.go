// Package compass tells where a compass needle points: the Earth's magnetic field at a place and date, and how far magnetic
// north lies from true north.
//
// Start with [At]; [Field.Reading] turns a true azimuth into what the compass shows, and [Field.Trust] says whether a compass
// is of any use there.
//
// The model is the International Geomagnetic Reference Field, 14th generation (IAGA, 2024,
// doi:10.5281/zenodo.14012302), computed by github.com/proway2/go-igrf: the field of the core, degree 13 and below. What iron in the
// ground, the Sun's storms and above all steel and magnets beside the tripod add is not in it: [Field.Sigma] covers the first two on
// an ordinary day, nothing covers the third.
package compass

import (
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/proway2/go-igrf/igrf"
	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// Model is the field's name.
const Model = "IGRF-14"

// The model holds from the beginning of FirstYear to before the beginning of EndYear.
const FirstYear, EndYear = 1900, 2030

// A Field is the Earth's magnetic field at a place.
type Field struct {
	Declination  unit.Angle // magnetic north is this far east of true north, −180° to 180°
	Sigma        unit.Angle // one standard error of it, without steel; see [At]
	PerYear      unit.Angle // change of Declination
	HorizontalNT float64    // what turns the needle, nanotesla
}

// ErrDate: an instant the model does not hold for.
var ErrDate = errors.New("outside the years of the model")

func badDate(t time.Time) error {
	return amiss.New(ErrDate, fmt.Sprintf("the model of the Earth's magnetic field (%s) does not hold in %d", Model, t.UTC().Year()),
		fmt.Sprintf("it holds from %d to the end of %d: take the declination from a newer map, or find north by the stars", FirstYear, EndYear-1))
}

// ErrNoNorth is returned at a pole of the Earth, where there is no north to be compared with.
var ErrNoNorth = errors.New("at a pole of the Earth there is no direction north to compare a compass with")

// ErrPlace is returned for a site that is no place on Earth.
var ErrPlace = errors.New("no place on Earth")

// nearPole is how close to a pole of the Earth north loses its meaning: one kilometre.
const nearPole = 0.009 // degrees

// loaded reads the coefficients once, when first needed: 6 ms.
var loaded = sync.OnceValue(igrf.New)

// At is the field at a site. The standard error of the declination is that of the World Magnetic Model 2025, which is made
// the same way and publishes one,
//
//	σ = √((0.26°)² + (5417°/H)²)      H in nanotesla
//
// (NOAA and British Geological Survey, The US/UK World Magnetic Model for 2025–2030, technical report, section on errors; from
// memory), counting in rocks and ordinary disturbance. Before 1980, when satellites first measured the whole vector, 100 nT of
// error across the needle are added (after F. J. Lowes' "health warning" to the IGRF; from memory).
//
// Errors are [ErrNoNorth] within a kilometre of a pole of the Earth, whatever the date, [ErrDate], and [ErrPlace].
func At(site ephem.Site, t time.Time) (Field, error) {
	lat := site.Latitude.Deg()
	if 90-math.Abs(lat) < nearPole {
		return Field{}, ErrNoNorth
	}
	year := decimalYear(t)
	if !(year >= FirstYear && year < EndYear) { // beyond it the library panics; a year's last nanosecond may round up
		return Field{}, badDate(t)
	}
	if _, err := ephem.NewSite(lat, site.Longitude.Deg(), site.HeightM); err != nil {
		return Field{}, fmt.Errorf("%w: %w", ErrPlace, err)
	}
	r, err := loaded().IGRF(lat, site.Longitude.Deg(), site.HeightM/1000, year)
	if err != nil {
		return Field{}, fmt.Errorf("%w: %w", ErrPlace, err)
	}
	return Field{
		Declination:  unit.AngleFromDeg(r.Declination),
		Sigma:        sigma(r.HorizontalIntensity, year),
		PerYear:      unit.AngleFromMin(r.DeclinationSV),
		HorizontalNT: r.HorizontalIntensity,
	}, nil
}

// sigma is at most 180°: no direction is less known than that.
func sigma(horizontalNT, year float64) unit.Angle {
	deg := math.Hypot(0.26, 5417/horizontalNT)
	if year < 1980 {
		deg = math.Hypot(deg, 100/horizontalNT*180/math.Pi)
	}
	return unit.AngleFromDeg(math.Min(deg, 180))
}

func decimalYear(t time.Time) float64 {
	t = t.UTC()
	begin := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(t.Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(t.Year()) + t.Sub(begin).Seconds()/end.Sub(begin).Seconds()
}

// Reading is what the compass shows in a direction of true azimuth, 0–360°.
func (f Field) Reading(azimuth unit.Angle) unit.Angle { return (azimuth - f.Declination).Mod1() }

// Trust is what a compass is worth.
type Trust int

// The levels of trust.
const (
	Points   Trust = iota // it points
	Sluggish              // it is slow, and easily led astray
	Fails                 // it does not point north in any useful sense
)

// Trust goes by the horizontal field: under 6000 nT compasses are sluggish, under 2000 nT they fail (caution and blackout zones
// of the World Magnetic Model, the same report; from memory).
func (f Field) Trust() Trust {
	switch {
	case !(f.HorizontalNT >= 2000):
		return Fails
	case f.HorizontalNT < 6000:
		return Sluggish
	}
	return Points
}
