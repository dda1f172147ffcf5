package ephem

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/soniakeys/unit"
)

// Site is a place on Earth: geodetic latitude, positive north; longitude,
// positive east; height above the sea in metres.
type Site struct {
	Latitude, Longitude unit.Angle
	HeightM             float64
}

// The heights at which people stand, with room below the Dead Sea's shore and
// above the highest summit.
const lowestM, highestM = -500, 9000

const siteHint = "write LAT,LON[,HEIGHT_M] in decimal degrees, north and east positive, as in 46.02,7.75,1620"

// NewSite takes degrees, north and east positive, and metres above the sea. The
// error is [ErrSite] for anything that is no place on Earth: NaN, latitude
// beyond ±90°, longitude beyond ±180°, height outside −500 to 9000 m.
func NewSite(latDeg, lonDeg, heightM float64) (Site, error) {
	s := Site{unit.AngleFromDeg(latDeg), unit.AngleFromDeg(lonDeg), heightM}
	return s, checkSite(latDeg, lonDeg, heightM)
}

func checkSite(latDeg, lonDeg, heightM float64) error {
	// Written so that NaN, for which every comparison is false, is refused.
	switch {
	case !(math.Abs(latDeg) <= 90) && math.Abs(lonDeg) <= 90:
		return badSite(fmt.Sprintf("latitude %g° is not within ±90°", latDeg),
			"latitude comes first: are the two swapped? "+siteHint)
	case !(math.Abs(latDeg) <= 90):
		return badSite(fmt.Sprintf("latitude %g° is not within ±90°", latDeg), siteHint)
	case !(math.Abs(lonDeg) <= 180):
		return badSite(fmt.Sprintf("longitude %g° is not within ±180°", lonDeg),
			"west is negative: write 200° east as -160; "+siteHint)
	case !(heightM >= lowestM && heightM <= highestM):
		return badSite(fmt.Sprintf("height %g m is not within %d to %d m", heightM, lowestM, highestM),
			"give metres above the sea, or leave the height out")
	}
	return nil
}

// check needs no slack at the ends: turning degrees to radians and back is
// monotonic, and gives 90° and 180° back exactly.
func (s Site) check() error {
	return checkSite(s.Latitude.Deg(), s.Longitude.Deg(), s.HeightM)
}

// ParseSite reads "LAT,LON" or "LAT,LON,HEIGHT_M": decimal degrees, north and
// east positive, metres above the sea (0 if left out). Spaces around the numbers
// are allowed, letters and other notations are not. The error is [ErrSite].
func ParseSite(s string) (Site, error) {
	v, err := numbers(s, 2, 3)
	if err != nil {
		return Site{}, badSite(err.Error(), siteHint)
	}
	site, err := NewSite(v[0], v[1], v[2])
	if err != nil {
		return Site{}, err
	}
	return site, nil
}

// String writes the site as a reader would say it, such as
// "46.0200° N, 7.7500° E, 1620 m".
func (s Site) String() string {
	return fmt.Sprintf("%.4f° %s, %.4f° %s, %.0f m",
		math.Abs(s.Latitude.Deg()), letter(s.Latitude, "N", "S"),
		math.Abs(s.Longitude.Deg()), letter(s.Longitude, "E", "W"), s.HeightM)
}

func letter(a unit.Angle, positive, negative string) string {
	if a < 0 {
		return negative
	}
	return positive
}

// numbers reads least to most decimal numbers parted by commas; those left out
// are zero. The error text quotes no more of the input than a line can hold.
func numbers(s string, least, most int) ([]float64, error) {
	fields := strings.SplitN(s, ",", most+2)
	if n := len(fields); n < least || n > most {
		return nil, fmt.Errorf("%s is not %s numbers parted by commas", quote(s), counts(least, most))
	}
	v := make([]float64, most)
	for i, f := range fields {
		x, err := decimal(strings.TrimSpace(f))
		if err != nil {
			return nil, fmt.Errorf("%s is not a decimal number", quote(f))
		}
		v[i] = x
	}
	return v, nil
}

var errNotDecimal = errors.New("not a decimal number")

// decimal refuses what strconv would let pass but nobody types for a place:
// hexadecimal, underscores, "inf", "nan".
func decimal(s string) (float64, error) {
	if strings.Trim(s, "+-.0123456789eE") != "" || strings.ContainsAny(s, "_xXpPnNiI") {
		return 0, errNotDecimal
	}
	return strconv.ParseFloat(s, 64)
}

func counts(least, most int) string {
	if least == most {
		return strconv.Itoa(least)
	}
	return fmt.Sprintf("%d or %d", least, most)
}

func quote(s string) string {
	const longest = 40
	if len(s) > longest {
		return strconv.Quote(s[:longest]) + "…"
	}
	return strconv.Quote(s)
}
