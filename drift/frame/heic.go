package frame

import (
	"encoding/binary"
	"fmt"
	"io"

	"trueturn/ephem/amiss"
)

// HEIC pictures hold HEVC, for which no decoder is linked in: the readers there
// are in Go wrap an LGPL library as wasm, take 14 times as long as JPEG, and give 8
// bits all the same. Where the system has a decoder, the caller lends it
// (Options.Show); a browser has its own (FromShown). What the file says of clock,
// lens and place is read here, from its boxes: ISO/IEC 14496-12 §8.11 (items) and
// 23008-12 §6.5 (properties), annex A.2.1 (EXIF).

// Shown is a picture as somebody else's decoder shows it: turned upright already.
type Shown struct {
	Width, Height int
	Luma          []byte // coded with the sRGB curve, row after row from the top
	By            string // who decoded it, for the note, as "this computer's heif-convert"
}

// Shower decodes a picture of so many pixels, stored side by side; the error is one of
// this package's kinds, with the way out. It must be safe to call at once for several pictures.
type Shower func(file io.Reader, width, height int) (Shown, error)

// FromShown is Decode for a picture whose light was decoded elsewhere: file gives
// clock, lens and place only. It may be a HEIC picture or a JPEG, or the beginning
// of one that holds its metadata.
func FromShown(file io.ReadSeeker, s Shown, o Options) (Frame, error) {
	src, err := newSource(file)
	if err != nil {
		return Frame{}, err
	}
	var block []byte
	format := "JPEG"
	if isHEIF(src.head(64)) {
		format = "HEIC"
		if h, err := readHEIF(src); err == nil {
			block = h.exif
		}
	} else {
		block = jpegEXIF(src)
	}
	p, err := s.picture(format, block)
	if err != nil {
		return Frame{}, err
	}
	p.memory = &memory{admit: o.Admit}
	return p.frame(o)
}

const (
	noHEIC     = "the file is a HEIC picture, which is not read"
	brokenHEIC = "the HEIC data are damaged"
)

// heicCost is what the pixels take: the JPEG or the like in which the decoder hands them over,
// with its colours, and the luma.
var heicCost = cost{kind: "HEIC pictures", decoder: 4, kept: 1, plane: planeBytes}

func decodeHEIC(src source) (picture, error) {
	if src.show == nil {
		return picture{}, unsupported(noHEIC, hintCamera)
	}
	h, err := readHEIF(src)
	if err != nil {
		return picture{}, err
	}
	if err := src.checkSize(h.width, h.height, emptyPixels); err != nil {
		return picture{}, err
	}
	if err := src.admit(heicCost, h.width, h.height); err != nil {
		return picture{}, err
	}
	s, err := src.show(src.reader(), h.width, h.height)
	if err != nil {
		return picture{}, broken(err, brokenHEIC)
	}
	p, err := s.picture("HEIC", h.exif)
	if err == nil && h.turn != 0 && s.Width == h.width && s.Height == h.height && h.width != h.height {
		p.orient = h.turn // the decoder left it lying
	}
	return p, err
}

// picture takes the light as it is: what EXIF says of the orientation was done.
func (s Shown) picture(format string, exif []byte) (picture, error) {
	if s.Width <= 0 || s.Height <= 0 || s.Width > maxSide || s.Height > maxSide || len(s.Luma) != s.Width*s.Height {
		return picture{}, amiss.New(ErrBroken, fmt.Sprintf("the decoder made %d values of %d×%d pixels", len(s.Luma), s.Width, s.Height), hintCopy)
	}
	table := curve(linearOf).table(256)
	p := picture{format: format, light: light{width: s.Width, height: s.Height, saturation: table[jpegClip], signal: signalLuma,
		row: lookup8(s.Luma, s.Width, table)}}
	p.readEXIF(exif)
	p.orient = 1
	p.instead = fmt.Sprintf("a %s picture: decoded by %s, and measured by its luma of 8 bits", format, s.By)
	p.notes = append(p.notes, p.instead)
	return p, nil
}

