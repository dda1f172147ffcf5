package frame

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"trueturn/ephem/amiss"
)

// maxTilePixelsPerByte bounds what a packed picture may unfold to: Rice needs a
// byte for some 60 equal pixels, gzip rarely does better on noise.
const maxTilePixelsPerByte = 100

// tiled is a picture cut in tiles, each packed in a row of a binary table
// (FITS 4.0 §10). HCOMPRESS_1 and PLIO_1 are refused. Everything else is held to
// astropy's files, but for BLANK of integer tiles and the keyword ZBLANK, which
// astropy 5.2.1 does not heed.
type tiled struct {
	src        source
	h          header
	data, heap int64
	rowBytes   int64
	size, tile [3]int
	bitpix     int
	columns    map[string]column
	block, pix int // Rice: pixels in a block, bytes in a pixel
	rand       []float32
	read       uint64 // bytes of tiles read so far
}

type column struct {
	at   int64
	kind byte // letter of TFORM
}

func damagedTile(cause string) error {
	return amiss.New(ErrBroken, "the compressed FITS picture is damaged: "+cause, hintCopy)
}

// unpackTiles lays the picture out in memory as a plain one.
func unpackTiles(src source, data int64, h header) (array, error) {
	t := tiled{src: src, h: h, data: data, size: [3]int{1, 1, 1}, tile: [3]int{1, 1, 1}, block: 32, pix: 4}
	axes, err := t.readAxes()
	if err != nil {
		return array{}, err
	}
	h["BITPIX"] = h["ZBITPIX"]
	if h["BLANK"] == "" && h["ZBLANK"] != "" {
		h["BLANK"] = h["ZBLANK"]
	}
	a, err := newArray(src, 0, h, axes)
	if err != nil {
		return a, err
	}
	if err := src.checkSize(a.width, a.height, maxTilePixelsPerByte); err != nil {
		return a, err
	}
	t.bitpix = a.bitpix
	if err := src.admit(t.cost(a), a.width, a.height); err != nil {
		return a, err
	}
	if err := t.readTable(); err != nil {
		return a, err
	}
	out := make([]byte, a.bytes())
	a.src = src.unpacked(out)
	return a, t.unpack(out)
}

// cost is what the picture takes laid out, its tiles beside it: packed,
// unpacked and brought to their true numbers.
func (t *tiled) cost(a array) cost {
	all := float64(a.planes * a.pixelBytes())
	each := (maxPackedGrowth + 2) * float64(t.widest())
	share := float64(t.tile[0]) * float64(t.tile[1]) * float64(t.tile[2]) / (float64(a.width) * float64(a.height))
	return cost{kind: fmt.Sprintf("packed FITS pictures of %g bytes a pixel", all), decoder: heap(all+each*share, all+each*float64(a.planes)), kept: all, plane: planeBytes,
		instead: "unpack it first"}
}

// widest is how many bytes a pixel takes at most on its way out of a tile:
// those of its own number, or of the rounded one packed in its place.
func (t *tiled) widest() int {
	if t.bitpix < 0 {
		return max(roundedBytes, -t.bitpix/8)
	}
	return t.bitpix / 8
}

const (
	roundedBytes    = 4
	maxPackedGrowth = 1.25 // what will not shrink grows a little when it is packed
	maxPackedExtra  = 4096 // bytes, for the smallest tiles
)

func (t *tiled) readAxes() ([]int64, error) {
	n, err := t.h.integer("ZNAXIS")
	if err != nil || n < 2 || n > 3 {
		return nil, unsupported("the compressed FITS file has no picture of two or three axes", "unpack it first")
	}
	axes := make([]int64, n)
	for i := range axes {
		v, err := t.h.integer(fmt.Sprintf("ZNAXIS%d", i+1))
		if err != nil || v < 1 || v > math.MaxInt32 {
			return nil, damagedTile(fmt.Sprintf("no usable ZNAXIS%d", i+1))
		}
		axes[i], t.size[i] = v, int(v)
		if i == 0 {
			t.tile[0] = int(v)
		}
		if z, err := t.h.integer(fmt.Sprintf("ZTILE%d", i+1)); err == nil {
			if z < 1 || z > math.MaxInt32 {
				return nil, damagedTile("a tile without pixels")
			}
			t.tile[i] = int(min(z, v))
		}
	}
	return axes, nil
}

