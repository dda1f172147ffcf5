package frame

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trueturn/ephem/amiss"
)

// Every decoder has a fuzzer of its own, which calls it past the recognition of
// formats, so that changes to a file's first bytes are not wasted on other
// decoders. Inputs that reach statements no fixture does stand in testdata/fuzz and
// run with every `go test`; keep it under 60 files and 300 kB a fuzzer. A fix adds its
// row to brokenFiles, brokenDNG or TestOddFiles.
//
// Always with -fuzzminimizetime 1x: else the engine spends up to a minute on
// shortening each new input. The package alone is best instrumented, for with the
// standard library's the counters take longer than the decoder:
//
//	go test -c -gcflags='trueturn/drift/frame=-d=libfuzzer' -o /tmp/frame.test ./drift/frame
//	cd drift/frame && /tmp/frame.test -test.run - -test.fuzz '^FuzzFITS$' -test.fuzztime 10m \
//		-test.fuzzminimizetime 1x -test.parallel 1 -test.fuzzcachedir /tmp/fuzzed
//
// On a crowded machine a worker that gets no turn for ten seconds is taken for one
// that hangs (EOF, or an input is blamed that passes alone): begin again.

// fuzzMost is the longest input looked at: every path is reached by less.
const fuzzMost = 1 << 16

// slowInput leaves inputs that took longer than a second in the folder that
// TRUETURN_SLOW names; nothing is asserted about time.
func slowInput(b []byte) func() {
	dir := os.Getenv("TRUETURN_SLOW")
	if dir == "" {
		return func() {}
	}
	start := time.Now()
	return func() {
		if d := time.Since(start); d > time.Second {
			_ = os.WriteFile(filepath.Join(dir, fmt.Sprintf("%06dms-%08x", d.Milliseconds(), crc32.ChecksumIEEE(b))), b, 0o666)
		}
	}
}

// fuzzDecode runs one decoder to the end and holds its word.
func fuzzDecode(t *testing.T, b []byte, decode func(source) (picture, error)) {
	if len(b) == 0 || len(b) > fuzzMost {
		return
	}
	defer slowInput(b)()
	p, err := decode(source{ReaderAt: bytes.NewReader(b), size: int64(len(b))})
	if err != nil {
		checkError(t, err, ErrBroken, ErrTooLarge, ErrUnsupported, ErrNotPicture)
		return
	}
	f, err := p.frame(Options{Zone: time.UTC})
	if err != nil {
		checkError(t, err, ErrBroken)
		return
	}
	checkFrame(t, f)
}

// checkError wants an error of this package's: of one of the kinds, with a
// cause and a way out.
func checkError(t *testing.T, err error, kinds ...error) {
	t.Helper()
	var own *amiss.Error
	if !errors.As(err, &own) || own.Error() == "" || own.Ways == nil {
		t.Fatalf("error %q has no cause or way out", err)
	}
	for _, k := range kinds {
		if errors.Is(err, k) {
			return
		}
	}
	t.Fatalf("error %q is of kind %v, want one of %v", err, own.Kind, kinds)
}

// checkFrame wants what Frame's comments promise.
func checkFrame(t *testing.T, f Frame) {
	t.Helper()
	p := f.Plane
	if p.Width < 1 || p.Height < 1 || p.Width > maxSide || p.Height > maxSide || p.Width*p.Height > maxPixels || len(p.Pix) != p.Width*p.Height {
		t.Fatalf("%d×%d pixels, %d values", p.Width, p.Height, len(p.Pix))
	}
	if p.Saturation != p.Saturation {
		t.Error("the saturation is no number")
	}
	for i, v := range p.Pix {
		if math.IsInf(float64(v), 0) || v != v && f.Format != "FITS" {
			t.Fatalf("pixel %d of a %s is %v", i, f.Format, v)
		}
	}
	if (f.Clock == nil) == (f.ClockErr == nil) {
		t.Fatalf("clock %v and error %v", f.Clock, f.ClockErr)
	}
	if f.ClockErr != nil {
		checkError(t, f.ClockErr, ErrNoClock)
	} else {
		checkClock(t, *f.Clock)
	}
	checkLens(t, f.Lens)
}

func checkClock(t *testing.T, c Clock) {
	t.Helper()
	if c.Start.Location() != time.UTC || c.Exposure < 0 || c.Exposure > 24*time.Hour || c.Step <= 0 || c.Source == "" {
		t.Errorf("clock %+v", c)
	}
}

