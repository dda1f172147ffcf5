package scene

import "math"

// Profile is a round point-spread function as a sum of Gaussians about one middle, the whole light 1.
type Profile struct{ parts []part }

// part is a Gaussian of standard deviation sigma (px) with its share of the light.
type part struct{ share, sigma float64 }

// FWHMOfSigma is the width at half height of a Gaussian of standard deviation 1: 2√(2 ln 2).
const FWHMOfSigma = 2.3548200450309493

// Gaussian is a profile by its full width at half maximum (px), before the pixels' own width.
func Gaussian(fwhm float64) Profile { return Profile{[]part{{1, fwhm / FWHMOfSigma}}} }

// Moffat is the profile (1 + r²/α²)^−β (A. F. J. Moffat, Astron. Astrophys. 3 (1969) 455) by its full width at half
// maximum (px), before the pixels' own width; beta > 1.
//
// It is drawn as Gaussians: by Euler's integral
//
//	(1+u)^−β = 1/Γ(β) ∫ t^(β−1) e^(−t) e^(−tu) dt,   u = r²/α²,
//
// each t is a Gaussian of variance α²/2t. The integral is summed over ln t in even steps, whose error falls as
// e^(−π²/step); the ends leave out less than a millionth of the light.
func Moffat(fwhm, beta float64) Profile {
	const step = 0.4
	alpha := fwhm / (2 * math.Sqrt(math.Pow(2, 1/beta)-1))
	var p Profile
	var sum float64
	low := math.Log(1e-6) / (beta - 1) // the light left out below t is t^(β−1)/Γ(β)
	for k := math.Floor(low / step); k*step < math.Log(45); k++ {
		t := math.Exp(k * step)
		// t^(β−1) e^(−t) dt = t^β e^(−t) d ln t; the light of each Gaussian is its height times 2π·α²/2t.
		share := math.Pow(t, beta-1) * math.Exp(-t)
		p.parts = append(p.parts, part{share, alpha / math.Sqrt(2*t)})
		sum += share
	}
	for i := range p.parts {
		p.parts[i].share /= sum
	}
	return p
}

// height is the brightness at a distance from the middle, up to a constant.
func (p Profile) height(r float64) (h float64) {
	for _, g := range p.parts {
		h += g.share / (g.sigma * g.sigma) * math.Exp(-r*r/(2*g.sigma*g.sigma))
	}
	return h
}

// Radius is the distance (px) at which the brightness has fallen to a share of the middle's.
func (p Profile) Radius(share float64) float64 {
	low, high, want := 0.0, 1e4, share*p.height(0)
	for range 60 {
		if r := (low + high) / 2; p.height(r) > want {
			low = r
		} else {
			high = r
		}
	}
	return high
}

// Width is the full width at half maximum (px), before the pixels' own width.
func (p Profile) Width() float64 { return 2 * p.Radius(0.5) }

// Step is a place on a path, with the share of the light it receives there.
type Step struct{ X, Y, Share float64 }

// Path is where a star's light goes during an exposure, px. Shares sum to 1 for the whole light.
type Path []Step

// Still is the path of a star that stands at a place.
func Still(x, y float64) Path { return Path{{x, y, 1}} }

// Straight is an evenly lit straight path about its middle, its direction (radians) from +x toward +y. Points stand no
// farther apart than every px, each in the middle of its piece: let that be under the profile's σ, and what the points
// miss of the line is under 10⁻⁷ of its light.
func Straight(x, y, length, direction, every float64) Path {
	n := int(math.Ceil(length/every)) + 1
	if length == 0 {
		n = 1
	}
	s, c := math.Sincos(direction)
	p := make(Path, n)
	for i := range p {
		t := ((float64(i)+0.5)/float64(n) - 0.5) * length
		p[i] = Step{x + t*c, y + t*s, 1 / float64(n)}
	}
	return p
}

// Moved is the path carried along by (dx, dy).
func (p Path) Moved(dx, dy float64) Path {
	out := make(Path, len(p))
	for i, s := range p {
		out[i] = Step{s.X + dx, s.Y + dy, s.Share}
	}
	return out
}

// box is the smallest rectangle of whole pixels around a path, grown by reach.
func (p Path) box(reach float64) (x0, y0, x1, y1 int) {
	lx, ly, hx, hy := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, s := range p {
		lx, ly, hx, hy = math.Min(lx, s.X), math.Min(ly, s.Y), math.Max(hx, s.X), math.Max(hy, s.Y)
	}
	return int(math.Floor(lx - reach)), int(math.Floor(ly - reach)), int(math.Ceil(hx + reach)), int(math.Ceil(hy + reach))
}
