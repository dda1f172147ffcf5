package frame

import (
	"encoding/binary"
	"strings"
)

// TIFF field types that have a size here, TIFF 6.0 page 15.
var fieldSize = map[uint16]int64{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}

// directory is one image file directory of a TIFF structure. It is a small
// reader of our own beside the metadata library, which turns the sub-second
// "045" into 45; it also tells TIFF files apart before they are decoded.
type directory struct {
	src    source
	offset int64
	order  binary.ByteOrder
	fields map[uint16]field
}

type field struct {
	kind  uint16
	count uint32
	value [4]byte // the value, or where it stands
}

// The largest field read: an ICC profile may take a megabyte.
const maxFieldBytes = 4 << 20

// firstDirectory reads the directory the TIFF header points to; ok is false
// when there is none.
func firstDirectory(src source) (directory, bool) {
	h := src.head(8)
	if len(h) < 8 {
		return directory{}, false
	}
	d := directory{src: src, order: binary.LittleEndian}
	if h[0] == 'M' {
		d.order = binary.BigEndian
	}
	return d.at(int64(d.order.Uint32(h[4:])))
}

// at reads another directory of the same file.
func (d directory) at(off int64) (directory, bool) {
	b, err := d.src.bytes(off, 2)
	if err != nil {
		return directory{}, false
	}
	n := int64(d.order.Uint16(b))
	n = min(n, (d.src.size-off-2)/12)
	b, err = d.src.bytes(off+2, n*12)
	if err != nil {
		return directory{}, false
	}
	d.offset, d.fields = off, make(map[uint16]field, n)
	for ; len(b) >= 12; b = b[12:] {
		tag := d.order.Uint16(b)
		if _, seen := d.fields[tag]; !seen {
			d.fields[tag] = field{d.order.Uint16(b[2:]), d.order.Uint32(b[4:]), [4]byte(b[8:12])}
		}
	}
	return d, true
}

// next is where the following directory stands, 0 at the end of the chain.
func (d directory) next() int64 {
	n, err := d.src.bytes(d.offset, 2)
	if err != nil {
		return 0
	}
	b, err := d.src.bytes(d.offset+2+12*int64(d.order.Uint16(n)), 4)
	if err != nil {
		return 0
	}
	return int64(d.order.Uint32(b))
}

func (d directory) has(tag uint16) bool { _, ok := d.fields[tag]; return ok }

// raw returns the bytes of a field, nil when it is absent or lies outside.
func (d directory) raw(tag uint16) []byte {
	f, ok := d.fields[tag]
	if !ok {
		return nil
	}
	n := fieldSize[f.kind] * int64(f.count)
	if n <= 0 || n > maxFieldBytes {
		return nil
	}
	if n <= 4 {
		return f.value[:n]
	}
	b, err := d.src.bytes(int64(d.order.Uint32(f.value[:])), n)
	if err != nil {
		return nil
	}
	return b
}

// uint returns the first value of an integer field.
func (d directory) uint(tag uint16) (uint32, bool) {
	b := d.raw(tag)
	switch f := d.fields[tag]; {
	case b == nil:
		return 0, false
	case f.kind == 1:
		return uint32(b[0]), true
	case f.kind == 3:
		return uint32(d.order.Uint16(b)), true
	case f.kind == 4:
		return d.order.Uint32(b), true
	}
	return 0, false
}

// text returns an ASCII field up to its first NUL.
func (d directory) text(tag uint16) string {
	if d.fields[tag].kind != 2 {
		return ""
	}
	s, _, _ := strings.Cut(string(d.raw(tag)), "\x00")
	return strings.TrimSpace(s)
}