func checkLens(t *testing.T, l Lens) {
	t.Helper()
	for _, v := range []float64{l.FocalLengthMM, l.EquivalentMM, l.PixelPitchUM, l.FNumber, l.ScaleArcsecPerPx} {
		if !(v >= 0) || math.IsInf(v, 0) {
			t.Errorf("lens %+v", l)
		}
	}
}

// seedFiles adds what lies in testdata under the patterns, and the broken files
// that begin with one of the marks.
func seedFiles(f *testing.F, marks []string, patterns ...string) [][]byte {
	var seeds [][]byte
	for _, p := range patterns {
		names, err := filepath.Glob("testdata/" + p)
		if err != nil || len(names) == 0 {
			f.Fatal("no seeds of ", p, err)
		}
		for _, name := range names {
			seeds = append(seeds, readTestdata(f, filepath.Base(name)))
		}
	}
	for _, c := range brokenFiles(f) {
		for _, m := range marks {
			if strings.HasPrefix(string(c.data), m) {
				seeds = append(seeds, c.data)
			}
		}
	}
	return seeds
}

// FuzzJPEG reads JPEG with its EXIF; segments of profiles and of further
// pictures (APP2: ICC.1:2022 annex B, CIPA DC-007) are seeded as they stand in
// the pictures of phones.
func FuzzJPEG(f *testing.F) {
	seeds := seedFiles(f, []string{"\xff\xd8"}, "*.jpg")
	for _, b := range seeds {
		f.Add(b)
	}
	full := readTestdata(f, "full.jpg")
	for _, s := range []string{"ICC_PROFILE\x00\x01\x01" + strings.Repeat("\x00", 140),
		"MPF\x00II*\x00\x08\x00\x00\x00\x01\x00\x00\xb0\x07\x00\x04\x00\x00\x000100\x00\x00\x00\x00"} {
		segment := append([]byte{0xff, 0xe2, 0, byte(len(s) + 2)}, s...)
		f.Add(bytes.Join([][]byte{full[:2], segment, full[2:], full}, nil))
	}
	f.Fuzz(func(t *testing.T, b []byte) { fuzzDecode(t, b, decodeJPEG) })
}

// FuzzPNG puts the checks of the chunks right, or nothing behind them would be
// reached; where rows are given they replace the packed picture.
func FuzzPNG(f *testing.F) {
	for _, b := range seedFiles(f, []string{"\x89PNG"}, "*.png") {
		f.Add(b, []byte(nil))
		f.Add(b, rowsOfPNG(b))
	}
	f.Fuzz(func(t *testing.T, b, rows []byte) {
		if len(b)+len(rows) <= fuzzMost {
			fuzzDecode(t, mendPNG(b, rows), decodePNG)
		}
	})
}

// pngChunks cuts a PNG file; the last chunk may be torn.
func pngChunks(b []byte, use func(name string, data []byte)) {
	for b = b[min(8, len(b)):]; len(b) >= 8; {
		n := min(int(binary.BigEndian.Uint32(b)), len(b)-8)
		use(string(b[4:8]), b[8:8+n])
		b = b[min(8+n+4, len(b)):]
	}
}

func rowsOfPNG(b []byte) []byte {
	var packed bytes.Buffer
	pngChunks(b, func(name string, data []byte) {
		if name == "IDAT" {
			packed.Write(data)
		}
	})
	z, err := zlib.NewReader(&packed)
	if err != nil {
		return nil
	}
	rows, _ := io.ReadAll(z)
	return rows
}

func mendPNG(b, rows []byte) []byte {
	out := bytes.Clone(b[:min(8, len(b))])
	copy(out, "\x89PNG\r\n\x1a\n")
	pngChunks(b, func(name string, data []byte) {
		if name == "IDAT" && rows != nil {
			var packed bytes.Buffer
			z := zlib.NewWriter(&packed)
			_, _ = z.Write(rows)
			_ = z.Close()
			data, rows = packed.Bytes(), []byte{}
		}
		out = append(out, pngBytes(name, data)...)
	})
	return out
}

func FuzzTIFF(f *testing.F) {
	for _, b := range seedFiles(f, []string{"II*\x00", "MM\x00*"}, "*.tiff") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) { fuzzDecode(t, b, decodeTIFF) })
}

// FuzzMakersRaw reads the JPEG inside makers' own raw files.
func FuzzMakersRaw(f *testing.F) {
	for _, b := range seedFiles(f, nil, "*.raw") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) { fuzzDecode(t, b, decodeMakersRaw) })
}

