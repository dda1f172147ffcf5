package frame

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"strings"

	"trueturn/ephem/amiss"
)

// A block of 8×8 pixels takes at least one bit, its mean.
const jpegPixelsPerByte = 64 * 8

// jpegClip is the coded value from which a JPEG pixel counts as clipped:
// compression leaves a clipped plateau a few steps below 255 (our choice; no
// source).
const jpegClip = 250

func decodeJPEG(src source) (p picture, err error) {
	defer guard(&err)
	conf, err := jpeg.DecodeConfig(bufio.NewReader(src.reader()))
	if err != nil {
		return picture{}, jpegError(err)
	}
	if err := src.checkSize(conf.Width, conf.Height, jpegPixelsPerByte); err != nil {
		return picture{}, err
	}
	h, err := readJPEGHeader(src)
	if err != nil {
		return picture{}, err
	}
	if h.width != conf.Width || h.height != conf.Height {
		return picture{}, broken(nil, "the JPEG data are damaged")
	}
	first := firstJPEG(src)
	if err := checkScans(first, h); err != nil {
		return picture{}, err
	}
	if err := src.admit(h.cost(conf.ColorModel == color.RGBAModel || lateRGB(first, h)), h.width, h.height); err != nil {
		return picture{}, err
	}
	img, err := jpeg.Decode(bufio.NewReaderSize(src.reader(), 1<<16))
	if err != nil {
		return picture{}, jpegError(err)
	}
	p = picture{format: "JPEG", light: jpegLight(img)}
	p.readEXIF(jpegEXIF(src))
	if isPanorama(src) {
		p.altered = alteredPanorama
	}
	return p, nil
}

// firstJPEG is the file up to the end of its first picture. Phones and cameras
// append others (CIPA DC-007, multi-picture format), maps of gain, and films, in
// whose bytes markers would be found that mean nothing.
func firstJPEG(src source) source {
	r := bufio.NewReaderSize(src.reader(), 1<<16)
	for at := int64(0); ; {
		b, err := r.ReadSlice(0xff)
		at += int64(len(b))
		if err == bufio.ErrBufferFull {
			continue
		} else if err != nil {
			return src
		}
		h, _ := r.Peek(3)
		switch {
		case len(h) == 0:
			return src
		case h[0] == markEOI:
			return src.part(src, at+1)
		case len(h) < 3 || h[0] == 0 || h[0] == 0xff || h[0] >= markRST0 && h[0] <= markSOI:
			continue // no segment: data, filling, or a mark that stands alone
		}
		n, err := r.Discard(1 + max(2, int(h[1])<<8|int(h[2])))
		if at += int64(n); err != nil {
			return src
		}
	}
}

// isPanorama looks for the name space in which makers of panoramas describe them,
// in the XMP segments before the picture.
func isPanorama(src source) (found bool) {
	jpegSegments(src, func(s segment) bool {
		if s.marker != 0xe1 {
			return true
		}
		if b, err := src.bytes(s.at, s.n); err == nil {
			found = bytes.HasPrefix(b, []byte("http://ns.adobe.com/xap/")) && bytes.Contains(b, []byte("/photos/1.0/panorama/"))
		}
		return !found
	})
	return found
}

func jpegError(err error) error {
	if e, ok := err.(jpeg.UnsupportedError); ok {
		cause := "this kind of JPEG is not read: " + strings.TrimPrefix(string(e), "unsupported JPEG feature: ")
		return &amiss.Error{Kind: ErrUnsupported, Text: cause, Ways: amiss.Do("export it as an ordinary JPEG"), From: err}
	}
	return broken(err, "the JPEG data are damaged")
}

// jpegLight reads luma where the file has it, else the decoded colours.
func jpegLight(img image.Image) light {
	table := curve(linearOf).table(256)
	l := light{width: img.Bounds().Dx(), height: img.Bounds().Dy(), saturation: table[jpegClip]}
	switch img := img.(type) {
	case *image.YCbCr:
		l.row, l.signal = lookup8(img.Y, img.YStride, table), signalLuma
	case *image.Gray:
		l.row, l.signal = lookup8(img.Pix, img.Stride, table), signalGrey
	default:
		l.row, l.signal = colourRow8(img, table), signalRGB
	}
	return l
}

// lookup8 reads rows of single bytes through a table.
func lookup8(pix []byte, stride int, table []float32) func([]float32, int) error {
	t := (*[256]float32)(table)
	return func(dst []float32, y int) error {
		src := pix[y*stride:][:len(dst)]
		for i, v := range src {
			dst[i] = t[v]
		}
		return nil
	}
}

