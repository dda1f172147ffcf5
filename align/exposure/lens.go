package exposure

import (
	"fmt"
	"math"

	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// diagonal35mm is the diagonal of a 24 mm × 36 mm picture, by which equivalents are counted.
const diagonal35mm = 43.266615

// mostPixels a picture may have: larger ones are mistakes.
const mostPixels = 200e6

// Optics is what is said of a lens; zeros are unknown. One of ScaleArcsecPerPx, FocalLengthMM with PixelPitchUM, or
// EquivalentMM with the size settles the focal length in pixels, in that order.
type Optics struct {
	FocalLengthMM, PixelPitchUM float64
	EquivalentMM                float64 // focal length that draws the same picture on 24 mm × 36 mm, by the diagonal
	ScaleArcsecPerPx            float64
	FNumber                     float64
	Width, Height               int // of the picture in pixels; both 0: unknown
}

// Lens is a pinhole and its picture. Distortion is left out (package comment).
type Lens struct {
	FocalPx       float64
	Width, Height int // both 0: the middle of the picture stands for all of it
}

// Lens is the pinhole the optics make. The error is [ErrLens].
func (o Optics) Lens() (Lens, error) {
	if err := o.sound(); err != nil {
		return Lens{}, err
	}
	l := Lens{Width: o.Width, Height: o.Height}
	switch {
	case o.ScaleArcsecPerPx > 0:
		l.FocalPx = 1 / math.Tan(o.ScaleArcsecPerPx/3600*math.Pi/180)
	case o.FocalLengthMM > 0 && o.PixelPitchUM > 0:
		l.FocalPx = o.FocalLengthMM * 1000 / o.PixelPitchUM
	case o.EquivalentMM > 0 && o.Width > 0:
		l.FocalPx = o.EquivalentMM * math.Hypot(float64(o.Width), float64(o.Height)) / diagonal35mm
	case o.EquivalentMM > 0:
		return Lens{}, amiss.New(ErrLens, "a 35 mm equivalent alone does not tell how many pixels a star moves by", "give the picture's size as well, as 4032x3024")
	default:
		return Lens{}, amiss.New(ErrLens, "the lens is not known", "give the focal length and the pixel pitch, the 35 mm equivalent and the picture's size, or the scale in arcseconds per pixel")
	}
	return l, l.sound()
}

func (o Optics) sound() error {
	named := []struct {
		name  string
		value float64
	}{
		{"focal length", o.FocalLengthMM}, {"pixel pitch", o.PixelPitchUM}, {"35 mm equivalent", o.EquivalentMM},
		{"scale", o.ScaleArcsecPerPx}, {"f-number", o.FNumber},
	}
	for _, n := range named {
		if !finite(n.value) || n.value < 0 {
			return amiss.New(ErrLens, fmt.Sprintf("a %s of %g is none", n.name, n.value), "lengths, scales and f-numbers are above zero")
		}
	}
	return soundSize(o.Width, o.Height)
}

func soundSize(width, height int) error {
	switch {
	case width < 0 || height < 0 || (width == 0) != (height == 0):
		return amiss.New(ErrLens, fmt.Sprintf("a picture of %d × %d pixels is none", width, height), "give width and height in pixels, both above zero")
	case float64(width)*float64(height) > mostPixels:
		return amiss.New(ErrLens, fmt.Sprintf("a picture of %d × %d pixels is too large", width, height), "pictures have at most 200 megapixels")
	}
	return nil
}

func (l Lens) sound() error {
	if !finite(l.FocalPx) || l.FocalPx <= 0 {
		return amiss.New(ErrLens, fmt.Sprintf("a focal length of %g pixels is none", l.FocalPx), "check focal length and pixel pitch, or the scale: all are above zero")
	}
	return soundSize(l.Width, l.Height)
}

// half is the picture's middle as a pixel place; the offsets of places count from there.
func (l Lens) half() (x, y float64) {
	return float64(max(l.Width, 1)-1) / 2, float64(max(l.Height, 1)-1) / 2
}

// vec is a place or a motion in the picture, pixels, x right and y down.
type vec struct{ x, y float64 }

func (a vec) plus(b vec) vec      { return vec{a.x + b.x, a.y + b.y} }
func (a vec) minus(b vec) vec     { return vec{a.x - b.x, a.y - b.y} }
func (a vec) times(f float64) vec { return vec{f * a.x, f * a.y} }
func (a vec) length() float64     { return math.Hypot(a.x, a.y) }
func (a vec) dot(b vec) float64   { return a.x*b.x + a.y*b.y }

// places are where the stars are followed, as offsets from the picture's middle: the corners first, where most
// goes wrong, then the middles of the edges, and the middle itself.
func (l Lens) places() []vec {
	hx, hy := l.half()
	if l.Width == 0 {
		return []vec{{}}
	}
	return []vec{{-hx, -hy}, {hx, -hy}, {-hx, hy}, {hx, hy}, {0, -hy}, {0, hy}, {-hx, 0}, {hx, 0}, {}}
}

// Middle of the picture, among the places where stars are followed.
const Middle = say.Key("the middle")

// placeNames are the places, in their order.
var placeNames = [...]say.Key{say.Key("the top left corner"), say.Key("the top right corner"), say.Key("the bottom left corner"), say.Key("the bottom right corner"),
	say.Key("the top edge"), say.Key("the bottom edge"), say.Key("the left edge"), say.Key("the right edge"), Middle}
