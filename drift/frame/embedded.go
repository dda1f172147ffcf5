package frame

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"trueturn/ephem/amiss"
)

// Makers' own raw files store the mosaic each in a way of its own, which is not
// read here. Nearly all hold a JPEG of the same exposure beside it; where that
// is near full size it is measured instead, and Frame.Notes says so.

const (
	maxEmbedded       = 64        // JPEGs looked at in one file
	maxEmbeddedHeader = 256 << 10 // of each, to find its size
	minEmbeddedShare  = 0.6       // of the raw's sides: less loses stars and pixels that the raw has

	compressionOldJPEG = 6
	compressionJPEG    = 7
	tagJPEGOffset      = 513  // JPEGInterchangeFormat, TIFF 6.0 section 22
	tagJPEGLength      = 514  // JPEGInterchangeFormatLength
	tagFieldJPEG       = 0x2e // in files that begin with IIU: the JPEG is the content of this field,
	tagFieldWidth      = 2    // and the raw's size stands in these (both from memory)
	tagFieldHeight     = 3
)

// The ways out with general-purpose tools. The clock has to be brought along;
// Orientation must not be to TIFF: dcraw turns the picture already (tried with
// dcraw 9.28 and exiftool 12.57; dcraw's ICC profile says that its light is linear).
const (
	hintConvert = "convert it to DNG with your converter, or to TIFF: dcraw -4 -T FILE, then exiftool -TagsFromFile FILE -ExifIFD:all -GPS:all FILE.tiff for the clock"
	hintExtract = "take the JPEG out of it: exiftool -b -JpgFromRaw (or -PreviewImage) FILE > FILE.jpg, then exiftool -TagsFromFile FILE FILE.jpg for the clock; or set the camera to save JPEG beside raw"
)

// shape is a width and a height in stored pixels.
type shape struct{ width, height int }

func (s shape) pixels() int     { return s.width * s.height }
func (s shape) landscape() bool { return s.width > s.height }

// covers reports whether s has at least a share of the other's sides, long
// compared with long: one of them may stand on end.
func (s shape) covers(other shape, share float64) bool {
	long, short := max(s.width, s.height), min(s.width, s.height)
	return float64(long) >= share*float64(max(other.width, other.height)) &&
		float64(short) >= share*float64(min(other.width, other.height))
}

// larger keeps the larger of two shapes, and ignores nonsense.
func (s shape) larger(t shape) shape {
	if t.width > 0 && t.height > 0 && t.width <= maxSide && t.height <= maxSide && t.pixels() > s.pixels() {
		return t
	}
	return s
}

// embedded is a JPEG inside another file.
type embedded struct {
	shape
	src source
}

// rawFile is what a walk through a maker's raw file finds.
type rawFile struct {
	src    source
	tags   exifTags
	jpeg   embedded // the largest
	raw    shape    // of the raw picture; 0×0 when the file does not say
	looked map[int64]bool
}

// notFiner ends the note on a JPEG measured in place of a maker's raw picture.
const notFiner = "the raw picture converted to DNG would be finer"

// decodeMakersRaw reads a raw file that is TIFF but for its first four bytes.
func decodeMakersRaw(src source) (picture, error) {
	f := lookInside(tiffOf4(src))
	if !f.nearFull() {
		f.search()
	}
	if !f.nearFull() {
		return picture{}, unsupported("the file is a camera raw file without a JPEG near full size, which is not read", hintConvert)
	}
	return f.decode("a camera raw file", notFiner)
}

// embeddedOr measures the JPEG beside a raw picture that is not read for the
// reason given; without one that reason is the answer. It takes a JPEG from the
// directories alone: bytes that look like one may be the raw picture's own.
func embeddedOr(src source, reason error) (picture, error) {
	f := lookInside(src)
	if !f.nearFull() {
		return picture{}, reason
	}
	return f.decode(reason.Error(), "an uncompressed or lossless DNG would be finer")
}

// tiffOf4 shows a file with the first four bytes of a plain TIFF.
func tiffOf4(src source) source {
	head := src.head(4)
	plain := []byte("II*\x00")
	if len(head) > 0 && head[0] == 'M' {
		plain = []byte("MM\x00*")
	}
	return src.part(patched{src.ReaderAt, plain}, src.size)
}

