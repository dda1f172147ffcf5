// Package frame turns the bytes of a picture file into linear light, a clock
// and what is known of the lens and the place – and writes such files.
//
// Start with [Decode]: it looks at the content, never at the file's name, and
// reads JPEG, PNG, TIFF, DNG and FITS, of makers' own raw files the JPEG
// inside, and HEIC by a decoder it is lent. The way back is [Encode]. Clocks that stand
// in a table beside the pictures are read by [ParseTimes].
//
// The package reads from what it is given and keeps no state: no files, no
// wall clock, no network.
package frame

import (
	"time"

	"trueturn/ephem"
)

// Plane is a picture as linear light: twice the light is twice the number.
//
// Rows run from the top as the picture is displayed (orientation tags already
// applied), pixel centres stand at integers, (0,0) top left. Pix holds
// Width×Height values, row after row. Integer files are scaled so that 1 is
// their full scale. FITS files with scaled or floating values keep the file's
// own unit; values that are blank there are NaN here.
//
// Colour mosaics have one value for each cell of 2×2 pixels: Width and Height
// count cells, and the middle of cell (x, y) is at (2x+½, 2y+½) of the true
// pixels. Everything else counts true pixels.
type Plane struct {
	Width, Height int
	Cell          Cell // which pixels of the sensor make one value
	Pix           []float32
	Saturation    float32 // a pixel at or above this has clipped; +Inf when the file cannot say
}

// Cell says which pixels of the sensor make one value of a plane. The zero
// value is one pixel.
type Cell uint8

// Cells of a colour mosaic have 2×2 pixels.
const (
	OnePixel      Cell = iota
	GreensFalling      // the mean of the upper left and the lower right pixel, as displayed
	GreensRising       // the mean of the lower left and the upper right pixel
	FourPixels         // the mean of all
)

// Side is how many pixels a cell is wide and high.
func (c Cell) Side() int {
	if c == OnePixel {
		return 1
	}
	return 2
}

// turned is the cell once the picture was turned as an EXIF orientation says:
// mirrors and quarter turns exchange the diagonals of a square, half turns and
// mirrors in a diagonal leave them.
func (c Cell) turned(orient int) Cell {
	if orient == 2 || orient == 4 || orient == 6 || orient == 8 {
		switch c {
		case GreensFalling:
			return GreensRising
		case GreensRising:
			return GreensFalling
		}
	}
	return c
}

// Row returns the pixels of row y, 0 at the top.
func (p Plane) Row(y int) []float32 { return p.Pix[y*p.Width : (y+1)*p.Width] }

// Clock says when a picture was taken.
type Clock struct {
	Start    time.Time     // beginning of the exposure, UTC
	Exposure time.Duration // 0 when the file does not say
	Step     time.Duration // resolution of the stamp: 1 s for whole seconds
	Source   string        // where it came from, e.g. "EXIF DateTimeOriginal, offset from GPS time"
	Told     Told          // what it rests on
}

// Mid is the middle of the exposure, UTC: the instant of the frame.
func (c Clock) Mid() time.Time { return c.Start.Add(c.Exposure / 2) }

// Lens holds what the file says of the optics. Every field is 0 or empty when
// unknown.
type Lens struct {
	FocalLengthMM    float64 // real focal length
	EquivalentMM     float64 // focal length giving the same view on 36×24 mm
	PixelPitchUM     float64 // distance of pixel centres of the picture as stored, binning included; of a mosaic, of its true pixels
	FNumber          float64
	ScaleArcsecPerPx float64 // only where the file states a scale itself
	Make, Model      string
}

// Stamp says which instant of the exposure a picture's time stamp names.
type Stamp uint8

// The EXIF standard does not promise which instant DateTimeOriginal is; most
// cameras write the start (common practice, no source).
const (
	StampStart Stamp = iota
	StampMiddle
	StampEnd
)

// String returns start, middle or end, the words of the command line.
func (s Stamp) String() string {
	switch s {
	case StampMiddle:
		return "middle"
	case StampEnd:
		return "end"
	}
	return "start"
}

// Options steer Decode. The zero value is usable.
type Options struct {
	Zone        *time.Location // zone of EXIF times that carry no offset; nil: none is assumed
	ZoneKept    bool           // Zone is usual at the site, not said of these pictures: one that says otherwise does not contradict it
	ClockOffset time.Duration  // added to every time read from the picture, for a clock known to be wrong
	Stamp       Stamp          // which instant EXIF times and DATE-OBS are; other FITS keywords and tables say so themselves
	Times       Times          // table of clocks by base name; its rows win over the picture's own clock
	Name        string         // base name of the file, to find it in Times

	// Show, where set, decodes HEIC pictures, which are refused without it.
	Show Shower

	// Admit, where set, is told how many bytes reading the picture takes, at
	// most MostBytes, before they are set aside. It may wait for room; its error
	// ends Decode. When the picture turns out to be read another way it is told
	// again, and the last figure stands.
	Admit func(bytes int64) error
}

// Frame is one decoded picture.
type Frame struct {
	Plane    Plane
	Clock    *Clock // nil when ClockErr says why
	ClockErr error
	Exposure time.Duration // length of the exposure, known also where the clock is not; 0 when the file does not say
	Lens     Lens
	Place    *ephem.Site // nil when the file does not say
	Format   string      // "JPEG", "PNG", "TIFF", "DNG", "TIFF/EP", "JPEG in raw", "HEIC" or "FITS"
	Signal   string      // which of its colours the light is made of, e.g. "luma" or "the two greens of each cell"

	// RowOrderUnknown: a FITS file without ROWORDER. Its rows are delivered
	// bottom-up (the first stored row is the lowest), which is common practice;
	// if that is wrong the picture is mirrored.
	RowOrderUnknown bool

	// Altered says by what the file shows that it is not the picture as the camera took it: a screenshot, a panorama, a
	// piece, a copy of another size, or one saved anew; "" when it shows nothing of the kind. Such a picture may well be
	// measured; where it cannot be, this may be why.
	Altered string

	// Instead says what was measured in place of the picture's own data: a JPEG beside them, or what a decoder lent made of
	// them; "" where they were read. It stands in Notes too.
	Instead string

	Notes []string // doubts worth telling, e.g. "no exposure time in the file"
}

// setPlace takes a position over when it is one on Earth. A height where nobody
// stands is no reason to doubt it, and left out.
func (f *Frame) setPlace(p *place) {
	if p == nil {
		return
	}
	site, err := ephem.NewSite(p.latDeg, p.lonDeg, 0)
	if err == nil && p.heightM != 0 {
		if high, doubt := ephem.NewSite(p.latDeg, p.lonDeg, p.heightM); doubt == nil {
			site = high
		} else {
			f.Notes = append(f.Notes, "the height in the file is not used: "+doubt.Error())
		}
	}
	if err != nil {
		f.Notes = append(f.Notes, "the position in the file is not used: "+err.Error())
		return
	}
	f.Place = &site
}
