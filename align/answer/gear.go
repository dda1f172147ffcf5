package answer

import (
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/drift/wobble"
	"trueturn/ephem"
)

// readWobble reads the periodic error off the angles about the axis.
//
// The step of the time stamps does not enter: an attitude is measured against the sky of the
// stamped instant, so that a stamp late by δ turns the angle by −ωδ, and the model's
// angle at the stamp, ωt, by as much. What is left is (rate − 1)·ωδ, nothing for a motor that keeps
// the stars.
func (b *builder) readWobble(h drift.Horizon, in align.Input, a align.Axis) {
	var points []wobble.Point
	for k, members := range align.Stretches(in, a) {
		for _, i := range members {
			clock := b.seq.Shots[h.Sights[i].Shot].Clock
			points = append(points, wobble.Point{Time: in.Samples[i].Mid, Angle: a.Theta[i], Sigma: a.ThetaSigma[i], Stretch: k, Exposure: clock.Exposure})
		}
	}
	r, err := wobble.Fit(points, wobble.Options{PeriodS: b.o.PeriodS})
	if err != nil {
		return
	}
	b.out.Gear = &r
}

// Limits of what is believed of a motor (common practice, no source): small mounts run by a crystal, true to
// some parts in ten thousand, so that a rate no worse than its error counts as the stars'.
const (
	crystal  = 1e-3
	sureRate = 3 // standard errors
)

// mount is what the forecast rests on.
func (b *builder) mount(a align.Axis) exposure.Mount {
	m := exposure.Mount{Axis: exposure.Axis{Direction: a.Direction, Covariance: a.Covariance}}
	if r := b.out.Rate; r != nil {
		m.RateError, m.RateSigma = r.SiderealRatio-1, r.Sigma
	}
	if g := b.out.Gear; g != nil && g.State == wobble.Measured {
		m.RateError, m.RateSigma = math.Abs(g.RateArcsecPerS)/siderealArcsecPerS-1, g.RateSigmaArcsecPerS/siderealArcsecPerS
	}
	if math.Abs(m.RateError) < max(crystal, sureRate*m.RateSigma) {
		m.RateError, m.RateSigma = 0, min(m.RateSigma, crystal)
	}
	m.Wobble = gearOf(b.out.Gear, b.o.Gear)
	return m
}

// siderealArcsecPerS is ω (design §1).
const siderealArcsecPerS = ephem.SiderealRadPerS / float64(ephem.Arcsec)

// Of limits to a gear: half of one is reckoned with, and spreads as far as the limit at one and a half standard errors.
const (
	largestWobbleArcsec = 240.0 // a limit beyond says nothing
	limitedSpread       = 2.0 / 3
)

// gearOf is the gear a forecast reckons with: what was measured, else what was told, unless the pictures limit it to less,
// else what they limit it to, else a usual one.
func gearOf(g *wobble.Result, told *exposure.Wobble) *exposure.Wobble {
	if g != nil && g.State == wobble.Measured {
		return measuredGear(*g)
	}
	usual := exposure.Reckoned(nil)
	limited, limit := limitedGear(g, *usual)
	switch {
	case told != nil && (limited == nil || told.PeakToPeak <= limit):
		w := *told
		w.Source = exposure.GearTold
		return &w
	case limited != nil:
		return limited
	}
	return usual
}

func measuredGear(g wobble.Result) *exposure.Wobble {
	return &exposure.Wobble{PeriodS: g.PeriodS, PeakToPeak: g.PeakToPeak, Sigma: g.PeakToPeakSigma, Harmonics: g.Harmonics, Source: exposure.GearMeasured}
}

// limitedGear is half of what the pictures limit the gear to; nil where that is no less than what is usual.
func limitedGear(g *wobble.Result, usual exposure.Wobble) (*exposure.Wobble, unit.Angle) {
	if g == nil {
		return nil, 0
	}
	w := exposure.Wobble{PeriodS: usual.PeriodS, PeriodFactor: usual.PeriodFactor, Source: exposure.GearBounded}
	high := g.PeakToPeakLimits.High
	switch limit := unit.AngleFromSec(high); {
	case g.State == wobble.Bounded && high < largestWobbleArcsec:
		if g.PeriodS > 0 && g.Periods > 0.5 {
			w.PeriodS, w.PeriodFactor = g.PeriodS, 0
		}
		fallthrough
	case g.State == wobble.Unseen && high > 0 && g.PeriodLimitsS.High >= usual.PeriodS && limit < usual.PeakToPeak.Mul(2): // limits hold for the periods seen only
		w.PeakToPeak, w.Sigma = limit.Mul(0.5), limit.Mul(0.5*limitedSpread)
		return &w, limit
	}
	return nil, 0
}

