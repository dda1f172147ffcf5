package words

import (
	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/ephem/say"
)

// TiltOff is how far too high or, below 0, too low the axis points: an angle, or one with its error.
func TiltOff(arcmin float64, far any) say.Line {
	if arcmin < 0 {
		return say.Of("too low", far)
	}
	return say.Of("too high", far)
}

// BaseOff is how far too far clockwise, seen from above, or, below 0, anticlockwise the axis points.
func BaseOff(arcmin float64, far any) say.Line {
	if arcmin < 0 {
		return say.Of("too far anticlockwise", far)
	}
	return say.Of("too far clockwise", far)
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
