package frame

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"trueturn/ephem/amiss"
)

func readTestdata(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func decodeFile(t testing.TB, name string, o Options) Frame {
	t.Helper()
	f, err := Decode(bytes.NewReader(readTestdata(t, name)), o)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return f
}

// reference reads a file of testdata whose lines are a name and fields;
// lines beginning with # are comments.
func reference(t testing.TB, file string) map[string][]string {
	t.Helper()
	rows := map[string][]string{}
	s := bufio.NewScanner(bytes.NewReader(readTestdata(t, file)))
	for s.Scan() {
		if f := strings.Fields(s.Text()); len(f) > 1 && f[0] != "#" {
			rows[f[0]] = f[1:]
		}
	}
	if len(rows) == 0 {
		t.Fatalf("%s is empty", file)
	}
	return rows
}

func parseFloat(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestLuma compares the light of JPEG files with the luma that libjpeg decodes
// (testdata/luma_pil.txt), put through the curve.
func TestLuma(t *testing.T) {
	const step = 1 // two decoders round the transform differently by one step
	for name, want := range reference(t, "luma_pil.txt") {
		f := decodeFile(t, name, Options{})
		if f.Plane.Width*f.Plane.Height != len(want) {
			t.Errorf("%s: %d×%d pixels, want %d", name, f.Plane.Width, f.Plane.Height, len(want))
			continue
		}
		for i, w := range want {
			got, want := 255*codedOf(float64(f.Plane.Pix[i])), parseFloat(t, w)
			if math.Abs(got-want) > step+0.01 {
				t.Errorf("%s: pixel %d is coded %.2f, want %g", name, i, got, want)
				break
			}
		}
	}
}

// TestLuminance compares colour pictures with the linear red, green and blue
// ImageMagick makes of them, weighted (testdata/luminance_imagemagick.txt).
func TestLuminance(t *testing.T) {
	// ImageMagick rounds each channel to steps of 1/65535.
	const tolerance = 1.0 / 65535
	for name, want := range reference(t, "luminance_imagemagick.txt") {
		f := decodeFile(t, name, Options{})
		tol := tolerance
		if name == "rgb_direct.jpg" {
			tol = 2.27 / 255 // one step of 8 bits: two JPEG decoders
		}
		for i, w := range want {
			if got, want := float64(f.Plane.Pix[i]), parseFloat(t, w)/65535; math.Abs(got-want) > tol {
				t.Errorf("%s: pixel %d is %.6f, want %.6f", name, i, got, want)
				break
			}
		}
	}
}

// TestCMYK: the file was made from rgb8.png with black ink left out, so that
// its light is that of the original within JPEG's losses.
func TestCMYK(t *testing.T) {
	const losses = 0.04
	checkLight(t, decodeFile(t, "cmyk.jpg", Options{}).Plane, decodeFile(t, "rgb8.png", Options{}).Plane, losses)
}

// TestCurve holds the two ends of the curve's straight foot as IEC 61966-2-1
// prints them, and that the two directions undo each other.
func TestCurve(t *testing.T) {
	const printed = 5e-8 // the standard rounds 0.04045/12.92 = 0.00313080 to seven digits
	for _, c := range []struct{ coded, linear float64 }{{0, 0}, {0.04045, 0.0031308}, {1, 1}} {
		if got := linearOf(c.coded); math.Abs(got-c.linear) > printed {
			t.Errorf("linearOf(%g) = %g, want %g", c.coded, got, c.linear)
		}
	}
	for code := range 256 {
		// The two pieces meet within 3e-8 in the standard's rounded constants.
		if got := codedOf(linearOf(float64(code) / 255)); math.Abs(got-float64(code)/255) > 1e-6 {
			t.Errorf("code %d comes back as %g", code, 255*got)
		}
	}
}

// TestTone checks how each kind of file is read as light: the value of one
// pixel, from the stored number by the rule named.
func TestTone(t *testing.T) {
	for _, c := range []struct {
		name, file string
		pixel      int
		want       float64
		saturation float64
	}{
		{"16-bit grey PNG is linear", "grey16.png", 100, 51200.0 / 65535, 65534.0 / 65535},
		{"16-bit grey TIFF is linear", "grey16.tiff", 100, 51200.0 / 65535, 65534.0 / 65535},
		{"big-endian TIFF", "grey16_big_endian.tiff", 100, 51200.0 / 65535, 65534.0 / 65535},
		{"8-bit grey PNG is coded", "base.png", 8, linearOf(128.0 / 255), linearOf(254.0 / 255)},
		{"8-bit PNG with gAMA 1 is linear", "linear8.png", 8, 128.0 / 255, 254.0 / 255},
		{"8-bit grey TIFF is coded", "base.tiff", 8, linearOf(128.0 / 255), linearOf(254.0 / 255)},
		{"JPEG clips below 255", "base.jpg", 0, 0, linearOf(250.0 / 255)},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := decodeFile(t, c.file, Options{})
			const rounding = 1e-6 // float32
			if got := float64(f.Plane.Pix[c.pixel]); math.Abs(got-c.want) > rounding {
				t.Errorf("pixel %d is %g, want %g", c.pixel, got, c.want)
			}
			if got := float64(f.Plane.Saturation); math.Abs(got-c.saturation) > rounding {
				t.Errorf("saturation %g, want %g", got, c.saturation)
			}
		})
	}
}

