package frame

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"trueturn/ephem/amiss"
)

// readMosaic decodes a file as far as its stored samples.
func readMosaic(t testing.TB, b []byte) mosaic {
	t.Helper()
	src := source{ReaderAt: bytes.NewReader(b), size: int64(len(b))}
	first, _ := firstDirectory(src)
	raw, ok, err := rawDirectory(first)
	if err != nil || !ok {
		t.Fatalf("no raw directory: %v", err)
	}
	m := mosaic{}
	if err := m.readLayout(src, raw); err != nil {
		t.Fatal(err)
	}
	if err := m.readPixels(src); err != nil {
		t.Fatal(err)
	}
	return m
}

// TestDNGSamples compares the samples with those dcraw finds in the same files
// (testdata/dng_dcraw.txt); where that says "written", dcraw reads no such
// file and the Python writer alone is the witness.
func TestDNGSamples(t *testing.T) {
	for name, want := range reference(t, "dng_dcraw.txt") {
		t.Run(name, func(t *testing.T) {
			m := readMosaic(t, readTestdata(t, name))
			b := make([]byte, 0, 2*len(m.pix))
			for _, v := range m.pix {
				b = binary.BigEndian.AppendUint16(b, v)
			}
			if got := fmt.Sprintf("%x", sha256.Sum256(b)); got != want[0] {
				t.Errorf("the samples differ from those of %s; the first are %v", want[1], m.pix[:8])
			}
			f := decodeFile(t, name, Options{})
			if f.Plane.Width != 24 || f.Plane.Height != 18 || f.Format != "DNG" || len(f.Notes) == 0 || f.Lens.Make != "Hillside" {
				t.Errorf("%d×%d, %s, %q, %q; want 24×18 cells of a DNG and a note", f.Plane.Width, f.Plane.Height, f.Format, f.Lens.Make, f.Notes)
			}
		})
	}
}

// tag is a field of a test file; its values are written as LONG, those of the
// colour pattern as BYTE.
type tag struct {
	id     uint16
	values []uint32
}

// dngOf writes a little-endian DNG of one strip of 16-bit samples, its
// directory's fields joined by those given (which win).
func dngOf(width int, pix []uint16, more ...tag) []byte {
	height := len(pix) / width
	b := []byte("II*\x00\x00\x00\x00\x00")
	for _, v := range pix {
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	tags := []tag{{254, []uint32{0}}, {256, []uint32{uint32(width)}}, {257, []uint32{uint32(height)}}, {258, []uint32{16}}, {259, []uint32{1}},
		{262, []uint32{32803}}, {273, []uint32{8}}, {278, []uint32{uint32(height)}}, {279, []uint32{uint32(2 * len(pix))}},
		{33421, []uint32{2, 2}}, {33422, []uint32{0, 1, 1, 2}}, {50706, []uint32{0x0401}}}
	merged := append(more, tags...)
	at := make([]uint32, len(merged))
	for i, f := range merged {
		if at[i] = uint32(len(b)); len(f.values) == 1 {
			at[i] = f.values[0]
			continue
		}
		for _, v := range f.values {
			if f.id == tagCFAPattern {
				continue
			}
			b = binary.LittleEndian.AppendUint32(b, v)
		}
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)))
	b = binary.LittleEndian.AppendUint16(b, uint16(len(merged)))
	for i, f := range merged {
		kind := uint16(4)
		if f.id == tagCFAPattern {
			kind, at[i] = 1, f.values[0]|f.values[1]<<8|f.values[2]<<16|f.values[3]<<24
		}
		b = binary.LittleEndian.AppendUint16(b, f.id)
		b = binary.LittleEndian.AppendUint16(b, kind)
		b = binary.LittleEndian.AppendUint32(b, uint32(len(f.values)))
		b = binary.LittleEndian.AppendUint32(b, at[i])
	}
	return append(b, 0, 0, 0, 0)
}

