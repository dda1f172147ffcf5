package frame

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"

	"trueturn/ephem/amiss"
)

// Tags of raw pictures: TIFF 6.0, TIFF/EP (ISO 12234-2) and the DNG
// specification 1.6, chapter 4.
const (
	tagWidth          = 256
	tagHeight         = 257
	tagBits           = 258
	tagCompression    = 259
	tagFillOrder      = 266
	tagStripOffsets   = 273
	tagSamples        = 277
	tagRowsPerStrip   = 278
	tagStripCounts    = 279
	tagPlanar         = 284
	tagPredictor      = 317
	tagTileWidth      = 322
	tagTileHeight     = 323
	tagTileOffsets    = 324
	tagTileCounts     = 325
	tagCFARepeat      = 33421
	tagCFAPattern     = 33422
	tagEPStandard     = 37398
	tagLinearization  = 50712
	tagBlackRepeat    = 50713
	tagBlack          = 50714
	tagWhite          = 50717
	tagCropOrigin     = 50719
	tagCropSize       = 50720
	tagActiveArea     = 50829
	photometricCFA    = 32803
	photometricLinear = 34892
)

const (
	maxRawDirectories = 32 // looked through for the raw picture
	hintRaw           = "convert it to an uncompressed or lossless DNG, or " + hintExport
)

// rawDirectory finds the full-size raw picture: NewSubfileType 0 and a raw
// photometric kind, in the first directory or, for DNG, its SubIFDs. ok is
// false for a file that does not claim to be DNG, or TIFF/EP of a single
// directory: makers' own raw files claim TIFF/EP too, and store as they please. The thumbnail,
// usually first, is never taken.
func rawDirectory(first directory) (raw directory, ok bool, err error) {
	if !first.has(tagDNGVersion) && (!first.has(tagEPStandard) || first.has(tagSubIFDs)) {
		return directory{}, false, nil
	}
	candidates := []directory{first}
	for _, off := range first.numbers(tagSubIFDs) {
		if d, ok := first.at(int64(off)); ok && len(candidates) < maxRawDirectories {
			candidates = append(candidates, d)
		}
	}
	for _, d := range candidates {
		subfile, _ := d.uint(tagSubfileType)
		switch photometric, _ := d.uint(tagPhotometric); photometric {
		case photometricCFA, photometricLinear:
			if subfile == 0 {
				return d, true, nil
			}
		}
	}
	if first.has(tagDNGVersion) {
		if f := first.fields[tagSubIFDs]; f.count > 0 && fieldSize[f.kind] == 0 {
			return directory{}, false, unsupported(fmt.Sprintf("the DNG file names its pictures in fields of a kind TIFF does not have (%d)", f.kind), hintRaw)
		}
		return directory{}, false, unsupported("the DNG file holds no raw picture of full size", hintRaw)
	}
	return directory{}, false, nil
}

// mosaic is a raw picture as stored, with what its numbers mean.
//
// A colour mosaic is measured by its green pixels alone: each 2×2 cell becomes
// one value, the mean of its two greens. They stand on a diagonal, so the mean
// belongs to the middle of the cell whatever the colour of the star. Averaging
// all four would pull a red star toward the red pixel by up to half a pixel;
// interpolating to every pixel would correlate the noise of neighbours, and
// errors computed from it would be too small. The price is light: half the
// pixels and the red and blue ones are not used. Plane.Cell tells which
// diagonal was read, so that star.Find can gather a star's light just as the
// cell did and give places and widths in true pixels.
//
// LinearRaw keeps every pixel; its components are weighed as colours are.
//
// Not applied: the per-row and per-column black levels, the opcode lists (lens
// corrections among them) and DefaultScale.
type mosaic struct {
	rawLayout
	pix          []uint16 // height × width × samples
	table        []float64
	black        []float64 // blackRows × blackColumns × samples, from the active area's corner
	blackRows    int
	blackColumns int
	white        []float64 // per sample
	active, crop area
	greenEven    bool // with the active area's corner at (0,0), greens have x+y even
}

// area is a rectangle of stored pixels.
type area struct{ x0, y0, x1, y1 int }

func (a area) inside(b area) bool {
	return a.x0 >= b.x0 && a.y0 >= b.y0 && a.x1 <= b.x1 && a.y1 <= b.y1 && a.x0 < a.x1 && a.y0 < a.y1
}

