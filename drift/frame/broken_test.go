package frame

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"trueturn/ephem/amiss"
)

// TestOddFiles is the promise made to whoever drops a wrong file in: the kind
// of error, a word of its cause, and a word of the way out. The first bytes of
// each format are those its own standard gives.
func TestOddFiles(t *testing.T) {
	const copyAgain, export, camera, leave = "copy", "export it", "set the camera", "leave"
	jpg, pic, tif := readTestdata(t, "full.jpg"), readTestdata(t, "full.png"), readTestdata(t, "grey16.tiff")
	dng, fit := readTestdata(t, "lossless_p1.dng"), readTestdata(t, "u16.fits")
	axes := func(cards ...string) []byte { return fitsText(append([]string{"BITPIX  = 16"}, cards...)...) }
	tail := strings.Repeat("\x00\x01", 40)
	rows := []struct {
		name        string
		data        []byte
		kind        error
		cause, hint string
	}{
		{"interrupted copy", nil, ErrBroken, "empty", copyAgain},
		{"card full of zeros", make([]byte, 5000), ErrBroken, "zeros", copyAgain},
		{"diary", []byte("Dear diary, it was cloudy again.\n"), ErrNotPicture, "not a picture", leave},
		{"one byte", []byte{0xff}, ErrNotPicture, "not a picture", leave},
		{"page of a web server", []byte("<!DOCTYPE html><html></html>"), ErrNotPicture, "not a picture", leave},
		{"archive", []byte("PK\x03\x04" + tail), ErrNotPicture, "not a picture", leave},
		{"document", []byte("%PDF-1.7\n" + tail), ErrNotPicture, "not a picture", leave},
		{"text after a byte order mark", []byte("\xef\xbb\xbftime,x,y\n"), ErrNotPicture, "not a picture", leave},
		{"GIF", readTestdata(t, "picture.gif"), ErrUnsupported, "GIF", export},
		{"WebP", readTestdata(t, "picture.webp"), ErrUnsupported, "WebP", export},
		{"HEIC", []byte("\x00\x00\x00\x18ftypheic" + tail), ErrUnsupported, "HEIC", camera},
		{"HEIC of many pictures", []byte("\x00\x00\x00\x18ftypmsf1" + tail), ErrUnsupported, "HEIC", camera},
		{"AVIF", []byte("\x00\x00\x00\x18ftypavif" + tail), ErrUnsupported, "AVIF", camera},
		{"JPEG XL stream", []byte("\xff\x0a" + tail), ErrUnsupported, "JPEG XL", camera},
		{"JPEG XL in boxes", []byte("\x00\x00\x00\x0cJXL \r\n\x87\n" + tail), ErrUnsupported, "JPEG XL", camera},
		{"JPEG 2000", []byte("\x00\x00\x00\x0cjP  \r\n\x87\n" + tail), ErrUnsupported, "JPEG 2000", export},
		{"film", []byte("\x00\x00\x00\x18ftypisom" + tail), ErrUnsupported, "film", "single pictures"},
		{"BigTIFF", []byte("II+\x00\x08\x00\x00\x00" + tail), ErrUnsupported, "BigTIFF", export},
		{"OpenEXR", []byte("v/1\x01" + tail), ErrUnsupported, "OpenEXR", export},
		{"JPEG cut half way", jpg[:len(jpg)/2], ErrBroken, "ends too early", copyAgain},
		{"JPEG without its last row", jpg[:len(jpg)-20], ErrBroken, "damaged", copyAgain},
		{"JPEG claiming 65535×65535", hugeJPEG(jpg, 65535, 65535), ErrTooLarge, "65535×65535", "200 megapixels"},
		{"JPEG claiming more than it can hold", hugeJPEG(jpg, 14000, 14000), ErrBroken, "too few", copyAgain},
		{"JPEG of 30 scans over 25 megapixels", append(hugeJPEG(scanBomb(readTestdata(t, "progressive.jpg"), 30), 5000, 5000), make([]byte, 1<<18)...), ErrBroken, "25 scans", copyAgain},
		{"JPEG of segments without end", slices.Insert(bytes.Clone(jpg), 2, bytes.Repeat([]byte{0xff, 0xe5, 0, 2}, 1<<16)...), ErrBroken, "segments", copyAgain},
		{"JPEG filled up with nothing", slices.Insert(bytes.Clone(jpg), 2, bytes.Repeat([]byte{0xff}, 1<<16)...), ErrBroken, "segments", copyAgain},
		{"PNG of chunks without end", slices.Insert(bytes.Clone(pic), 33, bytes.Repeat(pngBytes("teSt", nil), 1<<19)...), ErrBroken, "chunks", copyAgain},
		{"PNG cut", pic[:len(pic)-30], ErrBroken, "", copyAgain},
		{"PNG claiming 2³¹−1 a side", hugePNG(pic, 1<<31-1, 1<<31-1), ErrTooLarge, "", ""},
		{"PNG of mostly nothing claiming 196 megapixels", append(hugePNG(pic, 14000, 14000), make([]byte, 30000)...), ErrBroken, "too few", copyAgain},
		{"TIFF cut", tif[:len(tif)-40], ErrBroken, "", ""},
		{"DNG with a part for every pixel", dngOf(8, make([]uint16, 64), tag{256, []uint32{512}}, tag{257, []uint32{512}}, tag{322, []uint32{1}}, tag{323, []uint32{1}},
			tag{324, make([]uint32, 1<<18)}, tag{325, make([]uint32, 1<<18)}), ErrBroken, "262144 parts", copyAgain},
		{"FITS with a tile for every pixel", bytes.Replace(bytes.ReplaceAll(tilesOf("GZIP_1", 4, make([]byte, 1<<15)...), []byte("ZNAXIS2 = 2      "), []byte("ZNAXIS2 = 1000000")),
			[]byte("ZTILE2  = 2"), []byte("ZTILE2  = 1"), 1), ErrBroken, "1000000 tiles", copyAgain},
		{"DNG cut", dng[:len(dng)/2], ErrBroken, "", ""},
		{"FITS cut", fit[:fitsBlock+3], ErrBroken, "ends too early", copyAgain},
		{"FITS cut in the header", fit[:500], ErrBroken, "", copyAgain},
		{"FITS without axes", axes(), ErrBroken, "NAXIS", copyAgain},
		{"FITS without a picture", axes("NAXIS   = 0"), ErrNotPicture, "no picture", leave},
		{"FITS of a negative width", axes("NAXIS   = 2", "NAXIS1  = -4", "NAXIS2  = 4"), ErrBroken, "NAXIS1", copyAgain},
		{"FITS claiming 100000×100000", axes("NAXIS   = 2", "NAXIS1  = 100000", "NAXIS2  = 100000"), ErrTooLarge, "100000×100000", "200 megapixels"},
		{"FITS stack", axes("NAXIS   = 3", "NAXIS1  = 4", "NAXIS2  = 4", "NAXIS3  = 10"), ErrUnsupported, "stack", "file of its own"},
		{"FITS table alone", readTestdata(t, "table.fits"), ErrNotPicture, "no picture", leave},
		{"gzip of a text", gzipOf([]byte("Dear diary")), ErrUnsupported, "gzip", "unpack"},
		{"gzip bomb", gzipOf(append(axes(), make([]byte, 17<<20)...)), ErrTooLarge, "MB", "unpack"},
		{"gzip cut", readTestdata(t, "packed.fits.gz")[:200], ErrBroken, "", copyAgain},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			_, err := Decode(bytes.NewReader(r.data), Options{})
			var e *amiss.Error
			if !errors.Is(err, r.kind) || !errors.As(err, &e) {
				t.Fatalf("error %v, want kind %v", err, r.kind)
			}
			if !strings.Contains(e.Error(), r.cause) || e.Ways == nil || !strings.Contains(fmt.Sprint(e.Ways), r.hint) {
				t.Errorf("says %q (hint %q), want %q and %q", e.Error(), e.Ways, r.cause, r.hint)
			}
		})
	}
}
