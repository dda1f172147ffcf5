package frame_test

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"trueturn/drift/frame"
	"trueturn/drift/star"
)

// dot is a star of known place, in true pixels.
type dot struct{ x, y float64 }

// mosaicOf draws a field of Gaussian stars through RGGB filters: pixels
// integrate the light, each colour with its own strength and sky, with the
// noise of counted electrons and 3 electrons of readout; 1 count is 1 electron.
func mosaicOf(side int, fwhm float64, strength [3]float64) (pix []uint16, truth []dot) {
	rng := rand.New(rand.NewPCG(6, uint64(strength[0]*100)))
	sky := [3]float64{150, 300, 220}
	sigma := fwhm / (2 * math.Sqrt(2*math.Ln2))
	e := make([]float64, side*side)
	colour := func(x, y int) int { return x&1 + y&1 }
	for i := range e {
		e[i] = sky[colour(i%side, i/side)]
	}
	part := func(d float64) float64 {
		return (math.Erf((d+.5)/(math.Sqrt2*sigma)) - math.Erf((d-.5)/(math.Sqrt2*sigma))) / 2
	}
	for y0 := 30.; y0 < float64(side)-30; y0 += 40 {
		for x0 := 30.; x0 < float64(side)-30; x0 += 40 {
			d := dot{x0 + 4*rng.Float64(), y0 + 4*rng.Float64()}
			truth = append(truth, d)
			light := 30000 * math.Pow(10, rng.Float64())
			for y := int(d.y) - 12; y <= int(d.y)+12; y++ {
				for x := int(d.x) - 12; x <= int(d.x)+12; x++ {
					e[y*side+x] += light * strength[colour(x, y)] * part(float64(x)-d.x) * part(float64(y)-d.y)
				}
			}
		}
	}
	pix = make([]uint16, len(e))
	for i, v := range e {
		pix[i] = uint16(math.Round(min(max(v+rng.NormFloat64()*math.Sqrt(v+9), 0), 65535)))
	}
	return pix, truth
}

// TestMosaicPlaces finds stars of known place in a raw picture. A star's colour
// must not move it: the mean of the four pixels of each cell would pull the red
// ones toward the red pixel by 0.18 pixels.
func TestMosaicPlaces(t *testing.T) {
	const (
		side  = 1000
		bias  = 0.02 // true pixels, a tenth of the pull that a wrong weighting gives
		small = 1.1  // scatter over stated error; measured 0.3 to 0.5: on stars only 1.5 cells wide the errors stated are on the safe side
	)
	for _, c := range []struct {
		name     string
		fwhm     float64
		strength [3]float64
	}{
		{"white", 3, [3]float64{1, 1, 1}},
		{"red", 3, [3]float64{2, 1, 0.4}},
		{"blue", 3, [3]float64{0.4, 1, 2}},
		{"white, sharp", 2.5, [3]float64{1, 1, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			pix, truth := mosaicOf(side, c.fwhm, c.strength)
			f, err := frame.Decode(bytes.NewReader(frame.DNGOf(side, pix)), frame.Options{})
			if err != nil {
				t.Fatal(err)
			}
			field, err := star.Find(context.Background(), f.Plane, star.Options{})
			if err != nil {
				t.Fatal(err)
			}
			n, dx, dy, scatter, pull := offsets(field.Stars, truth)
			if n < len(truth)*9/10 {
				t.Fatalf("%d of %d stars found", n, len(truth))
			}
			if math.Abs(dx) > bias || math.Abs(dy) > bias {
				t.Errorf("the places are off by (%.3f, %.3f) pixels in the mean, limit %g", dx, dy, bias)
			}
			t.Logf("%d stars, mean (%+.4f, %+.4f), scatter %.4f true pixels, %.2f of the error stated", n, dx, dy, scatter, pull)
			if pull > small {
				t.Errorf("the places scatter by %.4f pixels, %.2f of the error stated: it is too small", scatter, pull)
			}
		})
	}
}

// offsets compares the stars, in cells, with the truth: mean error and
// its root mean square in true pixels, and that of error over stated error.
func offsets(stars []star.Star, truth []dot) (n int, dx, dy, scatter, pull float64) {
	for _, s := range stars {
		for _, d := range truth {
			ex, ey := 2*s.X+0.5-d.x, 2*s.Y+0.5-d.y
			if math.Hypot(ex, ey) > 2 {
				continue
			}
			n, dx, dy = n+1, dx+ex, dy+ey
			scatter += (ex*ex + ey*ey) / 2
			pull += (ex*ex/(s.XErr*s.XErr) + ey*ey/(s.YErr*s.YErr)) / 8
		}
	}
	return n, dx / float64(n), dy / float64(n), math.Sqrt(scatter / float64(n)), math.Sqrt(pull / float64(n))
}