// colourRow8 reads the 8-bit layouts in colour. It makes nothing new for a pixel:
// that would be garbage as large as the picture.
func colourRow8(img image.Image, table []float32) func([]float32, int) error {
	switch img := img.(type) {
	case *image.RGBA: // opaque here: no decoder used premultiplies
		return colour8(img.Pix, img.Stride, table)
	case *image.NRGBA:
		return colour8(img.Pix, img.Stride, table)
	case *image.CMYK:
		return cmyk8(img.Pix, img.Stride, table)
	case *image.Paletted:
		light := make([]float32, 256)
		for i, c := range img.Palette {
			p := color.NRGBAModel.Convert(c).(color.NRGBA)
			light[i] = colourSignal(table[p.R], table[p.G], table[p.B])
		}
		return lookup8(img.Pix, img.Stride, light)
	}
	return func([]float32, int) error {
		return unsupported(fmt.Sprintf("pixels stored as %T are not read", img), hintExport)
	}
}

// colour8 reads rows of four bytes; transparency is ignored, as it is no
// light.
func colour8(pix []byte, stride int, table []float32) func([]float32, int) error {
	t := (*[256]float32)(table)
	return func(dst []float32, y int) error {
		src := pix[y*stride:][:4*len(dst)]
		for i := range dst {
			p := src[4*i : 4*i+4 : 4*i+4]
			dst[i] = colourSignal(t[p[0]], t[p[1]], t[p[2]])
		}
		return nil
	}
}

// cmyk8 reads rows of cyan, magenta, yellow and black.
func cmyk8(pix []byte, stride int, table []float32) func([]float32, int) error {
	t := (*[256]float32)(table)
	return func(dst []float32, y int) error {
		src := pix[y*stride:][:4*len(dst)]
		for i := range dst {
			p := src[4*i : 4*i+4 : 4*i+4]
			r, g, b, _ := color.CMYK{C: p[0], M: p[1], Y: p[2], K: p[3]}.RGBA()
			dst[i] = colourSignal(t[r>>8], t[g>>8], t[b>>8])
		}
		return nil
	}
}

// segment is one marker segment before the picture's data.
type segment struct {
	marker byte
	at, n  int64 // where its content stands, and how long it is
}

// maxSegments is what a file of 2 GB has, each as long as can be; shorter ones,
// and fill bytes between them, would cost minutes.
const maxSegments = 1 << 15

// jpegSegments walks the segments up to the first scan, until use says stop;
// false when there are too many.
func jpegSegments(src source, use func(segment) (more bool)) bool {
	off := int64(2)
	for range maxSegments {
		h, err := src.bytes(off, 4)
		if err != nil || h[0] != 0xff {
			return true
		}
		if h[1] == 0xff { // fill byte
			off++
			continue
		}
		n := int64(h[2])<<8 | int64(h[3])
		if h[1] == 0xda || h[1] == 0xd9 || n < 2 || !use(segment{h[1], off + 4, n - 2}) {
			return true
		}
		off += 2 + n
	}
	return false
}

// jpegEXIF returns the TIFF block of the first Exif segment, nil without one.
func jpegEXIF(src source) (block []byte) {
	jpegSegments(src, func(s segment) bool {
		if s.marker != 0xe1 || s.n < 6 {
			return true
		}
		b, err := src.bytes(s.at, s.n)
		if err == nil && string(b[:6]) == "Exif\x00\x00" {
			block = b[6:]
		}
		return block == nil
	})
	return block
}

// maxScans is far above the dozen scans progressive files have. Each further
// scan of a few bytes can cost a pass over the whole picture.
const (
	maxScans      = 100
	maxScansLarge = 25 // over emptyPixels, where a pass costs more
)

// checkScans refuses files of segments, and progressive ones of scans, without
// end.
func checkScans(src source, h jpegHeader) error {
	if !jpegSegments(src, func(segment) bool { return true }) {
		return amiss.New(ErrBroken, fmt.Sprintf("the JPEG is made of more than %d segments", maxSegments), hintCopy)
	}
	if !h.progressive {
		return nil
	}
	scans, most := 0, maxScans
	if h.width*h.height > emptyPixels {
		most = maxScansLarge
	}
	eachMarker(src, func(marker byte, _ []byte) bool {
		if marker == markSOS {
			scans++
		}
		return scans <= most
	})
	if scans > most {
		return amiss.New(ErrBroken, fmt.Sprintf("the JPEG is made of more than %d scans", most), hintCopy)
	}
	return nil
}

// eachMarker reads the file through, until use says stop, and tells of every
// marker and of all that looks like one, with up to 14 bytes after it. Errors of
// reading are left to the decoder.
func eachMarker(src source, use func(marker byte, after []byte) (more bool)) {
	r := bufio.NewReaderSize(src.reader(), 1<<16)
	for {
		if _, err := r.ReadSlice(0xff); err == bufio.ErrBufferFull {
			continue
		} else if err != nil {
			return
		}
		if b, _ := r.Peek(15); len(b) > 0 && !use(b[0], b[1:]) {
			return
		}
	}
}

// jpegHeader is the frame header of a JPEG, T.81 §B.2.2.
type jpegHeader struct {
	width, height int
	progressive   bool
	h, v          []int // sampling factors of each component
}