func TestClipLevel(t *testing.T) {
	for _, c := range []struct{ largest, want int }{
		{0, 65535}, {40000, 65535}, {65535, 65535}, {4095, 4095}, {65520, 65520}, {16383, 16383}, {65532, 65532}, {1023, 1023}, {4094, 65535},
	} {
		if got := clipLevel(c.largest); got != c.want {
			t.Errorf("clipLevel(%d) = %d, want %d", c.largest, got, c.want)
		}
	}
}

// TestOrientation compares with what PIL shows (testdata/orientation_pil.txt).
func TestOrientation(t *testing.T) {
	for o, want := range reference(t, "orientation_pil.txt") {
		f := decodeFile(t, "orientation_"+o+".jpg", Options{})
		rows := strings.Split(strings.Join(want, " "), " / ")
		var got []string
		for y := 4; y < f.Plane.Height; y += 8 {
			var cells []string
			for x := 4; x < f.Plane.Width; x += 8 {
				cells = append(cells, strconv.Itoa(int(math.Round(255*codedOf(float64(f.Plane.Row(y)[x]))))))
			}
			got = append(got, strings.Join(cells, " "))
		}
		if diff := cmp.Diff(rows, got); diff != "" {
			t.Errorf("orientation %s, cells as displayed (-want +got):\n%s", o, diff)
		}
	}
}

// TestOrientationOfAnySize turns a picture larger than one band, and not a
// multiple of it, by the definition of the tag pixel by pixel.
func TestOrientationOfAnySize(t *testing.T) {
	const w, h = 37, 2*band + 5
	l := light{width: w, height: h, row: func(dst []float32, y int) error {
		for x := range dst {
			dst[x] = float32(1000*y + x)
		}
		return nil
	}}
	shown := map[int]func(x, y int) (int, int){
		1: func(x, y int) (int, int) { return x, y }, 2: func(x, y int) (int, int) { return w - 1 - x, y },
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }, 4: func(x, y int) (int, int) { return x, h - 1 - y },
		5: func(x, y int) (int, int) { return y, x }, 6: func(x, y int) (int, int) { return h - 1 - y, x },
		7: func(x, y int) (int, int) { return h - 1 - y, w - 1 - x }, 8: func(x, y int) (int, int) { return y, w - 1 - x },
	}
	for o, where := range shown {
		p, err := l.draw(o)
		if err != nil {
			t.Fatal(err)
		}
		for y := range h {
			for x := range w {
				if X, Y := where(x, y); p.Row(Y)[X] != float32(1000*y+x) {
					t.Fatalf("orientation %d: stored pixel %d,%d is not at %d,%d", o, x, y, X, Y)
				}
			}
		}
	}
}

