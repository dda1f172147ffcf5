package frame

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"slices"
	"strings"

	"trueturn/ephem/amiss"
)

// Deflate shrinks at most 1032 to 1, and a pixel takes at least one bit.
const pngPixelsPerByte = 1032 * 8

func decodePNG(src source) (p picture, err error) {
	defer guard(&err)
	ihdr, err := src.bytes(16, 13) // looked at first: the library calls a huge size unsupported
	if err != nil {
		return picture{}, pngError(err)
	}
	width, height := binary.BigEndian.Uint32(ihdr), binary.BigEndian.Uint32(ihdr[4:])
	if err := src.checkSize(int(int32(width)), int(int32(height)), pngPixelsPerByte); err != nil {
		return picture{}, err
	}
	h, err := pngHints(src)
	if err != nil {
		return picture{}, err
	}
	if err := src.admit(pngCost(ihdr[8], ihdr[9], h.keyed, ihdr[12] != 0), int(width), int(height)); err != nil {
		return picture{}, err
	}
	img, err := png.Decode(bufio.NewReaderSize(src.reader(), 1<<16))
	if err != nil {
		return picture{}, pngError(err)
	}
	p = picture{format: "PNG", light: imageLight(img, h.curve)}
	p.readEXIF(h.exif)
	return p, nil
}

// pngCost is what Go's decoder takes: an image whose pixels have one value or
// four, those transparent by a key too, in one byte or two; of an interlaced
// file, as much again for the seven passes it makes one after the other.
func pngCost(depth, colourType byte, keyed, interlaced bool) cost {
	const palette, coloured, opacity = 1, 2, 4 // bits of the colour type
	c := cost{kind: "8-bit grey PNGs", kept: 1, plane: planeBytes}
	switch {
	case colourType&palette != 0:
		c.kind = "PNGs with a palette"
	case colourType&(coloured|opacity) != 0 || keyed:
		c.kind, c.kept, c.instead = "8-bit colour PNGs", 4, "as JPEG"
	}
	if depth == 16 {
		c.kind, c.kept = strings.Replace(c.kind, "8-bit", "16-bit", 1), 2*c.kept
		c.instead = "with 8 bits, or as FITS"
	}
	if c.decoder = c.kept; interlaced {
		c.kind, c.decoder = "interlaced "+c.kind, 2*c.kept
	}
	return c
}

func pngError(err error) error {
	if e, ok := err.(png.UnsupportedError); ok {
		return &amiss.Error{Kind: ErrUnsupported, Text: "this kind of PNG is not read: " + string(e), Ways: amiss.Do(hintExport), From: err}
	}
	return broken(err, "the PNG data are damaged")
}

// pngExtra is what the chunks beside the picture say.
type pngExtra struct {
	exif  []byte
	curve curve // nil: not said
	keyed bool  // one colour is transparent (tRNS)
}

const (
	maxExifBytes     = 1 << 20
	maxPNGChunkBytes = 3 * maxExifBytes // as hexadecimal digits, in lines
	maxPNGChunks     = 1 << 18          // more than the largest picture has in parts of 8 kB, as they are usually written
)

// pngHints walks the chunks; chunks of a kind it does not need are stepped
// over. Where several speak of the curve the order of PNG (third edition,
// §4.3) holds: cICP, iCCP, sRGB, gAMA.
func pngHints(src source) (pngExtra, error) {
	var x pngExtra
	rank, profiles := 0, 0
	say := func(r int, c curve) {
		if c != nil && r > rank {
			rank, x.curve = r, c
		}
	}
	off := int64(8)
	for range maxPNGChunks {
		h, err := src.bytes(off, 8)
		if err != nil {
			return x, nil
		}
		n := int64(binary.BigEndian.Uint32(h))
		name := string(h[4:])
		if name == "IEND" {
			return x, nil
		}
		x.keyed = x.keyed || name == "tRNS"
		if b := pngChunk(src, name, off+8, n); b != nil {
			switch name {
			case "eXIf":
				x.exif = b
			case "tEXt", "zTXt":
				if profiles++; x.exif == nil && profiles <= maxRawProfiles {
					x.exif = rawProfile(name, b)
				}
			case "gAMA":
				say(1, gammaChunk(b))
			case "sRGB":
				say(2, linearOf)
			case "iCCP":
				say(3, iccpChunk(b))
			case "cICP":
				say(4, cicpChunk(b))
			}
		}
		off += 12 + n
	}
	return x, amiss.New(ErrBroken, fmt.Sprintf("the PNG is made of more than %d chunks", maxPNGChunks), hintCopy)
}

func pngChunk(src source, name string, off, n int64) []byte {
	if n > maxPNGChunkBytes || !strings.Contains("eXIf gAMA sRGB iCCP cICP tEXt zTXt", name) {
		return nil
	}
	if name == "tEXt" || name == "zTXt" { // comments may be long, and many
		if key, err := src.bytes(off, min(n, int64(len(rawProfileKeys[0])))); err != nil || !slices.Contains(rawProfileKeys, string(key)) {
			return nil
		}
	}
	b, err := src.bytes(off, n)
	if err != nil {
		return nil
	}
	return b
}

// rawProfileKeys are the keywords of text chunks that hold a block of EXIF, as
// converters write it that know no eXIf chunk. There is no standard: the text is a
// line with the kind, one with the number of bytes, and the bytes as hexadecimal
// digits. Under the second there may be other things.
var rawProfileKeys = []string{"Raw profile type exif\x00", "Raw profile type APP1\x00"}

