package scene

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is a pinhole with a lens that bends straight lines a little. It is written apart from the
// cameras of drift/solve and align/simulate and shares no code with them, so that a mistake there
// shows here.
//
// # The model
//
// Looking along Aim.Forward, a direction d stands at
//
//	p = (d·Right, d·Down) / (d·Forward)
//
// on the plane at distance one (the gnomonic projection). With q = p·FocalPx/R, R being half the
// picture's diagonal in pixels, so that |q| is about 1 in the corner, the lens moves q to
//
//	q·(1 + K1 q² + K2 q⁴) + tangential terms (T1, T2)
//
// and the star is seen at Axis + R times that. A corner is so moved by K1+K2 of its distance:
// outward (pincushion) where positive, inward (barrel) where negative. The tangential terms are
//
//	(2 T1 qx qy + T2 (q² + 2 qx²),  T1 (q² + 2 qy²) + 2 T2 qx qy)
//
// after D. C. Brown, "Decentering distortion of lenses", Photogrammetric Engineering 32 (1966), 444.
// drift/solve writes the opposite direction, measured to ideal, as a polynomial: no camera of this
// package is exactly within its model.
type Camera struct {
	Width, Height  int     // pixels
	FocalPx        float64 // pixels
	OffX, OffY     float64 // where the optical axis meets the picture, less the picture's middle, px
	K1, K2, T1, T2 float64 // distortion, shares of half the diagonal
}

// Aim is how a camera is held: three unit vectors at right angles in any right-handed frame (the ICRS,
// or east, north, up). Right × Down = Forward.
type Aim struct{ Right, Down, Forward r3.Vec }

// At aims the optical axis at right ascension ra and declination dec. roll is the position angle of
// the picture's "up", from north through east; the picture is not mirrored, so with roll 0 east is left.
func At(ra unit.RA, dec, roll unit.Angle) Aim {
	sa, ca := math.Sincos(ra.Rad())
	sd, cd := math.Sincos(dec.Rad())
	sr, cr := math.Sincos(roll.Rad())
	east := r3.Vec{X: -sa, Y: ca}
	north := r3.Vec{X: -sd * ca, Y: -sd * sa, Z: cd}
	return Aim{
		Right:   r3.Sub(r3.Scale(sr, north), r3.Scale(cr, east)),
		Down:    r3.Scale(-1, r3.Add(r3.Scale(cr, north), r3.Scale(sr, east))),
		Forward: r3.Vec{X: cd * ca, Y: cd * sa, Z: sd},
	}
}

// Turned is the aim after a turn by angle about axis (a unit vector of the same frame), right-handed.
func (a Aim) Turned(axis r3.Vec, angle unit.Angle) Aim {
	s, c := math.Sincos(angle.Rad())
	about := func(v r3.Vec) r3.Vec { // the formula of O. Rodrigues, 1840
		return r3.Add(r3.Add(r3.Scale(c, v), r3.Scale(s, r3.Cross(axis, v))), r3.Scale((1-c)*r3.Dot(axis, v), axis))
	}
	return Aim{about(a.Right), about(a.Down), about(a.Forward)}
}

// WithDiagonal is a camera without distortion whose view spans the given angle from corner to corner.
func WithDiagonal(width, height int, diagonal unit.Angle) Camera {
	half := math.Hypot(float64(width), float64(height)) / 2
	return Camera{Width: width, Height: height, FocalPx: half / math.Tan(diagonal.Rad()/2)}
}

// half is half the picture's diagonal, px.
func (c Camera) half() float64 { return math.Hypot(float64(c.Width), float64(c.Height)) / 2 }

// beyond is how far from the optical axis, in half diagonals, light is still followed. A polynomial's
// distortion folds back somewhere past the corner; for distortions to ±0.10 this radius lies
// before the fold, and every pixel of the picture within it.
const beyond = 1.3

// Pixel is where a direction (unit vector of the aim's frame) is seen: x right, y down, pixel centres at
// integers, (0,0) top left. in is false where it falls outside the picture, behind the camera or beyond what the lens
// lets through.
func (c Camera) Pixel(a Aim, d r3.Vec) (x, y float64, in bool) {
	depth := r3.Dot(d, a.Forward)
	if depth <= 0 {
		return math.NaN(), math.NaN(), false
	}
	r := c.half()
	s := c.FocalPx / r / depth
	qx, qy := r3.Dot(d, a.Right)*s, r3.Dot(d, a.Down)*s
	if math.Hypot(qx, qy) > beyond {
		return math.NaN(), math.NaN(), false
	}
	bx, by := c.bent(qx, qy)
	x = float64(c.Width-1)/2 + c.OffX + r*bx
	y = float64(c.Height-1)/2 + c.OffY + r*by
	return x, y, x >= -0.5 && y >= -0.5 && x < float64(c.Width)-0.5 && y < float64(c.Height)-0.5
}

// bent is the distortion, in half diagonals.
func (c Camera) bent(qx, qy float64) (float64, float64) {
	qq := qx*qx + qy*qy
	g := 1 + c.K1*qq + c.K2*qq*qq
	return g*qx + 2*c.T1*qx*qy + c.T2*(qq+2*qx*qx), g*qy + c.T1*(qq+2*qy*qy) + 2*c.T2*qx*qy
}

// Look is the direction seen at a pixel, in the aim's frame: Pixel undone to 1e-10 px, by Newton's method with
// slopes from differences.
func (c Camera) Look(a Aim, x, y float64) r3.Vec {
	r := c.half()
	wx, wy := (x-float64(c.Width-1)/2-c.OffX)/r, (y-float64(c.Height-1)/2-c.OffY)/r
	qx, qy := wx, wy
	const h = 1e-6
	for range 30 {
		bx, by := c.bent(qx, qy)
		ex, ey := wx-bx, wy-by
		if math.Hypot(ex, ey) < 1e-15 {
			break
		}
		xx, xy := c.bent(qx+h, qy)
		yx, yy := c.bent(qx, qy+h)
		xx, xy, yx, yy = (xx-bx)/h, (xy-by)/h, (yx-bx)/h, (yy-by)/h
		det := xx*yy - xy*yx
		qx += (ex*yy - ey*yx) / det
		qy += (ey*xx - ex*xy) / det
	}
	s := r / c.FocalPx
	return r3.Unit(r3.Add(a.Forward, r3.Add(r3.Scale(qx*s, a.Right), r3.Scale(qy*s, a.Down))))
}

// Middle is the direction seen in the middle of the picture: not Aim.Forward where the optical axis is off-centre.
func (c Camera) Middle(a Aim) r3.Vec {
	return c.Look(a, float64(c.Width-1)/2, float64(c.Height-1)/2)
}
