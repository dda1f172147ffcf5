package align

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/ephem"
)

// FromHorizon makes the estimator's input of a measured sequence.
func FromHorizon(h drift.Horizon) Input {
	in := Input{Site: h.Site, Air: h.Air, FieldCovariance: h.FieldCovariance}
	for i := range h.Sights {
		s := h.Sights[i]
		in.Samples = append(in.Samples, Sample{Mid: s.Mid, Attitude: s.Attitude, Lens: s.Lens, Field: s.Field, Pixel: s.Attitude.Pose.Lens.Scale()})
	}
	for i := range in.Samples {
		in.Samples[i].Focus = focusOf(h, i)
		if h.Sights[i].Attitude.Stars == 0 { // measured elsewhere: its pixel is a manner of speaking
			in.Samples[i].Pixel = 0
		}
	}
	in.Common = h.Common
	// More refraction lifts the stars where the camera looks: seen from the camera, the
	// sky turns about the horizontal axis square to the view.
	in.Refraction = func(i int) r3.Vec {
		c := h.Sights[i].Attitude.Pose.Attitude
		axis := c.Inverse().Apply(r3.Vec{Z: 1})
		level := r3.Vec{X: -axis.Y, Y: axis.X}
		if r3.Norm(level) < 1e-9 {
			return r3.Vec{}
		}
		lift := lifted(h.Air, h.Sights[i].Altitude)
		return c.Apply(r3.Scale(lift.Rad()/r3.Norm(level), level))
	}
	return in
}

// lifted is how much the air lifts what is seen at an apparent altitude.
func lifted(a ephem.Air, apparent unit.Angle) unit.Angle {
	return apparent - a.Refraction().True(apparent)
}

// focusOf is what the optical centre's place does to sight i: the scale has
// grown by g since the lens's middle sight, so that the middle of the picture shows g
// times the centre's offset more.
func focusOf(h drift.Horizon, i int) (turns [2]r3.Vec) {
	var mean float64
	n := 0
	for _, s := range h.Sights {
		if s.Lens == h.Sights[i].Lens {
			mean += math.Log(s.Attitude.Pose.Lens.FocalPx)
			n++
		}
	}
	lens := h.Sights[i].Attitude.Pose.Lens
	g := math.Log(lens.FocalPx) - mean/float64(n)
	if math.Abs(g) < 3*h.Sights[i].Attitude.FocalSigma { // no more than the scale's own error
		return turns
	}
	px := h.Sights[i].CentreSigmaPx
	x, y := g*px[0]/lens.FocalPx, g*px[1]/lens.FocalPx
	// A picture shifted along x looks like a camera turned about y, along y like one turned
	// the other way about x.
	return [2]r3.Vec{{Y: x}, {X: -y}}
}