// TestFITSValues compares with the physical values astropy reads
// (testdata/fits_astropy.txt), in the order of the file.
func TestFITSValues(t *testing.T) {
	full := map[string]float64{"u8.fits": 255, "i8.fits": 127, "i16.fits": 32767, "u16.fits": 65535, "blank.fits": 32767, "saturate.fits": 65535}
	for name, want := range reference(t, "fits_astropy.txt") {
		f := decodeFile(t, name, Options{})
		if name == "cube.fits" { // three planes: ×1, ×2, ×3
			want = want[12:24]
		}
		factor := 1.0
		if s, ok := full[name]; ok {
			factor = 1 / s
		}
		for i, w := range want {
			y := i / 4
			if name != "top_down.fits" {
				y = 2 - y
			}
			got, want := float64(f.Plane.Row(y)[i%4]), parseFloat(t, w)*factor
			const relative = 2e-7 // float32
			if math.Abs(got-want) > relative*math.Abs(want) || math.IsNaN(got) != math.IsNaN(want) {
				t.Errorf("%s: value %d is %g, want %g", name, i, got, want)
			}
		}
		known := name == "top_down.fits" || name == "bottom_up.fits"
		if f.RowOrderUnknown == known {
			t.Errorf("%s: RowOrderUnknown is %v", name, f.RowOrderUnknown)
		}
	}
}

func TestFITSSaturation(t *testing.T) {
	for _, c := range []struct {
		file string
		want float32
	}{
		{"u16.fits", 65534.5 / 65535},
		{"u8.fits", 254.5 / 255},
		{"saturate.fits", 3000.0 / 65535},
		{"f32.fits", float32(math.Inf(1))},
		{"scaled.fits", float32(math.Inf(1))},
	} {
		if got := decodeFile(t, c.file, Options{}).Plane.Saturation; got != c.want {
			t.Errorf("%s: saturation %g, want %g", c.file, got, c.want)
		}
	}
}

