package frame

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
)

// TestTiles compares every pixel with what astropy reads (testdata/
// tiles_astropy.txt); a blank one must be blank. One rounding to float32 is the
// tolerance: pixels are float32 here. Cubes are measured as their planes 1:2:1,
// three roundings more.
func TestTiles(t *testing.T) {
	const rounding = 1.0 / (1 << 23)
	weights := map[int][]float64{1: {1}, 3: {0.25, 0.5, 0.25}}
	for name, want := range reference(t, "tiles_astropy.txt") {
		full := 1.0
		for kind, top := range map[string]float64{"u8": 255, "i16": 32767, "u16": 65535} {
			if strings.Contains(name, kind) {
				full = top
			}
		}
		p := decodeFile(t, name, Options{}).Plane
		tolerance, planes := rounding, 1
		if strings.Contains(name, "cube") {
			tolerance, planes = 4*rounding, 3
		}
		if len(want) != planes*len(p.Pix) {
			t.Fatalf("%s: %d pixels, want %d", name, planes*len(p.Pix), len(want))
		}
		for i := range p.Pix {
			w := 0.0
			for plane := range planes {
				w += weights[planes][plane] * parseFloat(t, want[i+plane*len(p.Pix)]) / full
			}
			got := float64(p.Row(p.Height - 1 - i/p.Width)[i%p.Width])
			if !(math.Abs(got-w) <= tolerance*math.Abs(w)) && !(math.IsNaN(got) && math.IsNaN(w)) {
				t.Errorf("%s: pixel %d is %v, want %v", name, i, got, w)
				break
			}
		}
	}
}

func TestTilesCut(t *testing.T) {
	for name := range reference(t, "tiles_astropy.txt") {
		b := readTestdata(t, name)
		for _, n := range []int{2 * fitsBlock, len(b) - fitsBlock} {
			if _, err := Decode(bytes.NewReader(b[:n]), Options{}); !errors.Is(err, ErrBroken) {
				t.Errorf("%s cut at %d: error %v, want ErrBroken", name, n, err)
			}
		}
	}
}

// tilesOf is a picture of 2×2 bytes in one tile, its layout written by hand
// from FITS 4.0 §10.
func tilesOf(method string, length byte, data ...byte) []byte {
	b := fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", "NAXIS2  = 1", "PCOUNT  = 4", "TFIELDS = 1",
		"TTYPE1  = 'COMPRESSED_DATA'", "TFORM1  = '1PB(4)'", "ZIMAGE  = T", "ZBITPIX = 8", "ZNAXIS  = 2",
		"ZNAXIS1 = 2", "ZNAXIS2 = 2", "ZTILE2  = 2", "ZCMPTYPE= '"+method+"'", "ROWORDER= 'TOP-DOWN'")
	return append(append(b, 0, 0, 0, length, 0, 0, 0, 0), data...)
}

func TestTilesNotCompressed(t *testing.T) {
	f, err := Decode(bytes.NewReader(tilesOf("NOCOMPRESS", 4, 0, 51, 102, 255)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float32{0, 0.2, 0.4, 1} {
		if math.Abs(float64(f.Plane.Pix[i]-want)) > 1e-6 { // float32
			t.Errorf("pixel %d is %v, want %v", i, f.Plane.Pix[i], want)
		}
	}
	for _, c := range []struct {
		data []byte
		kind error
	}{
		{tilesOf("NOCOMPRESS", 3, 1, 2, 3, 4), ErrBroken},
		{tilesOf("NOCOMPRESS", 9, 1, 2, 3, 4), ErrBroken},
		{tilesOf("GZIP_1", 4, 1, 2, 3, 4), ErrBroken},
		{tilesOf("HCOMPRESS_1", 4, 1, 2, 3, 4), ErrUnsupported},
	} {
		if _, err := Decode(bytes.NewReader(c.data), Options{}); !errors.Is(err, c.kind) {
			t.Errorf("error %v, want %v", err, c.kind)
		}
	}
}
