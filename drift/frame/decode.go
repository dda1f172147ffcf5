package frame

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"
	"time"

	"trueturn/ephem/amiss"
)

const (
	maxFileBytes = 2 << 30     // beyond any picture this tool is meant for
	maxPixels    = 200_000_000 // of any kind; see memory.go for the limit of each
	maxSide      = 1 << 20     // no camera writes longer rows; keeps products in range
	maxParts     = 1 << 17     // tiles or strips: more than rows in any picture; each costs some time, however small

	// Up to so many pixels a picture may be as empty as its format allows; larger
	// ones hold noise and need a byte for each hundred pixels (our choice; no
	// source). It keeps a file of a few kilobytes from taking a gigabyte.
	emptyPixels         = 16 << 20
	maxNoisePixelsAByte = 100
)

// Decode reads one picture, from the beginning of r wherever r stands: its
// light, and what it says of clock, lens and place. The content decides what
// the file is; its name does not matter.
//
// The error is an [*Error] of kind ErrNotPicture, ErrUnsupported, ErrBroken or
// ErrTooLarge. A picture without a usable clock is no error: the light comes
// back, Clock is nil and ClockErr (of kind ErrNoClock) says why.
//
// Light. Eight-bit values are taken as coded with the curve of IEC 61966-2-1
// (sRGB) and undone. Sixteen-bit grey and FITS are taken as linear.
// Sixteen-bit colour is taken as coded with the curve, unless the file says
// otherwise (PNG gAMA, cICP; an ICC profile's tone curve). Colour is reduced
// to one value, red, green and blue as 1:2:1, which serves stars best; the
// planes of FITS cubes likewise, taken as red, green and blue (common practice,
// no source). JPEG's own luma is used directly, which for strongly coloured
// light is not quite linear (it is for grey, and it is always monotonic):
// chroma is stored at half the size and would smear stars, and on real pictures
// its part would add 5 to 8 % of signal-to-noise. Frame.Signal says which. FITS integers of 8 and 16 bits are scaled
// to full scale 1; wider ones, scaled ones and floats keep their own unit.
//
// Memory: the decoded file and four bytes a pixel, together never more than
// [MostBytes]; a picture that would take more is of kind ErrTooLarge.
func Decode(r io.ReadSeeker, o Options) (Frame, error) {
	src, err := newSource(r)
	if err != nil {
		return Frame{}, err
	}
	src.memory, src.show = &memory{admit: o.Admit}, o.Show
	k, err := sniff(src)
	if err != nil {
		return Frame{}, err
	}
	p, err := k.decode(src)
	if err != nil {
		return Frame{}, err
	}
	p.memory = src.memory
	return p.frame(o)
}

// picture is a file half way: its light still to be drawn row by row, its
// metadata not yet interpreted.
type picture struct {
	format string
	light  light
	orient int // EXIF orientation 1–8

	lens  Lens
	place *place
	stamp func(Options) (Clock, []string, error) // reads the file's own clock

	rowOrderUnknown bool
	altered         string
	instead         string
	notes           []string
	memory          *memory // may be nil
}

// frame draws the light and settles the clock.
func (p picture) frame(o Options) (Frame, error) {
	p.memory.collect()
	plane, err := p.light.draw(p.orient)
	if err != nil {
		return Frame{}, err
	}
	f := Frame{Plane: plane, Lens: p.lens, Format: p.format, Signal: p.light.signalOf(), RowOrderUnknown: p.rowOrderUnknown,
		Altered: p.altered, Instead: p.instead, Notes: p.notes}
	p.light = light{} // the image it was drawn from is not needed any more
	p.memory.collect()
	f.setPlace(p.place)
	c, notes, err := p.clock(o)
	f.Notes = append(f.Notes, notes...)
	if err != nil {
		f.ClockErr = err
		o.Zone = time.UTC // for the length of the exposure, which no zone changes
		c, _, _ = p.stamp(o)
		f.Exposure = c.Exposure
		return f, nil
	}
	f.Clock, f.Exposure = &c, c.Exposure
	return f, nil
}

// clock prefers the row of the table the user gave to the file's own stamp.
func (p picture) clock(o Options) (Clock, []string, error) {
	if c, ok := o.Times[o.Name]; ok && o.Name != "" {
		return c, nil, nil
	}
	c, notes, err := p.stamp(o)
	if err != nil {
		if o.Times != nil {
			notes = append(notes, fmt.Sprintf("the table of times has no row for %q", o.Name))
		}
		return Clock{}, notes, err
	}
	c = c.MovedBy(o.ClockOffset)
	if o.ClockOffset != 0 {
		c.Source += fmt.Sprintf(", moved by %v", o.ClockOffset)
	}
	if c.Exposure == 0 {
		notes = append(notes, "no exposure time in the file: the stamp is used as the middle of the exposure")
	}
	return c, notes, nil
}

