package simulate

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// Conditions are the sky and what stands before it.
type Conditions struct {
	Brightness float64 // of the sky, magnitudes per square arcsecond; 0 for a black sky
	Gradient   float64 // share by which it changes from one side of the picture to the other
	Extinction float64 // magnitudes a star at the zenith loses
	Clouds     Clouds
}

// Village is the sky of a village: some light, clear air.
func Village() Conditions {
	return Conditions{Brightness: 20.3, Gradient: 0.25, Extinction: 0.28}
}

// airmass is the path through the air against that to the zenith (F. Kasten and
// A. T. Young, Applied Optics 28 (1989) 4735, eq. 3).
func airmass(enu r3.Vec) float64 {
	h := math.Max(ephem.HorizontalOf(enu).Altitude.Deg(), 0)
	return 1 / (math.Sin(h*math.Pi/180) + 0.50572*math.Pow(h+6.07995, -1.6364))
}

// skyElectrons is the light of the sky on one pixel in one picture, at the
// picture's centre.
func (e Evening) skyElectrons() float64 {
	if e.Conditions.Brightness == 0 {
		return 0
	}
	arcsec := unit.Angle(1 / e.Camera.FocalPx).Sec()
	magnitude := e.Conditions.Brightness - 2.5*math.Log10(arcsec*arcsec)
	return e.Camera.ZeroPoint * e.Exposure.Seconds() * math.Pow(10, -0.4*magnitude)
}