const (
	markSOF2  = 0xc2
	markRST0  = 0xd0
	markRST7  = 0xd7
	markEOI   = 0xd9
	markAPP14 = 0xee
)

// readJPEGHeader finds the frame header as the decoder does, which steps over
// what is no marker.
func readJPEGHeader(src source) (jpegHeader, error) {
	r := bufio.NewReader(src.reader())
	if _, err := r.Discard(2); err != nil {
		return jpegHeader{}, broken(err, "the JPEG data are damaged")
	}
	for {
		marker, n, err := nextSegment(r)
		switch {
		case err != nil || marker == markSOS:
			return jpegHeader{}, broken(err, "the JPEG data are damaged")
		case marker >= 0xc0 && marker <= markSOF2:
			b, _ := r.Peek(n)
			return parseJPEGHeader(marker, b)
		}
		if _, err := r.Discard(n); err != nil {
			return jpegHeader{}, broken(err, "the JPEG data are damaged")
		}
	}
}

// nextSegment reads the next marker that has a length, and that of its content.
func nextSegment(r *bufio.Reader) (marker byte, n int, err error) {
	var last byte
	for err == nil {
		prev := last
		if last, err = r.ReadByte(); prev != 0xff || last == 0xff {
			continue
		}
		if last == 0 || last >= markRST0 && last <= markRST7 {
			last = 0
			continue
		}
		var b [2]byte
		if _, err = io.ReadFull(r, b[:]); err == nil {
			return last, max(0, int(b[0])<<8+int(b[1])-2), nil
		}
	}
	return 0, 0, err
}

func parseJPEGHeader(marker byte, b []byte) (jpegHeader, error) {
	if len(b) < 6 || len(b) < 6+3*int(b[5]) || b[5] == 0 {
		return jpegHeader{}, broken(io.ErrUnexpectedEOF, "the JPEG data are damaged")
	}
	h := jpegHeader{progressive: marker == markSOF2, height: int(b[1])<<8 | int(b[2]), width: int(b[3])<<8 | int(b[4])}
	for c := b[6 : 6+3*int(b[5])]; len(c) > 0; c = c[3:] {
		h.h, h.v = append(h.h, max(1, int(c[1]>>4))), append(h.v, max(1, int(c[1]&15)))
	}
	if len(h.h) == 1 { // its sampling factors mean nothing, T.81 §A.2.2
		h.h[0], h.v[0] = 1, 1
	}
	return h, nil
}

// lateRGB is whether an Adobe segment anywhere in the file calls three
// components red, green and blue, which the decoder then copies to pixels of
// four bytes. Small files are not searched.
func lateRGB(src source, h jpegHeader) (found bool) {
	if len(h.h) != 3 || h.width*h.height <= emptyPixels {
		return false
	}
	eachMarker(src, func(marker byte, after []byte) bool {
		found = marker == markAPP14 && len(after) == 14 && string(after[2:7]) == "Adobe" && after[13] == 0
		return !found
	})
	return found
}

// cost is what Go's decoder takes. It keeps each component in bytes, rounded up
// to whole blocks; of a progressive file also every coefficient, in four bytes,
// until the end; and copies red, green and blue, and the four components of
// print, to pixels of four bytes.
func (h jpegHeader) cost(rgb bool) cost {
	samples := h.samples()
	c := cost{kind: "JPEGs " + h.colours(rgb), decoder: samples, kept: samples, plane: planeBytes}
	if h.progressive {
		c.kind, c.decoder, c.instead = "progressive "+c.kind, 5*samples, "as an ordinary JPEG (baseline, 4:2:0)"
	}
	if rgb || len(h.h) == 4 {
		c.decoder, c.kept = c.decoder+4, 4
	}
	return c
}

// colours names how the colours are stored.
func (h jpegHeader) colours(rgb bool) string {
	switch {
	case len(h.h) == 1:
		return "in grey"
	case len(h.h) == 4:
		return "in CMYK"
	case rgb:
		return "in RGB"
	}
	ratio := map[int]string{0x11: "4:4:4", 0x12: "4:4:0", 0x21: "4:2:2", 0x22: "4:2:0", 0x41: "4:1:1", 0x42: "4:1:0"}
	return "in " + ratio[h.h[0]/h.h[1]<<4|h.v[0]/h.v[1]]
}

// samples is how many a pixel has, what fills up the blocks included.
func (h jpegHeader) samples() float64 {
	across, down := roundUp(h.width, 8*h.h[0]), roundUp(h.height, 8*h.v[0])
	sum := 0.0
	for i := range h.h {
		sum += float64(h.h[i]*h.v[i]) / float64(h.h[0]*h.v[0])
	}
	return sum * float64(across) * float64(down) / float64(h.width*h.height)
}

func roundUp(n, step int) int { return (n + step - 1) / step * step }
