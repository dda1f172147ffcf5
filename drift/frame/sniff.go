package frame

import (
	"bytes"
	"cmp"
	"encoding/binary"

	"trueturn/ephem/amiss"
)

// kind is what a file's first bytes show it to be.
type kind struct{ decode func(source) (picture, error) }

// hintCamera is the way out for what phones write by default.
const hintCamera = "export it as JPEG, and set the camera to save JPEG for the next pictures"

// magic is one row of the table of known contents.
type magic struct {
	at     int
	bytes  string
	decode func(source) (picture, error) // nil: known, not read
	name   string                        // for the message, with article
	hint   string                        // the way out; empty: hintExport
}

// magics is searched from the top; the first row that fits counts.
var magics = []magic{
	{0, "\xff\xd8\xff", decodeJPEG, "", ""},
	{0, "\x89PNG\r\n\x1a\n", decodePNG, "", ""},
	{8, "CR\x02", decodeMakersRaw, "", ""},
	{0, "II*\x00", decodeTIFF, "", ""},
	{0, "MM\x00*", decodeTIFF, "", ""},
	{0, "SIMPLE  =", decodeFITS, "", ""},
	{0, "\x1f\x8b", decodeGzip, "", ""},
	{0, "II+\x00", nil, "a BigTIFF file", ""},
	{0, "MM\x00+", nil, "a BigTIFF file", ""},
	{0, "GIF8", nil, "a GIF picture", ""},
	{8, "WEBP", nil, "a WebP picture", ""},
	{0, "\xff\x0a", nil, "a JPEG XL picture", hintCamera},
	{0, "\x00\x00\x00\x0cJXL ", nil, "a JPEG XL picture", hintCamera},
	{0, "\x00\x00\x00\x0cjP  ", nil, "a JPEG 2000 picture", ""},
	{0, "\xff\x4f\xff\x51", nil, "a JPEG 2000 picture", ""},
	{4, "ftypavif", nil, "an AVIF picture", hintCamera},
	{4, "ftypcrx ", nil, "a camera raw file", hintExtract},
	{4, "ftyp", nil, "a film", "take single pictures: self-timer or interval shooting"},
	{8, "CCD-RAW", nil, "a camera raw file", hintExtract},
	{6, "HEAPCCDR", nil, "a camera raw file", hintExtract},
	{0, "\x00MRM", nil, "a camera raw file", hintConvert},
	{0, "IIRO", decodeMakersRaw, "", ""},
	{0, "IIRS", decodeMakersRaw, "", ""},
	{0, "MMOR", decodeMakersRaw, "", ""},
	{0, "IIU\x00", decodeMakersRaw, "", ""},
	{0, "FOVb", nil, "a camera raw file", hintConvert},
	{0, "8BPS", nil, "a layered picture", ""},
	{0, "v/1\x01", nil, "an OpenEXR picture", ""},
	{0, "BM", nil, "a BMP picture", ""},
}

// sniff tells by its first bytes what the file is.
func sniff(src source) (kind, error) {
	head := src.head(64)
	if isHEIF(head) {
		return kind{decodeHEIC}, nil
	}
	for _, m := range magics {
		if len(head) < m.at+len(m.bytes) || string(head[m.at:m.at+len(m.bytes)]) != m.bytes {
			continue
		}
		if m.bytes == "BM" && !looksBMP(head) {
			continue
		}
		if m.decode == nil {
			return kind{}, unsupported("the file is "+m.name+", which is not read", cmp.Or(m.hint, hintExport))
		}
		return kind{m.decode}, nil
	}
	if allZero(head) {
		return kind{}, amiss.New(ErrBroken, "the file holds only zeros", hintCopy)
	}
	return kind{}, amiss.New(ErrNotPicture, "the file is not a picture",
		"JPEG, PNG, TIFF, DNG and FITS are read; leave other files out")
}

// looksBMP checks the reserved words: two letters alone also start many texts.
func looksBMP(head []byte) bool {
	return len(head) >= 14 && binary.LittleEndian.Uint32(head[6:]) == 0
}

func allZero(b []byte) bool { return len(bytes.Trim(b, "\x00")) == 0 }
