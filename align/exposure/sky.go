package exposure

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/soniakeys/unit"

	"trueturn/ephem/amiss"
)

// # What the sky's own light costs
//
// A picture of something faint drowns in two noises: that of the sky's light, which grows with the time the shutter is
// open, and that of reading the sensor, which comes once with every exposure. Per pixel, with s the electrons a second of
// the target, b those of the sky, R the read noise in electrons, and n exposures of t seconds each, so T = n t,
//
//	signal = s T        noise² = (s + b) T + n R² = T (s + b + R²/t)
//
// so that a signal-to-noise of Q takes
//
//	T = Q² (s + b + R²/t)/s²
//
// Where the target is much fainter than the sky, s drops out beside b, and what one sky and exposure take beside
// another is the ratio of their b + R²/t: [Sensor.Longer]. Two skies of m₁ and m₂ magnitudes, read noise aside, are
// 10^(0.4(m₂−m₁)) in time. Targets as bright as the sky lose less.
//
// The sky's light in a pixel needs no focal length: the lens gathers π/4 (f/N)² of it and a pixel of pitch p sees
// (p/f)² of the sky, so
//
//	b = Φ 10^(−0.4 m) · π/4 (p/N)²        per steradian
//
// m in magnitudes a square arcsecond, Φ the electrons that light of magnitude 0 makes in a second behind a square
// centimetre: [photonsPerAngstrom] times [greenAngstrom] times [efficiency].
//
// Left out: dark current (hot nights: add it to b), hot pixels, the lens's fall-off, moonlight and haze, and the sky's brightening
// toward the horizon and over towns, which the meter at the zenith does not see.
const (
	// photonsPerAngstrom that arrive of a star of V = 0 on a square centimetre, in a second and Ångström, above the air:
	// 3.631e-9 erg/(s cm² Å) at 5450 Å (Bessell, Castelli and Plez, Astron. Astrophys. 333, 1998, table A2; from memory)
	// over hc/λ.
	photonsPerAngstrom = 3.631e-9 / (6.62607015e-27 * 2.99792458e10 / 5450e-8)
	// greenAngstrom is the width of the green filter of a sensor, about that of V (common practice, no source).
	greenAngstrom = 900
	// efficiency of lens and sensor together, electrons for a photon in the green (common practice, no source).
	efficiency = 0.4
	// EfficiencyFactor is what that may be wrong by, either way.
	EfficiencyFactor = 2
)

// ErrSky: a sky, or a sensor under it, that cannot be.
var ErrSky = errors.New("no such sky")

// SkyBrightness is how bright the night sky is at the zenith without the Moon, V magnitudes a square arcsecond: larger
// is darker. Darkest and Brightest are what it may be two times in three.
type SkyBrightness struct {
	Mag, Darkest, Brightest float64
	Bortle                  int // the class it was given by, 1 to 9; 0 if by a magnitude
}

// Meters of the sky read ±0.1 magnitude (common practice, no source).
const meterMag = 0.1

// The darkest sky of the Earth and the brightest anyone would photograph.
const (
	darkestMag   = 22.2
	brightestMag = 14
)

// DarkSky is a good dark place, to compare with.
func DarkSky() SkyBrightness { return measured(21.8) }

func measured(mag float64) SkyBrightness {
	return SkyBrightness{Mag: mag, Darkest: min(mag+meterMag, max(mag, darkestMag)), Brightest: mag - meterMag}
}

// bortle are the darkest and the brightest magnitude of each class. The classes, of what the eye sees, are J. E. Bortle's
// (Sky & Telescope, February 2001), who gave none but the faintest stars seen; magnitudes a square arcsecond were attached to them later
// by others and tables differ by half a magnitude (common practice, no source; from memory).
var bortle = [10][2]float64{
	1: {22.0, 21.75}, 2: {21.75, 21.6}, 3: {21.6, 21.3}, 4: {21.3, 20.3}, 5: {20.3, 19.25},
	6: {19.25, 18.5}, 7: {18.5, 18.0}, 8: {18.0, 17.0}, 9: {17.0, 16.0},
}

// OfBortle is the sky of a class, 1 (darkest) to 9. The error is of the kind [ErrSky].
func OfBortle(class int) (SkyBrightness, error) {
	if class < 1 || class > 9 {
		return SkyBrightness{}, amiss.New(ErrSky, "Bortle's classes run from 1 to 9", skyHint)
	}
	b := bortle[class]
	return SkyBrightness{Mag: (b[0] + b[1]) / 2, Darkest: b[0], Brightest: b[1], Bortle: class}, nil
}

const skyHint = "write magnitudes a square arcsecond, 14 (city) to 22 (darkest), as in 21.3, or Bortle's class as in B4"