// decodeRaw reads a DNG or TIFF/EP picture as linear light: 0 is black, 1 the
// white level. The clock and the lens stand in the first directory.
func decodeRaw(src source, raw directory) (picture, error) {
	m := mosaic{}
	if err := m.readLayout(src, raw); err != nil {
		return picture{}, err
	}
	if err := m.readLevels(raw); err != nil {
		return picture{}, err
	}
	if err := m.readAreas(raw); err != nil {
		return picture{}, err
	}
	if err := m.readPattern(raw); err != nil {
		return picture{}, err
	}
	if err := m.readPixels(src); err != nil {
		return picture{}, err
	}
	p := picture{format: "DNG"}
	m.measure(&p)
	return p, nil
}

// measure sets the light, the metadata and the notes.
func (m *mosaic) measure(p *picture) {
	src := m.dir.src
	if first, ok := firstDirectory(src); !ok || !first.has(tagDNGVersion) {
		p.format = "TIFF/EP"
	}
	p.light = light{width: m.crop.x1 - m.crop.x0, height: m.crop.y1 - m.crop.y0, saturation: 1, signal: signalLinear[m.samples], row: m.linearRow}
	tags := exifTagsOf(src)
	if m.photometric == photometricCFA { // no mosaic was ever shrunk: a size in EXIF that differs is that before the crop
		delete(tags.number, "ExifImageWidth")
	}
	p.readTags(tags)
	p.altered = "" // sizes differ by the crop, and converters save anew
	if m.photometric == photometricCFA && m.samples == 1 {
		p.light.width, p.light.height, p.light.row = p.light.width/2, p.light.height/2, m.greenRow
		p.light.cell = GreensRising
		if m.greenFirst(m.crop.x0, m.crop.y0) {
			p.light.cell = GreensFalling
		}
		p.notes = append(p.notes, noteGreens)
	}
}

const noteGreens = "colour mosaic: the two green pixels of each cell were averaged; places and sizes count the sensor's own pixels"

// greenFirst is whether the stored pixel at x, y is green.
func (m *mosaic) greenFirst(x, y int) bool {
	return ((x-m.active.x0+y-m.active.y0)&1 == 0) == m.greenEven
}

// value is the light of a stored sample; 1 where it clipped.
func (m *mosaic) value(x, y, s int) float32 {
	stored := int(m.pix[(y*m.width+x)*m.samples+s])
	v := float64(stored)
	if n := len(m.table); n > 0 {
		v = m.table[min(stored, n-1)]
	}
	if v >= m.white[s] {
		return 1
	}
	row, column := wrap(y-m.active.y0, m.blackRows), wrap(x-m.active.x0, m.blackColumns)
	black := m.black[(row*m.blackColumns+column)*m.samples+s]
	return float32((v - black) / (m.white[s] - black))
}

func wrap(i, n int) int { return ((i % n) + n) % n }

// greenRow averages the greens of a row of cells; one clipped makes the cell
// clipped.
func (m *mosaic) greenRow(dst []float32, y int) error {
	top := m.crop.y0 + 2*y
	for i := range dst {
		x := m.crop.x0 + 2*i
		first, second := x, x+1 // columns of the greens in the upper and lower row
		if !m.greenFirst(x, top) {
			first, second = x+1, x
		}
		a, b := m.value(first, top, 0), m.value(second, top+1, 0)
		dst[i] = (a + b) / 2
		if max(a, b) >= 1 {
			dst[i] = 1
		}
	}
	return nil
}

// weights of the components of a pixel: three are red, green and blue.
func (m *mosaic) weights() []float32 {
	switch m.samples {
	case 1:
		return []float32{1}
	case 3:
		return []float32{redWeight, greenWeight, blueWeight}
	}
	w := make([]float32, m.samples)
	for i := range w {
		w[i] = 1 / float32(m.samples)
	}
	return w
}

// linearRow weighs the components of each pixel.
func (m *mosaic) linearRow(dst []float32, y int) error {
	w := m.weights()
	for i := range dst {
		sum, clipped := float32(0), false
		for s := range m.samples {
			v := m.value(m.crop.x0+i, m.crop.y0+y, s)
			sum, clipped = sum+w[s]*v, clipped || v >= 1
		}
		if dst[i] = sum; clipped {
			dst[i] = 1
		}
	}
	return nil
}

