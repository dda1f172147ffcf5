package frame

import (
	"encoding/binary"
	"image"
	"image/color"
	"sync"
	"sync/atomic"
)

// tiffRows is an uncompressed TIFF picture in strips, whose rows can be read
// where they stand: no image of it is laid out in memory.
type tiffRows struct {
	src            source
	order          binary.ByteOrder
	width, height  int
	samples, bytes int // a pixel, a sample
	perStrip       int // rows
	strips         []float64
	inverted       bool // zero is white

	largest atomic.Int32 // colour value read so far
}

// plainRows recognises the layout, in a file that the library has accepted; ok
// is false for every other.
func plainRows(src source, d directory, conf image.Config) (r *tiffRows, ok bool) {
	r = &tiffRows{src: src, order: d.order, width: conf.Width, height: conf.Height, samples: d.number(tagSamples, 1), bytes: d.number(tagBits, 1) / 8,
		perStrip: min(d.number(tagRowsPerStrip, 1<<31-1), conf.Height), strips: d.numbers(tagStripOffsets), inverted: d.number(tagPhotometric, 0) == 0}
	colours := 1
	if d.number(tagPhotometric, 0) == 2 {
		colours = 3
	}
	_, palette := conf.ColorModel.(color.Palette)
	if palette || d.has(tagTileWidth) || d.number(tagCompression, 1) != 1 || d.number(tagPredictor, 1) != 1 || d.number(tagPlanar, 1) != 1 ||
		r.samples < colours || r.samples > colours+1 || colours == 1 && r.samples != 1 || len(d.numbers(tagBits)) != r.samples || r.bytes < 1 || r.perStrip < 1 {
		return nil, false
	}
	for s, at := range r.strips {
		if y := s * r.perStrip; y < r.height && int64(at)+r.rowBytes()*int64(min(r.perStrip, r.height-y)) > src.size {
			return nil, false // cut short: the library says so in its own words
		}
	}
	return r, len(r.strips)*r.perStrip >= r.height
}

func (r *tiffRows) rowBytes() int64 { return int64(r.width) * int64(r.samples*r.bytes) }

func (r *tiffRows) cost() cost { return cost{kind: "TIFFs", plane: planeBytes} }

// light is that of the same picture decoded, see imageLight.
func (r *tiffRows) light(said curve) light {
	l := light{width: r.width, height: r.height, signal: signalRGB}
	if r.samples == 1 {
		l.signal = signalGrey
	}
	if said == nil {
		if said = linearOf; r.samples == 1 && r.bytes == 2 {
			said = identity
		}
	}
	table := said.table(1 << (8 * r.bytes))
	pool := sync.Pool{New: func() any { b := make([]byte, r.rowBytes()); return &b }}
	l.row = func(dst []float32, y int) error {
		b := pool.Get().(*[]byte) // a fresh one each time would be garbage as large as the picture
		defer pool.Put(b)
		at := int64(r.strips[y/r.perStrip]) + r.rowBytes()*int64(y%r.perStrip)
		if n, err := r.src.ReadAt(*b, at); n < len(*b) {
			return broken(err, "the TIFF picture cannot be read")
		}
		r.convert(dst, *b, table)
		return nil
	}
	if r.bytes == 1 {
		l.saturation = table[254]
	} else {
		l.findSaturation = func(Plane) float32 { return table[clipLevel(int(r.largest.Load()))-1] }
	}
	return l
}

// convert turns one row into light. A fourth sample is opacity and left out.
func (r *tiffRows) convert(dst []float32, b []byte, table []float32) {
	largest := 0
	sample := func(i int) float32 {
		v := 0
		if r.bytes == 1 {
			v = int(b[i])
		} else {
			v = int(r.order.Uint16(b[2*i:]))
		}
		if r.inverted {
			v = len(table) - 1 - v
		}
		largest = max(largest, v)
		return table[v]
	}
	for x := range dst {
		if i := x * r.samples; r.samples == 1 {
			dst[x] = sample(i)
		} else {
			dst[x] = colourSignal(sample(i), sample(i+1), sample(i+2))
		}
	}
	for old := r.largest.Load(); int32(largest) > old && !r.largest.CompareAndSwap(old, int32(largest)); {
		old = r.largest.Load()
	}
}
