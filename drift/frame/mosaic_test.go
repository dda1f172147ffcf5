package frame_test

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
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
	return trailedMosaic(side, fwhm, strength, dot{})
}

// trailedMosaic moves the stars evenly by a path during the exposure.
func trailedMosaic(side int, fwhm float64, strength [3]float64, path dot) (pix []uint16, truth []dot) {
	const reach = 12                                // pixels a star's light is drawn to
	pieces := 1 + int(2*math.Hypot(path.x, path.y)) // dots half a pixel apart run together
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
			for k := range pieces {
				u := (float64(k)+0.5)/float64(pieces) - 0.5
				var across, down [2*reach + 1]float64
				for i := range across {
					across[i] = part(float64(int(d.x)-reach+i) - d.x - u*path.x)
					down[i] = part(float64(int(d.y)-reach+i)-d.y-u*path.y) * light / float64(pieces)
				}
				for j, v := range down {
					for i, h := range across {
						x, y := int(d.x)-reach+i, int(d.y)-reach+j
						e[y*side+x] += strength[colour(x, y)] * v * h
					}
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

// What stars of a mosaic must show. Lengths are true pixels.
const (
	placesBias  = 0.005 // in the mean: the cells' pixels are known, so only noise is left, 0.009/√576 = 0.0004; a wrong weighting of the colours gives 0.18, a cell off 0.5
	pullLeast   = 0.9   // scatter over stated error: 1 and three times its own chance of 0.02 for 1150 places, and the 4 % of package star
	pullMost    = 1.1
	widthOff    = 0.03 // of FWHM, as a share
	peakOff     = 0.04 // of the brightest pixel, as a share: a pixel's mean of a Gaussian is a hundredth under its middle, and noise
	longestSeen = 1.03 // elongation: noise and no more; cells taken for squares give 1.13
)

// seenWidth is the FWHM with the box of a pixel of the sensor.
func seenWidth(fwhm float64) float64 { return math.Sqrt(fwhm*fwhm + 8*math.Ln2/12) }

// starsOf finds the stars of a file.
func starsOf(t *testing.T, file []byte) (frame.Frame, star.Field) {
	t.Helper()
	f, err := frame.Decode(bytes.NewReader(file), frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	field, err := star.Find(context.Background(), f.Plane, star.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return f, field
}

// judge compares a field with the truth.
func judge(t *testing.T, field star.Field, truth []dot, fwhm float64) {
	t.Helper()
	n, dx, dy, scatter, pull := offsets(field.Stars, truth)
	t.Logf("%d stars, mean (%+.4f, %+.4f), scatter %.4f true pixels, %.2f of the error stated; FWHM %.3f, elongation %.3f",
		n, dx, dy, scatter, pull, field.FWHM, field.Elongation)
	if n < len(truth)*9/10 {
		t.Errorf("%d of %d stars found", n, len(truth))
	}
	if math.Abs(dx) > placesBias || math.Abs(dy) > placesBias {
		t.Errorf("the places are off by (%.4f, %.4f) pixels in the mean, limit %g", dx, dy, placesBias)
	}
	if pull < pullLeast || pull > pullMost {
		t.Errorf("the places scatter by %.4f pixels, %.2f of the error stated, want %g to %g", scatter, pull, pullLeast, pullMost)
	}
	if want := seenWidth(fwhm); math.Abs(field.FWHM/want-1) > widthOff || field.Elongation > longestSeen {
		t.Errorf("stars %.3f pixels wide, elongation %.3f; want %.3f and under %g", field.FWHM, field.Elongation, want, longestSeen)
	}
	if share := peakOf(field.Stars); math.Abs(share-1) > peakOff {
		t.Errorf("the brightest pixels are %.3f times those of Gaussians of that light and width", share)
	}
}

// peakOf is the median of Peak over what a round Gaussian of a star's Flux and
// FWHM holds in the pixel nearest to its middle.
func peakOf(stars []star.Star) float64 {
	var shares []float64
	for _, s := range stars {
		sigma2 := s.FWHM * s.FWHM / (8 * math.Ln2)
		dx, dy := s.X-math.Round(s.X), s.Y-math.Round(s.Y)
		shares = append(shares, s.Peak*2*math.Pi*sigma2/s.Flux*math.Exp((dx*dx+dy*dy)/(2*sigma2)))
	}
	slices.Sort(shares)
	return shares[len(shares)/2]
}

// TestMosaicPlaces finds stars of known place in raw pictures. A star's colour
// must not move it: the mean of the four pixels of each cell would pull the red
// ones toward the red pixel by 0.18 pixels. The truth is the drawing, whose
// pixels integrate a Gaussian exactly.
func TestMosaicPlaces(t *testing.T) {
	const side = 1000
	for _, c := range []struct {
		name     string
		fwhm     float64
		strength [3]float64
	}{
		{"white", 3, [3]float64{1, 1, 1}},
		{"red", 3, [3]float64{2, 1, 0.4}},
		{"blue", 3, [3]float64{0.4, 1, 2}},
		{"white, sharp", 2.5, [3]float64{1, 1, 1}},
		{"white, wide", 6, [3]float64{1, 1, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			pix, truth := mosaicOf(side, c.fwhm, c.strength)
			f, field := starsOf(t, frame.DNGOf(side, pix, 1))
			if field.Width != side || field.Height != side || f.Plane.Width != side/2 || f.Plane.Cell != frame.GreensRising {
				t.Errorf("a plane of %d cells of kind %d, a field of %d×%d pixels; want %d, rising greens, %d×%[6]d",
					f.Plane.Width, f.Plane.Cell, field.Width, field.Height, side/2, side)
			}
			judge(t, field, truth, c.fwhm)
		})
	}
}

// TestMosaicFITS: the same out of FITS, whatever the header says of the rows
// and of the order of colours.
func TestMosaicFITS(t *testing.T) {
	const side = 1000
	pix, truth := mosaicOf(side, 3, [3]float64{2, 1, 0.4})
	white, whiteTruth := mosaicOf(side, 3, [3]float64{1, 1, 1})
	turned := make([]dot, len(truth))
	for i, d := range truth {
		turned[i] = dot{d.x, side - 1 - d.y}
	}
	for _, c := range []struct {
		name  string
		cards []string
		truth []dot
		cell  frame.Cell
		notes int
	}{
		{"from the top", []string{"BAYERPAT= 'RGGB'", "ROWORDER= 'TOP-DOWN'"}, truth, frame.GreensRising, 1},
		{"from the bottom", []string{"BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"}, turned, frame.GreensFalling, 1},
		{"shifted by one", []string{"BAYERPAT= 'GBRG'", "YBAYROFF= 1", "ROWORDER= 'TOP-DOWN'"}, truth, frame.GreensRising, 1},
		{"colours counted from the other end", []string{"BAYERPAT= 'GBRG'", "ROWORDER= 'BOTTOM-UP'"}, turned, frame.GreensFalling, 2},
		{"order not told", []string{"BAYERPAT= 'TRUE'", "ROWORDER= 'TOP-DOWN'"}, whiteTruth, frame.FourPixels, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			cards := append(c.cards, "XPIXSZ  = 2.4", "DATE-OBS= '2026-03-01T21:00:00'")
			pix := pix
			if c.cell == frame.FourPixels { // coloured stars are pulled there, as the note says
				pix = white
			}
			f, field := starsOf(t, frame.FITSOf(side, pix, cards...))
			notes := 0
			for _, n := range f.Notes {
				if strings.Contains(n, "colour") {
					notes++
				}
			}
			if f.Plane.Cell != c.cell || notes != c.notes || f.Lens.PixelPitchUM != 2.4 {
				t.Errorf("cells of kind %d, notes %q, pixels of %g µm; want %d, %d on colours, 2.4", f.Plane.Cell, f.Notes, f.Lens.PixelPitchUM, c.cell, c.notes)
			}
			judge(t, field, c.truth, 3)
		})
	}
}

// TestMosaicTrails: the length of a path is that in true pixels whether it runs
// along the greens' diagonal or across it.
func TestMosaicTrails(t *testing.T) {
	const (
		side      = 1000
		lengthOff = 0.03 // as a share: the ellipse of a short path and the noise
		angleOff  = 2.0  // degrees
	)
	for _, path := range []dot{{2, 2}, {2, -2}, {3, 0}, {7, 7}, {7, -7}, {0, 9}} {
		pix, truth := trailedMosaic(side, 3, [3]float64{1, 1, 1}, path)
		_, field := starsOf(t, frame.DNGOf(side, pix, 1))
		n, dx, dy, scatter, pull := offsets(field.Stars, truth)
		var lengths, turns []float64
		want := math.Atan2(path.y, path.x) * 180 / math.Pi
		for _, s := range field.Stars {
			lengths, turns = append(lengths, s.TrailPx), append(turns, math.Remainder(s.Angle.Deg()-want, 180))
		}
		slices.Sort(lengths)
		slices.Sort(turns)
		length, turn := lengths[len(lengths)/2], turns[len(turns)/2]
		t.Logf("%v: %d stars, %.3f pixels long, off by %+.2f°; places off by (%+.4f, %+.4f), scatter %.4f, %.2f of the error stated",
			path, n, length, turn, dx, dy, scatter, pull)
		if n < len(truth)*9/10 || math.Abs(length/math.Hypot(path.x, path.y)-1) > lengthOff || math.Abs(turn) > angleOff {
			t.Errorf("%d of %d stars of a path of %v pixels: %.3f long and %+.2f° off", n, len(truth), path, length, turn)
		}
		if pull > pullMost {
			t.Errorf("path %v: the places scatter by %.2f of the error stated, at most %g", path, pull, pullMost)
		}
	}
}

// TestMosaicHotPixels: single bright pixels of any colour are no stars.
func TestMosaicHotPixels(t *testing.T) {
	const side, hot = 1000, 300
	pix, truth := mosaicOf(side, 3, [3]float64{1, 1, 1})
	rng := rand.New(rand.NewPCG(8, 8))
	for range hot {
		pix[rng.IntN(len(pix))] = uint16(2000 + rng.IntN(20000))
	}
	_, field := starsOf(t, frame.DNGOf(side, pix, 1))
	taken := 0
	for _, s := range field.Stars {
		own := slices.ContainsFunc(truth, func(d dot) bool { return math.Hypot(s.X-d.x, s.Y-d.y) < 2 })
		if !own {
			taken++
		}
	}
	t.Logf("%d stars, %d suspects", len(field.Stars), len(field.Suspects))
	if taken > 0 || len(field.Suspects) < hot/4 { // half of the pixels are green, and most stand alone
		t.Errorf("%d hot pixels taken for stars, %d suspected", taken, len(field.Suspects))
	}
}

// TestMosaicTurned: the greens' diagonal turns with the picture. Where the
// first row and column are displayed: EXIF 2.32 (CIPA DC-008), Orientation.
func TestMosaicTurned(t *testing.T) {
	const side, last = 1000, 999
	pix, truth := mosaicOf(side, 2.5, [3]float64{1, 1, 1})
	for orientation, shown := range map[int]func(dot) dot{
		2: func(d dot) dot { return dot{last - d.x, d.y} },
		3: func(d dot) dot { return dot{last - d.x, last - d.y} },
		4: func(d dot) dot { return dot{d.x, last - d.y} },
		5: func(d dot) dot { return dot{d.y, d.x} },
		6: func(d dot) dot { return dot{last - d.y, d.x} },
		7: func(d dot) dot { return dot{last - d.y, last - d.x} },
		8: func(d dot) dot { return dot{d.y, last - d.x} },
	} {
		t.Run(strconv.Itoa(orientation), func(t *testing.T) {
			var turned []dot
			for _, d := range truth {
				turned = append(turned, shown(d))
			}
			_, field := starsOf(t, frame.DNGOf(side, pix, orientation))
			judge(t, field, turned, 2.5)
		})
	}
}

// offsets compares the stars with the truth, in true pixels: mean error, its
// root mean square, and that of error over stated error.
func offsets(stars []star.Star, truth []dot) (n int, dx, dy, scatter, pull float64) {
	for _, s := range stars {
		for _, d := range truth {
			ex, ey := s.X-d.x, s.Y-d.y
			if math.Hypot(ex, ey) > 2 {
				continue
			}
			n, dx, dy = n+1, dx+ex, dy+ey
			scatter += (ex*ex + ey*ey) / 2
			pull += (ex*ex/(s.XErr*s.XErr) + ey*ey/(s.YErr*s.YErr)) / 2
		}
	}
	return n, dx / float64(n), dy / float64(n), math.Sqrt(scatter / float64(n)), math.Sqrt(pull / float64(n))
}
