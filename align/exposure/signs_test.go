package exposure

import (
	"fmt"
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// firstOrder: what the first-order formulas leave out is the error itself, 6′ = 0.0017, times a factor of a few.
const firstOrder = 0.01

// TestFirstOrder: the courses against the first-order formulas of the trade (common practice; derived in design §4), signs and all:
//
//	dδ/dt       = −ω (Δh sin H + Δa cos φ cos H)
//	cos δ dα/dt = −ω sin δ (Δh cos H − Δa cos φ sin H)
//	rotation    =  ω cos δ (Δh cos H − Δa cos φ sin H)        clockwise in the picture
//
// with the errors of the elevated end; in the south only the Δh terms change sign.
func TestFirstOrder(t *testing.T) {
	alt, az := unit.AngleFromMin(6), unit.AngleFromMin(-4)
	for _, latDeg := range []float64{46, -33} {
		for _, hDeg := range []float64{-80, -20, 0, 50, 120} {
			for _, decDeg := range []float64{-40, 0, 25, 60} {
				lat, h, dec := latDeg*math.Pi/180, hDeg*math.Pi/180, decDeg*math.Pi/180
				v := standing(lat, h, dec)
				p := Plan{View: v, Mount: Mount{Axis: v.Off(alt, az)}, FWHM: 2}.filled()
				got := newFollower(v, []vec{{}, {0, -100}, {0, 100}}).courses(p.way(draws{}, 0), nil)
				dh, da := alt.Rad(), az.Rad()*math.Cos(lat)
				if lat < 0 {
					dh = -dh
				}
				scale := omega * v.Lens.FocalPx
				allowed := firstOrder * scale * math.Hypot(dh, da)
				what := fmt.Sprintf("φ %g° H %g° δ %g°: ", latDeg, hDeg, decDeg)
				within(t, what+"declination", -got[0].v.y, -scale*(dh*math.Sin(h)+da*math.Cos(h)), allowed)
				// Seen from inside the sphere with north up, east is on the left.
				within(t, what+"right ascension", -got[0].v.x, -scale*math.Sin(dec)*(dh*math.Cos(h)-da*math.Sin(h)), allowed)
				turn := (got[1].v.x - got[2].v.x) / 200
				within(t, what+"rotation", turn, omega*math.Cos(dec)*(dh*math.Cos(h)-da*math.Sin(h)), firstOrder*omega*math.Hypot(dh, da))
			}
		}
	}
}

func within(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if math.Abs(got-want) > allowed {
		t.Errorf("%s: got %.4g, want %.4g ± %.1g", what, got, want, allowed)
	}
}

// standing is a view without air, north up, of a place given by hour angle and declination; J. Meeus, Astronomical Algorithms,
// 2nd ed., eqs. 13.5 and 13.6, p. 93, turned to east, north, up.
func standing(lat, h, dec float64) View {
	look := r3.Vec{
		X: -math.Cos(dec) * math.Sin(h),
		Y: math.Sin(dec)*math.Cos(lat) - math.Cos(dec)*math.Cos(h)*math.Sin(lat),
		Z: math.Sin(dec)*math.Sin(lat) + math.Cos(dec)*math.Cos(h)*math.Cos(lat),
	}
	pole := r3.Vec{Y: math.Cos(lat), Z: math.Sin(lat)}
	north := r3.Unit(r3.Sub(pole, r3.Scale(r3.Dot(pole, look), look)))
	l := Lens{FocalPx: 5000, Width: 3000, Height: 2000}
	return View{Lens: l, Attitude: facing(look, north, 0), Pole: pole, South: lat < 0}
}

// TestLeastDeclination: the smallest |δ| in the picture lies in its corner. With x right and y down in pixels from the middle
// sin δ = (f sin δ₀ − y cos δ₀)/√(x²+y²+f²), here f = 2000 and x = y = 1000 (own derivation).
func TestLeastDeclination(t *testing.T) {
	l := Lens{FocalPx: 2000, Width: 2001, Height: 2001}
	corner := func(deg float64) float64 {
		s, c := math.Sincos(math.Abs(deg) * math.Pi / 180)
		return math.Asin((2000*s-1000*c)/math.Sqrt(6e6)) * 180 / math.Pi
	}
	for _, c := range []struct{ dec, want float64 }{{0, 0}, {20, 0}, {-20, 0}, {60, corner(60)}, {-50, corner(50)}} {
		within(t, fmt.Sprintf("δ %g°", c.dec), toward(t, l, c.dec, 0).LeastDeclination().Deg(), c.want, 1e-9)
	}
}
