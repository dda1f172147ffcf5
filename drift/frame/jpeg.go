package frame

import (
	"bufio"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"strings"
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
	if err := checkScans(src, conf.Width*conf.Height); err != nil {
		return picture{}, err
	}
	img, err := jpeg.Decode(bufio.NewReaderSize(src.reader(), 1<<16))
	if err != nil {
		return picture{}, jpegError(err)
	}
	p = picture{format: "JPEG", light: jpegLight(img)}
	p.readEXIF(jpegEXIF(src))
	return p, nil
}

func jpegError(err error) error {
	if e, ok := err.(jpeg.UnsupportedError); ok {
		cause := "this kind of JPEG is not read: " + strings.TrimPrefix(string(e), "unsupported JPEG feature: ")
		return &Error{Kind: ErrUnsupported, Cause: cause, hint: "export it as an ordinary JPEG", err: err}
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
		l.row, l.signal = anyRow8(img, table), signalRGB
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

// anyRow8 serves the rare 8-bit layouts (RGB and CMYK JPEG, palettes).
func anyRow8(img image.Image, table []float32) func([]float32, int) error {
	b := img.Bounds()
	return func(dst []float32, y int) error {
		for x := range dst {
			c := color.NRGBAModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA)
			dst[x] = colourSignal(table[c.R], table[c.G], table[c.B])
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
func checkScans(src source, pixels int) error {
	progressive := false
	ends := jpegSegments(src, func(s segment) bool {
		progressive = progressive || s.marker == 0xc2
		return !progressive
	})
	if !ends {
		return &Error{Kind: ErrBroken, Cause: fmt.Sprintf("the JPEG is made of more than %d segments", maxSegments), hint: hintCopy}
	}
	if !progressive {
		return nil
	}
	scans, most := 0, maxScans
	if pixels > emptyPixels {
		most = maxScansLarge
	}
	r := bufio.NewReaderSize(src.reader(), 1<<16)
	for {
		if _, err := r.ReadSlice(0xff); err == bufio.ErrBufferFull {
			continue
		} else if err != nil {
			return nil // the end; the decoder tells of read errors
		}
		if next, _ := r.Peek(1); len(next) == 1 && next[0] == 0xda {
			if scans++; scans > most {
				return &Error{Kind: ErrBroken, Cause: fmt.Sprintf("the JPEG is made of more than %d scans", most), hint: hintCopy}
			}
		}
	}
}
