// Package star finds and measures the stars of a picture: places, light, widths and trails, each with its error.
//
// Start with [Find]: it takes the linear light of one picture and returns a [Field]. What stays at the
// same pixel across a sequence is package drift's to tell: it knows whether the sky moved.
//
// # How
//
// The picture is averaged to a grid (2 × 2 when large). Over a mesh of 32 × 32 grid pixels the sky's level is the median
// of what is not star, interpolated between. The grid is filtered with a Gaussian about as wide as a star, the matched
// filter; the noise is measured after the filter, cell by cell, so that compression, noise reduction, clouds and leaves
// raise the threshold where they are. Peaks above it are candidates; patches too large for a star (Moon, lamps, lines of
// aeroplanes) are dropped whole. In pictures with trails the filter is drawn out along the trail, whose answer has one
// peak, at the trail's middle.
//
// The brightest whole candidates tell what a star looks like here: its shape (the most common one), its wings, and how the
// noise grows with light. Then every candidate is fitted, with its own position, shape and pedestal, to the full picture:
//
//	light(x, y) = A · P(½ dᵀM⁻¹d) + b      or a straight trail convolved with a Gaussian
//	variance    = n² + gain·light + (ripple·light)²
//
// by least squares weighted with that variance; errors are the inverse of the normal matrix. Those with neighbours are
// fitted again with the neighbours' light taken off.
//
// # How well
//
// Scatter of isolated stars of signal-to-noise 20 to 200, FWHM 1.5 to 5 pixels, Gaussian or with wide wings, trailed by
// up to 14 pixels: within 4 % of the Cramér–Rao bound, bias under 0.001 px without noise, variance of the pulls 0.95 to
// 1.08 (tests of this package). On compressed real pictures stated errors hold to 15 %.
// Of faint stars, their number falling as 1/light, those at the threshold scatter by 0.96 to 1.12 of their errors (cmd/study).
// In colour mosaics, where the profiles take their light as the cells do (eye.go), stars 2.5 to 6 true pixels wide scatter by
// 0.95 to 1.07 of their errors, round ones have an elongation of 1.01, and paths are as long along the greens' diagonal as
// across it to 1 % (TestMosaic… of package frame).
//
// # Where it fails
//
// Stars narrower than 1 pixel FWHM cannot be told from hot pixels. Lamps that are as small as stars are taken for stars.
// Errors of saturated stars are doubled by rule, not measured. Shapes of stars under a signal-to-noise of about 10 lean
// on the picture's own; positions do not. A trail is straight and evenly lit, and longer than 90 pixels it is taken for
// an aeroplane; across it is a Gaussian: where the lens has wide wings (Moffat, β = 3) trailed stars 2 to 3 pixels wide of
// signal-to-noise 100 to 200 scatter by 1.05 to 1.33 of the bound, with errors stated 1.2 to 2.4 times too large. Under a
// signal-to-noise of 10 trails scatter by up to 1.5 of their errors. Of stars of signal-to-noise 5 to 7 three in ten are
// found, of 7 to 10 eight in ten (side_test.go). A neighbour of a fifth of the light within 2 FWHM is mostly
// not seen: it pulls by up to a twentieth of the FWHM, which for bright stars is three of their errors. Beside a large clipped patch (the Moon) the sky's level is uncertain. Pictures that were
// demosaiced, denoised, sharpened and compressed: the bright stars' own residuals widen the errors of all (learnClumps);
// white stars 3 pixels wide or more keep their places to 0.01 px, strongly coloured ones to 0.02 (0.05 where sharpening
// clips one of the colours); narrower ones are pulled by 0.02 to 0.1 px by the mosaic, the more the more coloured, each
// differently. Their errors count that as scatter; where a sharpened mosaic clips, and for faint stars at JPEG quality 50,
// they can still be a third to a half too small. Quality 50 makes about twenty false stars a megapixel, strong noise
// reduction and sharpening at 80 some eight, 75 without them hardly any.
package star