// widths of the column letters a packed picture uses, in bytes.
var columnBytes = map[byte]int64{'L': 1, 'B': 1, 'I': 2, 'J': 4, 'K': 8, 'E': 4, 'D': 8, 'P': 8, 'Q': 16}

func (t *tiled) readTable() error {
	t.columns = map[string]column{}
	fields, _ := t.h.integer("TFIELDS")
	at := int64(0)
	for i := int64(1); i <= min(fields, 50); i++ {
		form := strings.TrimLeft(t.h[fmt.Sprintf("TFORM%d", i)], "01")
		if form == "" || columnBytes[form[0]] == 0 {
			return damagedTile(fmt.Sprintf("no usable TFORM%d", i))
		}
		t.columns[t.h[fmt.Sprintf("TTYPE%d", i)]] = column{at, form[0]}
		at += columnBytes[form[0]]
	}
	rows, _ := t.h.integer("NAXIS2")
	t.rowBytes, _ = t.h.integer("NAXIS1")
	want := int64(1)
	for i := range t.size {
		want *= int64((t.size[i] + t.tile[i] - 1) / t.tile[i])
	}
	if want > maxParts {
		return damagedTile(fmt.Sprintf("it is cut in %d tiles", want))
	}
	if t.rowBytes != at || rows != want || rows > t.src.size/max(1, at) {
		return damagedTile("its table does not fit the tiles")
	}
	t.heap = t.data + t.rowBytes*rows
	if v, err := t.h.integer("THEAP"); err == nil && v >= 0 && v < maxFileBytes {
		t.heap = t.data + v
	}
	return t.readMethod()
}

func (t *tiled) readMethod() error {
	switch t.h["ZCMPTYPE"] {
	case "RICE_1", "RICE_ONE", "GZIP_1", "GZIP_2", "NOCOMPRESS":
	default:
		return unsupported("the FITS picture is compressed by "+t.h["ZCMPTYPE"], "unpack it first")
	}
	for i := 1; i <= 9; i++ {
		v, err := strconv.Atoi(t.h[fmt.Sprintf("ZVAL%d", i)])
		switch t.h[fmt.Sprintf("ZNAME%d", i)] {
		case "BLOCKSIZE":
			if t.block = v; err != nil || v < 1 || v > 4096 {
				return damagedTile("no usable block size")
			}
		case "BYTEPIX":
			if t.pix = v; err != nil || v != 1 && v != 2 && v != 4 {
				return unsupported("the FITS picture is packed in pixels of an unusual width", "unpack it first")
			}
		}
	}
	if strings.HasPrefix(t.h["ZQUANTIZ"], "SUBTRACTIVE") {
		t.rand = ditherSequence()
	}
	return nil
}

// ditherSequence is the standard's own random numbers (FITS 4.0 appendix I).
func ditherSequence() []float32 {
	r, seed := make([]float32, 10000), int64(1)
	for i := range r {
		seed = seed * 16807 % 2147483647
		r[i] = float32(float64(seed) / 2147483647)
	}
	return r
}

func (t *tiled) unpack(out []byte) error {
	row := 0
	for z := 0; z < t.size[2]; z += t.tile[2] {
		for y := 0; y < t.size[1]; y += t.tile[1] {
			for x := 0; x < t.size[0]; x += t.tile[0] {
				n := [3]int{min(t.tile[0], t.size[0]-x), min(t.tile[1], t.size[1]-y), min(t.tile[2], t.size[2]-z)}
				b, err := t.pixels(row, n[0]*n[1]*n[2])
				if err != nil {
					return err
				}
				t.place(out, b, [3]int{x, y, z}, n)
				row++
			}
		}
	}
	return nil
}