// TestDNGLevels checks the way from stored numbers to light against the DNG
// specification 1.6, "Mapping Raw Values to Linear Reference Values", worked
// by hand.
func TestDNGLevels(t *testing.T) {
	pix := []uint16{ // greens at odd x+y
		100, 300, 101, 1100,
		500, 102, 900, 103,
		104, 200, 105, 100,
		100, 106, 4000, 107,
	}
	for _, c := range []struct {
		name string
		tags []tag
		want []float64
	}{
		{"one black level", []tag{{tagBlack, []uint32{100}}, {tagWhite, []uint32{2100}}}, []float64{.15, .45, .025, 1}},
		{"a black level for each colour", []tag{{tagBlackRepeat, []uint32{2, 2}}, {tagBlack, []uint32{0, 100, 200, 0}}, {tagWhite, []uint32{2100}}},
			[]float64{(200/2000. + 300/1900.) / 2, (1000/2000. + 700/1900.) / 2, (100/2000. - 100/1900.) / 2, 1}},
		{"the other pattern", []tag{{tagCFAPattern, []uint32{1, 0, 2, 1}}, {tagWhite, []uint32{1000}}}, []float64{.101, .102, .105, .106}},
		{"active area from an odd column", []tag{{tagActiveArea, []uint32{0, 1, 4, 4}}, {tagWhite, []uint32{1000}}}, []float64{(102 + 101) / 2000., (106 + 105) / 2000.}},
		{"default crop", []tag{{tagCropOrigin, []uint32{1, 1}}, {tagCropSize, []uint32{2, 2}}, {tagWhite, []uint32{1000}}}, []float64{(900 + 200) / 2000.}},
		{"turned by half", []tag{{274, []uint32{3}}, {tagWhite, []uint32{5000}}}, []float64{4100 / 10000., 300 / 10000., 2000 / 10000., 800 / 10000.}},
		{"linear, no mosaic", []tag{{262, []uint32{34892}}, {tagActiveArea, []uint32{0, 0, 2, 2}}, {tagWhite, []uint32{1000}}}, []float64{.1, .3, .5, .102}},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := Decode(bytes.NewReader(dngOf(4, pix, c.tags...)), Options{})
			if err != nil || len(f.Plane.Pix) != len(c.want) {
				t.Fatalf("%v, %v; want %v", f.Plane.Pix, err, c.want)
			}
			for i, w := range c.want {
				if math.Abs(float64(f.Plane.Pix[i])-w) > 1e-6 {
					t.Errorf("pixel %d is %g, want %g", i, f.Plane.Pix[i], w)
				}
			}
			if f.Plane.Saturation != 1 {
				t.Errorf("saturation %g, want 1", f.Plane.Saturation)
			}
		})
	}
}

// TestTIFFEP reads a raw picture that claims TIFF/EP instead of DNG, and
// refuses one with further directories: makers' own raw files look like that.
func TestTIFFEP(t *testing.T) {
	file := func(more ...tag) []byte {
		return bytes.Replace(dngOf(8, make([]uint16, 64), more...), []byte{0x12, 0xc6, 4, 0}, []byte{0x16, 0x92, 4, 0}, 1)
	}
	f, err := Decode(bytes.NewReader(file()), Options{})
	if err != nil || f.Format != "TIFF/EP" || f.Plane.Width != 4 {
		t.Errorf("%q, %d wide, %v; want TIFF/EP, 4 wide", f.Format, f.Plane.Width, err)
	}
	if _, err := Decode(bytes.NewReader(file(tag{tagSubIFDs, []uint32{8}})), Options{}); !errors.Is(err, ErrUnsupported) {
		t.Errorf("a maker's own raw file: %v, want %v", err, ErrUnsupported)
	}
}

