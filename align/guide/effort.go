package guide

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/ephem"
)

// pace is the time from picture to picture.
func (g *Guide) pace() time.Duration {
	if m := g.base.Measured; m != nil && m.Question.Forecast.PerPicture > 0 {
		return m.Question.Forecast.PerPicture
	}
	return policy.UsualPace
}

// tracking forecasts the error of the axis after ten pictures of tracking from one or two, and the axis error worth a
// turn then. The axis itself is taken to be near the aim: where it really is changes the forecast little.
func (g *Guide) tracking(a answer.Finding, w window) (t policy.Tracking) {
	seen, err := g.see(a, w.sequence())
	in := seen.Input
	if err != nil || len(in.Samples) == 0 {
		return t
	}
	if len(in.Samples) == 1 {
		second := in.Samples[0]
		second.Mid = second.Mid.Add(policy.UsualPace)
		in.Samples = append(slices.Clone(in.Samples), second)
	}
	aim, err := align.NewAim(g.o.Answer.Aim, in.Site, in.Air, in.Samples[0].Mid, g.o.Answer.Target)
	if err != nil {
		return t
	}
	unknown := sq(unit.AngleFromDeg(30).Rad())
	f := align.Predict(in, align.Axis{Direction: aim.Direction, Covariance: [2][2]float64{{unknown, 0}, {0, unknown}}, Theta: make([]unit.Angle, len(in.Samples))})
	if f.MoreSigma <= 0 {
		return t
	}
	const forecast = 2 * policy.LeastPictures // pictures Predict lays out for so short a beginning
	t.Sigma = f.MoreSigma.Mul(math.Pow(forecast/float64(policy.PlannedPictures), policy.TrackingPower))
	t.Stands, t.Known = g.standsOf(a)
	t.Stands = policy.Settled(t.Stands)
	return t
}

func sq(x float64) float64 { return x * x }

// standsOf is the axis error the planned exposure stands, from the width of the stars alone: half of the tolerance, as in answer.
func (g *Guide) standsOf(a answer.Finding) (unit.Angle, bool) {
	for _, f := range a.Lines {
		if f.Used && f.FWHMPx != nil && f.ScaleArcsecPx != nil {
			creep := ephem.SiderealRadPerS * g.o.Answer.Planned.Seconds()
			trail := exposure.TrailOf(g.o.Answer.MaxElongation, *f.FWHMPx) * unit.AngleFromSec(*f.ScaleArcsecPx).Rad()
			return unit.Angle(trail / creep / 2), true
		}
	}
	return 0, false
}
