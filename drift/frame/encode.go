package frame

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"strings"
	"time"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// Format is a kind of file that Encode writes.
type Format uint8

// The formats Encode writes.
const (
	JPEG Format = iota + 1
	PNG
	TIFF
	FITS
)

var formatNames = map[Format]string{JPEG: "JPEG", PNG: "PNG", TIFF: "TIFF", FITS: "FITS"}

// String returns the name as in Frame.Format.
func (f Format) String() string { return formatNames[f] }

// Extension returns the usual ending of file names, with its dot.
func (f Format) Extension() string {
	return map[Format]string{JPEG: ".jpg", PNG: ".png", TIFF: ".tiff", FITS: ".fits"}[f]
}

// ParseFormat reads jpeg, png, tiff or fits, in any case. The error is an
// [*Error] of kind ErrUnsupported.
func ParseFormat(s string) (Format, error) {
	for f, name := range formatNames {
		if strings.EqualFold(s, name) {
			return f, nil
		}
	}
	return 0, unsupported(fmt.Sprintf("%q is no format written here", s), "write jpeg, png, tiff or fits")
}

// Metadata is what Encode writes beside the light. Everything that is zero is
// left out.
type Metadata struct {
	Clock Clock          // Start rounded down to Step (0: a millisecond) as a camera would
	Zone  *time.Location // zone of the camera's clock in EXIF; nil: UTC. FITS is always UTC
	Lens  Lens           // FITS has no keyword for EquivalentMM and Make
	Place *ephem.Site

	NoOffset bool // EXIF without offset from UTC, as many cameras write it
	GPSTime  bool // EXIF with GPS date and time (whole seconds), UTC

	Quality int // JPEG, 1–100; 0: 95
	Bits    int // PNG 8 or 16, FITS 16 or −32 (floating); 0: JPEG 8, all others 16
}

// Encode writes a plane as a grey picture. For integer files full scale is 1:
// what lies outside 0 … 1, and NaN, is clipped to it. Eight bits are coded with
// the sRGB curve (IEC 61966-2-1), sixteen and floats are linear and say so
// (PNG by gAMA). The output depends on the arguments alone.
//
// A plane that does not fit the format gives an [*Error] of kind
// ErrUnsupported or ErrTooLarge; errors of w come back as they are.
func Encode(w io.Writer, p Plane, m Metadata, f Format) error {
	if err := checkPlane(p, f); err != nil {
		return err
	}
	if m.Clock.Step == 0 {
		m.Clock.Step = time.Millisecond
	}
	bits := m.Bits
	if bits == 0 {
		bits = map[Format]int{JPEG: 8}[f]
	}
	b := bufio.NewWriterSize(w, 1<<16)
	var err error
	switch {
	case f == JPEG && bits == 8:
		err = encodeJPEG(b, p, m)
	case f == PNG && (bits == 8 || bits == 16 || bits == 0):
		err = encodePNG(b, p, m, bits == 8)
	case f == TIFF && (bits == 16 || bits == 0):
		err = encodeTIFF(b, p, m)
	case f == FITS && (bits == 16 || bits == -32 || bits == 0):
		err = encodeFITS(b, p, m, bits == -32)
	default:
		return unsupported(fmt.Sprintf("%s with %d bits is not written", f, bits), "leave the number of bits to the format")
	}
	if err != nil {
		return err
	}
	return b.Flush()
}

func checkPlane(p Plane, f Format) error {
	limit := maxSide
	if f == JPEG {
		limit = 1<<16 - 1
	}
	switch {
	case p.Width <= 0 || p.Height <= 0:
		return unsupported("a picture without pixels cannot be written", "give it at least one")
	case p.Width > limit || p.Height > limit || int64(p.Width)*int64(p.Height) > maxPixels:
		return amiss.New(ErrTooLarge, fmt.Sprintf("%d×%d pixels are too many for %s", p.Width, p.Height, f), "write fewer pixels")
	case len(p.Pix) != p.Width*p.Height:
		return unsupported(fmt.Sprintf("a plane of %d×%d pixels holds %d values", p.Width, p.Height, len(p.Pix)), "give one value a pixel")
	}
	return nil
}

