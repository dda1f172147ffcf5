package scene

import (
	"bufio"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// roundingPx: both sides compute in double precision; 16 digits of a few thousand pixels, the tangent of
// near 90° arcs and the CSV's own digits leave less than this.
const roundingPx = 1e-7

// Against astropy's gnomonic WCS and, for the distortion, its SIP polynomials (testdata/camera_tan.py).
func TestPixelAgreesWithAstropy(t *testing.T) {
	file, err := os.Open("testdata/camera_tan.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows := 0
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "#") || strings.HasPrefix(lines.Text(), "width") {
			continue
		}
		var v [16]float64
		for i, word := range strings.Split(lines.Text(), ",") {
			if v[i], err = strconv.ParseFloat(word, 64); err != nil {
				t.Fatal(err)
			}
		}
		rows++
		c := Camera{int(v[0]), int(v[1]), v[2], v[3], v[4], v[5], v[6], v[7], v[8]}
		x, y, _ := c.Pixel(At(unit.RAFromDeg(v[9]), unit.AngleFromDeg(v[10]), unit.AngleFromDeg(v[11])), direction(v[12], v[13]))
		if off := math.Hypot(x-v[14], y-v[15]); !(off < roundingPx) {
			t.Errorf("row %d: (%.6f, %.6f), astropy has (%.6f, %.6f)", rows, x, y, v[14], v[15])
		}
	}
	if rows != 200 {
		t.Errorf("%d rows checked, want 200", rows)
	}
}

func direction(raDeg, decDeg float64) r3.Vec {
	sa, ca := math.Sincos(raDeg * math.Pi / 180)
	sd, cd := math.Sincos(decDeg * math.Pi / 180)
	return r3.Vec{X: cd * ca, Y: cd * sa, Z: sd}
}

// Look and Pixel are each other's inverse, by definition, all over the picture and at every distortion of the studies.
func TestLookUndoesPixel(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		c := WithDiagonal(3000, 2000, unit.AngleFromDeg(5+85*r.Float64()))
		c.OffX, c.OffY = 60*r.Float64()-30, 60*r.Float64()-30
		c.K1, c.T1, c.T2 = 0.2*r.Float64()-0.1, 0.002*r.NormFloat64(), 0.002*r.NormFloat64()
		a := At(unit.RAFromDeg(360*r.Float64()), unit.AngleFromDeg(180*r.Float64()-90), unit.AngleFromDeg(360*r.Float64()))
		x0, y0 := 2999*r.Float64(), 1999*r.Float64()
		x, y, in := c.Pixel(a, c.Look(a, x0, y0))
		if off := math.Hypot(x-x0, y-y0); !in || !(off < roundingPx) {
			t.Fatalf("%+v: (%.3f, %.3f) comes back as (%.3f, %.3f), in the picture: %v", c, x0, y0, x, y, in)
		}
	}
}

// A turn of 90° about the z axis carries x to y (definition of a right-handed turn), and adds to the right ascension.
func TestTurnedIsRightHanded(t *testing.T) {
	const rounding = 1e-14
	pole := r3.Vec{Z: 1}
	got := At(0, 0.3, 0.5).Turned(pole, unit.AngleFromDeg(90))
	want := At(unit.RAFromDeg(90), 0.3, 0.5)
	for _, p := range [][2]r3.Vec{{got.Right, want.Right}, {got.Down, want.Down}, {got.Forward, want.Forward}} {
		if r3.Norm(r3.Sub(p[0], p[1])) > rounding {
			t.Errorf("got %v, want %v", p[0], p[1])
		}
	}
	if r3.Norm(r3.Sub(r3.Cross(got.Right, got.Down), got.Forward)) > rounding {
		t.Error("right × down is not forward")
	}
}
