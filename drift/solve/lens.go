package solve

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// Lens is a pinhole with a little distortion about the middle of the picture.
//
// A measured offset m from the picture's middle (pixels, x right, y down)
// becomes the ideal pinhole offset
//
//	u = m·(1 + K1 ρ² + K2 ρ⁴) + ½D·(P1(ρ²+2ξ²)+2P2ξη, P2(ρ²+2η²)+2P1ξη)
//
// with (ξ,η) = m/½D, ρ its length and D the picture's diagonal in pixels, and
// u = FocalPx·(X/Z, Y/Z) for a direction (X,Y,Z) in the camera frame. Measured
// to ideal is the closed form, so K1 > 0 is a pincushion drawn inward: barrel
// distortion has K1 > 0. CentreX, CentreY say where the optical centre is, which
// matters in wide fields, where it bends the picture as a turn of the camera does not (facing.go).
//
// After D. C. Brown, "Close-range camera calibration", Photogrammetric
// Engineering 37 (1971), 855–866. Fields up to about 100° across the diagonal;
// a fisheye's wider field is outside the model.
type Lens struct {
	Width, Height  int
	FocalPx        float64
	K1, K2, P1, P2 float64
	// CentreX, CentreY is the optical centre less the picture's middle, px. A narrow field cannot tell it from a turn of
	// the camera; its prior keeps it near nought there.
	CentreX, CentreY float64
}

// halfDiagonal is the distance in pixels from the middle to a corner, the
// length distortion is counted in.
func (l Lens) halfDiagonal() float64 {
	return math.Hypot(float64(l.Width), float64(l.Height)) / 2
}

// middle is the pixel position of the optical centre.
func (l Lens) middle() (cx, cy float64) {
	return (float64(l.Width)-1)/2 + l.CentreX, (float64(l.Height)-1)/2 + l.CentreY
}

// Middle is the direction, in the camera frame, of the picture's middle.
func (l Lens) Middle() r3.Vec {
	return l.Direction((float64(l.Width)-1)/2, (float64(l.Height)-1)/2)
}

// Scale is the angle one true pixel spans at the picture's middle.
func (l Lens) Scale() unit.Angle { return unit.Angle(math.Atan(1 / l.FocalPx)) }

// Diagonal is the angle from corner to corner.
func (l Lens) Diagonal() unit.Angle {
	w, h := float64(l.Width)-1, float64(l.Height)-1
	return unit.Angle(2 * math.Acos(math.Min(1, r3.Dot(l.Direction(0, 0), l.Direction(w/2, h/2)))))
}

// plate is a lens's picture, measured once for many pixels: the optical centre and the half diagonal.
type plate struct{ cx, cy, half float64 }

func (l *Lens) plate() plate {
	cx, cy := l.middle()
	return plate{cx, cy, l.halfDiagonal()}
}

// from is a pixel's place from the optical centre in half diagonals, and the square of its distance.
func (p plate) from(x, y float64) (xi, eta, rr float64) {
	xi, eta = (x-p.cx)/p.half, (y-p.cy)/p.half
	return xi, eta, xi*xi + eta*eta
}

// ideal is the pinhole offset in pixels of the pixel x, y.
func (l *Lens) ideal(x, y float64) (u, v float64) {
	p := l.plate()
	xi, eta, rr := p.from(x, y)
	return l.straight(p.half, xi, eta, rr)
}

// straight is the pinhole offset in pixels of a place in half diagonals.
func (l *Lens) straight(half, xi, eta, rr float64) (u, v float64) {
	g := 1 + rr*(l.K1+rr*l.K2)
	u = xi*g + l.P1*(rr+2*xi*xi) + 2*l.P2*xi*eta
	v = eta*g + l.P2*(rr+2*eta*eta) + 2*l.P1*xi*eta
	return u * half, v * half
}

// mixed is what this lens lacks beside one whose distortion is the same polynomial the other way, from the ideal place to the
// measured one, as lenses are as often described: pixels, at a place in half diagonals. With κ and τ for
// such a lens's K1 and (P1, P2), a measured place m has the ideal one
//
//	m − κ m² m − (τ m² + 2(τ·m) m) + κ m² (3τ m² + 12(τ·m) m) + …
//
// (put the whole into the other polynomial and drop what is of higher order in κ and τ). The first terms are this lens with
// K1 = −κ and P = −τ; the mixed one, of the fifth order in m, is not.
func (l *Lens) mixed(xi, eta, rr float64) (u, v float64) {
	along := 12 * (l.P1*xi + l.P2*eta)
	by := l.K1 * rr * l.halfDiagonal()
	return by * (3*l.P1*rr + along*xi), by * (3*l.P2*rr + along*eta)
}

// Direction is the unit vector in the camera frame (x right, y down, z
// forward) that the pixel x, y looks along.
func (l Lens) Direction(x, y float64) r3.Vec {
	u, v := l.ideal(x, y)
	return r3.Unit(r3.Vec{X: u, Y: v, Z: l.FocalPx})
}

// Pixel is where the camera-frame direction d falls, and whether it falls
// within the picture. It inverts [Lens.Direction] to 1e-6 px where the
// distortion is monotonic.
func (l Lens) Pixel(d r3.Vec) (x, y float64, inside bool) {
	if d.Z <= 0.05*r3.Norm(d) { // beyond 87° off axis: no pinhole reaches it
		return math.NaN(), math.NaN(), false
	}
	p := l.plate()
	u, v := l.FocalPx*d.X/d.Z, l.FocalPx*d.Y/d.Z
	if u*u+v*v > 4*p.half*p.half {
		return math.NaN(), math.NaN(), false
	}
	x, y = p.cx+u, p.cy+v
	for range 12 { // a contraction while the distortion's slope is well under one
		xi, eta, rr := p.from(x, y)
		iu, iv := l.straight(p.half, xi, eta, rr)
		dx, dy := u-iu, v-iv
		x, y = x+dx, y+dy
		if math.Abs(dx)+math.Abs(dy) < 1e-7 {
			break
		}
	}
	inside = x >= -0.5 && y >= -0.5 && x <= float64(l.Width)-0.5 && y <= float64(l.Height)-0.5
	return x, y, inside
}
