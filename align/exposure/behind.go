package exposure

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/align"
)

// What is told apart (common practice, no source).
const (
	// axisTells: an axis moves stars along right ascension by sin δ times its error; below this it hardly does.
	axisTells = 0.2
	// explained: what is left of the drift when a cause is taken off, for the cause to be all of it; and unexplained.
	explained, unexplained = 0.25, 0.75
	// steady: drifts that differ by less from picture to picture come from a rate, others from a gear.
	steady = 0.15
)

// behind lists what may lie behind a drift in right ascension over the frames that show it, likeliest first.
func (s *set) behind() []Origin {
	var left, scatter, errors, ratios, sines []float64
	for _, f := range s.frames {
		if f.told() && f.shot.solved() && f.shot.ExposureS > 0 { // how the drift varies shows in the round ones as well
			scatter = append(scatter, math.Abs(f.east-f.axisRA.px)/f.shot.ExposureS)
		}
		if f.parts[CauseRA] == 0 || f.judged.Round {
			continue
		}
		left = append(left, math.Abs(f.east-f.axisRA.px)/math.Abs(f.east))
		errors = append(errors, f.axisRA.err/math.Abs(f.east))
		ratios = append(ratios, f.skyRatio())
		sines = append(sines, math.Abs(math.Sin(f.shot.declination().Rad())))
	}
	switch {
	case s.still():
		return []Origin{OriginStill}
	case s.backward(medianOf(ratios)):
		return []Origin{OriginWrong}
	}
	if s.slips() {
		return []Origin{OriginGives}
	}
	motor := s.motorOrigins(scatter, medianOf(ratios))
	if s.axis == nil || medianOf(errors) > unexplained { // not known, or too badly
		if medianOf(sines) > axisTells {
			return append(motor, OriginAxis)
		}
		return motor
	}
	switch rest := medianOf(left); {
	case rest <= math.Max(explained, 2*medianOf(errors)):
		return []Origin{OriginAxis}
	case rest < unexplained:
		return append([]Origin{OriginAxis}, motor...)
	}
	return motor
}

// still is whether the camera stood in most of the exposures that trail along right ascension.
func (s *set) still() bool {
	n, all := 0, 0
	for _, f := range s.frames {
		if f.parts[CauseRA] == 0 || f.judged.Round {
			continue
		}
		if all++; f.stand.still {
			n++
		}
	}
	return 2*n > all
}

// slips is whether between the pictures a clamp or clutch was found to slip: what a gear or a gust draws out now and then is drawn out
// so as well.
func (s *set) slips() bool {
	return s.axis != nil && slices.ContainsFunc(s.axis.Faults, func(x align.Situation) bool { return x.Kind == align.KindSlipping })
}

// backward is whether the mount turned backward in the exposures that trail along right ascension: by the pictures before and after,
// or, where they do not tell, by the drift, which is then about twice the sky's own.
func (s *set) backward(drift float64) bool {
	told, is := 0, 0
	for _, f := range s.frames {
		if f.parts[CauseRA] == 0 || f.judged.Round || f.shot.Motor == "" && !f.shot.Followed {
			continue
		}
		if told++; f.shot.Motor == align.KindWrongHemisphere {
			is++
		}
	}
	if told > 0 {
		return 2*is > told
	}
	return (align.Pace{Rate: align.Rate{SiderealRatio: 1 - drift}}).Fault() == align.KindWrongHemisphere
}

// behindDec is what lies behind a drift along declination: the axis, unless a known one explains next to nothing of it. Then something
// gives way, unless between the pictures nothing did.
func (s *set) behindDec() []Origin {
	var left, errors []float64
	for _, f := range s.frames {
		if !f.judged.Round && f.parts[CauseDec] > 0 && f.axisDec != (part{}) {
			left = append(left, math.Abs(f.north-f.axisDec.px)/math.Abs(f.north))
			errors = append(errors, f.axisDec.err/math.Abs(f.north))
		}
	}
	switch {
	case len(left) == 0 || medianOf(left) <= unexplained || 2*medianOf(errors) >= medianOf(left):
		return []Origin{OriginAxis}
	case s.axis.Axis.Gave.Held() && !s.slips():
		return []Origin{}
	}
	return []Origin{OriginGives}
}

// motorOrigins tells rate and wobble apart by the rate measured, where it explains the drift, a share of the sky's own, or cannot; else it orders
// them by how steady the drift is.
func (s *set) motorOrigins(perSecond []float64, drift float64) []Origin {
	if s.axis != nil && s.axis.Rate != nil {
		r := *s.axis.Rate
		switch off := math.Abs(r.SiderealRatio - 1); {
		case off > (1-explained)*drift:
			return []Origin{OriginRate}
		case off+2*r.Sigma < (1-unexplained)*drift:
			return []Origin{OriginWobble}
		}
	}
	mid := medianOf(perSecond)
	if len(perSecond) < shakeLeast || mid == 0 || !finite(mid) {
		return []Origin{OriginRate, OriginWobble}
	}
	var off float64 // the mean, not the middle: a gear at rest in a third of the pictures counts
	for _, v := range perSecond {
		off += math.Abs(v-mid) / float64(len(perSecond))
	}
	if off < steady*mid {
		return []Origin{OriginRate, OriginWobble}
	}
	return []Origin{OriginWobble, OriginRate}
}

// skyRatio is the drift in right ascension as a share of the turning of the sky itself; 0 where the exposure is not known.
func (f *taken) skyRatio() float64 {
	if f.shot.ExposureS <= 0 || !f.shot.solved() {
		return 0
	}
	sky := omega * f.shot.ExposureS
	w := math.Hypot(f.p.w[0], math.Hypot(f.p.w[1], f.p.w[2]))
	if f.p.turning < clearly {
		w = math.Abs(f.east) / f.shot.FocalPx / math.Max(math.Cos(f.shot.declination().Rad()), 0.02)
	}
	return w / sky
}

// perMinute is the middle of a part of the path over the frames that are amiss, as an angle per minute; 0 where not known.
func (s *set) perMinute(part func(*taken) float64) unit.Angle {
	var list []float64
	for _, f := range s.frames {
		if f.told() && f.shot.solved() && f.shot.ExposureS > 0 && f.judged.Cause != CauseNone {
			list = append(list, math.Abs(part(f))/f.shot.FocalPx/f.shot.ExposureS*60)
		}
	}
	return unit.Angle(medianOf(list))
}