// readPattern finds the greens. Only 2×2 cells with two greens on a diagonal
// are read; colour 1 is green (TIFF/EP §5.2.3).
func (m *mosaic) readPattern(d directory) error {
	if m.photometric != photometricCFA {
		return nil
	}
	repeat, c := d.numbers(tagCFARepeat), d.raw(tagCFAPattern)
	diagonal := len(c) == 4 && (c[0] == 1) == (c[3] == 1) && (c[1] == 1) == (c[2] == 1) && (c[0] == 1) != (c[1] == 1)
	if m.samples != 1 || len(repeat) != 2 || repeat[0] != 2 || repeat[1] != 2 || !diagonal {
		return unsupported("the raw picture's colour pattern is not two greens in each cell of 2×2, and is not read", hintExport)
	}
	m.greenEven = c[0] == 1
	return nil
}

// readAreas reads which stored pixels show the picture: the active area, and
// in it the default crop (DNG 1.6, ActiveArea and DefaultCropOrigin).
func (m *mosaic) readAreas(d directory) error {
	whole := area{0, 0, m.width, m.height}
	m.active = whole
	if v := d.numbers(tagActiveArea); len(v) == 4 { // top, left, bottom, right
		m.active = area{int(v[1]), int(v[0]), int(v[3]), int(v[2])}
	}
	m.crop = m.active
	o, s := d.numbers(tagCropOrigin), d.numbers(tagCropSize)
	if len(o) == 2 && len(s) == 2 {
		x, y := m.active.x0+int(math.Ceil(o[0])), m.active.y0+int(math.Ceil(o[1]))
		m.crop = area{x, y, x + int(s[0]), y + int(s[1])}
	}
	if !m.active.inside(whole) || !m.crop.inside(m.active) || m.crop.x1-m.crop.x0 < 2 || m.crop.y1-m.crop.y0 < 2 {
		return amiss.New(ErrBroken, "the raw picture's crop lies outside its pixels", hintCopy)
	}
	return nil
}

// readLevels reads the linearisation table and the black and white levels
// (DNG 1.6, "Mapping Raw Values to Linear Reference Values").
func (m *mosaic) readLevels(d directory) error {
	m.table = d.numbers(tagLinearization)
	m.blackRows, m.blackColumns = 1, 1
	if v := d.numbers(tagBlackRepeat); len(v) == 2 && v[0] >= 1 && v[1] >= 1 && v[0]*v[1] <= 4096 {
		m.blackRows, m.blackColumns = int(v[0]), int(v[1])
	}
	n := m.blackRows * m.blackColumns * m.samples
	if m.black = d.numbers(tagBlack); len(m.black) < n {
		m.black = spread(m.black, n, 0)
	}
	full := float64(int(1)<<m.bits - 1)
	m.white = spread(d.numbers(tagWhite), m.samples, full)
	for i, b := range m.black[:n] {
		if w := m.white[i%m.samples]; !(w > b) || math.IsInf(b, 0) || w > 65535 {
			return amiss.New(ErrBroken, fmt.Sprintf("the raw picture's levels make no sense: black %g, white %g", b, w), hintCopy)
		}
	}
	return nil
}

// spread makes n values of those given: the first repeated where some lack.
func spread(v []float64, n int, missing float64) []float64 {
	if len(v) >= n {
		return v
	}
	if len(v) > 0 {
		missing = v[0]
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = missing
	}
	return out
}

// rawLayout is how the samples are stored: tiles, of which strips are the kind
// as wide as the picture.
type rawLayout struct {
	dir                          directory
	width, height, samples, bits int
	photometric, compression     int
	differences                  bool // TIFF predictor 2
	tileWidth, tileHeight        int
	across                       int
	tiled                        bool
	offsets, counts              []float64
}

// number is the first value of a field, or what stands for a missing one.
func (d directory) number(tag uint16, missing uint32) int {
	if v, ok := d.uint(tag); ok {
		return int(v)
	}
	return int(missing)
}

