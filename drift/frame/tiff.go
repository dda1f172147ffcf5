package frame

import (
	"errors"
	"image"
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/tiff"

	"trueturn/ephem/amiss"
)

// LZW and deflate of x/image shrink at most about 1400 to 1, and a pixel takes
// at least one bit.
const tiffPixelsPerByte = 1400 * 8

// TIFF tags looked at before decoding.
const (
	tagSubfileType  = 254
	tagPhotometric  = 262
	tagSubIFDs      = 330
	tagSampleFormat = 339
	tagICC          = 34675
	tagDNGVersion   = 50706
)

func decodeTIFF(src source) (p picture, err error) {
	defer guard(&err)
	dir, ok := firstDirectory(src)
	if !ok {
		return picture{}, amiss.New(ErrBroken, "the TIFF file has no readable directory", hintCopy)
	}
	if raw, ok, err := rawDirectory(dir); err != nil {
		return embeddedOr(src, err)
	} else if ok {
		p, err := decodeRaw(src, raw)
		if errors.Is(err, ErrUnsupported) {
			return embeddedOr(src, err)
		}
		return p, err
	}
	if isMakersRaw(dir) || isStub(dir) {
		return decodeMakersRaw(src)
	}
	if format, ok := dir.uint(tagSampleFormat); ok && format != 1 {
		return picture{}, unsupported("the TIFF file holds signed or floating values", "save it with 8 or 16 bits unsigned, or as FITS")
	}
	conf, err := tiff.DecodeConfig(src.reader())
	if err != nil {
		return picture{}, tiffError(err)
	}
	if err := src.checkSize(conf.Width, conf.Height, tiffPixelsPerByte); err != nil {
		return picture{}, err
	}
	said := iccCurve(dir.raw(tagICC))
	p = picture{format: "TIFF"}
	if rows, ok := plainRows(src, dir, conf); ok {
		if err := src.admit(rows.cost(), conf.Width, conf.Height); err != nil {
			return picture{}, err
		}
		p.light = rows.light(said)
	} else {
		if err := src.admit(tiffCost(dir, conf), conf.Width, conf.Height); err != nil {
			return picture{}, err
		}
		img, err := tiff.Decode(src.reader())
		if err != nil {
			return picture{}, tiffError(err)
		}
		p.light = imageLight(img, said)
	}
	p.readTags(exifTagsOf(src))
	return p, nil
}

// tiffCost is what x/image/tiff takes: an image whose pixels have one value or
// four, in one byte or two, and buffers for a strip or tile of up to eight bytes
// a pixel, which are made anew and copied while they grow.
func tiffCost(dir directory, conf image.Config) cost {
	c := cost{kind: "8-bit grey TIFFs", kept: 1, plane: planeBytes}
	switch conf.ColorModel {
	case color.RGBA64Model, color.NRGBA64Model:
		c.kind, c.kept = "16-bit colour TIFFs", 8
	case color.RGBAModel, color.NRGBAModel:
		c.kind, c.kept = "8-bit colour TIFFs", 4
	case color.Gray16Model:
		c.kind, c.kept = "16-bit grey TIFFs", 2
	}
	width, height := conf.Width, min(dir.number(tagRowsPerStrip, math.MaxInt32), conf.Height)
	if w := dir.number(tagTileWidth, 0); w > 0 {
		width, height = w, dir.number(tagTileHeight, 0)
	}
	const buffer, copies = 8, 2 // the old buffer and the new, of up to twice the room
	share := float64(width) * float64(height) / (float64(conf.Width) * float64(conf.Height))
	if share > 1.0/16 {
		c.kind += " in few strips or tiles"
	}
	c.kind, c.decoder = "packed "+c.kind, 2*(c.kept+buffer*copies*share)
	c.instead = "uncompressed"
	return c
}

// isMakersRaw recognises raw files other than DNG and TIFF/EP, of which a TIFF
// decoder would return the thumbnail without a word: by a mosaic in any of
// their directories, not by the maker's name.
func isMakersRaw(first directory) bool {
	if first.number(tagSubfileType, 0)&1 != 0 && first.has(tagSubIFDs) {
		return true
	}
	for _, d := range rawDirectories(first.src) {
		switch d.number(tagPhotometric, 0) {
		case photometricCFA, photometricLinear:
			return true
		}
	}
	return false
}

// stubBytes and stubTimes tell a picture from what only stands in for one: no
// encoder needs so many bytes for so few pixels.
const (
	stubBytes = 64 << 10 // more than profiles and notes of small pictures take
	stubTimes = 100      // of 8 bytes a pixel
)

// isStub recognises raw files that have a TIFF's head and no more of one: the first
// directory tells of a pixel or so, and the picture is stored behind it in a way
// of the maker's own.
func isStub(first directory) bool {
	pixels := int64(first.number(tagWidth, 1)) * int64(first.number(tagHeight, 1))
	return first.src.size > stubBytes && pixels < first.src.size/(8*stubTimes)
}

func tiffError(err error) error {
	var e tiff.UnsupportedError
	if errors.As(err, &e) {
		return &amiss.Error{Kind: ErrUnsupported, Text: "this kind of TIFF is not read: " + strings.TrimPrefix(e.Error(), "tiff: unsupported feature: "),
			Ways: amiss.Do("save it as 8- or 16-bit grey or RGB, uncompressed or LZW"), From: err}
	}
	return broken(err, "the TIFF data are damaged")
}