const maxRawProfiles = 4 // looked at: each may be much longer than it is packed

// rawProfile returns the EXIF block such a chunk holds; nil for anything else.
func rawProfile(chunk string, b []byte) []byte {
	text := b[len(rawProfileKeys[0]):]
	if chunk == "zTXt" {
		if text = inflated(text); text == nil {
			return nil
		}
	}
	words := bytes.Fields(text)
	if len(words) < 3 {
		return nil
	}
	digits := bytes.Join(words[2:], nil)
	block := make([]byte, len(digits)/2)
	n, _ := hex.Decode(block, digits[:2*len(block)])
	block = bytes.TrimPrefix(block[:n], []byte("Exif\x00\x00"))
	if len(block) > maxExifBytes || !bytes.HasPrefix(block, []byte("II*\x00")) && !bytes.HasPrefix(block, []byte("MM\x00*")) {
		return nil
	}
	return block
}

// inflated unpacks the text of a zTXt chunk, whose first byte names the method
// (0: deflate).
func inflated(b []byte) []byte {
	if len(b) == 0 || b[0] != 0 {
		return nil
	}
	z, err := zlib.NewReader(bytes.NewReader(b[1:]))
	if err != nil {
		return nil
	}
	text, _ := io.ReadAll(io.LimitReader(z, maxPNGChunkBytes)) // what is there of a damaged one
	return text
}

// gammaChunk reads gAMA: coded = linear^γ, γ in units of 1/100000.
func gammaChunk(b []byte) curve {
	if len(b) != 4 {
		return nil
	}
	g := float64(binary.BigEndian.Uint32(b)) / 100000
	if g < 0.1 || g > 10 {
		return nil
	}
	return powerCurve(1 / g)
}

func powerCurve(exponent float64) curve {
	if exponent == 1 {
		return identity
	}
	return func(v float64) float64 { return math.Pow(v, exponent) }
}

// cicpChunk reads the transfer function code of ITU-T H.273, table 3: 8 is
// linear, 13 is sRGB; others are treated as unsaid.
func cicpChunk(b []byte) curve {
	if len(b) != 4 {
		return nil
	}
	switch b[1] {
	case 8:
		return identity
	case 13:
		return linearOf
	}
	return nil
}

// imageLight reads any decoded image. said is the curve the file names, nil
// if it names none.
func imageLight(img image.Image, said curve) light {
	l := light{width: img.Bounds().Dx(), height: img.Bounds().Dy(), signal: signalRGB}
	switch img.(type) {
	case *image.Gray, *image.Gray16:
		l.signal = signalGrey
	}
	if said == nil {
		said = linearOf
		if _, ok := img.(*image.Gray16); ok {
			said = identity
		}
	}
	if deep(img) {
		table := said.table(1 << 16)
		l.row, l.saturation = row16(img, table)
		return l
	}
	table := said.table(1 << 8)
	l.saturation = table[254]
	if img, ok := img.(*image.Gray); ok {
		l.row = lookup8(img.Pix, img.Stride, table)
		return l
	}
	l.row = colourRow8(img, table)
	return l
}

func deep(img image.Image) bool {
	switch img.(type) {
	case *image.Gray16, *image.RGBA64, *image.NRGBA64:
		return true
	}
	return false
}

// row16 reads rows of big-endian 16-bit words, one or four a pixel.
func row16(img image.Image, table []float32) (func([]float32, int) error, float32) {
	t := (*[1 << 16]float32)(table)
	var pix []byte
	var stride, words int
	switch img := img.(type) {
	case *image.Gray16:
		pix, stride, words = img.Pix, img.Stride, 1
	case *image.RGBA64:
		pix, stride, words = img.Pix, img.Stride, 4
	case *image.NRGBA64:
		pix, stride, words = img.Pix, img.Stride, 4
	}
	saturation := t[clipLevel(maxWord(pix, words))-1]
	if words == 1 {
		return func(dst []float32, y int) error {
			src := pix[y*stride:][:2*len(dst)]
			for i := range dst {
				dst[i] = t[uint16(src[2*i])<<8|uint16(src[2*i+1])]
			}
			return nil
		}, saturation
	}
	return func(dst []float32, y int) error {
		src := pix[y*stride:][:8*len(dst)]
		for i := range dst {
			p := src[8*i : 8*i+6 : 8*i+6]
			dst[i] = colourSignal(t[uint16(p[0])<<8|uint16(p[1])], t[uint16(p[2])<<8|uint16(p[3])], t[uint16(p[4])<<8|uint16(p[5])])
		}
		return nil
	}, saturation
}

// maxWord is the largest colour value; of four words a pixel the last is
// opacity and left out.
func maxWord(pix []byte, words int) int {
	m := 0
	for i := 0; i+2*words <= len(pix); i += 2 * words {
		for j := 0; j < min(words, 3); j++ {
			m = max(m, int(pix[i+2*j])<<8|int(pix[i+2*j+1]))
		}
	}
	return m
}

// clipLevel guesses where 16-bit data clip from their largest value. Cameras
// with 10, 12 or 14 bits store them at the bottom or the top of the word, and
// a largest value that is exactly all ones of those is no accident. Otherwise
// the word itself clips.
func clipLevel(largest int) int {
	for _, bits := range []int{10, 12, 14} {
		ones := 1<<bits - 1
		if largest == ones || largest == ones<<(16-bits) {
			return largest
		}
	}
	return 1<<16 - 1
}