// isHEIF is whether the file's own kind, or one it says it can be read as, is a
// still picture of HEVC. Names of endings do not matter.
func isHEIF(head []byte) bool {
	if len(head) < 12 || string(head[4:8]) != "ftyp" {
		return false
	}
	n := min(int(binary.BigEndian.Uint32(head)), len(head))
	for at := 8; at == 8 || at+4 <= n; at += 4 {
		switch string(head[at : at+4]) {
		case "avif", "avis":
			return false
		case "heic", "heix", "heim", "heis", "hevc", "hevx", "hevm", "hevs", "mif1", "msf1", "mif2":
			return true
		}
		if at == 8 {
			at += 4 // the minor version
		}
	}
	return false
}

// heif is what the boxes of a HEIC file say of its first picture.
type heif struct {
	width, height int // as stored, before it is turned
	turn          int // EXIF orientation that its turn is; 0: it is not turned by a quarter
	exif          []byte
}

const (
	maxHEIFBoxes = 1 << 12 // looked at, of one kind, in one box
	maxHEIFMeta  = 4 << 20
	maxFtyp      = 1 << 10
)

// readHEIF finds the box of metadata and reads it.
func readHEIF(src source) (heif, error) {
	off := int64(0)
	for range maxHEIFBoxes {
		kind, head, size, err := boxAt(src, off)
		switch {
		case off == 0 && size > maxFtyp:
			return heif{}, unsupported(noHEIC, hintCamera)
		case err != nil:
			return heif{}, broken(err, brokenHEIC)
		case kind == "meta" && size-head > maxHEIFMeta:
			return heif{}, unsupported(noHEIC, hintCamera)
		case kind == "meta":
			b, err := src.bytes(off+head, size-head)
			if err != nil {
				return heif{}, broken(err, brokenHEIC)
			}
			return readMeta(src, b)
		}
		off += size
	}
	return heif{}, unsupported(noHEIC, hintCamera)
}

// boxAt reads the head of the box at off: its kind, the length of the head, and of
// all of it. A length of 0 is to the end of the file, 1 stands for a long one.
func boxAt(src source, off int64) (kind string, head, size int64, err error) {
	b, err := src.bytes(off, 8)
	if err != nil {
		return "", 0, 0, err
	}
	kind, head, size = string(b[4:]), 8, int64(binary.BigEndian.Uint32(b))
	switch size {
	case 0:
		size = src.size - off
	case 1:
		if b, err = src.bytes(off+8, 8); err != nil {
			return "", 0, 0, err
		}
		head, size = 16, int64(binary.BigEndian.Uint64(b)&(1<<62-1))
	}
	if size < head || size > src.size-off {
		err = io.ErrUnexpectedEOF
	}
	return kind, head, size, err
}

// boxBytes reads big-endian numbers one after the other; beyond the end it gives zeros.
type boxBytes struct {
	b   []byte
	bad bool
}

func (f *boxBytes) take(n int) []byte {
	if n < 0 || n > len(f.b) {
		f.b, f.bad = nil, true
		return make([]byte, min(max(n, 0), 8))
	}
	b := f.b[:n]
	f.b = f.b[n:]
	return b
}

// number reads n bytes, none to eight.
func (f *boxBytes) number(n int) int64 {
	v := uint64(0)
	for _, b := range f.take(n) {
		v = v<<8 | uint64(b)
	}
	return int64(v & (1<<62 - 1))
}

// boxes goes through the boxes inside another.
func (f boxBytes) boxes(use func(kind string, body boxBytes)) {
	for range maxHEIFBoxes {
		if len(f.b) < 8 {
			return
		}
		size := f.number(4)
		kind := string(f.take(4))
		if size < 8 || size-8 > int64(len(f.b)) {
			return
		}
		use(kind, boxBytes{b: f.take(int(size - 8))})
	}
}

// full reads the version and flags that begin a full box.
func (f *boxBytes) full() (version, flags int64) {
	v := f.number(4)
	return v >> 24, v & 0xffffff
}

// wide is 4 for a version from which on numbers are of four bytes, else 2.
func wide(version, from int64) int {
	if version >= from {
		return 4
	}
	return 2
}