// patched is a reader whose first bytes are replaced.
type patched struct {
	io.ReaderAt
	head []byte
}

func (p patched) ReadAt(b []byte, off int64) (int, error) {
	n, err := p.ReaderAt.ReadAt(b, off)
	if off >= 0 && off < int64(len(p.head)) {
		copy(b[:n], p.head[off:])
	}
	return n, err
}

// lookInside walks through a raw file.
func lookInside(src source) *rawFile {
	f := &rawFile{src: src, tags: exifTagsOf(src), looked: map[int64]bool{}}
	f.walk()
	stated := shape{}.larger(shape{int(f.tags.number["ExifImageWidth"]), int(f.tags.number["ExifImageHeight"])})
	switch {
	case f.raw == (shape{}):
		f.raw = stated
	case stated == (shape{}): // what the pixel pitch belongs to
		f.tags.number["ExifImageWidth"], f.tags.number["ExifImageHeight"] = float64(f.raw.width), float64(f.raw.height)
	}
	return f
}

// decode measures the JPEG found, and notes why and what would be finer. Clock and
// lens are the raw's own.
func (f *rawFile) decode(why, finer string) (picture, error) {
	p, err := decodeJPEG(f.jpeg.src)
	if err != nil {
		return picture{}, brokenInside(err)
	}
	p.takeRawTags(f)
	p.format, p.altered = "JPEG in raw", "" // its size is meant to be another
	p.instead = fmt.Sprintf("%s: measured on the JPEG of %d×%d pixels inside it; %s", why, f.jpeg.width, f.jpeg.height, finer)
	p.notes = append(p.notes, p.instead)
	return p, nil
}

func brokenInside(err error) error {
	var own *amiss.Error
	if errors.As(err, &own) && own.Kind == ErrUnsupported {
		return &amiss.Error{Kind: ErrUnsupported, Text: "the JPEG inside the camera raw file: " + own.Text, Ways: amiss.Do(hintConvert), From: err}
	}
	return broken(err, "the JPEG inside the camera raw file is damaged")
}

// takeRawTags replaces what the JPEG says of itself by what the raw says, save
// where the raw is silent of the clock. Of the orientations one counts: the
// JPEG's, which belongs to its own pixels; without one the raw's, unless the
// JPEG stands on end already while the raw lies.
func (p *picture) takeRawTags(f *rawFile) {
	t, own := f.tags, p.orient
	turned := f.jpeg.landscape() != f.raw.landscape()
	if t.text["DateTimeOriginal"] != "" || t.text["CreateDate"] != "" {
		p.readTags(t)
	} else if o := t.number["Orientation"]; o >= 1 && o <= 8 {
		p.orient = int(o)
	}
	switch {
	case own != 0:
		p.orient = own
	case turned && p.orient >= 5:
		p.orient = 1
	}
}

func (f *rawFile) nearFull() bool {
	return f.jpeg.pixels() > 0 && f.raw.pixels() > 0 && f.jpeg.covers(f.raw, minEmbeddedShare)
}

// walk looks through every directory for JPEGs and for the raw's own size.
func (f *rawFile) walk() {
	for _, d := range rawDirectories(f.src) {
		at, n := d.embeddedJPEG()
		if isJPEG := n > 0 && f.look(at, n); !isJPEG {
			f.sizeOf(d)
		}
		if field, ok := d.fields[tagFieldJPEG]; ok && field.kind == 7 {
			f.look(int64(d.order.Uint32(field.value[:])), int64(field.count))
			f.raw = f.raw.larger(shape{d.number(tagFieldWidth, 0), d.number(tagFieldHeight, 0)})
		}
	}
}

// sizeOf takes a directory's size for the raw's, unless it is that of a
// thumbnail, a mask, an enhanced copy or a picture ready to be shown (DNG 1.7, NewSubFileType).
func (f *rawFile) sizeOf(d directory) {
	subfile, photometric := d.number(tagSubfileType, 0), d.number(tagPhotometric, photometricCFA)
	if subfile == 0 && photometric != 2 && photometric != 6 {
		f.raw = f.raw.larger(shape{d.number(tagWidth, 0), d.number(tagHeight, 0)})
	}
}

