package frame

import (
	"encoding/binary"
	"math"
	"strings"
)

// TIFF field types, TIFF 6.0 page 15. IFD, an offset of a directory, is of TIFF
// Technical Note 1 (Adobe, 1995), UTF-8 of EXIF 3.0.
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeSByte     = 6
	typeUndefined = 7
	typeSShort    = 8
	typeSLong     = 9
	typeSRational = 10
	typeFloat     = 11
	typeDouble    = 12
	typeIFD       = 13
	typeUTF8      = 129
)

// fieldSize is the bytes of one value; types that are not here have no size, and
// their fields are passed over.
var fieldSize = map[uint16]int64{typeByte: 1, typeASCII: 1, typeShort: 2, typeLong: 4, typeRational: 8, typeSByte: 1, typeUndefined: 1, typeSShort: 2,
	typeSLong: 4, typeSRational: 8, typeFloat: 4, typeDouble: 8, typeIFD: 4, typeUTF8: 1}

// directory is one image file directory of a TIFF structure.
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

// uint returns the first value of an integer field of any type, unless it is
// negative.
func (d directory) uint(tag uint16) (uint32, bool) {
	switch d.fields[tag].kind {
	case typeRational, typeSRational, typeFloat, typeDouble:
		return 0, false
	}
	v := d.numbers(tag)
	if len(v) == 0 || v[0] < 0 {
		return 0, false
	}
	return uint32(v[0]), true
}

// pointed reads the directory a field points to.
func (d directory) pointed(tag uint16) (directory, bool) {
	off, ok := d.uint(tag)
	if !ok {
		return directory{}, false
	}
	return d.at(int64(off))
}

// numbers returns the values of a numeric field, nil when it is absent or of
// another kind; a rational over zero is NaN or infinite.
func (d directory) numbers(tag uint16) []float64 {
	b, kind := d.raw(tag), d.fields[tag].kind
	value := d.valueOf(kind)
	if value == nil || len(b) == 0 {
		return nil
	}
	size := int(fieldSize[kind])
	v := make([]float64, 0, len(b)/size)
	for ; len(b) >= size; b = b[size:] {
		v = append(v, value(b))
	}
	return v
}

// valueOf reads one value of a numeric type; nil for text and the like.
func (d directory) valueOf(kind uint16) func([]byte) float64 {
	switch kind {
	case typeByte:
		return func(b []byte) float64 { return float64(b[0]) }
	case typeSByte:
		return func(b []byte) float64 { return float64(int8(b[0])) }
	case typeShort:
		return func(b []byte) float64 { return float64(d.order.Uint16(b)) }
	case typeSShort:
		return func(b []byte) float64 { return float64(int16(d.order.Uint16(b))) }
	case typeLong, typeIFD:
		return func(b []byte) float64 { return float64(d.order.Uint32(b)) }
	case typeSLong:
		return func(b []byte) float64 { return float64(int32(d.order.Uint32(b))) }
	case typeRational:
		return func(b []byte) float64 { return float64(d.order.Uint32(b)) / float64(d.order.Uint32(b[4:])) }
	case typeSRational:
		return func(b []byte) float64 {
			return float64(int32(d.order.Uint32(b))) / float64(int32(d.order.Uint32(b[4:])))
		}
	case typeFloat:
		return func(b []byte) float64 { return float64(math.Float32frombits(d.order.Uint32(b))) }
	case typeDouble:
		return func(b []byte) float64 { return math.Float64frombits(d.order.Uint64(b)) }
	}
	return nil
}

// text returns a field of text up to its first NUL; none where it is longer than
// text in EXIF is.
func (d directory) text(tag uint16) string {
	f := d.fields[tag]
	if f.count > maxExifTextBytes {
		return ""
	}
	switch f.kind {
	case typeASCII, typeByte, typeUndefined, typeUTF8:
		s, _, _ := strings.Cut(string(d.raw(tag)), "\x00")
		return strings.TrimSpace(s)
	}
	return ""
}