// word brings linear light to 16 bits.
func word(v float32) uint16 {
	if !(v > 0) { // NaN as well
		return 0
	}
	return uint16(min(v, 1)*65535 + 0.5)
}

// gray8 codes a plane with the sRGB curve, by way of a table over 16 bits:
// fine enough, as the curve rises at most 0.05 steps of 8 bits a step of 16.
func gray8(p Plane) *image.Gray {
	table := make([]uint8, 1<<16)
	for i := range table {
		table[i] = uint8(255*codedOf(float64(i)/65535) + 0.5)
	}
	img := image.NewGray(image.Rect(0, 0, p.Width, p.Height))
	eachRow(p, func(y int, row []float32) {
		out := img.Pix[y*img.Stride:]
		for x, v := range row {
			out[x] = table[word(v)]
		}
	})
	return img
}

func gray16(p Plane) *image.Gray16 {
	img := image.NewGray16(image.Rect(0, 0, p.Width, p.Height))
	eachRow(p, func(y int, row []float32) {
		out := img.Pix[y*img.Stride:]
		for x, v := range row {
			binary.BigEndian.PutUint16(out[2*x:], word(v))
		}
	})
	return img
}

func eachRow(p Plane, do func(y int, row []float32)) {
	_ = parallel(p.Height, func(next func() (int, bool)) error {
		for y, ok := next(); ok; y, ok = next() {
			do(y, p.Row(y))
		}
		return nil
	})
}

func encodeJPEG(w io.Writer, p Plane, m Metadata) error {
	quality := m.Quality
	if quality == 0 {
		quality = 95
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, gray8(p), &jpeg.Options{Quality: quality}); err != nil {
		return err
	}
	exif := append([]byte("Exif\x00\x00"), exifBlock(p, m, true)...)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(exif)+2))
	return writeAll(w, segment, exif, b.Bytes()[2:])
}

func encodePNG(w io.Writer, p Plane, m Metadata, eight bool) error {
	var b bytes.Buffer
	var img image.Image
	tone := pngBytes("gAMA", binary.BigEndian.AppendUint32(nil, 100000))
	if eight {
		img, tone = gray8(p), pngBytes("sRGB", []byte{0})
	} else {
		img = gray16(p)
	}
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := enc.Encode(&b, img); err != nil {
		return err
	}
	const afterIHDR = 8 + 12 + 13
	return writeAll(w, b.Bytes()[:afterIHDR], tone, pngBytes("eXIf", exifBlock(p, m, eight)), b.Bytes()[afterIHDR:])
}

