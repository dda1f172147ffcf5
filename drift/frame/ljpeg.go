package frame

import (
	"errors"
	"math/bits"
)

// Lossless JPEG: ITU-T T.81 (ISO/IEC 10918-1) annex H, the process SOF3 with
// Huffman coding. Every sample is predicted from its neighbours left (a), above
// (b) and above left (c); the file holds the differences modulo 65536.

var errLossless = errors.New("lossless JPEG data make no sense")

const (
	markSOF3 = 0xc3
	markDHT  = 0xc4
	markSOI  = 0xd8
	markSOS  = 0xda
	markDRI  = 0xdd
	peekBits = 9 // codes up to this length are found in one look
)

// losslessImage is what a stream holds: rows of width × components samples,
// the components of a pixel beside each other.
type losslessImage struct {
	width, height, components int
	pix                       []uint16
}

// losslessDecoder collects the headers up to the scan.
type losslessDecoder struct {
	losslessImage
	precision, shift, predictor int
	restart                     int // pixels from one restart to the next; 0: none
	ids, selector               [4]byte
	tables                      [4]*huffman
}

// decodeLossless reads one stream of at most limit samples.
func decodeLossless(b []byte, limit int) (losslessImage, error) {
	if len(b) < 2 || b[0] != 0xff || b[1] != markSOI {
		return losslessImage{}, errLossless
	}
	d := losslessDecoder{}
	for b = b[2:]; len(b) >= 4 && b[0] == 0xff; {
		mark, n := b[1], int(b[2])<<8|int(b[3])
		if n < 2 || n+2 > len(b) {
			return losslessImage{}, errLossless
		}
		if err := d.segment(mark, b[4:n+2], limit); err != nil {
			return losslessImage{}, err
		}
		if b = b[n+2:]; mark == markSOS {
			return d.losslessImage, d.scan(b)
		}
	}
	return losslessImage{}, errLossless
}

func (d *losslessDecoder) segment(mark byte, b []byte, limit int) error {
	switch {
	case mark == markDHT:
		return d.readTables(b)
	case mark == markSOF3:
		return d.readFrame(b, limit)
	case mark == markSOS:
		return d.readScan(b)
	case mark == markDRI && len(b) == 2:
		d.restart = int(b[0])<<8 | int(b[1])
	case mark >= 0xc0 && mark <= 0xcf: // another process
		return errLossless
	}
	return nil
}

// readFrame is SOF3, T.81 §B.2.2. Components of other sizes than the picture
// are not used for raw pictures and refused.
func (d *losslessDecoder) readFrame(b []byte, limit int) error {
	if len(b) < 6 || d.components != 0 {
		return errLossless
	}
	d.precision, d.height, d.width, d.components = int(b[0]), int(b[1])<<8|int(b[2]), int(b[3])<<8|int(b[4]), int(b[5])
	if d.precision < 2 || d.precision > 16 || d.components < 1 || d.components > 4 || len(b) != 6+3*d.components {
		return errLossless
	}
	if n := d.width * d.height * d.components; n == 0 || n > limit {
		return errLossless
	}
	for i := range d.components {
		if d.ids[i] = b[6+3*i]; b[7+3*i] != 0x11 && d.components > 1 {
			return errLossless
		}
	}
	return nil
}

// readTables is DHT, T.81 §B.2.4.2.
func (d *losslessDecoder) readTables(b []byte) error {
	for len(b) > 0 {
		if len(b) < 17 || b[0] > 3 { // class 0 alone is used, T.81 table B.5
			return errLossless
		}
		n := 0
		for _, c := range b[1:17] {
			n += int(c)
		}
		if n > 256 || len(b) < 17+n {
			return errLossless
		}
		h, err := newHuffman([16]byte(b[1:17]), b[17:17+n])
		if err != nil {
			return err
		}
		d.tables[b[0]], b = h, b[17+n:]
	}
	return nil
}

// readScan is SOS, T.81 §B.2.3: Ss is the predictor, Al the point transform.
func (d *losslessDecoder) readScan(b []byte) error {
	n := d.components
	if n == 0 || len(b) != 4+2*n || int(b[0]) != n {
		return errLossless
	}
	for i := range n {
		d.selector[i] = b[2+2*i] >> 4
		if b[1+2*i] != d.ids[i] || d.selector[i] > 3 || d.tables[d.selector[i]] == nil {
			return errLossless
		}
	}
	d.predictor, d.shift = int(b[1+2*n]), int(b[3+2*n]&15)
	if d.predictor < 1 || d.predictor > 7 || d.shift >= d.precision || d.restart%d.width != 0 {
		return errLossless // T.81 §H.1.1: restarts stand between rows
	}
	return nil
}

