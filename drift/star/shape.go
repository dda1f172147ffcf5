package star

import "math"

// shape is a symmetric 2 × 2 matrix of second moments about the middle, in pixels²: xx, xy, yy.
type shape struct{ xx, xy, yy float64 }

// fwhmOfSigma: a Gaussian falls to half at √(2 ln 2) σ on either side.
const fwhmOfSigma = 2.3548200450309493

// axes are the moments along the long and the short axis and the direction of the long one.
func (m shape) axes() (long, short, angle float64) {
	mean, diff := (m.xx+m.yy)/2, (m.xx-m.yy)/2
	r := math.Hypot(diff, m.xy)
	angle = math.Atan2(m.xy, diff) / 2
	if angle < 0 {
		angle += math.Pi
	}
	return mean + r, mean - r, angle
}

func (m shape) det() float64 { return m.xx*m.yy - m.xy*m.xy }

func (m shape) inverse() shape {
	d := m.det()
	return shape{m.yy / d, -m.xy / d, m.xx / d}
}

// width is the geometric mean of the σ of both axes.
func (m shape) width() float64 { return math.Sqrt(math.Sqrt(math.Max(m.det(), 0))) }

// reach is the σ along x and along y.
func (m shape) reach() (x, y float64) { return math.Sqrt(m.xx), math.Sqrt(m.yy) }

func (m shape) sound() bool {
	return m.xx > 0 && m.yy > 0 && m.det() > 0 && !math.IsInf(m.xx+m.yy, 0) && !math.IsNaN(m.xx+m.yy+m.xy)
}

func round(sigma float64) shape { return shape{sigma * sigma, 0, sigma * sigma} }

// trailShape holds the moments of a straight path of length l convolved with a round spot of the given σ:
// l²/12 along the path is added.
func trailShape(sigma, l, angle float64) shape {
	s, c := math.Sincos(angle)
	t := l * l / 12
	return shape{sigma*sigma + t*c*c, t * s * c, sigma*sigma + t*s*s}
}

// trailLength is the straight length whose moments stretch the short axis into the long one: √(12(λ₁−λ₂)).
func (m shape) trailLength() float64 {
	long, short, _ := m.axes()
	return math.Sqrt(12 * math.Max(long-short, 0))
}
