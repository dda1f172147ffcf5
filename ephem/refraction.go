package ephem

import (
	"math"

	"github.com/soniakeys/meeus/v3/refraction"
	"github.com/soniakeys/unit"
)

// Refraction lifts the sky. With z the zenith distance at which a star is seen,
//
//	true zenith distance = z + A tan z + B tan³ z,
//
// as in ERFA's refco and atioq. Against ray tracing it is good to 0.1″ down to
// 14° of altitude, 0.6″ at 10°, about 6″ at 7° and 25″ at 5°, given the right
// air; 5 % of it, 3″ at 45°, is what one usually does not know of the air.
//
// The formula turns round below 3°. From 5° to 3° of apparent altitude it gives
// way to Bennett's (Meeus, chapter 16, eq. 16.3), scaled to this air, good to 5″
// in standard air; there the air itself varies by minutes of arc. Below the
// horizon nothing is seen: refraction levels off at some 45′ and fades away
// toward the nadir, only so that every direction keeps one image and no step
// appears. The zero Refraction does nothing.
type Refraction struct{ A, B unit.Angle }

// Apparent is the altitude at which a body of this true altitude is seen. It
// undoes [Refraction.True] to rounding.
func (r Refraction) Apparent(altitude unit.Angle) unit.Angle {
	s, c := altitude.Sincos()
	return altitude + unit.Angle(r.lift(s, c))
}

// True is the altitude without air of a body seen at this altitude.
func (r Refraction) True(altitude unit.Angle) unit.Angle {
	s, c := altitude.Sincos()
	return altitude - unit.Angle(r.at(s, c))
}

// Where the formula of this package hands over to Bennett's, in apparent
// altitude: the sines of 5° and 3°.
var (
	formulaFrom = math.Sin(5 * math.Pi / 180)
	bennettFrom = math.Sin(3 * math.Pi / 180)
)

// at is the refraction, in radians, of a star seen at the altitude with this
// sine and cosine (cosine ≥ 0).
func (r Refraction) at(sin, cos float64) float64 {
	if sin >= formulaFrom {
		t := cos / sin
		return (r.A.Rad() + r.B.Rad()*t*t) * t
	}
	low := r.low(sin, cos)
	if sin <= bennettFrom {
		return low
	}
	t, x := cos/sin, (sin-bennettFrom)/(formulaFrom-bennettFrom)
	share := x * x * (3 - 2*x)
	return low + share*((r.A.Rad()+r.B.Rad()*t*t)*t-low)
}

// bennettA is A in the air Bennett's formula was made for, 10 °C and 1010 hPa.
var bennettA = Air{10, 1010}.Refraction().A

// low is Bennett's formula scaled to this air. Below the horizon the altitude
// put into it levels off at −sag, where the formula still rises, and the result
// fades with the cosine.
func (r Refraction) low(sin, cos float64) float64 {
	const sag = 0.7 // degrees
	h := math.Atan2(sin, cos) * 180 / math.Pi
	fade := 1.0
	if h < 0 {
		h, fade = sag*math.Expm1(h/sag), cos
	}
	return fade * refraction.Bennett(unit.AngleFromDeg(h)).Rad() * r.A.Rad() / bennettA.Rad()
}

// lift is the refraction, in radians, of a star whose true altitude has this
// sine and cosine: the root d of d = at(altitude + d).
func (r Refraction) lift(sin, cos float64) float64 {
	// A star truly above this is seen above formulaFrom.
	if sin < formulaFrom {
		return r.liftLow(sin, cos)
	}
	// Newton's method on d − (a+b t²) t, t the tangent of the zenith distance seen,
	// whose derivative by altitude is −(1+t²). The first step, from d = 0, leaves
	// 0.3″ at 5° and 0.001″ at 20°; the second less than 1e-5″ everywhere.
	a, b := r.A.Rad(), r.B.Rad()
	t := cos / sin
	t2 := t * t
	d := (a + b*t2) * t / (1 + (a+3*b*t2)*(1+t2))
	s, c := raise(sin, cos, d)
	t = c / s
	t2 = t * t
	return d - (d-(a+b*t2)*t)/(1+(a+3*b*t2)*(1+t2))
}

// liftLow solves the same by the secant method: the function is smooth and
// nearly straight, and seldom needs five steps. The limit guards against NaN.
func (r Refraction) liftLow(sin, cos float64) float64 {
	const enough = 1e-13 // radians
	miss := func(d float64) float64 {
		s, c := raise(sin, cos, d)
		return d - r.at(s, c)
	}
	d0, f0 := 0.0, miss(0)
	d1 := -f0
	for range 30 {
		f1 := miss(d1)
		if f1 == f0 {
			break
		}
		step := f1 * (d1 - d0) / (f1 - f0)
		d0, f0, d1 = d1, f1, d1-step
		if math.Abs(step) < enough {
			break
		}
	}
	return d1
}

// raise turns the altitude with this sine and cosine up by d radians, |d| under
// 0.02: the series ends where rounding begins.
func raise(sin, cos, d float64) (s, c float64) {
	d2 := d * d
	sd := d * (1 - d2/6*(1-d2/20))
	cd := 1 - d2/2*(1-d2/12*(1-d2/30))
	return sin*cd + cos*sd, cos*cd - sin*sd
}