// FuzzHEIC reads the boxes; the light is whatever a decoder that believes them makes.
func FuzzHEIC(f *testing.F) {
	for _, b := range seedFiles(f, nil, "any_*.heic", "any_*.hif") {
		f.Add(b)
	}
	show := func(_ io.Reader, width, height int) (Shown, error) {
		if width*height > fuzzMost {
			return Shown{}, io.ErrUnexpectedEOF
		}
		return Shown{width, height, make([]byte, width*height), "nobody"}, nil
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		fuzzDecode(t, b, func(src source) (picture, error) {
			src.show = show
			return decodeHEIC(src)
		})
	})
}

// FuzzFITS reads plain FITS and the same packed by gzip.
func FuzzFITS(f *testing.F) {
	for _, b := range seedFiles(f, []string{"SIMPLE"}, "[!t]*.fits", "*.fits.gz", "t[!i]*.fits") {
		f.Add(b)
	}
	for _, wide := range []string{"BSCALE  = 1E300", "BZERO   = -1E300", "BSCALE  = 1E38"} {
		for _, bitpix := range []string{"16", "32", "-64"} {
			b := fitsText("BITPIX  = "+bitpix, "NAXIS   = 2", "NAXIS1  = 2", "NAXIS2  = 2", wide, "BAYERPAT= 'RGGB'")
			f.Add(append(b, bytes.Repeat([]byte{0x41}, fitsBlock)...))
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		decode := decodeFITS
		if bytes.HasPrefix(b, []byte("\x1f\x8b")) {
			decode = decodeGzip
		}
		fuzzDecode(t, b, decode)
	})
}

// FuzzTiles reads FITS pictures packed in tiles.
func FuzzTiles(f *testing.F) {
	for _, b := range seedFiles(f, nil, "til*.fits") {
		f.Add(b)
	}
	for _, method := range []string{"NOCOMPRESS", "GZIP_1", "GZIP_2", "RICE_1", "HCOMPRESS_1"} {
		f.Add(tilesOf(method, 4, 1, 2, 3, 4))
		f.Add(tilesOf(method, 9, 1, 2, 3, 4))
	}
	f.Fuzz(func(t *testing.T, b []byte) { fuzzDecode(t, b, decodeFITS) })
}

// FuzzLossless reads lossless JPEG alone.
func FuzzLossless(f *testing.F) {
	names, err := filepath.Glob("testdata/lossless_*.dng")
	if err != nil || len(names) == 0 {
		f.Fatal("no seeds", err)
	}
	for _, name := range names {
		for _, part := range bytes.Split(readTestdata(f, filepath.Base(name)), []byte("\xff\xd8\xff"))[1:] {
			stream, _, _ := bytes.Cut(part, []byte("\xff\xd9"))
			f.Add(append([]byte("\xff\xd8\xff"), stream...))
		}
	}
	const limit = 1 << 20
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > fuzzMost {
			return
		}
		defer slowInput(b)()
		img, err := decodeLossless(b, limit)
		if err != nil {
			return // of one kind; decodeRaw gives it a cause and a way out
		}
		if n := img.width * img.height * img.components; n < 1 || n > limit || len(img.pix) != n || img.components > 4 {
			t.Errorf("%d×%d of %d components, %d samples", img.width, img.height, img.components, len(img.pix))
		}
	})
}

// FuzzEXIF reads the block alone, with and without a zone given.
func FuzzEXIF(f *testing.F) {
	for _, b := range seedFiles(f, nil, "*.jpg") {
		f.Add(jpegEXIF(source{ReaderAt: bytes.NewReader(b), size: int64(len(b))}))
	}
	for _, b := range seedFiles(f, nil, "*.png") {
		x, _ := pngHints(source{ReaderAt: bytes.NewReader(b), size: int64(len(b))})
		f.Add(x.exif)
	}
	for _, b := range seedFiles(f, nil, "*.tiff") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > fuzzMost {
			return
		}
		defer slowInput(b)()
		p := picture{light: light{width: 4000, height: 3000}}
		p.readEXIF(b)
		if p.orient < 0 || p.orient > 8 {
			t.Errorf("orientation %d", p.orient)
		}
		checkLens(t, p.lens)
		var fr Frame
		fr.setPlace(p.place)
		for _, o := range []Options{{}, {Zone: time.FixedZone("", 7200), Stamp: StampEnd, ClockOffset: time.Hour}} {
			c, _, err := p.clock(o)
			if err != nil {
				checkError(t, err, ErrNoClock)
				continue
			}
			checkClock(t, c)
		}
	})
}