// source is the file as the decoders see it: readable anywhere, its size known.
type source struct {
	io.ReaderAt
	size    int64
	held    int64 // bytes of it that lie in memory
	show    Shower
	*memory // may be nil
}

// part is another view of the same file.
func (s source) part(r io.ReaderAt, size int64) source {
	s.ReaderAt, s.size = r, size
	return s
}

// unpacked is what was unpacked of it into memory.
func (s source) unpacked(b []byte) source {
	s = s.part(bytes.NewReader(b), int64(len(b)))
	s.held += s.size
	return s
}

func newSource(r io.ReadSeeker) (source, error) {
	size, err := r.Seek(0, io.SeekEnd)
	if err != nil {
		return source{}, broken(err, "the file cannot be read")
	}
	if size == 0 {
		return source{}, amiss.New(ErrBroken, "the file is empty",
			"copy it again from the camera; an interrupted copy leaves an empty file")
	}
	if size == math.MaxInt64 { // what seeking in a folder gives
		return source{}, amiss.New(ErrNotPicture, "this is a folder or a device, not a file", "name the pictures inside")
	}
	if size > maxFileBytes {
		return source{}, amiss.New(ErrTooLarge, fmt.Sprintf("the file has %d MB", size>>20),
			"pictures up to 2 GB are read; save it smaller")
	}
	if ra, ok := r.(io.ReaderAt); ok {
		return source{ReaderAt: ra, size: size}, nil
	}
	return source{ReaderAt: &seekerAt{r: r}, size: size}, nil
}

func (s source) reader() *io.SectionReader { return io.NewSectionReader(s, 0, s.size) }

// head returns up to n bytes from the start of the file.
func (s source) head(n int) []byte {
	b := make([]byte, min(int64(n), s.size))
	m, _ := s.ReadAt(b, 0)
	return b[:m]
}

// bytes returns n bytes at an offset, refusing what lies outside the file
// before allocating.
func (s source) bytes(off, n int64) ([]byte, error) {
	if off < 0 || n < 0 || off > s.size || n > s.size-off {
		return nil, io.ErrUnexpectedEOF
	}
	b := make([]byte, n)
	_, err := io.ReadFull(io.NewSectionReader(s, off, n), b)
	return b, err
}

// seekerAt lends ReadAt to a reader that can only seek.
type seekerAt struct {
	mu sync.Mutex
	r  io.ReadSeeker
}

func (s *seekerAt) ReadAt(b []byte, off int64) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, err := s.r.Seek(off, io.SeekStart); err != nil {
		return 0, err
	}
	n, err := io.ReadFull(s.r, b)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	return n, err
}

// checkSize refuses a picture by its dimensions. pixelsPerByte is the most
// pixels a byte of file can hold in this format: a small file that claims a huge
// picture is refused before memory is set aside for it.
func (s source) checkSize(width, height int, pixelsPerByte int64) error {
	if width <= 0 || height <= 0 {
		return amiss.New(ErrBroken, fmt.Sprintf("the file claims the impossible size of %d×%d pixels", width, height), hintCopy)
	}
	if width > maxSide || height > maxSide || int64(width)*int64(height) > maxPixels {
		return amiss.New(ErrTooLarge, fmt.Sprintf("the picture has %d×%d pixels", width, height),
			hintLarge)
	}
	if int64(width)*int64(height) > emptyPixels {
		pixelsPerByte = min(pixelsPerByte, maxNoisePixelsAByte)
	}
	if int64(width)*int64(height) > s.size*pixelsPerByte {
		return amiss.New(ErrBroken, fmt.Sprintf("the file has %d bytes, too few for its %d×%d pixels", s.size, width, height), hintCopy)
	}
	return nil
}

// guard turns a panic of a library into an error of kind ErrBroken.
func guard(err *error) {
	if v := recover(); v != nil {
		*err = &amiss.Error{Kind: ErrBroken, Text: "the picture's data make no sense", Ways: amiss.Do(hintCopy), From: fmt.Errorf("decoder: %v", v)}
	}
}

// durationOf converts seconds; false when they are no plausible exposure.
func durationOf(seconds float64) (time.Duration, bool) {
	if !(seconds > 0) || seconds > 86400 {
		return 0, false
	}
	return time.Duration(seconds*1e9 + 0.5), true
}
