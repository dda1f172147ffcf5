package frame

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"

	"trueturn/ephem/amiss"
)

// Bounds of a packed file: pictures hold noise and never shrink a
// hundredfold, small empty ones aside.
const (
	maxGzipBytes = min(512<<20, MostBytes/2)
	maxGzipRatio = 100
	minGzipBytes = 16 << 20
)

// decodeGzip reads a FITS file packed with gzip.
func decodeGzip(src source) (picture, error) {
	z, err := gzip.NewReader(src.reader())
	if err != nil {
		return picture{}, broken(err, "the gzip data are damaged")
	}
	head := make([]byte, gzipHeadBlocks*fitsBlock)
	got, _ := io.ReadFull(z, head) // what fails does so again below
	if head = head[:got]; got < fitsBlock || !strings.HasPrefix(string(head), "SIMPLE  =") {
		return picture{}, unsupported("the file is packed with gzip and is no FITS picture inside", "unpack it first")
	}
	n, err := gzipLength(src, z, int64(got))
	if err != nil {
		return picture{}, err
	}
	if err := src.admitPacked(head, n); err != nil {
		return picture{}, err
	}
	b := make([]byte, n)
	if z, err = gzip.NewReader(src.reader()); err == nil {
		_, err = io.ReadFull(z, b)
	}
	if err != nil {
		return picture{}, broken(err, "the gzip data are damaged")
	}
	return decodeFITS(src.unpacked(b))
}

// gzipLength counts the bytes inside, of which some were read. To count them
// and unpack once more takes less time than to measure the picture, and half the
// memory of a buffer that grows.
func gzipLength(src source, z *gzip.Reader, read int64) (int64, error) {
	limit := min(max(src.size*maxGzipRatio, minGzipBytes), maxGzipBytes)
	n, err := io.Copy(io.Discard, io.LimitReader(z, limit+1))
	if err != nil {
		return 0, broken(err, "the gzip data are damaged")
	}
	if n > limit {
		return 0, amiss.New(ErrTooLarge, fmt.Sprintf("the packed FITS file holds more than %d MB", limit>>20), "unpack it first")
	}
	return n + read, nil
}

const (
	gzipHeadBlocks = 64             // more than nearly all headers have
	gzipGrowth     = 1 + planeBytes // a byte unpacked is at most one pixel
)

// admitPacked admits a picture in the primary part of a file that unpacks to n
// bytes by the head of it. Other pictures are admitted by their own headers
// later, and here whatever they may be.
func (s source) admitPacked(head []byte, n int64) error {
	h, _, err := readHeader(s.part(bytes.NewReader(head), int64(len(head))), 0)
	if err != nil {
		return s.room(min(gzipGrowth*n, MostBytes))
	}
	axes, _, err := h.axes()
	if err != nil || len(axes) < 2 {
		return s.room(min(gzipGrowth*n, MostBytes))
	}
	s.held += n
	return s.admit(fitsCost(len(axes) == 2 && h.text("BAYERPAT", "COLORTYP") != ""), int(axes[0]), int(axes[1]))
}

// decodeFITS reads the first picture of a FITS file, in the primary part or an
// extension (FITS standard 4.0).
func decodeFITS(src source) (picture, error) {
	h, a, err := findImage(src)
	if err != nil {
		return picture{}, err
	}
	if err := a.src.checkSize(a.width, a.height, 1); err != nil {
		return picture{}, err
	}
	pattern := h.text("BAYERPAT", "COLORTYP")
	mosaic := pattern != "" && a.planes == 1 && a.width > 1 && a.height > 1
	if a.src.held == src.held { // tiles were admitted before they were unpacked
		if err := src.admit(fitsCost(mosaic), a.width, a.height); err != nil {
			return picture{}, err
		}
	}
	if need := a.bytes(); need > a.src.size-a.offset {
		return picture{}, amiss.New(ErrBroken,
			fmt.Sprintf("the FITS file ends too early: its header promises %d bytes of picture, %d are there", need, max(0, a.src.size-a.offset)), hintCopy)
	}
	p := picture{format: "FITS", light: a.light(h), lens: h.lens(), place: h.place(), stamp: h.clock}
	p.orient, p.rowOrderUnknown = h.rowOrder()
	if mosaic {
		return p, p.binMosaic(h.greens(pattern))
	}
	return p, nil
}

// fitsCost: rows are read from the file when they are drawn.
func fitsCost(mosaic bool) cost {
	c := cost{kind: "FITS pictures", plane: planeBytes}
	if mosaic {
		c.plane = planeBytesCell
	}
	return c
}

// rowOrder returns the EXIF orientation that shows the picture upright.
// Stored bottom-up is common practice (no source) and taken where the header
// is silent; 4 turns the rows over.
func (h header) rowOrder() (orient int, unknown bool) {
	switch strings.ToUpper(h["ROWORDER"]) {
	case "TOP-DOWN":
		return 1, false
	case "BOTTOM-UP":
		return 4, false
	}
	return 4, true
}