// scan reads the entropy-coded rows, T.81 §H.2.
func (d *losslessDecoder) scan(b []byte) error {
	d.pix = make([]uint16, d.width*d.height*d.components)
	r := bitReader{b: b}
	stride := d.width * d.components
	for y := range d.height {
		fresh := y == 0
		if d.restart > 0 && y > 0 && y*d.width%d.restart == 0 {
			if !r.skipRestart() {
				return errLossless
			}
			fresh = true
		}
		var above []uint16
		if !fresh {
			above = d.pix[(y-1)*stride : y*stride]
		}
		if !d.row(&r, d.pix[y*stride:(y+1)*stride], above) {
			return errLossless
		}
	}
	if d.shift > 0 {
		for i := range d.pix {
			d.pix[i] <<= d.shift
		}
	}
	return nil
}

// row decodes one row; above is nil at the start and after a restart.
func (d *losslessDecoder) row(r *bitReader, out, above []uint16) bool {
	n := d.components
	for i := range out {
		h := d.tables[d.selector[i%n]]
		diff, ok := h.difference(r)
		if !ok {
			return false
		}
		var p int
		switch {
		case i < n && above == nil:
			p = 1 << (d.precision - d.shift - 1)
		case i < n:
			p = int(above[i])
		case above == nil:
			p = int(out[i-n])
		default:
			p = predict(d.predictor, int(out[i-n]), int(above[i]), int(above[i-n]))
		}
		out[i] = uint16(p + diff)
	}
	return true
}

// predict is T.81 table H.1.
func predict(kind, a, b, c int) int {
	switch kind {
	case 1:
		return a
	case 2:
		return b
	case 3:
		return c
	case 4:
		return a + b - c
	case 5:
		return a + (b-c)>>1
	case 6:
		return b + (a-c)>>1
	}
	return (a + b) >> 1
}

// huffman is a code table, T.81 annex C; lengths up to 16.
type huffman struct {
	quick  [1 << peekBits]uint16 // length<<8 | value; 0: longer
	limit  [17]int               // first code beyond those of this length, left aligned to 16 bits
	offset [17]int               // of a code's value among all, from the code
	values []byte
}

func newHuffman(counts [16]byte, values []byte) (*huffman, error) {
	h := &huffman{values: values}
	code, k := 0, 0
	for i, c := range counts {
		length := i + 1
		h.offset[length] = k - code
		for range c {
			if values[k] > 16 || code >= 1<<length {
				return nil, errLossless
			}
			if length <= peekBits {
				first := code << (peekBits - length)
				for j := range 1 << (peekBits - length) {
					h.quick[first+j] = uint16(length)<<8 | uint16(values[k])
				}
			}
			code, k = code+1, k+1
		}
		h.limit[length] = code << (16 - length)
		code <<= 1
	}
	return h, nil
}

// difference reads a category and its extra bits, T.81 §H.1.2.2; category 16
// has none and stands for 32768.
func (h *huffman) difference(r *bitReader) (int, bool) {
	look := int(r.peek16())
	size, length := 0, 0
	if q := h.quick[look>>(16-peekBits)]; q != 0 {
		size, length = int(q&255), int(q>>8)
	} else {
		for length = peekBits + 1; length <= 16 && look >= h.limit[length]; length++ {
		}
		if length > 16 {
			return 0, false
		}
		size = int(h.values[h.offset[length]+look>>(16-length)])
	}
	r.drop(length)
	if size == 0 || size == 16 {
		return size << 11, r.ok()
	}
	v := int(r.peek16()) >> (16 - size)
	r.drop(size)
	if v < 1<<(size-1) {
		v -= 1<<size - 1
	}
	return v, r.ok()
}

// bitReader takes the stuffed zero after 0xFF out and gives zeros at a marker,
// where it stops; ok tells whether any of those were used.
type bitReader struct {
	b    []byte
	at   int
	acc  uint64
	n    int // bits in acc
	fill int // of them made up, at the end
}

func (r *bitReader) peek16() uint16 {
	for r.n < 16 {
		var c byte
		switch {
		case r.at >= len(r.b) || r.b[r.at] == 0xff && (r.at+1 >= len(r.b) || r.b[r.at+1] != 0):
			r.fill += 8
		case r.b[r.at] == 0xff:
			c = 0xff
			r.at += 2
		default:
			c = r.b[r.at]
			r.at++
		}
		r.acc, r.n = r.acc<<8|uint64(c), r.n+8
	}
	return uint16(r.acc >> (r.n - 16))
}

func (r *bitReader) drop(n int) { r.n -= n }

func (r *bitReader) ok() bool { return r.n >= r.fill }

// skipRestart passes a restart marker; the bits before it are filling.
func (r *bitReader) skipRestart() bool {
	if bits.Len(uint(r.n-r.fill)) > 3 || r.at+1 >= len(r.b) || r.b[r.at] != 0xff || r.b[r.at+1]&0xf8 != 0xd0 {
		return false
	}
	*r = bitReader{b: r.b, at: r.at + 2}
	return true
}
