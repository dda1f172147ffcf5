package frame

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"trueturn/ephem/amiss"
)

// TestEmbeddedLight compares what is measured on the JPEG inside raw files with
// PIL's luma of the same JPEG. testdata/embedded_pil.txt also says that
// exiftool finds that JPEG in the file.
func TestEmbeddedLight(t *testing.T) {
	const step = 1.01 // two decoders round the transform differently by one step of 255
	for name, want := range reference(t, "embedded_pil.txt") {
		f := decodeFile(t, name, Options{})
		if f.Format != "JPEG in raw" || !strings.Contains(strings.Join(f.Notes, ";"), "the JPEG of "+want[1]+"×"+want[2]) {
			t.Errorf("%s: format %q, notes %q", name, f.Format, f.Notes)
		}
		if fmt.Sprint(f.Plane.Width) != want[1] || fmt.Sprint(f.Plane.Height) != want[2] {
			t.Errorf("%s: %d×%d, want %s×%s", name, f.Plane.Width, f.Plane.Height, want[1], want[2])
			continue
		}
		for i, w := range want[3:] {
			if got, want := 255*codedOf(float64(f.Plane.Pix[i])), parseFloat(t, w); math.Abs(got-want) > step {
				t.Errorf("%s: pixel %d is coded %.2f, want %g", name, i, got, want)
				break
			}
		}
	}
}

// TestEmbeddedTags: clock and lens come from the raw's own EXIF.
func TestEmbeddedTags(t *testing.T) {
	want := clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")
	for name := range reference(t, "embedded_pil.txt") {
		f := decodeFile(t, name, Options{})
		if f.ClockErr != nil || bare(*f.Clock) != want {
			t.Errorf("%s: clock %v, %v; want %v", name, f.Clock, f.ClockErr, want)
		}
		if diff := cmp.Diff(Lens{FocalLengthMM: 50, FNumber: 2.8, Make: "Hillside", Model: "H-2"}, f.Lens); diff != "" {
			t.Errorf("%s: lens (-want +got):\n%s", name, diff)
		}
	}
	if got := decodeFile(t, "embedded_pitch.raw", Options{}).Lens.PixelPitchUM; got != 5 {
		t.Errorf("4 µm on 50 columns are %g on the JPEG's 40, want 5", got)
	}
}

// TestEmbeddedClockOfTheJPEG: a raw that is silent leaves the word to its JPEG.
func TestEmbeddedClockOfTheJPEG(t *testing.T) {
	f, err := Decode(bytes.NewReader(rawAround(readTestdata(t, "full.jpg"), 16, 8)), Options{})
	if err != nil || f.ClockErr != nil || !f.Clock.Start.Equal(utc(2, 0, 43, 5.045)) || f.Lens.FocalLengthMM != 6.86 {
		t.Errorf("clock %v, %v, %v, lens %+v; want those of full.jpg", f.Clock, f.ClockErr, err, f.Lens)
	}
}

// rawAround is a little-endian raw file of one directory, size as given, with a
// JPEG at byte 8.
func rawAround(jpg []byte, width, height int) []byte {
	b := append([]byte("II*\x00\x00\x00\x00\x00"), jpg...)
	b = append(b, make([]byte, len(b)&1)...)
	at := len(b)
	binary.LittleEndian.PutUint32(b[4:], uint32(at))
	var e entries
	e.long(256, width)
	e.long(257, height)
	e.long(262, photometricCFA)
	e.long(513, 8)
	e.long(514, len(jpg))
	return e.appendTo(b, at)
}

// TestOrientationOnce compares every format with what another reader shows:
// PIL, ImageMagick and dcraw (testdata/orientation_shown.txt). The JPEG in a
// raw file is PIL's (orientation_pil.txt), whether the raw alone names its
// orientation or the JPEG too.
func TestOrientationOnce(t *testing.T) {
	want := reference(t, "orientation_shown.txt")
	if len(want) != 24 {
		t.Errorf("%d rows, want 8 of 3 formats", len(want))
	}
	for o, shown := range reference(t, "orientation_pil.txt") {
		want["embedded_o"+o+"_raw.raw"] = shown
		want["embedded_o"+o+"_both.raw"] = shown
	}
	for name, shown := range want {
		coded := codedOf
		if strings.HasSuffix(name, ".dng") {
			coded = identity
		}
		f := decodeFile(t, name, Options{})
		if got := blocks(f.Plane, coded); !near(t, got, strings.Join(shown, " ")) {
			t.Errorf("%s shows %s, want %s", name, got, strings.Join(shown, " "))
		}
	}
}

// blocks are the values at the middles of blocks of 8×8 pixels.
func blocks(p Plane, coded curve) string {
	var rows []string
	for y := 4; y < p.Height; y += 8 {
		var row []string
		for x := 4; x < p.Width; x += 8 {
			row = append(row, fmt.Sprint(math.Round(255*coded(float64(p.Row(y)[x])))))
		}
		rows = append(rows, strings.Join(row, " "))
	}
	return strings.Join(rows, " / ")
}

