package exposure

import (
	"math"

	"trueturn/drift/star"
)

// # Wings
//
// Lenses and air give stars wider wings than a Gaussian's. star.Find fits (1+κq)^(−1/κ) to the star as a whole and gives the
// width at half height; a short path blunts the core and leaves the wings, so the fit lengthens by less than the path's own
// moments, by a share c of L²/12 and widens the short axis by a factor g instead. To first order in L², with m the
// fit's moments and weights W over the star,
//
//	c = k(κ)·⟨W P′P″q²⟩/⟨W P′²q²⟩       k the scale to half height; c = 1 for a Gaussian
//
// (own derivation: (L²/48)P″ is the part of the convolution that goes as cos 2φ). For κ = 1/4 that is 0.96 where noise is even
// and 0.68 where it is the star's own light, so c cannot be had from κ alone: the straight lines below go through rendered
// pictures (halo_test.go), clean and out of JPEG, and wingsLeft is what they miss by. How heavy the wings are is read off the
// stars themselves: the brightest pixel over that of a Gaussian of the same width and light,
//
//	R = (1−κ)k(κ)       1 for a Gaussian, 0.82 for κ = 1/4
//
// Long trails are fitted as a path under a Gaussian. Their length is right, but the Gaussian that suits the wings is wider than
// the star at half height.
type halo struct {
	kept   float64 // c
	blunt  float64 // g = 1 + blunt·(1 − 1/measured elongation²)
	trails bool    // the stars were fitted as paths
}

const (
	// wingsSN of the stars whose brightest pixel is believed: below, it is noise that is the brightest.
	wingsSN = 20
	// usualLoss is 1 − R of usual lenses in the renderings; it counts as much as usualCount stars, so that pictures with
	// few bright ones are judged by it.
	usualLoss, usualCount = 0.2, 3
	// leastPeak: wings heavier than this are companions and sky.
	leastPeak = 0.5
	// keptSlope and bluntSlope over 1 − R, of a path just begun.
	keptSlope, bluntSlope = 0.8, 1.1
	// keptUntil, of elongation² − 1: about a width and a half, beyond which a path is longer than the core and c is 1.
	keptUntil = 0.7
	// trailWings is g for trails: the middle for stars from Gaussian (1) to β = 2.5 (1.42), nearer to the latter, as lenses are.
	trailWings = 1.25
)

// The standard errors of what these corrections leave, from the same renderings: of E, as a share, short paths and trails; of the
// round star's variance, likewise.
const (
	wingsLeft, wingsLeftTrails = 0.12, 0.03
	widthLeft, widthLeftTrails = 0.08, 0.12
)

// haloOf reads the wings off the stars of a picture whose shapes tell something. Of stars without a peak, which no picture has,
// the moments are taken as they are.
func haloOf(stars []star.Star) halo {
	var peaks, excess []float64
	trails, measured := 0, false
	for _, s := range stars {
		excess = append(excess, s.Elongation*s.Elongation-1)
		seen := s.Peak > 0 && s.FluxErr > 0
		measured = measured || seen
		switch {
		case !seen || s.Flux < wingsSN*s.FluxErr:
		case s.Flags&star.Trailed != 0:
			trails++
		default:
			peaks = append(peaks, peakShare(s))
		}
	}
	switch {
	case !measured:
		return halo{kept: 1}
	case trails > len(peaks):
		return halo{kept: 1, trails: true}
	}
	seen, n := 1-math.Min(1, math.Max(leastPeak, medianOf(peaks))), float64(len(peaks))
	if n == 0 {
		seen = 0
	}
	wings := (n*seen + usualCount*usualLoss) / (n + usualCount)
	x := medianOf(excess) / keptUntil
	return halo{kept: 1 - keptSlope*wings*math.Exp(-x*x), blunt: bluntSlope * wings}
}

// doubt is the standard error of a star's E by what its profile leaves: among trails that of those which were not fitted as one.
func (h halo) doubt(s star.Star, e float64) float64 {
	if h.trails && s.Flags&star.Trailed == 0 {
		return wingsLeft * e
	}
	return 0
}

// peakShare is a star's brightest pixel over that of a Gaussian with the same light and shape.
func peakShare(s star.Star) float64 {
	sigma := sigmaOf(s.FWHM)
	long, short := sigma*sigma*s.Elongation, sigma*sigma/s.Elongation
	dx, dy := math.Round(s.X)-s.X, math.Round(s.Y)-s.Y
	sn, cs := math.Sincos(s.Angle.Rad())
	u, v := dx*cs+dy*sn, dy*cs-dx*sn
	return s.Peak * 2 * math.Pi * sigma * sigma / s.Flux * math.Exp(u*u/(2*long)+v*v/(2*short))
}

// widened is g for a measured elongation² − 1.
func (h halo) widened(excess float64) float64 {
	if h.trails {
		return trailWings
	}
	return 1 + h.blunt*excess/(1+excess)
}

// left are the standard errors, as shares, of E and of the round star's variance.
func (h halo) left() (ofE, ofWidth float64) {
	if h.trails {
		return wingsLeftTrails, widthLeftTrails
	}
	if h.kept == 1 { // moments as they are
		return wingsLeftTrails, widthLeft
	}
	return wingsLeft, widthLeft
}
