package simulate

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is a pinhole with a lens that is not quite perfect, and a sensor
// behind it. Directions are in the camera's frame: x right, y down, z forward;
// pixel centres stand at integers, (0,0) top left.
//
// With X = x/z, Y = y/z the ideal picture lies at FocalPx·(X, Y) from the
// optical centre; r is its distance there in half diagonals of the picture.
// The lens moves a point at u (in half diagonals, r = |u|) to
//
//	u' = u·(1 + K1 r² + K2 r⁴) + (2 P1 ux uy + P2 (r² + 2ux²), P1 (r² + 2uy²) + 2 P2 ux uy)
//
// (the radial and tangential terms of D. C. Brown, "Decentering distortion of
// lenses", Photogrammetric Engineering 32 (1966) 444, in units of ours).
type Camera struct {
	Width, Height    int
	FocalPx          float64 // focal length in pixels
	OffsetX, OffsetY float64 // optical centre less the picture's centre, px
	K1, K2           float64 // radial distortion
	P1, P2           float64 // tangential distortion

	FWHM          float64 // full width of a star at half height before the pixels, px
	Moffat        float64 // exponent β of the star's wings; 0 for a Gaussian
	CornerStretch float64 // length of a star's radial smear in the corner, px; grows with r²

	Vignetting  float64 // share of the light lost in the corner
	ZeroPoint   float64 // electrons per second from a star of magnitude 0 above the air
	FullScale   float64 // electrons in one pixel that give the value 1
	ReadNoise   float64 // electrons rms per pixel and picture
	Pedestal    float64 // electrons added to every pixel so that noise is not cut off
	DarkCurrent float64 // electrons per second and pixel
	HotPixels   int     // pixels that shine by themselves, always the same ones
	Noiseless   bool    // no noise of any kind, for checks against closed forms

	// What the files say of the optics; nothing here changes the picture.
	Make, Model   string
	FocalLengthMM float64
	EquivalentMM  float64
	PixelPitchUM  float64
	FNumber       float64
}

// diagonal35MM is the diagonal of a 36 mm × 24 mm picture, to which equivalent
// focal lengths refer.
const diagonal35MM = 43.2666

// Phone is the camera of an invented phone: megapixels in 4:3, a focal length
// given as its 35 mm equivalent, counted by the diagonal. Sensitivity, noise
// and lens faults are set to what such a phone has; change them afterwards.
func Phone(equivalentMM, megapixels float64) Camera {
	w := 4 * math.Round(math.Sqrt(megapixels*1e6*4/3)/4)
	h := w * 3 / 4
	diagonal := math.Hypot(w, h)
	const sensorDiagonalMM = 7.0 // a small sensor, invented
	focal := equivalentMM / diagonal35MM * sensorDiagonalMM
	aperture := focal / 1.8
	if aperture > 6 { // a long lens does not fit into a phone's back at f/1.8
		aperture = 6
	}
	return Camera{
		Width: int(w), Height: int(h),
		FocalPx: equivalentMM / diagonal35MM * diagonal,
		OffsetX: 7.3, OffsetY: -4.6,
		K1: -0.012, K2: 0.004,
		FWHM: 2.6, Moffat: 4, CornerStretch: 0.8,
		Vignetting: 0.45,
		ZeroPoint:  zeroPoint(aperture, 0.12),
		FullScale:  1500, ReadNoise: 2.2, DarkCurrent: 0.02, Pedestal: 6,
		HotPixels: 220,
		Make:      "Lantern", Model: "Lantern P1",
		FocalLengthMM: round(focal, 100), EquivalentMM: equivalentMM,
		PixelPitchUM: round(sensorDiagonalMM/diagonal*1000, 1000),
		FNumber:      round(focal/aperture, 10),
	}
}

// Small is an invented small camera with a lens of focalLengthMM at fNumber, a
// sensor of width × height pixels of pixelPitchUM.
func Small(focalLengthMM, fNumber, pixelPitchUM float64, width, height int) Camera {
	return Camera{
		Width: width, Height: height,
		FocalPx: focalLengthMM * 1000 / pixelPitchUM,
		OffsetX: -3.4, OffsetY: 5.1,
		K1:   -0.006,
		FWHM: 2.4, Moffat: 3.5, CornerStretch: 0.6,
		Vignetting: 0.3,
		ZeroPoint:  zeroPoint(focalLengthMM/fNumber, 0.2),
		FullScale:  9000, ReadNoise: 3, DarkCurrent: 0.05, Pedestal: 40,
		HotPixels: 150,
		Make:      "Fernhill", Model: "Fernhill 24",
		FocalLengthMM: focalLengthMM, PixelPitchUM: pixelPitchUM, FNumber: fNumber,
	}
}

// zeroPoint gives the electrons per second of a star of magnitude 0 through an
// opening of apertureMM, of whose photons the share quantum is counted (optics,
// colour filters and silicon together). About 1000 photons per second, square
// centimetre and ångström arrive near 5500 Å (common practice, from memory);
// the band counts for 3000 Å.
func zeroPoint(apertureMM, quantum float64) float64 {
	area := math.Pi / 4 * apertureMM * apertureMM / 100 // cm²
	return 1000 * 3000 * area * quantum
}

func round(v, steps float64) float64 { return math.Round(v*steps) / steps }

// optics is the lens as it stands in one picture: breathing, crop and the
// wandering of the optical centre applied.
type optics struct {
	focal, half    float64 // px: focal length, half diagonal
	cx, cy         float64 // optical centre, px
	k1, k2, p1, p2 float64
}

