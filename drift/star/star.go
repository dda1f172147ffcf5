package star

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"

	"github.com/soniakeys/unit"

	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// Flag marks what a user of a star's position should know.
type Flag uint8

// Flags of a star.
const (
	Saturated Flag = 1 << iota // the core has clipped: position from the wings, error widened
	Edge                       // part of the star lies outside the picture
	Blend                      // a neighbour reaches into the star; its light was fitted and taken off
	Trailed                    // measured as a straight trail; the position is the trail's middle
	Hot                        // sharper than the picture's stars can be: a hot pixel or pair, only in Field.Suspects
)

// Star is one source of light. Lengths are in pixels of the picture, x to the right, y down, pixel centres at integers,
// (0,0) top left; of a colour mosaic the pixels are the sensor's own, not the plane's cells. Errors are standard errors (1σ).
type Star struct {
	X, Y          float64 // middle of the light; of a trail, the middle of its path
	XErr, YErr    float64
	XYCov         float64 // covariance of X and Y, pixels²
	Flux          float64 // the star's whole light above the background, in units of the plane
	FluxErr       float64
	Peak          float64 // brightest pixel above the background
	FWHM          float64 // 2.3548 σ, geometric mean of both axes, the pixel's own width included
	FWHMErr       float64
	Elongation    float64 // long over short axis from second moments, ≥ 1: √(1+L²/12σ²) for a trail of length L
	ElongationErr float64
	Angle         unit.Angle // of the long axis, from +x toward +y, in [0, π)
	AngleErr      unit.Angle // π/√12, the scatter of a uniform guess, where the star is too round to say
	TrailPx       float64    // L: length of the straight path that explains the elongation; noise alone makes it > 0
	TrailPxErr    float64    // linear; the square of TrailPx is normal, so test for a trail by TrailPx/TrailPxErr > 2 × the σ wanted
	Flags         Flag
}

// Field is what one picture holds.
type Field struct {
	Width, Height     int
	Stars             []Star  // brightest first
	Suspects          []Star  // refused as hot pixels by their shape, brightest first
	Background, Noise float64 // medians over the picture: sky per pixel and its standard deviation at a star's scale
	FWHM, Elongation  float64 // medians over the well measured stars; 0 without stars
	Condition         Condition
}

// Condition names what a picture is when it is not a picture of stars.
type Condition uint8

// Conditions of a picture.
const (
	Good        Condition = iota // stars were found
	NoStars                      // a sky, or something, but no stars (cloud, fog, landscape, out of focus)
	Dark                         // nothing but noise and hot pixels over black: cap on, or far too short
	TooBright                    // the sky is near full scale, or much of the picture is: daylight, twilight, overexposed
	Featureless                  // one value everywhere, or no finite pixel at all
)

var conditionNames = [...]string{"good", "no stars", "dark", "too bright", "featureless"}

// String returns the condition in words.
func (c Condition) String() string {
	if int(c) < len(conditionNames) {
		return conditionNames[c]
	}
	return fmt.Sprintf("condition %d", uint8(c))
}

// Options tune Find. The zero value is the usual choice.
type Options struct {
	MaxStars int     // most stars kept, spread over the picture; 0 = 600
	Sigmas   float64 // detection threshold over the filtered noise; 0 = 5.5: less than one false in 12 megapixels of normal noise
	Workers  int     // goroutines; 0 = as many as the machine runs at once, at most 8
}

func (o Options) filled() Options {
	if o.MaxStars <= 0 {
		o.MaxStars = 600
	}
	if !(o.Sigmas > 0) {
		o.Sigmas = 5.5
	}
	if o.Workers <= 0 {
		o.Workers = min(runtime.GOMAXPROCS(0), 8)
	}
	return o
}

// ErrPlane: the plane's sides and its pixels do not agree.
var ErrPlane = errors.New("no such plane")

// Find measures the stars of a picture.
//
// Pictures without stars are no error: see Field.Condition. The error is ctx.Err() when the context ended, or ErrPlane.
// p is only read. Beside it Find holds up to four times its size for
// pictures under two megapixels (32 MB), half of it to once for larger ones.
func Find(ctx context.Context, p frame.Plane, o Options) (Field, error) {
	if p.Width <= 0 || p.Height <= 0 || len(p.Pix) < p.Width*p.Height || p.Width > math.MaxInt/p.Height {
		return Field{}, amiss.New(ErrPlane, fmt.Sprintf("picture of %d × %d pixels holds %d values", p.Width, p.Height, len(p.Pix)),
			"the picture was cut off or decoded wrongly: copy it again from the camera")
	}
	f := finder{ctx: ctx, p: p, o: o.filled(), field: Field{Width: p.Width, Height: p.Height}}
	f.sat, f.eye, f.factor = saturationOf(p), eyeOf(p.Cell), factorFor(p.Width, p.Height)
	for _, stage := range []func(){f.settle, f.secondLook, f.measureAll, f.conclude} {
		if err := ctx.Err(); err != nil {
			return Field{}, err
		}
		if stage(); f.over {
			break
		}
	}
	f.eye.truePixels(&f.field)
	return f.field, ctx.Err()
}

// saturationOf: a hair under the level where pixels clip, for codecs that round.
func saturationOf(p frame.Plane) float32 {
	if s := p.Saturation; s > 0 {
		return s * 0.985
	}
	return float32(math.Inf(1))
}