func (l *rawLayout) readLayout(src source, d directory) error {
	l.dir = d
	l.width, l.height, l.samples = d.number(tagWidth, 0), d.number(tagHeight, 0), d.number(tagSamples, 1)
	l.photometric, l.compression = d.number(tagPhotometric, 0), d.number(tagCompression, 1)
	l.bits, l.differences = d.number(tagBits, 1), d.number(tagPredictor, 1) == 2
	if err := l.refuseKinds(d); err != nil {
		return err
	}
	l.tileWidth, l.tileHeight = l.width, min(d.number(tagRowsPerStrip, math.MaxUint32), l.height)
	offsets, counts := uint16(tagStripOffsets), uint16(tagStripCounts)
	if l.tiled = d.has(tagTileWidth); l.tiled {
		l.tileWidth, l.tileHeight = d.number(tagTileWidth, 0), d.number(tagTileHeight, 0)
		offsets, counts = tagTileOffsets, tagTileCounts
	}
	perByte := map[int]int64{1: 2, 7: 16, 8: 1100}[l.compression] // deflate shrinks at most 1032 to 1
	if err := src.checkSize(l.width, l.height, perByte); err != nil {
		return err
	}
	if err := src.checkSize(l.tileWidth, l.tileHeight, perByte); err != nil {
		return err
	}
	l.offsets, l.counts = d.numbers(offsets), d.numbers(counts)
	if err := l.checkTiles(src); err != nil {
		return err
	}
	return src.admit(l.cost(), l.width, l.height)
}

// cost is what the samples take, each in two bytes, with tiles beside them:
// packed, unpacked and as samples.
func (l *rawLayout) cost() cost {
	c := cost{kind: "raw mosaics", kept: 2 * float64(l.samples), plane: planeBytesCell, instead: "as a DNG cut in tiles"}
	if l.photometric != photometricCFA || l.samples > 1 {
		c.kind, c.plane = fmt.Sprintf("raw pictures of %d values a pixel", l.samples), planeBytes
	}
	tiles := (maxPackedGrowth + 2) * c.kept
	share := float64(l.tileWidth) * float64(l.tileHeight) / (float64(l.width) * float64(l.height))
	c.decoder = heap(c.kept+tiles*max(share, parallelShare), c.kept+tiles*max(1, share))
	return c
}

// refuseKinds says which ways of storing are not read.
func (l *rawLayout) refuseKinds(d directory) error {
	switch l.compression {
	case 1, 7, 8:
	case 34892:
		return unsupported("the DNG's raw picture is compressed with losses (JPEG), which is not read", hintRaw)
	case 52546:
		return unsupported("the DNG's raw picture is compressed as JPEG XL, which is not read", hintRaw)
	default:
		return unsupported(fmt.Sprintf("the raw picture is compressed in a way that is not read (kind %d)", l.compression), hintRaw)
	}
	same := true
	for _, b := range d.numbers(tagBits) {
		same = same && int(b) == l.bits
	}
	integer := l.bits == 8 || l.bits == 10 || l.bits == 12 || l.bits == 14 || l.bits == 16
	predictor := d.number(tagPredictor, 1)
	switch {
	case d.number(tagSampleFormat, 1) != 1 || !same || !integer && l.compression != 7 || l.bits < 2 || l.bits > 16:
		return unsupported("the raw picture's values are not of 8, 10, 12, 14 or 16 bits", hintRaw)
	case l.samples < 1 || l.samples > 4 || l.samples > 1 && d.number(tagPlanar, 1) != 1 || d.number(tagFillOrder, 1) != 1,
		predictor > 2 && l.compression == 8, l.differences && l.compression == 8 && l.bits != 8 && l.bits != 16:
		return unsupported("the raw picture's values are stored in an order that is not read", hintRaw)
	case l.width > maxSide || l.height > maxSide:
		return amiss.New(ErrTooLarge, fmt.Sprintf("the picture has %d×%d pixels", l.width, l.height),
			hintLarge)
	}
	return nil
}

