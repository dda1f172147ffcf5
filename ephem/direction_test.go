package ephem

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// By the definitions in the package comment.
func TestHorizontalDirections(t *testing.T) {
	deg := unit.AngleFromDeg
	for _, c := range []struct {
		name string
		h    Horizontal
		enu  r3.Vec
	}{
		{"north", Horizontal{0, 0}, r3.Vec{Y: 1}},
		{"east", Horizontal{deg(90), 0}, r3.Vec{X: 1}},
		{"south", Horizontal{deg(180), 0}, r3.Vec{Y: -1}},
		{"west", Horizontal{deg(270), 0}, r3.Vec{X: -1}},
		{"north-west, half way up", Horizontal{deg(315), deg(45)}, r3.Vec{X: -0.5, Y: 0.5, Z: math.Sqrt2 / 2}},
		{"below south", Horizontal{deg(180), deg(-30)}, r3.Vec{Y: -math.Sqrt(3) / 2, Z: -0.5}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if d := separation(c.h.Direction(), c.enu).Sec(); d > roundingArcsec {
				t.Errorf("direction %v", c.h.Direction())
			}
			got := HorizontalOf(r3.Scale(3, c.enu))
			if math.Abs((got.Azimuth-c.h.Azimuth).Sec()) > roundingArcsec || math.Abs((got.Altitude-c.h.Altitude).Sec()) > roundingArcsec {
				t.Errorf("azimuth %g°, altitude %g°", got.Azimuth.Deg(), got.Altitude.Deg())
			}
		})
	}
	for _, pole := range []float64{1, -1} {
		if got := HorizontalOf(r3.Vec{Z: pole}); math.Abs(got.Altitude.Deg()-90*pole) > 1e-12 || math.IsNaN(got.Azimuth.Rad()) {
			t.Errorf("straight %g: %v", pole, got)
		}
	}
}

// An azimuth a hair west of north is 0 or just under 360°, never 360° itself.
func TestAzimuthStaysBelowAFullTurn(t *testing.T) {
	for _, x := range []float64{-1e-3, -1e-15, -1e-16, -1e-17, -1e-300, 0} {
		if az := HorizontalOf(r3.Vec{X: x, Y: 1}).Azimuth; az < 0 || az >= 2*math.Pi {
			t.Errorf("east %g: azimuth %.17g°", x, az.Deg())
		}
		if ra, _ := RADec(r3.Vec{X: 1, Y: x}); ra < 0 || ra >= 2*math.Pi {
			t.Errorf("y %g: right ascension %.17g°", x, ra.Deg())
		}
	}
}

func TestRADecUndoesDirection(t *testing.T) {
	for _, c := range []struct{ ra, dec float64 }{{0, 0}, {37.95, 89.2641}, {200, -89.9999}, {359.999, 10}, {180, -45}} {
		ra, dec := RADec(Direction(unit.RAFromDeg(c.ra), unit.AngleFromDeg(c.dec)))
		if math.Abs(ra.Deg()-c.ra) > 1e-9 || math.Abs(dec.Deg()-c.dec) > 1e-12 {
			t.Errorf("%v comes back as %g, %g", c, ra.Deg(), dec.Deg())
		}
	}
}
