package answer

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"trueturn/drift/frame"
)

// A writer of raw colour mosaics for tests, from TIFF 6.0 (directories, types, byte order), the DNG specification 1.6,
// chapter 4 (tags, BitsPerSample packed from the highest bit), and EXIF 2.32 (the exposure). exiftool 12.57 and dcraw 9.28
// read its files.

// Types of fields, TIFF 6.0 section 2.
const (
	tiffByte     = 1
	tiffASCII    = 2
	tiffShort    = 3
	tiffLong     = 4
	tiffRational = 5
)

// tiffField is one field of a directory, its values laid out.
type tiffField struct {
	tag, kind uint16
	count     int
	data      []byte
}

func shorts(tag uint16, v ...uint16) tiffField {
	f := tiffField{tag, tiffShort, len(v), nil}
	for _, x := range v {
		f.data = binary.BigEndian.AppendUint16(f.data, x)
	}
	return f
}

func longs(tag uint16, v ...uint32) tiffField {
	f := tiffField{tag, tiffLong, len(v), nil}
	for _, x := range v {
		f.data = binary.BigEndian.AppendUint32(f.data, x)
	}
	return f
}

// rational keeps three decimals.
func rational(tag uint16, v float64) tiffField {
	f := longs(tag, uint32(math.Round(v*1000)), 1000)
	f.kind, f.count = tiffRational, 1
	return f
}

func ascii(tag uint16, s string) tiffField {
	return tiffField{tag, tiffASCII, len(s) + 1, []byte(s + "\x00")}
}

func tiffBytes(tag uint16, v ...byte) tiffField { return tiffField{tag, tiffByte, len(v), v} }

// directoryAt lays a directory out for the place where it will stand, what does not fit into a field behind it.
func directoryAt(offset int, fields []tiffField) []byte {
	slices.SortFunc(fields, func(a, b tiffField) int { return int(a.tag) - int(b.tag) })
	out := binary.BigEndian.AppendUint16(nil, uint16(len(fields)))
	var behind []byte
	start := offset + 2 + 12*len(fields) + 4
	for _, f := range fields {
		out = binary.BigEndian.AppendUint16(out, f.tag)
		out = binary.BigEndian.AppendUint16(out, f.kind)
		out = binary.BigEndian.AppendUint32(out, uint32(f.count))
		value := append(slices.Clone(f.data), 0, 0, 0, 0)[:4]
		if len(f.data) > 4 {
			value = binary.BigEndian.AppendUint32(nil, uint32(start+len(behind)))
			if behind = append(behind, f.data...); len(behind)%2 == 1 {
				behind = append(behind, 0)
			}
		}
		out = append(out, value...)
	}
	return append(append(out, 0, 0, 0, 0), behind...) // no next directory
}

// dngFile writes a mosaic of red, green, green, blue of 12 bits, big-endian, in one strip.
func dngFile(width int, pix []uint16, m frame.Metadata) []byte {
	const first = 8
	height := len(pix) / width
	strip := packed12(width, pix)
	fields := func(exif, data int) []tiffField {
		return []tiffField{
			longs(254, 0), longs(256, uint32(width)), longs(257, uint32(height)), shorts(258, 12), shorts(259, 1), shorts(262, 32803),
			ascii(271, m.Lens.Make), ascii(272, m.Lens.Model), longs(273, uint32(data)), shorts(274, 1), shorts(277, 1),
			longs(278, uint32(height)), longs(279, uint32(len(strip))), shorts(284, 1), longs(34665, uint32(exif)),
			shorts(33421, 2, 2), tiffBytes(33422, 0, 1, 1, 2), tiffBytes(50706, 1, 4, 0, 0), tiffBytes(50707, 1, 1, 0, 0),
			ascii(50708, m.Lens.Make+" "+m.Lens.Model), shorts(50714, rawBlack), shorts(50717, rawWhite),
		}
	}
	exif := first + len(directoryAt(first, fields(0, 0)))
	moment := exifOf(m)
	data := exif + len(directoryAt(exif, moment))
	out := []byte("MM\x00*\x00\x00\x00\x08")
	out = append(out, directoryAt(first, fields(exif, data))...)
	out = append(out, directoryAt(exif, moment)...)
	return append(out, strip...)
}

// exifOf is the exposure: when, how long, through what.
func exifOf(m frame.Metadata) []tiffField {
	at := m.Clock.Start.UTC().Format("2006:01:02 15:04:05.000")
	whole, part, _ := strings.Cut(at, ".")
	return []tiffField{
		rational(33434, m.Clock.Exposure.Seconds()), tiffField{36864, 7, 4, []byte("0232")}, ascii(36867, whole), ascii(36881, "+00:00"),
		ascii(37521, part), rational(37386, m.Lens.FocalLengthMM), shorts(41989, uint16(m.Lens.EquivalentMM)),
		longs(40962, 2016), longs(40963, 1512), // of the sensor, as many cameras write it, not of what is left of it
		rational(41486, 10000/m.Lens.PixelPitchUM), rational(41487, 10000/m.Lens.PixelPitchUM), shorts(41488, 3),
	}
}

// packed12 packs 12-bit samples, highest bits first. Rows begin with a byte of their own: an even width sees to that.
func packed12(width int, pix []uint16) []byte {
	out := make([]byte, 0, len(pix)*3/2)
	for ; len(pix) > 0; pix = pix[width:] {
		for x := 0; x < width; x += 2 {
			a, b := pix[x], pix[x+1]
			out = append(out, byte(a>>4), byte(a<<4)|byte(b>>8), byte(b))
		}
	}
	return out
}