// TestDataMax: a limit, unless it is just the value of the brightest pixel.
func TestDataMax(t *testing.T) {
	for _, c := range []struct {
		name string
		pix  []byte
		want float32
	}{
		{"reached by two pixels", []byte{1, 200, 3, 200}, 200.0 / 255},
		{"reached by none", []byte{1, 2, 3, 4}, 200.0 / 255},
		{"reached by one", []byte{1, 2, 3, 200}, 254.5 / 255},
	} {
		header := fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 2", "NAXIS2  = 2", "DATAMAX = 200")
		f, err := Decode(bytes.NewReader(append(header, c.pix...)), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := f.Plane.Saturation; math.Abs(float64(got-c.want)) > 1e-6 {
			t.Errorf("%s: saturation %g, want %g", c.name, got, c.want)
		}
	}
}

func TestFITSExtension(t *testing.T) {
	f := decodeFile(t, "extension.fits", Options{})
	want := clockOf(time.Date(2026, 3, 1, 21, 13, 5, 250e6, time.UTC), 8*time.Second, time.Millisecond, "FITS DATE-OBS")
	if f.ClockErr != nil || bare(*f.Clock) != want {
		t.Errorf("clock of the primary header: %v, %v, want %v", f.Clock, f.ClockErr, want)
	}
}

// TestMosaic averages the greens of a raw colour mosaic.
func TestMosaic(t *testing.T) {
	header := fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 5", "NAXIS2  = 3", "BAYERPAT= 'RGGB'", "ROWORDER= 'TOP-DOWN'", "XPIXSZ  = 2.4")
	f, err := Decode(bytes.NewReader(append(header, 0, 10, 20, 30, 99, 50, 20, 255, 60, 99, 99, 99, 99, 99, 99)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Plane.Width != 2 || f.Plane.Height != 1 || f.Lens.PixelPitchUM != 2.4 || len(f.Notes) == 0 {
		t.Errorf("%d×%d pixels of %g µm, notes %q; want 2×1 cells of pixels of 2.4 µm and a note", f.Plane.Width, f.Plane.Height, f.Lens.PixelPitchUM, f.Notes)
	}
	if got := f.Plane.Pix[0]; math.Abs(float64(got)-30.0/255) > 1e-6 {
		t.Errorf("first cell %g, want %g", got, 30.0/255)
	}
	if got := f.Plane.Pix[1]; got < f.Plane.Saturation {
		t.Errorf("a cell with a clipped pixel is %g, below saturation %g", got, f.Plane.Saturation)
	}
}

// fitsText makes a header of the cards given.
func fitsText(cards ...string) []byte {
	var b bytes.Buffer
	b.WriteString(pad("SIMPLE  = T"))
	for _, c := range append(cards, "END") {
		b.WriteString(pad(c))
	}
	b.WriteString(strings.Repeat(" ", (fitsBlock-b.Len()%fitsBlock)%fitsBlock))
	return b.Bytes()
}

func pad(card string) string { return card + strings.Repeat(" ", fitsCard-len(card)) }

// brokenFiles are files no picture can be made of. They seed FuzzDecode.
func brokenFiles(t testing.TB) []struct {
	name string
	data []byte
	kind error
} {
	jpg, pic, tif, fit := readTestdata(t, "full.jpg"), readTestdata(t, "full.png"), readTestdata(t, "grey16.tiff"), readTestdata(t, "u16.fits")
	return []struct {
		name string
		data []byte
		kind error
	}{
		{"empty", nil, ErrBroken},
		{"zeros", make([]byte, 5000), ErrBroken},
		{"text", []byte("Dear diary, tonight it was cloudy again.\n"), ErrNotPicture},
		{"text beginning with BM", []byte("BMI tables for observers in winter clothes"), ErrNotPicture},
		{"one byte", []byte{0xff}, ErrNotPicture},
		{"JPEG cut in the header", jpg[:len(jpg)/2], ErrBroken},
		{"JPEG cut in the picture", jpg[:len(jpg)-20], ErrBroken},
		{"JPEG start alone", []byte("\xff\xd8\xff"), ErrBroken},
		{"JPEG claiming 65535×65535", hugeJPEG(jpg, 65535, 65535), ErrTooLarge},
		{"JPEG claiming 14000×14000 in 900 bytes", hugeJPEG(jpg, 14000, 14000), ErrBroken},
		{"PNG cut", pic[:len(pic)-30], ErrBroken},
		{"PNG claiming 2³¹−1 pixels a side", hugePNG(pic, math.MaxInt32, math.MaxInt32), ErrTooLarge},
		{"PNG claiming 14000×14000 in 700 bytes", hugePNG(pic, 14000, 14000), ErrBroken},
		{"TIFF cut", tif[:len(tif)-40], ErrBroken},
		{"TIFF header alone", tif[:8], ErrBroken},
		{"TIFF with a byte of its width changed", patchTIFF(tif, 256, 0x7f000010), ErrTooLarge},
		{"TIFF claiming 10000×8 pixels", patchTIFF(tif, 256, 10000), ErrBroken},
		{"TIFF of floating values", readTestdata(t, "float.tiff"), ErrUnsupported},
		{"BigTIFF", []byte("II+\x00\x08\x00\x00\x00\x10\x00\x00\x00\x00\x00\x00\x00"), ErrUnsupported},
		{"DNG", readTestdata(t, "dng_tag.tiff"), ErrUnsupported},
		{"raw with its thumbnail first", tiffOf(254, 1, 330, 8), ErrUnsupported},
		{"raw mosaic", tiffOf(262, 32803), ErrUnsupported},
		{"GIF", readTestdata(t, "picture.gif"), ErrUnsupported},
		{"WebP", readTestdata(t, "picture.webp"), ErrUnsupported},
		{"HEIC", []byte("\x00\x00\x00\x24ftypheic\x00\x00\x00\x00mif1heic"), ErrUnsupported},
		{"AVIF", []byte("\x00\x00\x00\x1cftypavif\x00\x00\x00\x00mif1avif"), ErrUnsupported},
		{"JPEG XL", []byte("\x00\x00\x00\x0cJXL \x0d\x0a\x87\x0a"), ErrUnsupported},
		{"JPEG XL codestream", []byte("\xff\x0a\x12\x34"), ErrUnsupported},
		{"film", []byte("\x00\x00\x00\x18ftypisom\x00\x00\x02\x00"), ErrUnsupported},
		{"raw by its mark", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00"), ErrUnsupported},
		{"lossless JPEG", []byte("\xff\xd8\xff\xc3\x00\x0b\x08\x00\x08\x00\x08\x01\x01\x11\x00"), ErrUnsupported},
		{"gzip of something else", []byte("\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03\x4b\xcc\xc9\x01\x00"), ErrUnsupported},
		{"gzip of nothing but zeros", gzipOf(append(fitsText("BITPIX  = 8"), make([]byte, 17<<20)...)), ErrTooLarge},
		{"gzip cut", readTestdata(t, "packed.fits.gz")[:200], ErrBroken},
		{"JPEG of scans without end", scanBomb(readTestdata(t, "progressive.jpg"), 500), ErrBroken},
		{"FITS cut in the picture", fit[:2880+10], ErrBroken},
		{"FITS cut in the header", fit[:1000], ErrBroken},
		{"FITS without END", bytes.Repeat([]byte(pad("SIMPLE  = T")), 72), ErrBroken},
		{"FITS without axes", fitsText("BITPIX  = 16"), ErrBroken},
		{"FITS without a picture", fitsText("BITPIX  = 8", "NAXIS   = 0"), ErrNotPicture},
		{"FITS with a table alone", readTestdata(t, "table.fits"), ErrNotPicture},
		{"FITS compressed in tiles, cut", readTestdata(t, "tiled.fits")[:fitsBlock*2], ErrBroken},
		{"FITS of a strange BITPIX", fitsText("BITPIX  = 12", "NAXIS   = 2", "NAXIS1  = 4", "NAXIS2  = 4"), ErrBroken},
		{"FITS with NAXIS1 = -4", fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = -4", "NAXIS2  = 4"), ErrBroken},
		{"FITS with NAXIS1 = 0", fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 0", "NAXIS2  = 4"), ErrBroken},
		{"FITS claiming 100000×100000", fitsText("BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 100000", "NAXIS2  = 100000"), ErrTooLarge},
		{"FITS claiming 2³¹−1 a side", fitsText("BITPIX  = -64", "NAXIS   = 2", "NAXIS1  = 2147483647", "NAXIS2  = 2147483647"), ErrTooLarge},
		{"FITS claiming 10000×10000 in a header", fitsText("BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 10000", "NAXIS2  = 10000"), ErrBroken},
		{"FITS stack of ten", fitsText("BITPIX  = 8", "NAXIS   = 3", "NAXIS1  = 4", "NAXIS2  = 4", "NAXIS3  = 10"), ErrUnsupported},
	}
}

func TestBrokenFiles(t *testing.T) {
	for _, c := range brokenFiles(t) {
		t.Run(c.name, func(t *testing.T) {
			_, err := Decode(bytes.NewReader(c.data), Options{})
			if !errors.Is(err, c.kind) {
				t.Fatalf("error %v, want kind %v", err, c.kind)
			}
			var e *amiss.Error
			if !errors.As(err, &e) || e.Ways == nil || e.Error() == "" {
				t.Errorf("error %q has hint %q", err, e.Ways)
			}
		})
	}
}

// tiffOf makes a TIFF of one directory with pairs of tag and value.
func tiffOf(pairs ...int) []byte {
	var e entries
	for i := 0; i < len(pairs); i += 2 {
		e.long(uint16(pairs[i]), pairs[i+1])
	}
	return e.appendTo([]byte("II*\x00\x08\x00\x00\x00"), 8)
}

func gzipOf(b []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := z.Write(b)
	if err := errors.Join(err, z.Close()); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// scanBomb repeats the last scan of a progressive file.
func scanBomb(b []byte, times int) []byte {
	last, end := bytes.LastIndex(b, []byte{0xff, 0xda}), len(b)-2
	return append(append(bytes.Clone(b[:end]), bytes.Repeat(b[last:end], times)...), b[end:]...)
}

// hugeJPEG changes the size in the frame header (SOF0: ff c0, SOF2: ff c2, two
// bytes of length, one of precision, height, width).
func hugeJPEG(b []byte, width, height int) []byte {
	b = bytes.Clone(b)
	i := max(bytes.LastIndex(b, []byte{0xff, 0xc0, 0, 0x0b, 8}), bytes.LastIndex(b, []byte{0xff, 0xc2, 0, 0x0b, 8}), bytes.LastIndex(b, []byte{0xff, 0xc2, 0, 0x11, 8}))
	copy(b[i+5:], []byte{byte(height >> 8), byte(height), byte(width >> 8), byte(width)})
	return b
}

func hugePNG(b []byte, width, height int) []byte {
	ihdr := bytes.Clone(b[16:29])
	for i, v := range []int{width, height} {
		copy(ihdr[4*i:], []byte{byte(v >> 24), byte(v >> 16), byte(v >> 8), byte(v)})
	}
	return append(append(bytes.Clone(b[:8]), pngBytes("IHDR", ihdr)...), b[33:]...)
}

// patchTIFF gives a field of the first directory of a little-endian file
// another value, as a long.
func patchTIFF(b []byte, tag uint16, value uint32) []byte {
	b = bytes.Clone(b)
	at := int(b[4]) | int(b[5])<<8
	for i := at + 2; i+12 <= len(b); i += 12 {
		if uint16(b[i])|uint16(b[i+1])<<8 == tag {
			copy(b[i+2:], []byte{4, 0, 1, 0, 0, 0, byte(value), byte(value >> 8), byte(value >> 16), byte(value >> 24)})
			return b
		}
	}
	return b
}

// TestContentDecides: the name and its ending play no part.
func TestContentDecides(t *testing.T) {
	f := decodeFile(t, "full.jpg", Options{Name: "picture.fits"})
	if f.Format != "JPEG" {
		t.Errorf("format %q, want JPEG", f.Format)
	}
}

// TestSeekerAlone reads from a source that offers no ReadAt.
func TestSeekerAlone(t *testing.T) {
	for _, name := range []string{"full.jpg", "full.png", "full.tiff", "u16.fits"} {
		r := bytes.NewReader(readTestdata(t, name))
		f, err := Decode(struct{ io.ReadSeeker }{r}, Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		want := decodeFile(t, name, Options{})
		if diff := cmp.Diff(want.Plane, f.Plane); diff != "" {
			t.Errorf("%s differs when read by seeking", name)
		}
	}
}

// failing breaks off like a card pulled from its reader.
type failing struct{ *bytes.Reader }

var errPulled = errors.New("card was pulled")

func (f failing) ReadAt(b []byte, off int64) (int, error) {
	if off > 2880 {
		return 0, errPulled
	}
	return f.Reader.ReadAt(b, off)
}

func TestReadError(t *testing.T) {
	big := append(fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 100", "NAXIS2  = 100"), make([]byte, 10000)...)
	_, err := Decode(failing{bytes.NewReader(big)}, Options{})
	if !errors.Is(err, errPulled) || !errors.Is(err, ErrBroken) {
		t.Errorf("error %v, want the reader's own inside", err)
	}
}

// TestPanicOfALibrary becomes an error.
func TestPanicOfALibrary(t *testing.T) {
	l := light{width: 4, height: 40, row: func([]float32, int) error { panic("index out of range") }}
	if _, err := l.draw(1); !errors.Is(err, ErrBroken) {
		t.Errorf("error %v, want ErrBroken", err)
	}
}

// FuzzDecode starts from every broken file and every good one.
func FuzzDecode(f *testing.F) {
	for _, c := range brokenFiles(f) {
		f.Add(c.data)
	}
	good, err := filepath.Glob("testdata/*.*")
	if err != nil || len(good) == 0 {
		f.Fatal("no seeds in testdata", err)
	}
	for _, name := range good {
		if b, err := os.ReadFile(name); err == nil && !strings.HasSuffix(name, ".py") {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		fr, err := Decode(bytes.NewReader(b), Options{Zone: time.UTC})
		if err != nil {
			checkError(t, err, ErrBroken, ErrTooLarge, ErrUnsupported, ErrNotPicture)
			return
		}
		checkFrame(t, fr)
	})
}

// BenchmarkDecodeJPEG compares the whole decoding of 12-megapixel JPEGs with
// image/jpeg alone, colour with chroma at half the size and grey.
//
//	go test -run '^$' -bench DecodeJPEG -count 6 ./drift/frame
func BenchmarkDecodeJPEG(b *testing.B) {
	const width, height = 4000, 3000
	colour := starryJPEG(b, width, height)
	files := map[string][]byte{"colour": colour, "grey": greyJPEG(b, colour)}
	for _, name := range []string{"colour", "grey"} {
		data := files[name]
		b.Run(name+"/frame", func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, err := Decode(bytes.NewReader(data), Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(width*height/1e6*float64(b.N)/b.Elapsed().Seconds(), "Mpx/s")
		})
		b.Run(name+"/library", func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, _, err := image.Decode(bytes.NewReader(data)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(width*height/1e6*float64(b.N)/b.Elapsed().Seconds(), "Mpx/s")
		})
	}
}

// greyJPEG is a colour file's luma alone.
func greyJPEG(tb testing.TB, colour []byte) []byte {
	tb.Helper()
	img, err := jpeg.Decode(bytes.NewReader(colour))
	if err != nil {
		tb.Fatal(err)
	}
	y := img.(*image.YCbCr)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, &image.Gray{Pix: y.Y, Stride: y.YStride, Rect: y.Rect}, &jpeg.Options{Quality: 92}); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// BenchmarkDecode reads the other formats at 12 megapixels.
func BenchmarkDecode(b *testing.B) {
	p := ramp(4000, 3000)
	for _, format := range []Format{PNG, TIFF, FITS} {
		var data bytes.Buffer
		if err := Encode(&data, p, Metadata{}, format); err != nil {
			b.Fatal(err)
		}
		b.Run(format.String(), func(b *testing.B) {
			for b.Loop() {
				if _, err := Decode(bytes.NewReader(data.Bytes()), Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkTurn draws a decoded JPEG upright and on its side: what this
// package adds to the decoding.
func BenchmarkTurn(b *testing.B) {
	img, err := jpeg.Decode(bytes.NewReader(starryJPEG(b, 4000, 3000)))
	if err != nil {
		b.Fatal(err)
	}
	for _, orient := range []int{1, 3, 6} {
		b.Run(strconv.Itoa(orient), func(b *testing.B) {
			for b.Loop() {
				if _, err := jpegLight(img).draw(orient); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// starryJPEG makes a noisy colour picture with 4:2:0 chroma, the common case.
func starryJPEG(tb testing.TB, width, height int) []byte {
	tb.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	img := image.NewYCbCr(image.Rect(0, 0, width, height), image.YCbCrSubsampleRatio420)
	for i := range img.Y {
		img.Y[i] = uint8(30 + rng.NormFloat64()*4)
	}
	for range 2000 {
		img.Y[rng.IntN(len(img.Y))] = 255
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = uint8(126+rng.IntN(5)), uint8(126+rng.IntN(5))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 92}); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}