// ParseSky reads magnitudes a square arcsecond ("21.3") or a class of Bortle's ("B4", "bortle 4"). The error is of the kind
// [ErrSky].
func ParseSky(s string) (SkyBrightness, error) {
	text := strings.ToLower(strings.TrimSpace(s))
	for _, word := range []string{"bortle", "class", "b"} {
		if rest, ok := strings.CutPrefix(text, word); ok {
			class, err := strconv.Atoi(strings.TrimSpace(strings.TrimLeft(rest, " :-=")))
			if err != nil {
				return SkyBrightness{}, amiss.New(ErrSky, "not a class of Bortle's", skyHint)
			}
			return OfBortle(class)
		}
	}
	mag, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil || strings.Trim(text, "+-.0123456789") != "":
		return SkyBrightness{}, amiss.New(ErrSky, "not a brightness of the sky", skyHint)
	case mag >= 1 && mag <= 9 && mag == math.Trunc(mag):
		return SkyBrightness{}, amiss.New(ErrSky, fmt.Sprintf("no sky is as bright as magnitude %g a square arcsecond", mag),
			fmt.Sprintf("if you mean Bortle's class, write B%g; else %s", mag, skyHint))
	case !(mag >= brightestMag && mag <= darkestMag):
		return SkyBrightness{}, amiss.New(ErrSky, fmt.Sprintf("no night sky has magnitude %g a square arcsecond", mag), skyHint)
	}
	return measured(mag), nil
}

// Sensor is what decides how much sky and how much noise a pixel gets.
type Sensor struct {
	FNumber      float64
	PixelPitchUM float64
	ReadNoiseE   float64 // electrons, each time a pixel is read
}

// sound refuses what no camera is.
func (s Sensor) sound() error {
	switch {
	case !finite(s.FNumber, s.PixelPitchUM, s.ReadNoiseE):
		return amiss.New(ErrSky, "a figure of the sensor is no number", "give plain decimal numbers")
	case s.FNumber < 0.3 || s.FNumber > 128:
		return amiss.New(ErrSky, "the f-number is out of range", "choose a value from 0.3 to 128")
	case s.PixelPitchUM < 0.2 || s.PixelPitchUM > 200:
		return amiss.New(ErrSky, "the pixel pitch is out of range", "choose a value from 0.2 to 200 micrometres")
	case s.ReadNoiseE < 0 || s.ReadNoiseE > 200:
		return amiss.New(ErrSky, "the read noise is out of range", "choose a value from 0 to 200 electrons")
	}
	return nil
}

// SkyRate is the electrons a second that a sky of this brightness makes in a green pixel: b of the model. It is good to
// [EfficiencyFactor] either way.
func (s Sensor) SkyRate(mag float64) float64 {
	const cmPerUM = 1e-4
	gathered := math.Pi / 4 * math.Pow(unit.Angle(s.PixelPitchUM*cmPerUM/s.FNumber).Sec(), 2) // cm² arcsec²
	return photonsPerAngstrom * greenAngstrom * efficiency * math.Pow(10, -0.4*mag) * gathered
}

// Way is a way of taking pictures: exposures of some length under some sky.
type Way struct {
	Sky       SkyBrightness
	ExposureS float64
}

// Ratio is a figure and the range it lies in two times in three.
type Ratio struct{ Is, Low, High float64 }

// Longer is how many times the total exposure of way b way a needs for the same signal-to-noise on something much fainter than
// the sky. The range counts in what is not known of the skies and of the light the sensor turns to electrons; the
// same sky for both cancels. The error is of the kind [ErrSky].
func (s Sensor) Longer(a, b Way) (Ratio, error) {
	if err := s.sound(); err != nil {
		return Ratio{}, err
	}
	for _, w := range []Way{a, b} {
		if !finite(w.ExposureS, w.Sky.Mag, w.Sky.Darkest, w.Sky.Brightest) || w.ExposureS <= 0 {
			return Ratio{}, amiss.New(ErrSky, "the exposure or the sky is no number", "give an exposure above zero and a sky")
		}
	}
	r := Ratio{Is: s.ratio(a, b, a.Sky.Mag, b.Sky.Mag, 1)}
	logs := 0.0 // squares of the independent parts, of the logarithm
	add := func(x, y float64) { logs += math.Pow(math.Log(x/y)/2, 2) }
	if a.Sky == b.Sky {
		add(s.ratio(a, b, a.Sky.Brightest, a.Sky.Brightest, 1), s.ratio(a, b, a.Sky.Darkest, a.Sky.Darkest, 1))
	} else {
		add(s.ratio(a, b, a.Sky.Brightest, b.Sky.Mag, 1), s.ratio(a, b, a.Sky.Darkest, b.Sky.Mag, 1))
		add(s.ratio(a, b, a.Sky.Mag, b.Sky.Brightest, 1), s.ratio(a, b, a.Sky.Mag, b.Sky.Darkest, 1))
	}
	add(s.ratio(a, b, a.Sky.Mag, b.Sky.Mag, EfficiencyFactor), s.ratio(a, b, a.Sky.Mag, b.Sky.Mag, 1.0/EfficiencyFactor))
	spread := math.Exp(math.Sqrt(logs))
	r.Low, r.High = r.Is/spread, r.Is*spread
	return r, nil
}

// ratio is that of b + R²/t, with the sky's electrons scaled.
func (s Sensor) ratio(a, b Way, magA, magB, scale float64) float64 {
	noise := func(mag, t float64) float64 { return scale*s.SkyRate(mag) + s.ReadNoiseE*s.ReadNoiseE/t }
	return noise(magA, a.ExposureS) / noise(magB, b.ExposureS)
}

// LongEnough is the exposure in seconds from which on reading the sensor costs less than a tenth of the total
// time: R²/t < b/10. Longer ones gain next to nothing.
func (s Sensor) LongEnough(sky SkyBrightness) float64 {
	return 10 * s.ReadNoiseE * s.ReadNoiseE / s.SkyRate(sky.Mag)
}