// rawDirectories are the directories of a TIFF file and the SubIFDs of each,
// every one once.
func rawDirectories(src source) []directory {
	first, ok := firstDirectory(src)
	if !ok {
		return nil
	}
	found, seen := []directory{first}, map[int64]bool{first.offset: true}
	add := func(off int64) {
		if off == 0 || seen[off] || len(found) >= maxRawDirectories {
			return
		}
		seen[off] = true
		if d, ok := first.at(off); ok {
			found = append(found, d)
		}
	}
	for i := 0; i < len(found); i++ {
		for _, off := range found[i].numbers(tagSubIFDs) {
			add(int64(off))
		}
		add(found[i].next())
	}
	return found
}

// embeddedJPEG is where a directory says that a whole JPEG stands; 0 bytes
// when it names none. What a DNG packs as JPEG under a raw photometric kind is
// its raw picture, not one to be shown.
func (d directory) embeddedJPEG() (at, n int64) {
	switch d.number(tagPhotometric, 0) {
	case photometricCFA, photometricLinear:
		return 0, 0
	}
	if d.has(tagJPEGOffset) {
		return int64(d.number(tagJPEGOffset, 0)), int64(d.number(tagJPEGLength, 0))
	}
	offsets, counts := d.numbers(tagStripOffsets), d.numbers(tagStripCounts)
	switch d.number(tagCompression, 1) {
	case compressionOldJPEG, compressionJPEG:
		if len(offsets) == 1 && len(counts) == 1 {
			return int64(offsets[0]), int64(counts[0])
		}
	}
	return 0, 0
}

// look reads the head of a JPEG. One that a viewer shows is a candidate; a
// lossless one is the raw picture itself: of a mosaic the columns are shared out
// among two or four components, three are colours.
func (f *rawFile) look(at, n int64) bool {
	if f.looked[at] || len(f.looked) >= maxEmbedded || at < 0 || n < 4 || at > f.src.size || n > f.src.size-at {
		return false
	}
	f.looked[at] = true
	j := embedded{src: f.src.part(io.NewSectionReader(f.src, at, n), n)}
	if !bytes.Equal(j.src.head(3), []byte{0xff, 0xd8, 0xff}) {
		return false
	}
	head := j.src.part(j.src, min(n, maxEmbeddedHeader))
	shows := false
	jpegSegments(head, func(s segment) bool {
		if s.marker < 0xc0 || s.marker > 0xcf || s.marker == 0xc4 || s.marker == 0xc8 || s.marker == 0xcc {
			return true
		}
		b, err := head.bytes(s.at, min(s.n, 6))
		if err != nil || len(b) < 6 {
			return false
		}
		j.shape = shape{int(b[3])<<8 | int(b[4]), int(b[1])<<8 | int(b[2])}
		if s.marker == markSOF3 {
			columns := j.width
			if b[5] != 3 {
				columns *= int(b[5])
			}
			f.raw = f.raw.larger(shape{columns, j.height})
		}
		shows = s.marker <= 0xc2 && b[0] == 8
		return false
	})
	if shows && j.pixels() > f.jpeg.pixels() {
		f.jpeg = j
	}
	return shows
}

// search looks for JPEGs anywhere in the file: some makers name the large one
// in a note of their own alone. The file is read once, and the number of places
// looked at is bounded.
func (f *rawFile) search() {
	const window = 1 << 20
	buf := make([]byte, min(window, f.src.size))
	for off := int64(0); off+3 < f.src.size; {
		n, err := f.src.ReadAt(buf, off)
		for b, at := buf[:n], off; ; {
			i := bytes.Index(b, []byte{0xff, 0xd8, 0xff})
			if i < 0 {
				break
			}
			f.look(at+int64(i), f.src.size-at-int64(i))
			b, at = b[i+3:], at+int64(i)+3
		}
		if err != nil || len(f.looked) >= maxEmbedded {
			return
		}
		off += int64(n) - 2
	}
}
