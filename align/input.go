package align

import (
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
		in.Samples = append(in.Samples, Sample{Mid: s.Mid, Attitude: s.Attitude, Lens: s.Lens, Field: s.Field})
	}
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
