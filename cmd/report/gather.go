package report

import (
	"cmp"
	"math"
	"slices"
	"time"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/plot"
	"trueturn/drift"
	"trueturn/drift/star"
	"trueturn/drift/wobble"
)

// Of gathers what there is to draw from a measured sequence and its answer. Title, time and version are left to the
// caller, and so is Judged.
func Of(seq drift.Sequence, a answer.Answer) Data {
	d := Data{Answer: a, Field: FieldOf(seq)}
	if f := a.Forecast; f != nil {
		d.Exposure = ExposureOf(*f, *a.Plan, rulesOf(seq, *a.Plan))
	}
	if a.Measured == nil {
		return d
	}
	in, axis := a.Seen.Input, a.Measured.Axis
	d.Drift = DriftOf(in, axis)
	if g := a.Gear; g != nil {
		d.Wobble = WobbleOf(in, axis, *g)
	}
	return d
}

// curvePoints are enough for a curve of three harmonics to look like one.
const curvePoints = 240

// WobbleOf draws what was read off the gear. Its curve is drawn only where it was measured: elsewhere it is one of many
// that would fit.
func WobbleOf(in align.Input, a align.Axis, r wobble.Result) *Wobble {
	w := &Wobble{Result: r}
	measured := r.State == wobble.Measured
	turns := turnsOf(in, a)
	for _, members := range align.Stretches(in, a) {
		zero := zeroOf(in, a, r, members)
		for _, i := range members {
			angle := turns[i].arcsec
			if measured {
				angle = lessRate(in, a, r, i) - zero
			}
			w.Mid, w.Arcsec, w.SigmaArcsec = append(w.Mid, in.Samples[i].Mid), append(w.Arcsec, angle), append(w.SigmaArcsec, a.ThetaSigma[i].Sec())
		}
	}
	if measured && len(w.Mid) > 1 {
		w.curve()
	}
	return w
}

// lessRate is a sample's angle less the rate fitted along with the wave, seconds of arc.
func lessRate(in align.Input, a align.Axis, r wobble.Result, i int) float64 {
	return a.Theta[i].Sec() - r.RateArcsecPerS*in.Samples[i].Mid.Sub(in.Samples[0].Mid).Seconds()
}

// zeroOf is where a stretch's angles count from: the middle one of what the wave leaves, so that a stray one does not
// shift the rest.
func zeroOf(in align.Input, a align.Axis, r wobble.Result, members []int) float64 {
	var left []float64
	for _, i := range members {
		left = append(left, lessRate(in, a, r, i)-r.At(in.Samples[i].Mid).Sec())
	}
	if len(left) == 0 {
		return 0
	}
	slices.Sort(left)
	return left[len(left)/2]
}

func (w *Wobble) curve() {
	first := slices.MinFunc(w.Mid, time.Time.Compare)
	span := slices.MaxFunc(w.Mid, time.Time.Compare).Sub(first)
	for k := range curvePoints + 1 {
		t := first.Add(time.Duration(float64(span) * float64(k) / curvePoints))
		w.CurveMid, w.CurveArcsec = append(w.CurveMid, t), append(w.CurveArcsec, w.At(t).Sec())
	}
}

// ExposureOf draws a forecast; rules may be empty.
func ExposureOf(f exposure.Forecast, p exposure.Plan, rules exposure.Rules) *Exposure {
	return &Exposure{f, cmp.Or(p.MaxElongation, exposure.DefaultElongation), cmp.Or(p.Share, exposure.DefaultShare), rules}
}

// rulesOf are the rules of thumb for the lens the pictures tell of; empty where they do not.
func rulesOf(seq drift.Sequence, p exposure.Plan) exposure.Rules {
	o := exposure.Optics{Width: p.View.Lens.Width, Height: p.View.Lens.Height, ScaleArcsecPerPx: math.Atan(1/p.View.Lens.FocalPx) * arcsec}
	for _, s := range seq.Shots {
		if l := s.Lens; l.FocalLengthMM > 0 {
			o.FocalLengthMM, o.PixelPitchUM, o.FNumber, o.EquivalentMM = l.FocalLengthMM, l.PixelPitchUM, l.FNumber, l.EquivalentMM
		}
	}
	rules, err := exposure.RulesOfThumb(o, p.View.LeastDeclination())
	if err != nil {
		return exposure.Rules{}
	}
	return rules
}

// FieldOf is the field of the last solved picture with stars whose shape can be told; nil if there is none.
func FieldOf(seq drift.Sequence) *Field {
	for _, s := range slices.Backward(seq.Shots) {
		if s.Solution == nil {
			continue
		}
		f := &Field{File: s.File, Width: s.Width, Height: s.Height}
		for _, st := range s.Field.Stars {
			if st.Flags&(star.Saturated|star.Edge|star.Blend|star.Hot) == 0 && st.Elongation >= 1 {
				f.Stars = append(f.Stars, plot.Whisker{X: st.X, Y: st.Y, Elongation: st.Elongation})
			}
		}
		if len(f.Stars) > 0 {
			return f
		}
	}
	return nil
}
