package simulate

import (
	"math"
	"testing"

	"trueturn/drift/frame"
)

// Light worked by hand: a zero point of 2×10⁵ electrons a second, 10 s, a focal
// length of 20626.5 px (10″ a pixel) and a sky of 20 magnitudes per square
// arcsecond, that is of 15 per pixel, give 2 electrons a pixel; a star of
// magnitude 5 gives 20000.
func TestLight(t *testing.T) {
	e := small(t)
	e.Camera.FocalPx, e.Camera.ZeroPoint = 20626.48, 2e5
	e.Exposure = 10e9
	e.Conditions = Conditions{Brightness: 20}
	if got := e.skyElectrons(); math.Abs(got-2) > 1e-4 {
		t.Errorf("the sky gives %.5f electrons a pixel, want 2", got)
	}
	r := begin(t, e)
	if got := r.electrons(0, 5, degrees(0, 45).Direction()); math.Abs(got-20000) > 1e-6 {
		t.Errorf("a star of magnitude 5 gives %.2f electrons, want 20000", got)
	}
}

// The values are those of F. Kasten and A. T. Young, Applied Optics 28 (1989)
// 4735, table II (from memory): 1.000 at the zenith, 37.92 at the horizon. Half
// way, at 30° of altitude, a flat atmosphere has 2.
func TestAirmass(t *testing.T) {
	for _, c := range []struct{ altDeg, want, tolerance float64 }{
		{90, 1, 0.001}, {30, 2, 0.01}, {0, 37.92, 0.01}, {-5, 37.92, 0.01},
	} {
		if got := airmass(degrees(10, c.altDeg).Direction()); math.Abs(got-c.want) > c.tolerance {
			t.Errorf("at %g°: %.4f, want %.4f", c.altDeg, got, c.want)
		}
	}
	e := small(t)
	e.Conditions.Extinction = 0.25 // at 30° half a magnitude, at the zenith half that
	r := begin(t, e)
	ratio := r.electrons(0, 3, degrees(0, 90).Direction()) / r.electrons(0, 3, degrees(0, 30).Direction())
	if want := math.Pow(10, 0.4*0.25); math.Abs(ratio/want-1) > 0.003 {
		t.Errorf("a star at 30° loses a factor of %.4f, want %.4f", ratio, want)
	}
}

// The sky is darker in the corners by the vignetting and brighter to the right by the gradient.
func TestBackgroundShape(t *testing.T) {
	e := noiseless(small(t))
	e.Conditions = Conditions{Brightness: 18}
	e.Camera.ZeroPoint, e.Camera.FullScale = 1e5, 1e5
	e.Conditions.Gradient, e.Camera.Vignetting = 0.4, 0.3
	p := render(t, e, 0)
	w, h := p.Width-1, p.Height-1
	middle := quiet(p, w/2, h/2)
	for _, c := range []struct {
		name string
		x, y int
		want float64
	}{
		{"left edge", 0, h / 2, 0.8 * (1 - 0.3*0.64)}, // the edges lie at 0.8 and 0.6 half diagonals
		{"right edge", w, h / 2, 1.2 * (1 - 0.3*0.64)},
		{"lower edge", w / 2, h, 1 - 0.3*0.36},
		{"corner", w, 0, 1.2 * 0.7},
	} {
		if got := quiet(p, c.x, c.y) / middle; math.Abs(got-c.want) > 0.01 {
			t.Errorf("%s: %.4f of the middle, want %.4f", c.name, got, c.want)
		}
	}
	if want := e.skyElectrons() / e.Camera.FullScale; math.Abs(middle/want-1) > 0.01 {
		t.Errorf("middle %.3g, want %.3g", middle, want)
	}
}

// quiet is the least light near a place: the sky between the stars.
func quiet(p frame.Plane, x, y int) float64 {
	least := math.Inf(1)
	for j := max(y-12, 0); j <= min(y+12, p.Height-1); j++ {
		for i := max(x-12, 0); i <= min(x+12, p.Width-1); i++ {
			least = math.Min(least, float64(p.Row(j)[i]))
		}
	}
	return least
}
