package frame

import (
	"encoding/binary"
	"math"
	"sort"
	"time"

	"trueturn/ephem"
)

// entry is one field to be written into a directory, little-endian.
type entry struct {
	tag, kind uint16
	count     uint32
	data      []byte
}

type entries []entry

func (e *entries) put(tag, kind uint16, count int, data []byte) {
	*e = append(*e, entry{tag, kind, uint32(count), data})
}

// text writes ASCII with its NUL; empty text is left out.
func (e *entries) text(tag uint16, s string) {
	if s != "" {
		e.put(tag, 2, len(s)+1, append([]byte(s), 0))
	}
}

func (e *entries) short(tag uint16, v int) {
	e.put(tag, 3, 1, binary.LittleEndian.AppendUint16(nil, uint16(v)))
}

func (e *entries) long(tag uint16, v int) {
	e.put(tag, 4, 1, binary.LittleEndian.AppendUint32(nil, uint32(v)))
}

// rational writes positive numbers; a single one that is 0 is left out.
func (e *entries) rational(tag uint16, values ...float64) {
	if len(values) == 1 && !(values[0] > 0 && values[0] < math.MaxUint32) {
		return
	}
	var b []byte
	for _, v := range values {
		num, den := fraction(v)
		b = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(b, num), den)
	}
	e.put(tag, 5, len(values), b)
}

// fraction writes a number as a reduced fraction with a power of ten that
// fits, at least nine digits of it where it is above 1.
func fraction(v float64) (num, den uint32) {
	d := 1.0
	for d < 1e9 && v*d*10 < math.MaxUint32 {
		d *= 10
	}
	num, den = uint32(math.Round(v*d)), uint32(d)
	a, b := num, den
	for b != 0 {
		a, b = b, a%b
	}
	return num / a, den / a
}

// size is the length of a directory with the data it points to.
func (e entries) size() int {
	n := 2 + 12*len(e) + 4
	for _, x := range e {
		if len(x.data) > 4 {
			n += (len(x.data) + 1) &^ 1
		}
	}
	return n
}

// appendTo writes the directory, which will stand at offset off of the block.
func (e entries) appendTo(b []byte, off int) []byte {
	sort.Slice(e, func(i, j int) bool { return e[i].tag < e[j].tag })
	at := off + 2 + 12*len(e) + 4
	b = binary.LittleEndian.AppendUint16(b, uint16(len(e)))
	var data []byte
	for _, x := range e {
		b = binary.LittleEndian.AppendUint16(b, x.tag)
		b = binary.LittleEndian.AppendUint16(b, x.kind)
		b = binary.LittleEndian.AppendUint32(b, x.count)
		if len(x.data) <= 4 {
			b = append(append(b, x.data...), make([]byte, 4-len(x.data))...)
			continue
		}
		b = binary.LittleEndian.AppendUint32(b, uint32(at+len(data)))
		data = append(data, x.data...)
		if len(data)%2 == 1 {
			data = append(data, 0)
		}
	}
	b = append(b, 0, 0, 0, 0) // no further directory
	return append(b, data...)
}

// exifBlock makes the TIFF block of an Exif segment or chunk.
func exifBlock(p Plane, m Metadata, coded bool) []byte {
	return m.block(p, nil, coded)
}

// tiffHead makes everything of a TIFF file before its one strip of pixels.
func tiffHead(p Plane, m Metadata) []byte {
	var e entries
	e.long(256, p.Width)
	e.long(257, p.Height)
	e.short(258, 16)
	e.short(259, 1)          // uncompressed
	e.short(262, 1)          // black is zero
	strip := make([]byte, 4) // where the pixels begin, set below
	e.put(273, 4, 1, strip)
	e.short(277, 1)
	e.long(278, p.Height)
	e.long(279, 2*p.Width*p.Height)
	length := len(m.block(p, e, false))
	binary.LittleEndian.PutUint32(strip, uint32(length))
	return m.block(p, e, false)
}

