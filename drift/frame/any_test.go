package frame

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"trueturn/ephem/amiss"
)

// exiftoolRow is what exiftool reads in a file (testdata/any_exiftool.json, -n -j).
type exiftoolRow struct {
	SourceFile         string
	DateTimeOriginal   string
	SubSecTimeOriginal any // digits without a leading zero come as a number
	OffsetTimeOriginal string
	ExposureTime       float64
	FNumber            float64
	FocalLength        float64
	EquivalentMM       float64 `json:"FocalLengthIn35mmFormat"`
	Orientation        int
	GPSLatitude        *float64
	GPSLongitude       *float64
	GPSAltitude        float64
}

// start is the beginning of the exposure; zero where the file does not tell it.
func (r exiftoolRow) start(t *testing.T) time.Time {
	if r.OffsetTimeOriginal == "" {
		return time.Time{}
	}
	at, err := time.Parse("2006:01:02 15:04:05-07:00", r.DateTimeOriginal+r.OffsetTimeOriginal)
	if err != nil {
		t.Fatal(err)
	}
	if r.SubSecTimeOriginal == nil {
		return at.UTC()
	}
	d, err := time.ParseDuration("0." + fmt.Sprint(r.SubSecTimeOriginal) + "s")
	if err != nil {
		t.Fatal(err)
	}
	return at.Add(d).UTC()
}

// TestAnyMetadata holds time, zone, exposure, lens, orientation and place of every
// way of building a file to exiftool's reading of it.
func TestAnyMetadata(t *testing.T) {
	var rows []exiftoolRow
	if err := json.Unmarshal(readTestdata(t, "any_exiftool.json"), &rows); err != nil || len(rows) < 10 {
		t.Fatal(len(rows), err)
	}
	for _, r := range rows {
		t.Run(r.SourceFile, func(t *testing.T) {
			p := pictureOf(t, r.SourceFile)
			f, err := p.frame(Options{})
			if err != nil {
				t.Fatal(err)
			}
			if want := r.start(t); want.IsZero() != (f.Clock == nil) || f.Clock != nil && !f.Clock.Start.Equal(want) {
				t.Errorf("clock %v, %v; want %v", f.Clock, f.ClockErr, want)
			}
			if want := time.Duration(math.Round(r.ExposureTime * 1e9)); f.Exposure != want {
				t.Errorf("exposure %v, want %v", f.Exposure, want)
			}
			want := Lens{FocalLengthMM: r.FocalLength, EquivalentMM: r.EquivalentMM, FNumber: r.FNumber, Make: f.Lens.Make, Model: f.Lens.Model, PixelPitchUM: f.Lens.PixelPitchUM}
			if diff := cmp.Diff(want, f.Lens); diff != "" {
				t.Errorf("lens (-want +got):\n%s", diff)
			}
			if p.format == "HEIC" {
				r.Orientation = 1 // its decoder turns it
			}
			if max(p.orient, 1) != max(r.Orientation, 1) {
				t.Errorf("orientation %d, want %d", p.orient, r.Orientation)
			}
			r.checkPlace(t, f)
		})
	}
}

// checkPlace allows for exiftool's decimal degrees, written to 15 digits. A height
// where nobody stands is left out, and said.
func (r exiftoolRow) checkPlace(t *testing.T, f Frame) {
	const rounding = 1e-9 // degrees
	if (r.GPSLatitude == nil) != (f.Place == nil) {
		t.Fatalf("place %v, want %v, %v", f.Place, r.GPSLatitude, r.GPSLongitude)
	}
	if f.Place == nil {
		return
	}
	if math.Abs(f.Place.Latitude.Deg()-*r.GPSLatitude) > rounding || math.Abs(f.Place.Longitude.Deg()-*r.GPSLongitude) > rounding {
		t.Errorf("place %v, want %v, %v", f.Place, *r.GPSLatitude, *r.GPSLongitude)
	}
	height, said := r.GPSAltitude, strings.Contains(strings.Join(f.Notes, ";"), "height in the file is not used")
	if impossible := height > 9000 || height < -500; impossible != said || said && f.Place.HeightM != 0 || !said && f.Place.HeightM != height {
		t.Errorf("height %g, notes %q; want %g", f.Place.HeightM, f.Notes, height)
	}
}

// showBlack stands in for a decoder of HEIC that turns the picture upright.
func showBlack(file io.Reader, width, height int) (Shown, error) {
	if _, err := io.Copy(io.Discard, file); err != nil {
		return Shown{}, err
	}
	return Shown{height, width, make([]byte, width*height), "nobody"}, nil
}