// array is where and how a FITS picture lies in its file.
type array struct {
	src                   source
	offset                int64
	bitpix                int
	width, height, planes int
}

func (a array) pixelBytes() int { return max(a.bitpix, -a.bitpix) / 8 }

func (a array) bytes() int64 {
	return int64(a.width) * int64(a.height) * int64(a.planes) * int64(a.pixelBytes())
}

// findImage looks through the units of the file for a picture.
func findImage(src source) (header, array, error) {
	var primary header
	off := int64(0)
	for i := 0; i < maxFITSHeaders && off < src.size; i++ {
		h, data, err := readHeader(src, off)
		if err != nil {
			return nil, array{}, err
		}
		if primary == nil {
			primary = h
		}
		if h["ZIMAGE"] == "T" {
			a, err := unpackTiles(src, data, h)
			return h.under(primary), a, err
		}
		n, size, err := h.axes()
		if err != nil {
			return nil, array{}, err
		}
		if len(n) >= 2 && (i == 0 || h["XTENSION"] == "IMAGE") {
			a, err := newArray(src, data, h, n)
			return h.under(primary), a, err
		}
		off = data + (size+fitsBlock-1)/fitsBlock*fitsBlock
	}
	return nil, array{}, amiss.New(ErrNotPicture, "the FITS file holds no picture", "leave this file out")
}

// axes returns the lengths of the axes and the bytes of data after the header.
func (h header) axes() ([]int64, int64, error) {
	naxis, err := h.integer("NAXIS")
	if err != nil || naxis < 0 || naxis > 999 {
		return nil, 0, amiss.New(ErrBroken, "the FITS header has no usable NAXIS", hintCopy)
	}
	bitpix, err := h.integer("BITPIX")
	if err != nil {
		return nil, 0, err
	}
	size := max(bitpix, -bitpix) / 8
	axes := make([]int64, naxis)
	for i := range axes {
		n, err := h.integer(fmt.Sprintf("NAXIS%d", i+1))
		if err != nil || n < 0 || n > math.MaxInt32 {
			return nil, 0, amiss.New(ErrBroken, fmt.Sprintf("the FITS header has no usable NAXIS%d", i+1), hintCopy)
		}
		if axes[i] = n; n > 0 && size > maxFileBytes/n {
			size = maxFileBytes // as good as infinite, and no overflow
			continue
		}
		size *= n
	}
	if naxis == 0 {
		return axes, 0, nil
	}
	pcount, _ := h.number("PCOUNT")
	if pcount > 0 && pcount < maxFileBytes {
		size += int64(pcount) * max(bitpix, -bitpix) / 8
	}
	return axes, size, nil
}

// newArray accepts pictures of one plane or three.
func newArray(src source, data int64, h header, axes []int64) (array, error) {
	bitpix, _ := h.integer("BITPIX")
	a := array{src: src, offset: data, bitpix: int(bitpix), width: int(axes[0]), height: int(axes[1]), planes: 1}
	switch bitpix {
	case 8, 16, 32, 64, -32, -64:
	default:
		return a, amiss.New(ErrBroken, fmt.Sprintf("BITPIX = %d in the FITS header does not exist", bitpix), hintCopy)
	}
	for i, n := range axes[2:] {
		switch {
		case n == 1:
		case i == 0 && n == 3:
			a.planes = 3
		default:
			return a, unsupported(fmt.Sprintf("the FITS file is a stack of %d planes", n), "save each picture in a file of its own")
		}
	}
	return a, nil
}

// scaling turns stored numbers into light: physical = zero + scale×stored
// (FITS 4.0 eq. 3), then a common factor to full scale.
type scaling struct {
	zero, scale, factor float64
	blank               int64
	hasBlank            bool
}

func (s scaling) light(stored float64) float64 { return (s.zero + s.scale*stored) * s.factor }

// scaling reads BZERO, BSCALE and BLANK. Unscaled integers of 8 and 16 bits are
// brought to full scale 1.
func (h header) scaling(bitpix int) scaling {
	s := scaling{scale: 1, factor: 1}
	if v, ok := h.number("BSCALE"); ok && v != 0 {
		s.scale = v
	}
	s.zero, _ = h.number("BZERO")
	if v, err := h.integer("BLANK"); err == nil && bitpix > 0 {
		s.blank, s.hasBlank = v, true
	}
	if top, ok := s.fullScale(bitpix); ok {
		s.factor = 1 / top
	}
	return s
}

// fullScale is the largest physical value of an unscaled short integer file.
func (s scaling) fullScale(bitpix int) (float64, bool) {
	if s.scale != 1 {
		return 0, false
	}
	switch {
	case bitpix == 8 && s.zero == 0:
		return 255, true
	case bitpix == 8 && s.zero == -128:
		return 127, true
	case bitpix == 16 && s.zero == 0:
		return 32767, true
	case bitpix == 16 && s.zero == 32768:
		return 65535, true
	}
	return 0, false
}

