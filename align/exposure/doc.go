// Package exposure tells how long stars stay round, and what made them not round.
//
// Start with [Longest], which answers for a [Plan] (where the camera looks, what the mount does, how wide a
// star is); [Judge] looks at exposures that were taken; [Rules] are the trade's rules of thumb.
//
// # The model of a forecast
//
// A mount holds a camera by C(t) = C₀·Rot(â, ωrt + w(t)): r is the rate of its motor as a share of the sidereal,
// w the wobble of its gear, â its axis. The stars turn about p̂ and are refracted. A star held in the
// camera moves there, to first order, with velocity Ω × ŝ,
//
//	Ω = ω(â − p̂) + ωρ â        ρ = r − 1
//
// Here the path is not taken to first order: the star is turned, refracted, carried into the camera and projected
// at three instants, and a parabola laid through,
//
//	P(t) = v t + ½ a t² + g w(t)        g = ∂P/∂(angle about the axis)
//
// whose covariance over an exposure of length T about its middle is closed,
//
//	V = vvᵀ T²/12 + aaᵀ T⁴/720 + ggᵀ var(w) + (vgᵀ+gvᵀ) cov(w,t) + ½(agᵀ+gaᵀ) cov(w,t²)
//
// with the moments of a wobble of a few harmonics in closed form too (wobble.go). The star's image is its own
// round light of variance σ² = (FWHM/2.3548)² along each axis, convolved with that path, so that the second moments
// add, σ²·1 + V, and
//
//	elongation = √(λ₁/λ₂)        of a straight trail of length L: √(1 + L²/12σ²); 1.25 at L = 1.10 FWHM
//
// A star counts as round while its long axis, √(σ² + λ₁(V)), is at most the tolerance times σ (trial.go); the trail is given as the
// straight length that makes the long axis, L = √(12 λ₁(V)) = σ√12 √(elongation² − 1) of a straight one. The longest exposure is the
// first length at which too few are round, though longer ones may be again (crossing.go). What it rests on, where nobody
// has seen the gear, is gear.go's to say.
// The width is the measured one of a round star: the pixel is in it and nothing is taken off.
//
// Field rotation needs no term of its own: it is what differs between the places of the picture. A tripod is a mount
// of rate 0. Radial distortion of the lens is left out: it changes a trail by the distortion's own slope, some
// percent of its length in the corners of wide lenses.
//
// # How well
//
// Against the closed form of a line convolved with a Gaussian the moments are exact; against rendered pictures they hold to
// 1 %, whether bare moments, star.Find or sep measure (tests: 3 %). The parabola is good to 0.1 % of the path for a quarter of an
// hour's turning of the sky; longer star trails on a tripod are curved beyond it, but are not round long before.
//
// [Judge] measures rendered JPEG pictures of stars 2.6 pixels wide, Gaussian to heavy wings, trailed by half a width to two, to 5 %
// (tests: 15 %), and within the error stated; trails below half a pixel are not told from none. Elongation agrees with the
// forecast's to 3 % for stars of usual wings; for pure Gaussians trailed by more than a width and a half it reads up to 10 % high,
// for very heavy wings as much low, within twice its stated error: how wide a round star was cannot be seen any more (halo.go).
//
// # What is not in it
//
// Wind, flexure, focus, a lens that draws stars long in the corners: they are no business of the length of an
// exposure. [Judge] names them when they are in the pictures.
package exposure
