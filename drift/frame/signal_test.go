package frame

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"
)

// TestSignal: every picture says what its light is made of.
func TestSignal(t *testing.T) {
	for name, want := range map[string]string{
		"rgb_420.jpg": "luma", "progressive.jpg": "luma", "base.jpg": "grey", "rgb_direct.jpg": "red, green and blue as 1:2:1", "cmyk.jpg": "red, green and blue as 1:2:1",
		"rgb8.png": "red, green and blue as 1:2:1", "palette.png": "red, green and blue as 1:2:1", "grey16.png": "grey", "base.png": "grey",
		"rgb8.tiff": "red, green and blue as 1:2:1", "grey16.tiff": "grey",
		"u16.fits": "grey", "cube.fits": "three planes as 1:2:1", "tiles_cube_u16.fits": "three planes as 1:2:1",
		"packed12.dng": "the two greens of each cell", "embedded_chain.raw": "luma",
	} {
		if got := decodeFile(t, name, Options{}).Signal; got != want {
			t.Errorf("%s: signal %q, want %q", name, got, want)
		}
	}
}

// TestColourWeights holds the weights of every way in to what their name says,
// with three primaries that differ: a FITS cube, a linear raw picture, and
// linear 16-bit colour.
func TestColourWeights(t *testing.T) {
	const rounding = 1e-6 // float32
	red, green, blue := uint16(1000), uint16(20000), uint16(60000)
	want := (1000/4. + 20000/2. + 60000/4.) / 65535
	cube := fitsText("BITPIX  = 16", "NAXIS   = 3", "NAXIS1  = 2", "NAXIS2  = 1", "NAXIS3  = 3", "BZERO   = 32768")
	for _, v := range []uint16{red, red, green, green, blue, blue} {
		cube = binary.BigEndian.AppendUint16(cube, v-32768)
	}
	linear := dngOf(12, []uint16{red, green, blue, red, green, blue, red, green, blue, red, green, blue, red, green, blue, red, green, blue, red, green, blue, red, green, blue},
		tag{262, []uint32{photometricLinear}}, tag{tagWidth, []uint32{4}}, tag{tagSamples, []uint32{3}})
	for name, file := range map[string][]byte{"three planes as 1:2:1": cube, "red, green and blue as 1:2:1": linear, "16-bit PNG": png48(red, green, blue)} {
		f, err := Decode(bytes.NewReader(file), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for i, got := range f.Plane.Pix {
			if math.Abs(float64(got)-want) > rounding {
				t.Errorf("%s: pixel %d is %g, want %g", name, i, got, want)
			}
		}
		if name != "16-bit PNG" && f.Signal != name {
			t.Errorf("signal %q, want %q", f.Signal, name)
		}
	}
}

// png48 is one pixel of 16-bit colour, linear by its gAMA chunk.
func png48(r, g, b uint16) []byte {
	img := image.NewRGBA64(image.Rect(0, 0, 1, 1))
	img.SetRGBA64(0, 0, color.RGBA64{R: r, G: g, B: b, A: 65535})
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		panic(err)
	}
	const header = 33 // signature and IHDR
	gamma := pngBytes("gAMA", binary.BigEndian.AppendUint32(nil, 100000))
	return append(append(bytes.Clone(out.Bytes()[:header]), gamma...), out.Bytes()[header:]...)
}