func (c Camera) optics(scale, dx, dy float64) optics {
	return optics{
		focal: c.FocalPx * scale,
		half:  math.Hypot(float64(c.Width), float64(c.Height)) / 2,
		cx:    float64(c.Width-1)/2 + c.OffsetX + dx,
		cy:    float64(c.Height-1)/2 + c.OffsetY + dy,
		k1:    c.K1, k2: c.K2, p1: c.P1, p2: c.P2,
	}
}

// widest is the ideal radius, in half diagonals, up to which the lens model is
// taken: past it a polynomial may fold the sky back into the picture.
const widest = 1.25

// pixel projects a direction; ok is false behind the camera or far outside.
func (o optics) pixel(v r3.Vec) (x, y float64, ok bool) {
	if v.Z <= 0 {
		return 0, 0, false
	}
	ux, uy := o.focal*v.X/(v.Z*o.half), o.focal*v.Y/(v.Z*o.half)
	if ux*ux+uy*uy > widest*widest {
		return 0, 0, false
	}
	mx, my := o.bend(ux, uy)
	return o.cx + o.half*mx, o.cy + o.half*my, true
}

// bend applies the distortion, in half diagonals.
func (o optics) bend(x, y float64) (float64, float64) {
	r2 := x*x + y*y
	k := 1 + r2*(o.k1+r2*o.k2)
	return x*k + 2*o.p1*x*y + o.p2*(r2+2*x*x),
		y*k + o.p1*(r2+2*y*y) + 2*o.p2*x*y
}

// ray is the unit direction seen at a pixel: the inverse of pixel, by fixed
// point iteration, which converges for every lens Validate lets pass.
func (o optics) ray(x, y float64) r3.Vec {
	mx, my := (x-o.cx)/o.half, (y-o.cy)/o.half
	ux, uy := mx, my
	for range 60 {
		bx, by := o.bend(ux, uy)
		ux, uy = ux+mx-bx, uy+my-by
		if math.Abs(mx-bx)+math.Abs(my-by) < 1e-14 {
			break
		}
	}
	return r3.Unit(r3.Vec{X: ux * o.half / o.focal, Y: uy * o.half / o.focal, Z: 1})
}

// halfField is the angle from the picture's centre to a corner, with extraPx
// and a little room for distortion and an optical centre that is off.
func (c Camera) halfField(scale, extraPx float64) unit.Angle {
	half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	room := 1.03*half + math.Hypot(c.OffsetX, c.OffsetY) + 10 + extraPx
	return unit.Angle(math.Atan(room * (1 + math.Abs(c.K1) + math.Abs(c.K2)) / (c.FocalPx * scale)))
}

// Limits that keep rendering bounded. maxPixels is the project's limit for
// pictures of any kind.
const (
	maxPixels    = 200e6
	maxFieldDeg  = 120.0
	minFWHM      = 0.5
	maxFWHM      = 60.0
	maxBend      = 0.3
	maxHotPixels = 1e6
)

func (c Camera) validate() error {
	if err := check([]bounds{
		{"Camera.Width", float64(c.Width), 16, 65535, "pictures are 16 to 65535 pixels wide"},
		{"Camera.Height", float64(c.Height), 16, 65535, "pictures are 16 to 65535 pixels high"},
		{"the number of pixels", float64(c.Width) * float64(c.Height), 1, maxPixels, "at most 200 megapixels are rendered"},
		{"Camera.FocalPx", c.FocalPx, 10, 1e7, "give a focal length of 10 pixels or more"},
		{"Camera.OffsetX", c.OffsetX, -1e4, 1e4, ""}, {"Camera.OffsetY", c.OffsetY, -1e4, 1e4, ""},
		{"Camera.K1", c.K1, -maxBend, maxBend, ""}, {"Camera.K2", c.K2, -maxBend, maxBend, ""},
		{"Camera.P1", c.P1, -0.05, 0.05, ""}, {"Camera.P2", c.P2, -0.05, 0.05, ""},
		{"Camera.FWHM", c.FWHM, minFWHM, maxFWHM, ""},
		{"Camera.CornerStretch", c.CornerStretch, 0, 100, ""},
		{"Camera.Vignetting", c.Vignetting, 0, 0.95, ""},
		{"Camera.ZeroPoint", c.ZeroPoint, 1, 1e12, ""},
		{"Camera.FullScale", c.FullScale, 1, 1e9, ""},
		{"Camera.ReadNoise", c.ReadNoise, 0, 1e6, ""},
		{"Camera.Pedestal", c.Pedestal, 0, 1e6, ""},
		{"Camera.DarkCurrent", c.DarkCurrent, 0, 1e6, ""},
		{"Camera.HotPixels", float64(c.HotPixels), 0, maxHotPixels, ""},
	}); err != nil {
		return err
	}
	if c.Moffat != 0 && !(c.Moffat >= 1.5 && c.Moffat <= 50) {
		return invalid("Camera.Moffat", "is out of range", "choose 1.5 to 50, or 0 for a Gaussian")
	}
	return c.validateLens()
}

func (c Camera) validateLens() error {
	half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	if field := 2 * math.Atan(half/c.FocalPx) * 180 / math.Pi; field > maxFieldDeg {
		return invalid("the diagonal field", "is wider than 120°", "choose a longer focal length")
	}
	for r := 0.0; r <= widest; r += 0.01 {
		if slope := 1 + r*r*(3*c.K1+5*r*r*c.K2); slope < 0.5 || slope > 1.9 {
			return invalid("Camera.K1, K2", "bend the picture back on itself or nearly so", "choose smaller distortion")
		}
	}
	return nil
}
