package star

import "math"

// vector holds the seven parameters of a profile, or its derivatives by them.
type vector [7]float64

// Parameters that every profile shares; the other three are its shape.
const (
	amplitude = iota
	pedestal
	posX
	posY
	shape0
	shape1
	shape2
)

// A profile is a model of one star's light on the pixel grid.
type profile interface {
	// value is the light at pixel (x, y) and its derivatives by the parameters.
	value(p *vector, x, y float64, d *vector) float64
	// sound: the parameters describe something a lens can make, inside the given reach.
	sound(p *vector) bool
	// shape holds the second moments, the light of the pixel's own box included.
	shape(p *vector) shape
	// flux is the whole light.
	flux(p *vector) float64
}

// spot is an elliptical star:
//
//	A·P(q) + b,   q = ½ dᵀ M⁻¹ d,   P = (1 + κq)^(−1/κ)
//
// κ = 0 is a Gaussian, κ > 0 has the wider wings of real lenses and air (A. F. J. Moffat, Astron. Astrophys. 3 (1969)
// 455, with β = 1/κ). The three shape parameters are the elements of M⁻¹. The light is gathered at the points of a
// retina; where that is a fine one (narrow stars), the box of the pixel is left out of M.
type spot struct {
	kappa float64
	retina
}

func (s spot) value(p *vector, x, y float64, d *vector) float64 {
	*d = vector{pedestal: 1}
	v, weight := p[pedestal], 1/float64(len(s.points))
	for _, q := range s.points {
		v += s.add(p, x+q.x, y+q.y, weight, d)
	}
	return v
}

// add gives weight × the spot's light at a point and adds its derivatives.
func (s spot) add(p *vector, x, y, weight float64, d *vector) float64 {
	dx, dy := x-p[posX], y-p[posY]
	ux, uy := p[shape0]*dx+p[shape1]*dy, p[shape1]*dx+p[shape2]*dy
	q := 0.5 * (dx*ux + dy*uy)
	var light, fall float64 // P and −dP/dq
	if s.kappa == 0 {
		light = weight * math.Exp(-q)
		fall = light
	} else {
		base := 1 + s.kappa*q
		light = weight * math.Exp(-math.Log(base)/s.kappa)
		fall = light / base
	}
	d[amplitude] += light
	t := p[amplitude] * fall
	d[posX] += t * ux
	d[posY] += t * uy
	d[shape0] -= t * 0.5 * dx * dx
	d[shape1] -= t * dx * dy
	d[shape2] -= t * 0.5 * dy * dy
	return p[amplitude] * light
}

func (s spot) sound(p *vector) bool {
	a, b, c := p[shape0], p[shape1], p[shape2]
	det := a*c - b*b
	return det > 1e-12 && a > 0 && c > 0 && a+c < 200 && det*1500 > a+c // σ over 0.1 px, xx + yy of M under 1500 px²
}

func (s spot) shape(p *vector) shape {
	m := shape{p[shape0], p[shape1], p[shape2]}.inverse()
	// As wide at half height as the Gaussian of these moments.
	k := s.halfScale()
	m.xx, m.xy, m.yy = m.xx*k, m.xy*k, m.yy*k
	m.xx += s.box
	m.yy += s.box
	return m
}

// halfScale turns M into the moments of the Gaussian with the same width at half height: q½ = (2^κ − 1)/κ against ln 2.
func (s spot) halfScale() float64 {
	if s.kappa == 0 {
		return 1
	}
	return (math.Pow(2, s.kappa) - 1) / s.kappa / math.Ln2
}

// from is the parameter triple of the given shape.
func (s spot) from(m shape) (a, b, c float64) {
	if s.box > 0 {
		m.xx, m.yy = math.Max(m.xx-s.box, 0.02), math.Max(m.yy-s.box, 0.02)
		if m.det() <= 0 {
			m.xy = 0
		}
	}
	k := 1 / s.halfScale()
	m.xx, m.xy, m.yy = m.xx*k, m.xy*k, m.yy*k
	i := m.inverse()
	return i.xx, i.xy, i.yy
}

// flux: the integral of P over the plane is 2π√det M/(1−κ).
func (s spot) flux(p *vector) float64 {
	det := p[shape0]*p[shape2] - p[shape1]*p[shape1]
	return p[amplitude] * 2 * math.Pi / math.Sqrt(det) / (1 - s.kappa)
}

// trail is a straight path of length L convolved with a round Gaussian of width σ:
//
//	A · exp(−v²/2σ²) · ½[erf((u+L/2)/√2σ) − erf((u−L/2)/√2σ)] + b
//
// u along the path (from +x toward +y by the angle), v across; its middle is the middle of the exposure. Shape
// parameters: σ (pixel included), L, angle.
type trail struct{ retina }

func (t trail) value(p *vector, x, y float64, d *vector) float64 {
	if len(t.points) == 1 {
		return p[pedestal] + t.at(p, x, y, d)
	}
	*d = vector{}
	var one vector
	v, weight := p[pedestal], 1/float64(len(t.points))
	for _, q := range t.points {
		v += weight * t.at(p, x+q.x, y+q.y, &one)
		for i := range d {
			d[i] += weight * one[i]
		}
	}
	return v
}

// at is the light at a point, without the pedestal, and its derivatives.
func (trail) at(p *vector, x, y float64, d *vector) float64 {
	sigma, half := p[shape0], p[shape1]/2
	s, c := math.Sincos(p[shape2])
	dx, dy := x-p[posX], y-p[posY]
	u, v := dx*c+dy*s, dy*c-dx*s
	k := 1 / (math.Sqrt2 * sigma)
	plus, minus := (u+half)*k, (u-half)*k
	h := 0.5 * (math.Erf(plus) - math.Erf(minus))
	g := math.Exp(-v * v * k * k)
	norm := k / math.SqrtPi
	ep, em := norm*math.Exp(-plus*plus), norm*math.Exp(-minus*minus)
	ag := p[amplitude] * g
	byU, byV := ag*(ep-em), -ag*h*v/(sigma*sigma)
	d[amplitude], d[pedestal] = g*h, 1
	d[posX], d[posY] = -byU*c+byV*s, -byU*s-byV*c
	d[shape0] = ag*h*v*v/(sigma*sigma*sigma) - ag*((u+half)*ep-(u-half)*em)/sigma
	d[shape1] = ag * (ep + em) / 2
	d[shape2] = byU*v - byV*u
	return ag * h
}

func (trail) sound(p *vector) bool {
	return p[shape0] > 0.2 && p[shape0] < 50 && p[shape1] > 0 && p[shape1] < 1000
}

func (trail) shape(p *vector) shape { return trailShape(p[shape0], p[shape1], p[shape2]) }

func (trail) flux(p *vector) float64 {
	return p[amplitude] * math.Sqrt(2*math.Pi) * p[shape0] * p[shape1]
}
