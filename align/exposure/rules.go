package exposure

import (
	"math"

	"github.com/soniakeys/unit"
)

// Rules are the trade's rules of thumb for a camera on a tripod, seconds; nil where a figure they need is not known.
type Rules struct {
	Rule500S *float64 `json:"rule_500_s"`
	NPFS     *float64 `json:"npf_s"` // for k = 1
}

// RulesOfThumb are the rules for a lens; least is the smallest |declination| in the picture ([View.LeastDeclination]).
//
//	500 rule:  t = 500 s·mm / 35 mm equivalent focal length             (common practice, no source)
//	NPF rule:  t = k(16.856 N + 0.0997 f + 13.713 p)/(f cos δ)          (from memory)
//
// The second is F. Michaud's (Société Astronomique du Havre), N the f-number, f the real focal length in mm, p the
// pixel pitch in µm; k is 1 for pin-sharp stars to 3 for visible trails. The figures are from memory.
func RulesOfThumb(o Optics, least unit.Angle) (Rules, error) {
	if err := o.sound(); err != nil {
		return Rules{}, err
	}
	if err := soundPlace(least.Deg()); err != nil {
		return Rules{}, err
	}
	var r Rules
	if e := o.equivalent(); e > 0 {
		t := 500 / e
		r.Rule500S = &t
	}
	if t := o.npf(least); t > 0 && !math.IsInf(t, 0) {
		r.NPFS = &t
	}
	return r, nil
}

// equivalent is the 35 mm equivalent, 0 if unknown.
func (o Optics) equivalent() float64 {
	switch {
	case o.EquivalentMM > 0:
		return o.EquivalentMM
	case o.Width == 0:
		return 0
	}
	l, err := o.Lens()
	if err != nil {
		return 0
	}
	return l.FocalPx * diagonal35mm / math.Hypot(float64(o.Width), float64(o.Height))
}

// npf is the second rule's time for k = 1, 0 if a figure is missing.
func (o Optics) npf(least unit.Angle) float64 {
	f, n, p := o.FocalLengthMM, o.FNumber, o.PixelPitchUM
	if f <= 0 || n <= 0 || p <= 0 {
		return 0
	}
	return (16.856*n + 0.0997*f + 13.713*p) / (f * math.Cos(least.Rad()))
}

// Zoomed is the plan with a lens factor times as long; stars keep their width in pixels.
func (p Plan) Zoomed(factor float64) Plan {
	p.View.Lens.FocalPx *= factor
	return p
}