func (t *tiled) place(out, b []byte, at, n [3]int) {
	size := max(t.bitpix, -t.bitpix) / 8
	for z := range n[2] {
		for y := range n[1] {
			to := (((at[2]+z)*t.size[1]+at[1]+y)*t.size[0] + at[0]) * size
			b = b[copy(out[to:to+n[0]*size], b):]
		}
	}
}

// pixels returns the n pixels of a tile as a plain FITS file stores them.
func (t *tiled) pixels(row, n int) ([]byte, error) {
	cells, err := t.src.bytes(t.data+int64(row)*t.rowBytes, t.rowBytes)
	if err != nil {
		return nil, broken(err, "the compressed FITS picture lacks rows")
	}
	size := max(t.bitpix, -t.bitpix) / 8
	packed, err := t.array(cells, "COMPRESSED_DATA", n)
	if err != nil {
		return nil, err
	}
	if len(packed) == 0 { // a tile that would not shrink or could not be rounded
		if packed, err = t.array(cells, "GZIP_COMPRESSED_DATA", n); err != nil || len(packed) > 0 {
			return gunzipTile(packed, n*size, err)
		}
		b, err := t.array(cells, "UNCOMPRESSED_DATA", n)
		return exactly(b, n*size, err)
	}
	_, quantised := t.columns["ZSCALE"]
	if t.bitpix < 0 && quantised {
		b, err := t.decompress(packed, n, 4)
		if err != nil {
			return nil, err
		}
		return t.restore(cells, b, row), nil
	}
	return t.decompress(packed, n, size)
}

func exactly(b []byte, n int, err error) ([]byte, error) {
	if err == nil && len(b) != n {
		err = damagedTile("a tile has the wrong length")
	}
	return b, err
}

func gunzipTile(b []byte, n int, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		return nil, broken(err, "a tile's gzip data are damaged")
	}
	out := make([]byte, n+1)
	got, err := io.ReadFull(z, out)
	switch {
	case got == n && (err == io.EOF || err == io.ErrUnexpectedEOF): // as it should be
		return out[:n], nil
	case err == nil, err == io.EOF, err == io.ErrUnexpectedEOF:
		return nil, damagedTile("a tile has the wrong length")
	}
	return nil, broken(err, "a tile's gzip data are damaged")
}

// array follows a cell's descriptor into the heap; pixels is how many of them
// are in it.
func (t *tiled) array(cells []byte, name string, pixels int) ([]byte, error) {
	c, ok := t.columns[name]
	var n, at uint64
	switch {
	case !ok:
		return nil, nil
	case c.kind == 'P':
		n, at = uint64(binary.BigEndian.Uint32(cells[c.at:])), uint64(binary.BigEndian.Uint32(cells[c.at+4:]))
	case c.kind == 'Q':
		n, at = binary.BigEndian.Uint64(cells[c.at:]), binary.BigEndian.Uint64(cells[c.at+8:])
	default:
		return nil, damagedTile("a column of the wrong kind")
	}
	if n > maxFileBytes || at > maxFileBytes {
		return nil, damagedTile("a tile lies outside the file")
	}
	if float64(n) > maxPackedGrowth*float64(pixels*t.widest())+maxPackedExtra {
		return nil, damagedTile("a tile holds more bytes than its pixels need")
	}
	// Rows that all name the same large piece would cost time without bound.
	if t.read += n; t.read > uint64(t.src.size) {
		return nil, damagedTile("its tiles hold more bytes than the file")
	}
	b, err := t.src.bytes(t.heap+int64(at), int64(n))
	if err != nil {
		return nil, broken(err, "the compressed FITS picture lacks tiles")
	}
	return b, nil
}

func (t *tiled) decompress(b []byte, n, size int) ([]byte, error) {
	switch t.h["ZCMPTYPE"] {
	case "GZIP_1":
		return gunzipTile(b, n*size, nil)
	case "GZIP_2": // all first bytes, then all second ones …
		s, err := gunzipTile(b, n*size, nil)
		if err != nil {
			return nil, err
		}
		out := make([]byte, len(s))
		for i := range s {
			out[i%n*size+i/n] = s[i]
		}
		return out, nil
	case "NOCOMPRESS":
		return exactly(b, n*size, nil)
	}
	if t.pix != size {
		return nil, unsupported("the FITS picture is packed in pixels of an unusual width", "unpack it first")
	}
	return unrice(b, n, size, t.block)
}

