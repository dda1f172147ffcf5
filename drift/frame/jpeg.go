package frame

import (
	"bufio"
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
		return &Error{Kind: ErrUnsupported, Cause: "this kind of JPEG is not read: " + strings.TrimPrefix(string(e), "unsupported JPEG feature: "), hint: "export it as an ordinary JPEG", err: err}
	}
	return broken(err, "the JPEG data are damaged")
}

// jpegLight reads luma where the file has it, else the decoded colours.
func jpegLight(img image.Image) light {
	table := curve(linearOf).table(256)
	l := light{width: img.Bounds().Dx(), height: img.Bounds().Dy(), saturation: table[jpegClip]}
	switch img := img.(type) {
	case *image.YCbCr:
		l.row = lookup8(img.Y, img.YStride, table)
	case *image.Gray:
		l.row = lookup8(img.Pix, img.Stride, table)
	default:
		l.row = anyRow8(img, table)
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
			dst[x] = luminance(table[c.R], table[c.G], table[c.B])
		}
		return nil
	}
}

// jpegEXIF returns the TIFF block of the first Exif segment, nil without one.
func jpegEXIF(src source) []byte {
	for off := int64(2); ; {
		h, err := src.bytes(off, 4)
		if err != nil || h[0] != 0xff {
			return nil
		}
		if h[1] == 0xff { // fill byte
			off++
			continue
		}
		if h[1] == 0xda || h[1] == 0xd9 { // the picture's data begin
			return nil
		}
		n := int64(h[2])<<8 | int64(h[3])
		if h[1] == 0xe1 && n > 8 {
			b, err := src.bytes(off+4, n-2)
			if err == nil && string(b[:6]) == "Exif\x00\x00" {
				return b[6:]
			}
		}
		off += 2 + n
	}
}