// near allows for one step, by which JPEG and the float32 curve may round.
func near(t *testing.T, a, b string) bool {
	x, y := strings.Fields(a), strings.Fields(b)
	for i := range x {
		if len(x) != len(y) || x[i] != y[i] && (x[i] == "/" || y[i] == "/" || math.Abs(parseFloat(t, x[i])-parseFloat(t, y[i])) > 1) {
			return false
		}
	}
	return len(x) > 0
}

// TestOrientationContradicted: the raw says "turn", the JPEG stands already,
// and says so or shows it by its shape.
func TestOrientationContradicted(t *testing.T) {
	for _, name := range []string{"embedded_upright.raw", "embedded_upright_untagged.raw"} {
		if p := decodeFile(t, name, Options{}).Plane; p.Width != 32 || p.Height != 48 {
			t.Errorf("%s: %d×%d, want 32×48", name, p.Width, p.Height)
		}
	}
}

// TestEmbeddedRefused: what is too small, absent, broken or endless ends in one
// error with a way out.
func TestEmbeddedRefused(t *testing.T) {
	jpg := readTestdata(t, "full.jpg") // 16×8
	first := readTestdata(t, "embedded_first.raw")
	hollow := bytes.Replace(first, []byte{0xff, 0xd8, 0xff, 0xe0}, []byte{0xff, 0xd8, 0xff, 0xda}, -1)
	loop := rawAround(jpg, 100, 100)
	at := binary.LittleEndian.Uint32(loop[4:])
	binary.LittleEndian.PutUint32(loop[len(loop)-4:], at)
	for _, c := range []struct {
		name        string
		file        []byte
		kind        error
		cause, hint string
	}{
		{"59 % of the raw's width", readTestdata(t, "embedded_59.raw"), ErrUnsupported, "without a JPEG near full size", "dcraw"},
		{"wide enough, too low", rawAround(jpg, 16, 14), ErrUnsupported, "without a JPEG near full size", "DNG"},
		{"size unknown", tiffOf(262, photometricCFA, 330, 8), ErrUnsupported, "without a JPEG near full size", "DNG"},
		{"JPEG outside the file", patchTIFF(rawAround([]byte("no picture"), 16, 8), 513, 1<<30), ErrUnsupported, "", "DNG"},
		{"JPEG cut", rawAround(jpg[:len(jpg)-40], 16, 8), ErrBroken, "", "copy"},
		{"no frame in the JPEG", hollow, ErrUnsupported, "without a JPEG near full size", "DNG"},
		{"directory that names itself", loop, ErrUnsupported, "without a JPEG near full size", "DNG"},
		{"mark alone", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00"), ErrUnsupported, "", "DNG"},
		{"another mark alone", []byte("IIU\x00\x18\x00\x00\x00"), ErrUnsupported, "", "DNG"},
		{"raw in boxes", []byte("\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01"), ErrUnsupported, "camera raw", "exiftool"},
		{"raw of its own kind", []byte("XXXXXXXXCCD-RAW 0201"), ErrUnsupported, "camera raw", "exiftool"},
		{"starts of JPEGs without end", append([]byte("IIRO\x08\x00\x00\x00"), bytes.Repeat([]byte{0xff, 0xd8, 0xff}, 1<<20)...), ErrUnsupported, "", "DNG"},
		{"filling without end", append([]byte("IIRO\x08\x00\x00\x00"), bytes.Repeat([]byte{0xff, 0xd8, 0xff, 0xff, 0xff, 0xff, 0xff}, 1<<18)...), ErrUnsupported, "", "DNG"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := Decode(bytes.NewReader(c.file), Options{})
			var own *amiss.Error
			if !errors.Is(err, c.kind) || !errors.As(err, &own) {
				t.Fatalf("error %v, format %q; want kind %q", err, f.Format, c.kind)
			}
			if !strings.Contains(own.Error(), c.cause) || !strings.Contains(fmt.Sprint(own.Ways), c.hint) {
				t.Errorf("says %q, hint %q; want %q, %q", own, own.Ways, c.cause, c.hint)
			}
		})
	}
	if f := decodeFile(t, "embedded_61.raw", Options{}); f.Plane.Width != 61 {
		t.Errorf("61 %% of the raw's width: %d pixels wide", f.Plane.Width)
	}
}

// TestEmbeddedCut cuts every raw file short at many places: an error of this
// package or a picture, nothing else.
func TestEmbeddedCut(t *testing.T) {
	for name := range reference(t, "embedded_pil.txt") {
		b := readTestdata(t, name)
		for n := 1; n < len(b); n += 1 + len(b)/60 {
			_, err := Decode(bytes.NewReader(b[:n]), Options{})
			if err != nil && amiss.Ways(err) == nil {
				t.Errorf("%s cut at %d: %v", name, n, err)
			}
		}
	}
}