// brokenDNG are files no picture can be made of. They seed FuzzDNG.
func brokenDNG(t testing.TB) []struct {
	name string
	file []byte
	kind error
} {
	pix := make([]uint16, 64)
	with := func(id uint16, v ...uint32) []byte { return dngOf(8, pix, tag{id, v}) }
	packed, lossless := readTestdata(t, "packed12.dng"), readTestdata(t, "lossless_p1.dng")
	scan := bytes.Index(lossless, []byte{0xff, 0xda})
	bad := bytes.Clone(lossless)
	copy(bad[scan+20:], bytes.Repeat([]byte{0xff, 0xd9}, 40))
	return []struct {
		name string
		file []byte
		kind error
	}{
		{"claiming 2³¹ pixels a row", with(256, 1<<31), ErrTooLarge},
		{"claiming 20000×20000", dngOf(8, pix, tag{256, []uint32{20000}}, tag{257, []uint32{20000}}), ErrTooLarge},
		{"claiming 10000×8 in 400 bytes", with(256, 10000), ErrBroken},
		{"no width", with(256, 0), ErrBroken},
		{"strip outside the file", with(273, 1<<30), ErrBroken},
		{"strip longer than the file", with(279, 1<<30), ErrBroken},
		{"strip too short", with(279, 10), ErrBroken},
		{"tiles of no width", dngOf(8, pix, tag{322, []uint32{0}}, tag{323, []uint32{8}}), ErrBroken},
		{"a tile as large as a country", dngOf(8, pix, tag{322, []uint32{1 << 31}}, tag{323, []uint32{1 << 31}}), ErrTooLarge},
		{"too few strips", with(278, 1), ErrBroken},
		{"white below black", dngOf(8, pix, tag{tagBlack, []uint32{900}}, tag{tagWhite, []uint32{100}}), ErrBroken},
		{"crop outside", with(tagActiveArea, 0, 0, 9, 9), ErrBroken},
		{"active area upside down", with(tagActiveArea, 8, 8, 0, 0), ErrBroken},
		{"pattern of 6×6", with(tagCFARepeat, 6, 6), ErrUnsupported},
		{"pattern with greens in a column", with(tagCFAPattern, 1, 0, 1, 2), ErrUnsupported},
		{"lossy JPEG", with(259, 34892), ErrUnsupported},
		{"JPEG XL", with(259, 52546), ErrUnsupported},
		{"unknown compression", with(259, 34713), ErrUnsupported},
		{"32 bits", with(258, 32), ErrUnsupported},
		{"floating values", with(339, 3), ErrUnsupported},
		{"thumbnail alone", with(254, 1), ErrUnsupported},
		{"no deflate stream", with(259, 8), ErrBroken},
		{"no lossless stream", with(259, 7), ErrBroken},
		{"lossless stream that ends early", bad, ErrBroken},
		{"cut", packed[:len(packed)/2], ErrBroken},
	}
}

func TestBrokenDNG(t *testing.T) {
	for _, c := range brokenDNG(t) {
		t.Run(c.name, func(t *testing.T) {
			_, err := Decode(bytes.NewReader(c.file), Options{})
			if !errors.Is(err, c.kind) || amiss.Ways(err) == nil {
				t.Errorf("error %v, want one of kind %q with a hint", err, c.kind)
			}
		})
	}
}

// TestLosslessPredictors holds the seven predictors against ITU-T T.81 table
// H.1 with a = 10, b = 20, c = 5.
func TestLosslessPredictors(t *testing.T) {
	for i, want := range []int{10, 20, 5, 25, 17, 22, 15} {
		if got := predict(i+1, 10, 20, 5); got != want {
			t.Errorf("predictor %d gives %d, want %d", i+1, got, want)
		}
	}
}

// FuzzDNG starts from every broken file and every good one.
func FuzzDNG(f *testing.F) {
	for _, c := range brokenDNG(f) {
		f.Add(c.file)
	}
	good, _ := filepath.Glob("testdata/*.dng")
	for _, name := range good {
		f.Add(readTestdata(f, strings.TrimPrefix(filepath.ToSlash(name), "testdata/")))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) <= fuzzMost {
			fuzzDecode(t, b, decodeTIFF)
		}
	})
}
