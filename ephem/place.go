package ephem

import (
	"math"

	"github.com/soniakeys/unit"
)

// Place is a Site as files have it: degrees, north and east positive, and metres above the sea.
type Place struct {
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	HeightM      float64 `json:"height_m"`
}

// PlaceOf is a site for a file, rounded to a tenth of a millimetre on the ground: converted, the pole is an ulp beyond 90° and would be refused.
func PlaceOf(s Site) Place {
	degrees := func(a unit.Angle) float64 { return math.Round(a.Deg()*1e9) / 1e9 }
	return Place{degrees(s.Latitude), degrees(s.Longitude), s.HeightM}
}

// Site is the place as it is reckoned with; the error is that of NewSite.
func (p Place) Site() (Site, error) { return NewSite(p.LatitudeDeg, p.LongitudeDeg, p.HeightM) }