// light makes the rows of a FITS picture. Three planes are taken for red, green
// and blue, and weighed as colours are.
func (a array) light(h header) light {
	s := h.scaling(a.bitpix)
	stride := int64(a.width) * int64(a.pixelBytes())
	read := func(dst []float32, y, plane int, buf []byte) error {
		at := a.offset + (int64(plane)*int64(a.height)+int64(y))*stride
		if n, err := a.src.ReadAt(buf, at); n < len(buf) {
			return broken(err, "the FITS picture cannot be read")
		}
		s.convert(dst, buf, a.bitpix)
		return nil
	}
	l := light{width: a.width, height: a.height, signal: signalGrey}
	if a.planes == 3 {
		l.signal = signalPlanes
	}
	weights := [3]float32{redWeight, greenWeight, blueWeight}
	type scratch struct { // used again: fresh ones would be garbage as large as the picture
		buf []byte
		one []float32
	}
	pool := sync.Pool{New: func() any { return &scratch{make([]byte, stride), make([]float32, a.width)} }}
	l.row = func(dst []float32, y int) error {
		s := pool.Get().(*scratch)
		defer pool.Put(s)
		if a.planes == 1 {
			return read(dst, y, 0, s.buf)
		}
		clear(dst)
		for plane := range a.planes {
			if err := read(s.one, y, plane, s.buf); err != nil {
				return err
			}
			for i, v := range s.one {
				dst[i] += weights[plane] * v
			}
		}
		return nil
	}
	l.saturation, l.findSaturation = a.saturation(h, s)
	return l
}

// saturation reads the header's own word on where the camera clips. Without
// one, short integers are looked at once drawn, and the rest cannot say: +Inf.
func (a array) saturation(h header, s scaling) (float32, func(Plane) float32) {
	if v, ok := h.number("SATURATE", "SATLEVEL"); ok && v > 0 {
		return float32(v * s.factor), nil
	}
	clip, find := float32(math.Inf(1)), func(Plane) float32 { return float32(math.Inf(1)) }
	if top, ok := s.fullScale(a.bitpix); ok {
		clip = float32(1 - 0.5/top)
		find = func(p Plane) float32 {
			if top != 65535 {
				return clip
			}
			level := clipLevel(int(math.Round(float64(largest(p.Pix)) * top)))
			return float32((float64(level) - 0.5) / top)
		}
	}
	if v, ok := h.number("DATAMAX"); ok && v > 0 {
		return clip, func(p Plane) float32 {
			if limit := float32(v * s.factor); reached(p, limit) != 1 {
				return limit
			}
			return find(p)
		}
	}
	return clip, find
}

// reached counts the pixels at or above a limit. DATAMAX reached by exactly
// one pixel is that pixel's value, as many programs write it, and no limit.
func reached(p Plane, limit float32) int {
	n := 0
	for _, v := range p.Pix {
		if v >= limit {
			n++
		}
	}
	return n
}

// convert turns one stored row into light; blank pixels become NaN.
func (s scaling) convert(dst []float32, b []byte, bitpix int) {
	switch bitpix {
	case 8:
		for i := range dst {
			dst[i] = s.integer(int64(b[i]))
		}
	case 16:
		s.convert16(dst, b)
	case 32:
		for i := range dst {
			dst[i] = s.integer(int64(int32(binary.BigEndian.Uint32(b[4*i:]))))
		}
	case 64:
		for i := range dst {
			dst[i] = s.integer(int64(binary.BigEndian.Uint64(b[8*i:])))
		}
	case -32:
		for i := range dst {
			dst[i] = finite(s.light(float64(math.Float32frombits(binary.BigEndian.Uint32(b[4*i:])))))
		}
	case -64:
		for i := range dst {
			dst[i] = finite(s.light(math.Float64frombits(binary.BigEndian.Uint64(b[8*i:]))))
		}
	}
}

// convert16 is the common case, kept to one multiplication a pixel.
func (s scaling) convert16(dst []float32, b []byte) {
	if math.Abs(s.scale*s.factor)*(1<<15)+math.Abs(s.zero*s.factor) > math.MaxFloat32 {
		for i := range dst {
			dst[i] = s.integer(int64(int16(binary.BigEndian.Uint16(b[2*i:]))))
		}
		return
	}
	gain, zero := float32(s.scale*s.factor), float32(s.zero*s.factor)
	exact := s.zero == 32768 && s.scale == 1 && !s.hasBlank
	for i := range dst {
		v := int16(binary.BigEndian.Uint16(b[2*i:]))
		switch {
		case exact: // no rounding between the two halves of the range
			dst[i] = float32(int32(v)+32768) * gain
		case s.hasBlank && int64(v) == s.blank:
			dst[i] = float32(math.NaN())
		default:
			dst[i] = zero + gain*float32(v)
		}
	}
}

func (s scaling) integer(v int64) float32 {
	if s.hasBlank && v == s.blank {
		return float32(math.NaN())
	}
	return finite(s.light(float64(v)))
}

// finite makes infinities, which stand for nothing measured, NaN as well.
func finite(v float64) float32 {
	if math.Abs(v) > math.MaxFloat32 {
		return float32(math.NaN())
	}
	return float32(v)
}
