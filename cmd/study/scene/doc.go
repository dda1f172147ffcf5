// Package scene draws the study's skies and pictures from known truth.
//
// It is written apart from what the study measures: no projection of drift/solve, no path of align/exposure, nothing of
// align/simulate is used here, so that a mistake there cannot hide by being made twice. The types of a picture
// (frame.Plane) are shared, and the sky of package ephem.
//
// Light: [Canvas] takes stars as a [Profile] (a sum of Gaussians, integrated over pixels by the error function) carried
// along a [Path], and [Canvas.Develop] draws photons and read noise. [Prospect.Bound] says how well a star could be placed at
// best. Geometry: [Camera] and [Mount].
package scene