// pngBytes makes a chunk.
func pngBytes(name string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, name...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func encodeTIFF(w io.Writer, p Plane, m Metadata) error {
	if err := writeAll(w, tiffHead(p, m)); err != nil {
		return err
	}
	row := make([]byte, 2*p.Width)
	for y := range p.Height {
		for x, v := range p.Row(y) {
			binary.LittleEndian.PutUint16(row[2*x:], word(v))
		}
		if err := writeAll(w, row); err != nil {
			return err
		}
	}
	return nil
}

func writeAll(w io.Writer, parts ...[]byte) error {
	for _, b := range parts {
		if _, err := w.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// decimals is how many digits after the second a step deserves: 10 ms two.
func decimals(step time.Duration) int {
	n := 0
	for s := time.Second; s > step && n < 9; s /= 10 {
		n++
	}
	return n
}

// stampText writes an instant rounded down to the step, with its digits.
func stampText(t time.Time, layout string, step time.Duration) (text, fraction string) {
	t = t.Truncate(max(step, 1))
	return t.Format(layout), fmt.Sprintf("%09d", t.Nanosecond())[:decimals(step)]
}

func encodeFITS(w io.Writer, p Plane, m Metadata, floating bool) error {
	bitpix, size := 16, 2
	if floating {
		bitpix, size = -32, 4
	}
	if err := writeAll(w, fitsHeader(p, m, bitpix)); err != nil {
		return err
	}
	row := make([]byte, size*p.Width)
	for y := p.Height - 1; y >= 0; y-- { // bottom-up
		for x, v := range p.Row(y) {
			if floating {
				binary.BigEndian.PutUint32(row[4*x:], math.Float32bits(v))
			} else {
				binary.BigEndian.PutUint16(row[2*x:], word(v)^0x8000) // minus BZERO
			}
		}
		if err := writeAll(w, row); err != nil {
			return err
		}
	}
	n := len(row) * p.Height % fitsBlock
	return writeAll(w, make([]byte, (fitsBlock-n)%fitsBlock))
}

// cards collects FITS header cards.
type cards struct{ bytes.Buffer }

func (c *cards) add(name, value, comment string) {
	fmt.Fprintf(c, "%-80.80s", fmt.Sprintf("%-8s= %20s / %s", name, value, comment))
}

func (c *cards) number(name string, v float64, comment string) {
	if v != 0 {
		c.value(name, v, comment)
	}
}

func (c *cards) value(name string, v float64, comment string) {
	if v-v == 0 { // neither NaN nor infinite
		c.add(name, fmt.Sprintf("%.12G", v), comment)
	}
}

func (c *cards) text(name, v, comment string) {
	v = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, v)
	if v != "" {
		c.add(name, fmt.Sprintf("%-20s", "'"+fmt.Sprintf("%-8s", strings.ReplaceAll(v[:min(len(v), 60)], "'", "''"))+"'"), comment)
	}
}

func fitsHeader(p Plane, m Metadata, bitpix int) []byte {
	var c cards
	c.add("SIMPLE", "T", "FITS standard")
	c.add("BITPIX", fmt.Sprint(bitpix), "bits of a value, negative: floating")
	c.add("NAXIS", "2", "")
	c.add("NAXIS1", fmt.Sprint(p.Width), "")
	c.add("NAXIS2", fmt.Sprint(p.Height), "")
	full := 1.0
	if bitpix == 16 {
		full = 65535
		c.add("BZERO", "32768", "unsigned values")
		c.add("BSCALE", "1", "")
	}
	c.text("ROWORDER", "BOTTOM-UP", "first row stored is the lowest")
	if s := float64(p.Saturation); s > 0 && s <= 1 {
		c.number("SATURATE", s*full, "values from here on have clipped")
	}
	m.addFITS(&c)
	fmt.Fprintf(&c, "%-80s", "END")
	fmt.Fprintf(&c, "%*s", (fitsBlock-c.Len()%fitsBlock)%fitsBlock, "")
	return c.Bytes()
}

// addFITS writes clock, lens and place.
func (m Metadata) addFITS(c *cards) {
	if !m.Clock.Start.IsZero() {
		text, fraction := stampText(m.Clock.Start.UTC(), "2006-01-02T15:04:05", m.Clock.Step)
		if fraction != "" {
			text += "." + fraction
		}
		c.text("TIMESYS", "UTC", "")
		c.text("DATE-OBS", text, "start of exposure")
	}
	c.number("EXPTIME", m.Clock.Exposure.Seconds(), "[s]")
	c.number("FOCALLEN", m.Lens.FocalLengthMM, "[mm]")
	c.number("XPIXSZ", m.Lens.PixelPitchUM, "[um] binning included")
	c.number("YPIXSZ", m.Lens.PixelPitchUM, "[um] binning included")
	c.number("FOCRATIO", m.Lens.FNumber, "focal length by aperture")
	c.number("PIXSCALE", m.Lens.ScaleArcsecPerPx, "[arcsec/pixel]")
	c.text("INSTRUME", m.Lens.Model, "")
	if m.Place != nil {
		c.value("OBSGEO-B", m.Place.Latitude.Deg(), "[deg] north positive")
		c.value("OBSGEO-L", m.Place.Longitude.Deg(), "[deg] east positive")
		c.value("OBSGEO-H", m.Place.HeightM, "[m]")
	}
}
