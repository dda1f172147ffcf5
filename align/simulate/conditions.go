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
	Satellites int // trails over the whole run
	Landscape  Landscape
}

// Clouds drift over the picture.
type Clouds struct {
	Thickness float64 // magnitudes lost in the thickest part of thin clouds
	Gaps      []int   // pictures in which the sky is closed
}

// Landscape is a dark outline against the sky; its zero value is an open view.
type Landscape struct {
	Altitude unit.Angle // mean height of the outline
	Rough    unit.Angle // how far hills, roofs and twigs rise over that or fall short
	Light    float64    // brightness of the ground against the sky, 0 to 1
	Lamps    int        // lights on the ground all round the horizon
}

func (l Landscape) present() bool { return l.Altitude != 0 || l.Rough != 0 }

// top is the altitude of the outline at an azimuth, radians: ridges of four
// sizes, each half as high and some three times as narrow as the one before,
// and two finer ones for roofs and trees.
func (l Landscape) top(azimuth float64) float64 {
	h := 0.0
	for k, wave := range [...]struct{ per2Pi, height float64 }{
		{5, 0.52}, {17, 0.26}, {53, 0.13}, {167, 0.065}, {701, 0.03}, {2311, 0.02},
	} {
		h += wave.height * math.Sin(wave.per2Pi*azimuth+1.7*float64(k*k)+math.Sin(2*azimuth))
	}
	return l.Altitude.Rad() + l.Rough.Rad()*h
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

// hidden says whether a direction is behind the landscape or below the horizon.
func (c Conditions) hidden(enu r3.Vec) bool {
	if enu.Z < 0 {
		return true
	}
	if !c.Landscape.present() {
		return false
	}
	h := ephem.HorizontalOf(enu)
	return h.Altitude.Rad() < c.Landscape.top(h.Azimuth.Rad())
}