// number is a cell's number, else the keyword's.
func (t *tiled) number(cells []byte, name string, otherwise float64) float64 {
	c, ok := t.columns[name]
	switch {
	case ok && c.kind == 'D':
		return math.Float64frombits(binary.BigEndian.Uint64(cells[c.at:]))
	case ok && c.kind == 'E':
		return float64(math.Float32frombits(binary.BigEndian.Uint32(cells[c.at:])))
	case ok && c.kind == 'J':
		return float64(int32(binary.BigEndian.Uint32(cells[c.at:])))
	}
	if v, ok := t.h.number(name); ok {
		return v
	}
	return otherwise
}

// restore undoes the rounding of floats, FITS 4.0 §10.2: value = zero +
// scale×(stored − dither + 1/2).
func (t *tiled) restore(cells, b []byte, row int) []byte {
	scale, zero := t.number(cells, "ZSCALE", 1), t.number(cells, "ZZERO", 0)
	blank := t.number(cells, "ZBLANK", math.MinInt32+1)
	first, _ := t.h.number("ZDITHER0")
	seed := (row + int(max(1, min(first, 10000))) - 1) % 10000
	next, size := 0, -t.bitpix/8
	if t.rand != nil {
		next = int(t.rand[seed] * 500)
	}
	out := make([]byte, len(b)/4*size)
	for i := range len(b) / 4 {
		q := float64(int32(binary.BigEndian.Uint32(b[4*i:])))
		v := q*scale + zero
		if t.rand != nil {
			v = (q-float64(t.rand[next])+0.5)*scale + zero
			if next++; next == len(t.rand) {
				seed = (seed + 1) % len(t.rand)
				next = int(t.rand[seed] * 500)
			}
		}
		switch {
		case q == blank:
			v = math.NaN()
		case q == math.MinInt32+2 && t.h["ZQUANTIZ"] == "SUBTRACTIVE_DITHER_2":
			v = 0
		}
		if size == 4 {
			binary.BigEndian.PutUint32(out[4*i:], math.Float32bits(float32(v)))
		} else {
			binary.BigEndian.PutUint64(out[8*i:], math.Float64bits(v))
		}
	}
	return out
}

// unrice undoes the Rice coding of differences, FITS 4.0 §10.4.1.
func unrice(b []byte, n, size, block int) ([]byte, error) {
	fsBits, fsMax := map[int]int{1: 3, 2: 4, 4: 5}[size], map[int]int{1: 6, 2: 14, 4: 25}[size]
	if len(b) < size {
		return nil, damagedTile("a tile ends too early")
	}
	r := riceBits{b: b}
	last, out := r.take(8*size), make([]byte, n*size)
	for i := 0; i < n; {
		fs := int(r.take(fsBits)) - 1
		for end := min(n, i+block); i < end; i++ {
			d := uint32(0)
			switch {
			case fs == fsMax:
				d = r.take(8 * size)
			case fs >= 0:
				d = r.zeros()<<fs | r.take(fs)
			}
			last += d>>1 ^ -(d & 1)
			for k := range size {
				out[i*size+k] = byte(last >> (8 * (size - 1 - k)))
			}
		}
		if r.at > 8*len(b) {
			return nil, damagedTile("a tile ends too early")
		}
	}
	return out, nil
}

// riceBits reads bits, the highest first; behind the end come ones.
type riceBits struct {
	b  []byte
	at int
}

func (r *riceBits) take(n int) uint32 {
	v := uint32(0)
	for range n {
		bit := uint32(1)
		if r.at < 8*len(r.b) {
			bit = uint32(r.b[r.at/8]>>(7-r.at%8)) & 1
		}
		v, r.at = v<<1|bit, r.at+1
	}
	return v
}

func (r *riceBits) zeros() uint32 {
	n := uint32(0)
	for r.take(1) == 0 {
		n++
	}
	return n
}
