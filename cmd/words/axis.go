package words

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/ephem/say"
)

// TiltOff is how far too high or too low the axis points.
func TiltOff(o say.Off) say.Line {
	if math.Signbit(o.Value.Rad()) {
		return say.Of("too low", o)
	}
	return say.Of("too high", o)
}

// BaseOff is how far too far clockwise, seen from above, the axis points, or anticlockwise.
func BaseOff(o say.Off) say.Line {
	if math.Signbit(o.Value.Rad()) {
		return say.Of("too far anticlockwise", o)
	}
	return say.Of("too far clockwise", o)
}

// OffBy is an angle with its standard error, both given in minutes of arc.
func OffBy(arcmin, sigmaArcmin float64) say.Off {
	return say.Off{Value: unit.AngleFromMin(arcmin), Sigma: unit.AngleFromMin(sigmaArcmin)}
}

// Judged is what became of an exposure.
func Judged(f exposure.Judged) string {
	switch {
	case f.Round && f.Cause == exposure.CauseNone:
		return Say("round")
	case f.Round:
		return Say("round, but", string(f.Cause))
	case f.Elongation <= 0:
		return Say("cannot be judged")
	case f.Cause == exposure.CauseNone:
		return Say("not round")
	}
	return Say("not round, because", string(f.Cause))
}