// block lays out header, first directory, Exif directory, GPS directory.
func (m Metadata) block(p Plane, image entries, coded bool) []byte {
	first := append(entries(nil), image...)
	first.text(271, ascii(m.Lens.Make))
	first.text(272, ascii(m.Lens.Model))
	first.short(274, 1)
	first.rational(282, 72)
	first.rational(283, 72)
	first.short(296, 2)
	first.long(tagExifIFD, 0)
	exif, gps := m.exif(p, coded), m.gps()
	if len(gps) > 0 {
		first.long(tagGPSIFD, 0)
	}
	exifAt := 8 + first.size()
	gpsAt := exifAt + exif.size()
	for i := range first {
		switch first[i].tag {
		case tagExifIFD:
			first[i].data = binary.LittleEndian.AppendUint32(nil, uint32(exifAt))
		case tagGPSIFD:
			first[i].data = binary.LittleEndian.AppendUint32(nil, uint32(gpsAt))
		}
	}
	b := first.appendTo([]byte("II*\x00\x08\x00\x00\x00"), 8)
	b = exif.appendTo(b, exifAt)
	if len(gps) > 0 {
		b = gps.appendTo(b, gpsAt)
	}
	return b
}

// exif fills the Exif directory (CIPA DC-008-2019 table 7).
func (m Metadata) exif(p Plane, coded bool) entries {
	var e entries
	e.put(0x9000, 7, 4, []byte("0232"))
	e.rational(0x829a, m.Clock.Exposure.Seconds())
	e.rational(0x829d, m.Lens.FNumber)
	m.exifClock(&e)
	e.rational(0x920a, m.Lens.FocalLengthMM)
	colour := 0xffff // uncalibrated
	if coded {
		colour = 1 // sRGB
	}
	e.put(0xa000, 7, 4, []byte("0100"))
	e.short(0xa001, colour)
	e.long(0xa002, p.Width)
	e.long(0xa003, p.Height)
	if m.Lens.PixelPitchUM > 0 {
		e.rational(0xa20e, 10000/m.Lens.PixelPitchUM)
		e.rational(0xa20f, 10000/m.Lens.PixelPitchUM)
		e.short(0xa210, 3) // per centimetre
	}
	if f := math.Round(m.Lens.EquivalentMM); f > 0 && f <= math.MaxUint16 {
		e.short(0xa405, int(f))
	}
	return e
}

// exifClock writes DateTimeOriginal and DateTimeDigitized in the camera's zone.
func (m Metadata) exifClock(e *entries) {
	if m.Clock.Start.IsZero() {
		return
	}
	offset := 0
	if m.Zone != nil {
		_, offset = m.Clock.Start.In(m.Zone).Zone()
	}
	offset -= offset % 60 // EXIF has no seconds here
	local := m.Clock.Start.In(time.FixedZone("", offset))
	text, sub := stampText(local, "2006:01:02 15:04:05", m.Clock.Step)
	for tag := uint16(0); tag < 2; tag++ {
		e.text(0x9003+tag, text)
		e.text(tagSubSecOriginal+tag, sub)
		if !m.NoOffset {
			e.text(0x9011+tag, local.Format("-07:00"))
		}
	}
}

// gps fills the GPS directory; empty when there is nothing to say.
func (m Metadata) gps() entries {
	var e entries
	if m.Place != nil {
		e.position(*m.Place)
	}
	if m.GPSTime && !m.Clock.Start.IsZero() {
		t := m.Clock.Start.UTC()
		e.rational(tagGPSTimeStamp, float64(t.Hour()), float64(t.Minute()), float64(t.Second()))
		e.text(29, t.Format("2006:01:02"))
	}
	if len(e) > 0 {
		e.put(0, 1, 4, []byte{2, 3, 0, 0})
	}
	return e
}

func (e *entries) position(s ephem.Site) {
	e.text(1, letter(s.Latitude.Deg(), "N", "S"))
	e.rational(tagGPSLatitude, sexagesimal(s.Latitude.Deg())...)
	e.text(3, letter(s.Longitude.Deg(), "E", "W"))
	e.rational(tagGPSLongitude, sexagesimal(s.Longitude.Deg())...)
	below := byte(0)
	if s.HeightM < 0 {
		below = 1
	}
	e.put(5, 1, 1, []byte{below})
	e.rational(6, math.Abs(s.HeightM))
}

func letter(v float64, positive, negative string) string {
	if math.Signbit(v) {
		return negative
	}
	return positive
}

func sexagesimal(deg float64) []float64 {
	v := math.Round(math.Abs(deg)*3600e6) / 1e6 // micro-arcseconds: no 60.000 s
	d := math.Floor(v / 3600)
	m := math.Floor((v - 3600*d) / 60)
	return []float64{d, m, math.Round((v-3600*d-60*m)*1e6) / 1e6}
}

// ascii keeps what EXIF text may hold.
func ascii(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c < ' ' || c > '~' {
			b[i] = '?'
		}
	}
	return string(b)
}