// checkTiles makes sure that there are as many tiles as the picture needs,
// inside the file and together no longer than it: tiles that share bytes would
// make a small file endless work.
func (l *rawLayout) checkTiles(src source) error {
	l.across = (l.width + l.tileWidth - 1) / l.tileWidth
	n := l.across * ((l.height + l.tileHeight - 1) / l.tileHeight)
	if n > maxParts {
		return amiss.New(ErrBroken, fmt.Sprintf("the raw picture is cut in %d parts", n), hintCopy)
	}
	if len(l.offsets) != n || len(l.counts) != n {
		return amiss.New(ErrBroken, fmt.Sprintf("the raw picture has %d parts, needs %d", min(len(l.offsets), len(l.counts)), n), hintCopy)
	}
	total, most := 0.0, maxPackedGrowth*2*float64(l.tileWidth*l.tileHeight*l.samples)+maxPackedExtra
	for i := range n {
		total += l.counts[i]
		if l.counts[i] > most {
			return amiss.New(ErrBroken, "a part of the raw picture is longer than its pixels need", hintCopy)
		}
		if l.offsets[i]+l.counts[i] > float64(src.size) || total > float64(src.size) {
			return broken(io.ErrUnexpectedEOF, "a part of the raw picture lies outside it")
		}
	}
	return nil
}

// readPixels decodes every tile into its place.
func (m *mosaic) readPixels(src source) error {
	m.pix = make([]uint16, m.width*m.height*m.samples)
	return parallel(len(m.offsets), func(next func() (int, bool)) (err error) {
		defer guard(&err)
		for i, ok := next(); ok; i, ok = next() {
			x, y := i%m.across*m.tileWidth, i/m.across*m.tileHeight
			rows := m.tileHeight
			if !m.tiled {
				rows = min(rows, m.height-y)
			}
			b, err := src.bytes(int64(m.offsets[i]), int64(m.counts[i]))
			if err != nil {
				return broken(err, "a part of the raw picture is missing")
			}
			tile, err := m.tile(b, rows)
			if err != nil {
				return broken(err, "the raw picture's data are damaged")
			}
			line, n := m.tileWidth*m.samples, min(m.tileWidth, m.width-x)*m.samples
			for k := range min(rows, m.height-y) {
				copy(m.pix[((y+k)*m.width+x)*m.samples:][:n], tile[k*line:])
			}
		}
		return nil
	})
}

// tile decodes the samples of one tile, row after row.
func (l *rawLayout) tile(b []byte, rows int) ([]uint16, error) {
	need := l.tileWidth * l.samples * rows
	if l.compression == 7 {
		// The stream may shape the tile differently, with several columns as
		// components (DNG 1.6, Compression); the order of samples is the same.
		// The last strip may be filled up to the full height.
		img, err := decodeLossless(b, l.tileWidth*l.samples*max(rows, l.tileHeight))
		if err == nil && len(img.pix) < need {
			err = io.ErrUnexpectedEOF
		}
		return img.pix, err
	}
	line := (l.tileWidth*l.samples*l.bits + 7) / 8
	if l.compression == 8 {
		z, err := zlib.NewReader(bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		b = make([]byte, line*rows)
		if _, err := io.ReadFull(z, b); err != nil {
			return nil, err
		}
	}
	if len(b) < line*rows {
		return nil, io.ErrUnexpectedEOF
	}
	out := make([]uint16, 0, need)
	for ; rows > 0; rows-- {
		out = l.unpack(out, b[:line])
		b = b[line:]
	}
	return out, nil
}

// unpack appends a row. Samples under 16 bits are packed highest bit first
// (DNG 1.6, BitsPerSample), those of 16 stand in the file's byte order.
func (l *rawLayout) unpack(out []uint16, b []byte) []uint16 {
	n := l.tileWidth * l.samples
	start := len(out)
	if l.bits == 16 {
		for i := range n {
			out = append(out, l.dir.order.Uint16(b[2*i:]))
		}
	} else {
		acc, have := uint32(0), 0
		for len(out)-start < n {
			for ; have < l.bits; have += 8 {
				acc, b = acc<<8|uint32(b[0]), b[1:]
			}
			have -= l.bits
			out = append(out, uint16(acc>>have)&(1<<l.bits-1))
		}
	}
	if l.differences && l.compression == 8 { // TIFF 6.0 section 14
		row, mask := out[start:], uint16(1<<l.bits-1)
		for i := l.samples; i < n; i++ {
			row[i] = (row[i] + row[i-l.samples]) & mask
		}
	}
	return out
}