// pictureOf decodes a file half way.
func pictureOf(t testing.TB, name string) picture {
	t.Helper()
	b := readTestdata(t, name)
	src := source{ReaderAt: bytes.NewReader(b), size: int64(len(b)), show: showBlack}
	k, err := sniff(src)
	if err != nil {
		t.Fatal(err)
	}
	p, err := k.decode(src)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestPointersRetyped: every DNG and raw file here reads the same with its pointers
// to directories of type IFD instead of LONG, as TIFF Technical Note 1 has it; of a
// type TIFF does not have, a DNG's are refused by name.
func TestPointersRetyped(t *testing.T) {
	names, err := filepath.Glob("testdata/*.dng")
	more, _ := filepath.Glob("testdata/embedded_subifds*.raw")
	if names = append(names, more...); err != nil || len(names) < 20 {
		t.Fatal(len(names), err)
	}
	for _, name := range names {
		name = filepath.Base(name)
		want, err := Decode(bytes.NewReader(readTestdata(t, name)), Options{})
		if err != nil {
			continue // refused for another reason
		}
		got, err := Decode(bytes.NewReader(retyped(readTestdata(t, name), typeIFD)), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if diff := cmp.Diff(want.Plane, got.Plane); diff != "" || want.Lens != got.Lens || want.Exposure != got.Exposure {
			t.Errorf("%s reads otherwise", name)
		}
	}
	_, err = Decode(bytes.NewReader(retyped(readTestdata(t, "packed12.dng"), 16)), Options{})
	if !errors.Is(err, ErrUnsupported) || !strings.Contains(err.Error(), "a kind TIFF does not have (16)") {
		t.Errorf("pointers of 64 bits: %v", err)
	}
}

// retyped gives the first directory's pointers another type.
func retyped(b []byte, kind uint16) []byte {
	b = bytes.Clone(b)
	d, _ := firstDirectory(source{ReaderAt: bytes.NewReader(b), size: int64(len(b))})
	for i := range int(d.order.Uint16(b[d.offset:])) {
		switch e := b[int(d.offset)+2+12*i:]; d.order.Uint16(e) {
		case tagSubIFDs, tagExifIFD, tagGPSIFD:
			d.order.PutUint16(e[2:], kind)
		}
	}
	return b
}

// TestMakersRawByName: raw files that are not read are called so, whatever their
// first bytes look like.
func TestMakersRawByName(t *testing.T) {
	stub := append(tiffOf(256, 1, 257, 1, 258, 8, 259, 1, 262, 1, 273, 8, 277, 1, 278, 1, 279, 1), make([]byte, 100<<10)...)
	for _, c := range []struct {
		name, hint string
		file       []byte
	}{
		{"blocks behind a heap's head", "exiftool", []byte("II\x1a\x00\x00\x00HEAPCCDR\x02\x00\x01\x00")},
		{"blocks behind a head of three letters", "dcraw", []byte("\x00MRM\x00\x00\x81\x2c\x00PRD\x00\x00\x00\x18")},
		{"a TIFF of one pixel before the raw data", "dcraw", stub},
	} {
		_, err := Decode(bytes.NewReader(c.file), Options{})
		if !errors.Is(err, ErrUnsupported) || !strings.Contains(err.Error(), "camera raw file") || !strings.Contains(fmt.Sprint(amiss.Ways(err)), c.hint) {
			t.Errorf("%s: %v, hint %v", c.name, err, amiss.Ways(err))
		}
	}
}

// TestColoursAreNoColumns: a lossless picture of three components has as many
// columns as it says; with two, columns are shared out among them (embedded_first.raw).
func TestColoursAreNoColumns(t *testing.T) {
	sof := []byte{0xff, 0xd8, 0xff, 0xc3, 0, 17, 14, 0, 34, 0, 50, 3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0}
	f := &rawFile{src: source{ReaderAt: bytes.NewReader(sof), size: int64(len(sof))}, looked: map[int64]bool{}}
	f.look(0, int64(len(sof)))
	if f.raw != (shape{50, 34}) {
		t.Errorf("%v, want 50×34", f.raw)
	}
}

// TestDNGPackedOtherwise: a DNG whose raw picture is packed in a way that is not read is measured on its JPEG where that is
// near full size, and the note says why; else the reason is the answer. The raw picture has 50×34 pixels.
func TestDNGPackedOtherwise(t *testing.T) {
	for _, c := range []struct{ file, why, jpeg string }{
		{"any_jpeg_xl.dng", "JPEG XL", "48×32"},
		{"any_jpeg_xl_enhanced.dng", "JPEG XL", "48×32"},
		{"any_lossy.dng", "with losses (JPEG)", "31×21"},
		{"any_jpeg_xl_small.dng", "JPEG XL", ""},
		{"any_jpeg_xl_alone.dng", "JPEG XL", ""},
	} {
		f, err := Decode(bytes.NewReader(readTestdata(t, c.file)), Options{})
		if c.jpeg == "" {
			if !errors.Is(err, ErrUnsupported) || !strings.Contains(err.Error(), c.why) || !strings.Contains(fmt.Sprint(amiss.Ways(err)), "lossless DNG") {
				t.Errorf("%s: %v, hint %v", c.file, err, amiss.Ways(err))
			}
			continue
		}
		notes := strings.Join(f.Notes, ";")
		if err != nil || fmt.Sprintf("%d×%d", f.Plane.Width, f.Plane.Height) != c.jpeg || !strings.Contains(notes, c.why) || !strings.Contains(notes, "the JPEG of "+c.jpeg) {
			t.Errorf("%s: %v, %d×%d, notes %q", c.file, err, f.Plane.Width, f.Plane.Height, notes)
		}
	}
}

// TestFirstPictureAlone: of files with more behind the picture the picture is measured, by PIL's luma of the file without
// what is appended (luma_pil.txt).
func TestFirstPictureAlone(t *testing.T) {
	const step = 1.01 // two decoders round the transform differently by one step of 255
	want := reference(t, "luma_pil.txt")
	for file, like := range map[string]string{"any_second_picture.jpg": "base.jpg", "any_gain_map.jpg": "base.jpg", "any_film.jpg": "progressive.jpg"} {
		f := decodeFile(t, file, Options{})
		if len(f.Plane.Pix) != len(want[like]) || f.Altered != "" {
			t.Errorf("%s: %d pixels, want %d; altered %q", file, len(f.Plane.Pix), len(want[like]), f.Altered)
			continue
		}
		for i, w := range want[like] {
			if got := 255 * codedOf(float64(f.Plane.Pix[i])); math.Abs(got-parseFloat(t, w)) > step {
				t.Errorf("%s: pixel %d is coded %.2f, want %s", file, i, got, w)
				break
			}
		}
	}
}

// TestAltered: what a file shows of not being the picture as taken; the base has 16×8 pixels.
func TestAltered(t *testing.T) {
	for file, want := range map[string]string{
		"any_plain.jpg":          "",
		"any_as_taken.jpg":       "",
		"any_turned.jpg":         "",
		"any_zoom.jpg":           "",
		"any_smaller.jpg":        "a smaller copy: it has 16×8 pixels, and had 32×16",
		"any_enlarged.jpg":       "an enlarged copy",
		"any_cut.jpg":            "cut or edited: it has 16×8 pixels, and had 20×15",
		"any_saved_anew.jpg":     "saved anew",
		"any_panorama.jpg":       "panorama",
		"any_panorama_xmp.jpg":   "panorama",
		"any_screenshot.png":     "screenshot",
		"embedded_pitch.raw":     "", // a JPEG smaller than the raw picture by right
		"any_jpeg_xl.dng":        "",
		"any_second_picture.jpg": "",
	} {
		if got := decodeFile(t, file, Options{}).Altered; (got == "") != (want == "") || !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", file, got, want)
		}
	}
}

// TestZoomedLens: an equivalent length that counts a crop stands against focal length and pitch, which know nothing of it; one
// that does not is multiplied. A sensor of 4000×3000 pixels of 2 µm has a diagonal of 10 mm: 6 mm on it are like 25.96 mm on
// 36 mm × 24 mm, whose diagonal is 43.27 mm.
func TestZoomedLens(t *testing.T) {
	for _, c := range []struct {
		name             string
		zoom, equivalent float64
		width, height    int
		want, pitch      float64
	}{
		{"none", 0, 26, 4000, 3000, 26, 2},
		{"zoom of 1", 1, 26, 4000, 3000, 26, 2},
		{"counted", 2, 52, 4000, 3000, 52, 0},
		{"not counted", 2, 26, 4000, 3000, 52, 0},
		{"counted, and no zoom told", 0, 52, 4000, 3000, 52, 0},
		{"a piece of half the diagonal", 0, 26, 2000, 1499, 26, 4.0}, // the same shape to 0.1 %: a smaller copy
		{"a square cut out", 0, 26, 3000, 3000, 26 * 5000 / (3000 * math.Sqrt2), 2},
		{"no equivalent", 2, 0, 4000, 3000, 0, 0},
	} {
		tags := exifTags{number: map[string]float64{"FocalLength": 6, "FocalLengthIn35mmFormat": c.equivalent, "FocalPlaneXResolution": 5000, "FocalPlaneResolutionUnit": 3,
			"ExifImageWidth": 4000, "ExifImageHeight": 3000, "DigitalZoomRatio": c.zoom}}
		l := tags.lens(c.width, c.height)
		if math.Abs(l.EquivalentMM-c.want) > 1e-9 || math.Abs(l.PixelPitchUM-c.pitch) > 1e-9 {
			t.Errorf("%s: equivalent %g mm, pitch %g µm; want %g and %g", c.name, l.EquivalentMM, l.PixelPitchUM, c.want, c.pitch)
		}
	}
}

// TestHEIC: with a decoder lent, clock and place are the file's own wherever in it they lie, and the light is as shown; without
// one, and where the boxes make no sense, the hint says what helps.
func TestHEIC(t *testing.T) {
	luma := make([]byte, 96*64)
	for i := range luma {
		luma[i] = byte(i)
	}
	upright := func(io.Reader, int, int) (Shown, error) { return Shown{64, 96, luma, "a friend"}, nil }
	lying := func(_ io.Reader, w, h int) (Shown, error) { return Shown{w, h, luma, "a friend"}, nil }
	want := clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")
	for _, c := range []struct {
		file  string
		show  Shower
		first byte // coded, at the upper left
	}{
		{"any_boxes_file.heic", upright, 0},
		{"any_boxes_inside.hif", upright, 0},
		{"any_boxes_inside.hif", lying, 63 * 96 % 256}, // turned by our own hand: the lower left comes to the upper left
	} {
		f := decodeFile(t, c.file, Options{Show: c.show})
		if f.Plane.Width != 64 || f.Plane.Height != 96 || f.Format != "HEIC" || f.ClockErr != nil || bare(*f.Clock) != want || f.Place == nil || f.Lens.EquivalentMM != 26 {
			t.Errorf("%s: %s, %d×%d, clock %v, %v, place %v", c.file, f.Format, f.Plane.Width, f.Plane.Height, f.Clock, f.ClockErr, f.Place)
		}
		if got := 255 * codedOf(float64(f.Plane.Pix[0])); math.Abs(got-float64(c.first)) > 0.01 || f.Signal != "luma" || !strings.Contains(f.Instead, "decoded by a friend") {
			t.Errorf("%s: begins with %g, want %d; signal %q, %q", c.file, got, c.first, f.Signal, f.Instead)
		}
		b := readTestdata(t, c.file)
		f, err := FromShown(bytes.NewReader(b), Shown{64, 96, luma, "a browser"}, Options{})
		if err != nil || f.Plane.Width != 64 || f.ClockErr != nil || bare(*f.Clock) != want || !strings.Contains(f.Instead, "decoded by a browser") {
			t.Errorf("%s: shown %v, clock %v, %v", c.file, err, f.Clock, f.ClockErr)
		}
		for n := range b {
			if _, err := Decode(bytes.NewReader(b[:n]), Options{Show: c.show}); err != nil {
				checkError(t, err, ErrBroken, ErrUnsupported, ErrNotPicture)
			}
		}
	}
	b := readTestdata(t, "any_boxes_file.heic")
	for name, c := range map[string]struct {
		file       []byte
		o          Options
		kind       error
		cause, way string
	}{
		"nobody lends a decoder": {b, Options{}, ErrUnsupported, "a HEIC picture, which is not read", "save JPEG"},
		"the decoder fails":      {b, Options{Show: func(io.Reader, int, int) (Shown, error) { return Shown{}, io.ErrUnexpectedEOF }}, ErrBroken, "HEIC", "copy"},
		"too few values":         {b, Options{Show: func(io.Reader, int, int) (Shown, error) { return Shown{64, 96, luma[1:], ""}, nil }}, ErrBroken, "6143 values", "copy"},
		"a name alone":           {[]byte("0000ftypheic0000mif1heic"), Options{Show: upright}, ErrUnsupported, "a HEIC picture, which is not read", "save JPEG"},
		"impossibly large":       {bytes.Replace(b, []byte("\x00\x00\x00\x60\x00\x00\x00\x40"), []byte("\x00\x00\xff\x60\x00\x00\xff\x40"), 1), Options{Show: upright}, ErrTooLarge, "65376×65344", "smaller"},
		"AVIF by its kind":       {append([]byte("\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf"), b[24:]...), Options{Show: upright}, ErrUnsupported, "AVIF", "JPEG"},
	} {
		_, err := Decode(bytes.NewReader(c.file), c.o)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.cause) || !strings.Contains(fmt.Sprint(amiss.Ways(err)), c.way) {
			t.Errorf("%s: %v, hint %v", name, err, amiss.Ways(err))
		}
	}
}

// TestBoxesWithoutEnd: a table of places that claims endless pieces of no bytes costs no time.
func TestBoxesWithoutEnd(t *testing.T) {
	pieces := bytes.Repeat([]byte{0, 3, 0, 0, 0xff, 0xff}, 1<<18) // item 3, in this file, of 65 535 pieces
	iloc := boxBytes{b: append([]byte{0, 0, 0, 0, 0, 0, 0xff, 0xff}, pieces...)}
	if b := extent(source{}, iloc, boxBytes{}, 2); b != nil {
		t.Errorf("finds %d bytes", len(b))
	}
}