// forecast says how long stars stay round over the view of the last picture used.
func (b *builder) forecast(h drift.Horizon, m exposure.Mount) {
	if len(h.Sights) == 0 {
		return
	}
	s := h.Sights[len(h.Sights)-1]
	sky, err := ephem.NewSky(b.site, b.air, s.Mid)
	if err != nil {
		return
	}
	lens := s.Attitude.Pose.Lens
	view, err := exposure.Seen(exposure.Lens{FocalPx: lens.FocalPx, Width: lens.Width, Height: lens.Height}, sky, s.Attitude.Pose.Attitude)
	if err != nil {
		return
	}
	p := exposure.Plan{View: view, Mount: m, FWHM: b.roundFWHM(), MaxElongation: b.o.MaxElongation, Share: b.o.Share, PlannedS: b.o.Planned.Seconds()}
	p.Elongation = b.ownElongation(p)
	f, err := exposure.Longest(p)
	if err != nil {
		return
	}
	b.out.Plan, b.out.Forecast = &p, &f
	b.out.lastView = viewOf(b.seq.Shots[s.Shot])
}

// ownElongation is how long stars are before the mount moves them: the roundest picture's, less what a mount would have made of that exposure
// nine times in ten. 0 where the pictures do not speak of it, which is so where one is round enough.
func (b *builder) ownElongation(p exposure.Plan) float64 {
	least := math.Inf(1)
	for i, form := range b.forms() {
		if s := b.seq.Shots[i]; s.Solution != nil && s.Clock != nil && s.Clock.Exposure > 0 && form.Elongation > 0 && form.Elongation < least {
			least, p.PlannedS = form.Elongation, s.Clock.Exposure.Seconds()
		}
	}
	if math.IsInf(least, 1) || least <= p.MaxElongation {
		return 0
	}
	f, err := exposure.Longest(p)
	if err != nil || f.Planned == nil {
		return 0
	}
	moved := f.Planned.Elongation
	return math.Sqrt(math.Max(1, least*least-moved*moved+1))
}

// viewOf is where a solved picture looked.
func viewOf(s drift.Shot) SessionView {
	ra, dec := s.Solution.RADec()
	return SessionView{MidUTC: s.Clock.Mid().UTC().Format(time.RFC3339Nano), RADeg: ra.Deg(), DecDeg: dec.Deg(),
		RollDeg: s.Solution.Roll().Deg(), FocalPx: s.Solution.Lens.FocalPx, Width: s.Width, Height: s.Height}
}

// roundFWHM is the width of a round star: that of the sharpest picture, by its stars' short
// axes, which a trail leaves alone. 0 where no picture says.
func (b *builder) roundFWHM() float64 {
	best := math.Inf(1)
	forms := b.forms()
	for i, s := range b.seq.Shots {
		if s.Solution == nil {
			continue
		}
		width := forms[i].RoundPx
		if width == 0 {
			width = s.Field.FWHM
		}
		if width > 0 {
			best = min(best, width)
		}
	}
	if math.IsInf(best, 1) {
		return 0
	}
	return best
}

// stands is the axis error the planned exposure stands with half of the tolerance, the other half left to the gear: a
// star creeps by the error times ω. 0 where the pictures do not say.
func (b *builder) stands(h drift.Horizon) unit.Angle {
	fwhm := b.roundFWHM()
	if fwhm == 0 || len(h.Sights) == 0 {
		return 0
	}
	scale := h.Sights[len(h.Sights)-1].Attitude.Pose.Lens.Scale().Rad()
	creep := unit.AngleFromSec(siderealArcsecPerS).Rad() * b.o.Planned.Seconds()
	return unit.Angle(exposure.TrailOf(b.o.MaxElongation, fwhm) * scale / creep / 2)
}
