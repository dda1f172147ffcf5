package ephem

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
)

// Air is the air at the site: temperature in degrees Celsius and pressure in
// hectopascals at the site itself, not reduced to sea level as weather reports
// give it. The zero Air is a vacuum at 0 °C: no refraction. Humidity is left
// out: 20 hPa of vapour, a tropical night, lowers refraction by 0.3 %.
type Air struct {
	TemperatureC float64 `json:"temperature_c"`
	PressureHPa  float64 `json:"pressure_hpa"`
}

// What has been measured at the ground, with a little room. Pressure may be
// zero, to switch refraction off.
const (
	coldestC, hottestC = -95, 60
	highestHPa         = 1100
)

const airHint = "write T_C,HPA: degrees Celsius and the pressure at the site in hectopascals, as in -5,835"

func (a Air) check() error {
	switch {
	case !(a.TemperatureC >= coldestC && a.TemperatureC <= hottestC):
		return badAir(fmt.Sprintf("temperature %g °C is not within %d to %d °C",
			a.TemperatureC, coldestC, hottestC), airHint)
	case !(a.PressureHPa >= 0 && a.PressureHPa <= highestHPa):
		return badAir(fmt.Sprintf("pressure %g hPa is not within 0 to %d hPa",
			a.PressureHPa, highestHPa), airHint)
	}
	return nil
}

// ParseAir reads "T_C,HPA": degrees Celsius and hectopascals. The error is an
// [ErrAir].
func ParseAir(s string) (Air, error) {
	v, err := numbers(s, 2, 2)
	if err != nil {
		return Air{}, badAir(err.Error(), airHint)
	}
	a := Air{v[0], v[1]}
	if err := a.check(); err != nil {
		return Air{}, err
	}
	return a, nil
}

// StandardAir is the International Standard Atmosphere (ISO 2533:1975, equal to
// the U.S. Standard Atmosphere 1976) at a height above the sea: 15 °C and
// 1013.25 hPa at the sea, 6.5 °C colder for every kilometre. Real nights depart
// from it by some 5 % in refraction. Heights outside −500 to 9000 m, and NaN,
// are taken as the nearest end, and the sea.
func StandardAir(heightM float64) Air {
	const (
		seaK, seaHPa = 288.15, 1013.25
		lapseKPerM   = 0.0065
		exponent     = 9.80665 / (287.05287 * lapseKPerM) // g/(R·lapse) = 5.2559
	)
	if math.IsNaN(heightM) {
		heightM = 0
	}
	k := seaK - lapseKPerM*min(max(heightM, lowestM), highestM)
	return Air{k - zeroCelsiusK, seaHPa * math.Pow(k/seaK, exponent)}
}

const zeroCelsiusK = 273.15

// refractivity is n−1 of dry air for yellow-green light (0.55 µm, the middle of
// a camera's band): the dispersion formula of the International Association of
// Geodesy (1999, Resolution 3; phase index, 0.0375 % carbon dioxide), given
// there for 0 °C and 1013.25 hPa, scaled as an ideal gas.
func (a Air) refractivity() float64 {
	const (
		perUM2   = 1 / (0.55 * 0.55)
		standard = (287.6155 + (1.62887+0.01360*perUM2)*perUM2) * 1e-6
	)
	return standard * (a.PressureHPa / 1013.25) * (zeroCelsiusK / (a.TemperatureC + zeroCelsiusK))
}

// Refraction gives the two constants for this air. With γ the refractivity and
// β the scale height of the air over the Earth's radius (R. M. Green, Spherical
// Astronomy, 1985, eq. 4.31),
//
//	A = γ(1−β)      B = −γ(β − γ/2)
//
// β is proportional to the temperature (R. C. Stone, Publ. Astron. Soc. Pacific
// 108, 1996, eq. 9), with the factor ERFA adjusted to ray tracing, so that A and
// B are those of its refco for dry air. Temperatures and pressures that no
// ground has ever seen are taken as the nearest that [ParseAir] lets pass.
func (a Air) Refraction() Refraction {
	const scaleHeightPerK = 4.4474e-6
	a.TemperatureC = min(max(a.TemperatureC, coldestC), hottestC)
	a.PressureHPa = min(max(a.PressureHPa, 0), highestHPa)
	γ := a.refractivity()
	β := scaleHeightPerK * (a.TemperatureC + zeroCelsiusK)
	return Refraction{A: unit.Angle(γ * (1 - β)), B: unit.Angle(-γ * (β - γ/2))}
}