// readMeta reads the items: which is the picture, which its EXIF, where that stands,
// and the properties of the picture.
func readMeta(src source, b []byte) (heif, error) {
	meta := boxBytes{b: b}
	meta.full()
	inner := map[string]boxBytes{}
	meta.boxes(func(kind string, body boxBytes) {
		if _, seen := inner[kind]; !seen {
			inner[kind] = body
		}
	})
	primary := inner["pitm"]
	version, _ := primary.full()
	first := primary.number(wide(version, 1))
	h := heif{}
	h.properties(inner["iprp"], first)
	if h.width <= 0 || h.height <= 0 || primary.bad {
		return heif{}, unsupported(noHEIC, hintCamera)
	}
	if item, ok := exifItem(inner["iinf"]); ok {
		h.exif = exifBlockOf(extent(src, inner["iloc"], inner["idat"], item))
	}
	return h, nil
}

// exifItem is the number of the first item of type Exif.
func exifItem(iinf boxBytes) (item int64, ok bool) {
	version, _ := iinf.full()
	iinf.number(wide(version, 1)) // how many
	iinf.boxes(func(kind string, b boxBytes) {
		v, _ := b.full()
		if kind != "infe" || v < 2 || ok {
			return
		}
		id := b.number(wide(v, 3))
		b.number(2) // protection
		if string(b.take(4)) == "Exif" && !b.bad {
			item, ok = id, true
		}
	})
	return item, ok
}

// extent returns the bytes of an item that lies in one piece, in the file or in the
// box of data inside the metadata; nil for any other.
func extent(src source, iloc, idat boxBytes, item int64) []byte {
	version, _ := iloc.full()
	sizes := iloc.number(2)
	offsetSize, lengthSize, baseSize, indexSize := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version == 0 {
		indexSize = 0
	}
	for n := iloc.number(wide(version, 2)); n > 0 && !iloc.bad; n-- {
		id, method := iloc.number(wide(version, 2)), int64(0)
		if version > 0 {
			method = iloc.number(2) & 15
		}
		iloc.number(2) // of a file elsewhere; 0: this one
		base, extents := iloc.number(baseSize), iloc.number(2)
		if id != item || extents != 1 { // not one by one: they may be of no bytes each
			iloc.take(int(extents) * (indexSize + offsetSize + lengthSize))
			continue
		}
		iloc.number(indexSize)
		at, length := base+iloc.number(offsetSize), iloc.number(lengthSize)
		if iloc.bad || length > maxExifBytes {
			return nil
		}
		data := src
		if method == 1 {
			data = src.unpacked(idat.b)
		}
		if b, err := data.bytes(at, length); err == nil && method <= 1 {
			return b
		}
		return nil
	}
	return nil
}

// exifBlockOf cuts off what stands before the TIFF header: its offset, four bytes,
// and so many more.
func exifBlockOf(b []byte) []byte {
	f := boxBytes{b: b}
	f.take(int(f.number(4)))
	return f.b
}

// properties reads size and turn of an item.
func (h *heif) properties(iprp boxBytes, item int64) {
	var all []struct {
		kind string
		body boxBytes
	}
	var associations boxBytes
	iprp.boxes(func(kind string, b boxBytes) {
		switch kind {
		case "ipco":
			b.boxes(func(kind string, b boxBytes) {
				all = append(all, struct {
					kind string
					body boxBytes
				}{kind, b})
			})
		case "ipma":
			associations = b
		}
	})
	for _, i := range associations.of(item) {
		if i < 1 || i > len(all) {
			continue
		}
		switch p := all[i-1]; p.kind {
		case "ispe":
			p.body.full()
			h.width, h.height = int(p.body.number(4)), int(p.body.number(4))
		case "irot": // quarter turns against the clock, 23008-12 §6.5.10
			h.turn = map[int64]int{1: 8, 3: 6}[p.body.number(1)&3]
		}
	}
}

// of lists the properties of an item, counted from 1.
func (f boxBytes) of(item int64) (indices []int) {
	version, flags := f.full()
	size, mask := 1, int64(0x7f)
	if flags&1 != 0 {
		size, mask = 2, 0x7fff
	}
	for n := f.number(4); n > 0 && !f.bad; n-- {
		id, count := f.number(wide(version, 1)), f.number(1)
		for range count {
			i := f.number(size) & mask // the highest bit: essential
			if id == item && !f.bad {
				indices = append(indices, int(i))
			}
		}
	}
	return indices
}
