package exposure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/drift/posdef"
)

// # A camera that stands still
//
// A standing camera turns with the Earth, so that in its frame the sky turns by w = −ωT p̂ during an exposure of T, and the path
// of every star follows from the attitude and T alone. Two things tell that it stood:
//
// The pictures of a sequence ([align.Pace]): between two of them the attitude against the stars has turned by ω times the time
// between, about the pole; on a mount that follows the sky it has not turned at all. It takes neither place nor air.
//
// The stars of one picture. With P the E that the path w would draw (pattern.go), each star's E is
//
//	E = k P + (c₁ρ² + c₂ρ⁴)(cos 2φ, sin 2φ) + noise
//
// and k = 1. Here the lens may draw stars out along circles as well as along radii: the path being known, the two do not pass
// for each other, as they do where w is free. The camera stood if k is one, if P is needed (without it the misfit is clearly
// larger), and if a w as free as it likes hardly does better. c has a prior of the star's own variance: where the pole is in the
// middle of the picture, P and the lens's pattern are alike, and a lens that undoes the sky is the less likely.
//
// k is not far from one, but not exactly one either: shutters' times are names (15 s and 30 s are 16 s and 32 s, common
// practice, no source), and a camera's tone curve widens a star and its path alike.

const (
	// stillLow and stillHigh of k: what tone curves, names of times and the correction for wings (halo.go) make of one. A motor
	// that runs makes it (1 − r)²: 0 at the stars' rate, ¼ at half, 4 backward.
	stillLow, stillHigh = 0.6, 1.6
	// stillErr of k from which on it tells nothing.
	stillErr = 0.25
	// stillWins of what a free turn wins over none must be won by the sky's own: the rest is left to lenses of other kinds.
	stillWins = 0.75
	// shutterErr is the standard error of an exposure time as files name it, a share.
	shutterErr = 0.035
)

// stand is what is known of one exposure as of a camera that stands.
type stand struct {
	sky    [3]float64 // w of a camera that stands
	known  bool       // the attitude and the length of the exposure are
	k, err float64    // share of P seen, with its standard error
	won    float64    // misfit less for P, its share held at one
	better float64    // misfit less for a free turn
	still  bool
}

// skyTurn is how the sky turns in a standing camera during the exposure.
func (s Shot) skyTurn() (w [3]float64, known bool) {
	if !s.solved() || s.ExposureS <= 0 {
		return w, false
	}
	p := r3.Scale(-omega*s.ExposureS, s.Attitude.Apply(r3.Vec{Z: 1}))
	return [3]float64{p.X, p.Y, p.Z}, true
}

// stands finds which frames of one lens were taken by a camera that stood; the lens is then that which is left when the sky's turn
// is taken off, else as it was.
func stands(frames []*taken, lens [2]float64) [2]float64 {
	var stood []*pattern
	for _, f := range frames {
		if f.stand.sky, f.stand.known = f.shot.skyTurn(); !f.stand.known {
			continue
		}
		f.compare()
		if f.stand.still = f.stood(); f.stand.still {
			if f.stand.err > stillErr { // too short to be measured
				f.stand.k = 1
			}
			f.p.w = scaled(f.stand.sky, math.Sqrt(f.stand.k))
			stood = append(stood, &f.p)
		}
	}
	if len(stood) == 0 {
		return lens
	}
	lens = lensOf(stood, true)
	for _, f := range frames {
		if !f.stand.still {
			f.p.fit(lens)
		}
	}
	return lens
}

func scaled(w [3]float64, by float64) [3]float64 { return [3]float64{by * w[0], by * w[1], by * w[2]} }

// stood is the judgement on one frame.
func (f *taken) stood() bool {
	s := f.stand
	alike := s.k > stillLow && s.k < stillHigh
	switch {
	case f.shot.Followed, f.shot.Motor != "" && f.shot.Motor != align.KindNotTurning:
		return false
	case f.shot.Motor == align.KindNotTurning: // the path may be too short to be seen in a single picture
		return alike && s.won > stillWins*s.better || s.err > stillErr && math.Abs(s.k-1) < 2*s.err && s.better-s.won < clearly
	}
	return alike && s.err < stillErr && s.won > clearly && s.won > stillWins*s.better
}

// compare the stars with the path that a standing camera would draw.
func (f *taken) compare() {
	m := mixture{p: &f.p, prior: 1 / (f.narrow * f.narrow)}
	for i := range f.p.stars {
		m.sky = append(m.sky, f.p.stars[i].drawn(f.stand.sky))
	}
	none, one, free := m.least(0, true), m.least(1, true), m.least(1, false)
	s := &f.stand
	s.k, s.err = free.k, free.err
	s.won, s.better = none.misfit-one.misfit, none.misfit-math.Min(f.p.chi2, free.misfit)
}

// mixture is the stars of one picture as a mixture of the sky's path and a lens's pattern: the unknowns are k, c₁, c₂.
type mixture struct {
	p     *pattern
	sky   []vec   // P of every star
	prior float64 // weight of c being zero
}

// amount is what a mixture is found to be.
type amount struct{ k, err, misfit float64 }

// least fits by weighted least squares, misfits beyond three σ counting linearly; k may be held.
func (m mixture) least(k float64, held bool) amount {
	const rounds = 12
	x := [3]float64{k}
	var inverse [3][3]float64
	for range rounds {
		eq := m.equations(x, held)
		if !posdef.Factor(eq.normal[:], 1e-14) {
			return amount{err: math.Inf(1)}
		}
		posdef.Inverse(eq.normal[:], inverse[:])
		for a, by := range posdef.Solve(eq.normal[:], eq.right) {
			x[a] += by
		}
	}
	out := amount{k: x[0], err: math.Sqrt(inverse[0][0])}
	for i := range m.p.stars {
		r := m.residual(i, x).length() / (m.p.stars[i].sigma * m.p.swelled)
		out.misfit += huberCost(r)
	}
	return out
}

// residual of a star.
func (m mixture) residual(i int, x [3]float64) vec {
	o := &m.p.stars[i]
	return o.e.minus(m.sky[i].times(x[0])).minus(o.radial([2]float64{x[1], x[2]}))
}

// equations of one round.
func (m mixture) equations(x [3]float64, held bool) (e equations) {
	for i := range m.p.stars {
		o, res := &m.p.stars[i], m.residual(i, x)
		e.add([]vec{m.sky[i], o.away, o.away.times(o.lit * o.lit)}, res, m.p.weight(o, res))
	}
	for a := 1; a < 3; a++ {
		e.normal[a][a] += m.prior
		e.right[a] -= m.prior * x[a]
	}
	const tight = 1e12 // beside the thousands that stars weigh
	if held {
		e.normal[0][0] += tight
		e.right[0] = 0
	}
	return e
}

// forecast is that of the question, unless the camera stood and it speaks of a mount.
func (v *Verdict) forecast(s *set, q Question) {
	var last *taken
	stood, all := 0, 0
	for _, f := range s.frames {
		if !f.told() {
			continue
		}
		all++
		if f.stand.still {
			stood++
			if last == nil || !f.shot.Mid.Before(last.shot.Mid) {
				last = f
			}
		}
	}
	if v.Still = 2*stood > all; !v.Still {
		v.Forecast = q.Forecast
		return
	}
	if q.Forecast != nil && q.Forecast.LimitedBy == LimitSky {
		v.Forecast = q.Forecast
		return
	}
	view, err := last.shot.toward()
	if err != nil {
		return
	}
	p := Plan{View: view, Mount: Mount{Tripod: true}, FWHM: sharpest(s.frames), MaxElongation: q.MaxElongation, Share: q.Share}
	if f, err := Longest(p); err == nil {
		v.Forecast = &f
	}
}

// toward is the view of a shot, the site not known.
func (s Shot) toward() (View, error) {
	pole := s.Attitude.Apply(r3.Vec{Z: 1})
	l := s.lens()
	if err := l.sound(); err != nil {
		return View{}, err
	}
	// The stars' own frame for the ground's: its pole is the same, and on a tripod nothing else counts.
	return View{Lens: l, Attitude: *s.Attitude, Pole: r3.Vec{Z: 1}, South: pole.Z < 0}, nil
}

// sharpest is the width of a round star where it is least, as package answer takes it for its forecasts.
func sharpest(frames []*taken) (px float64) {
	for _, f := range frames {
		if !f.shot.solved() {
			continue
		}
		if w := FormOf(f.shot.recognised()).RoundPx; w > 0 && (px == 0 || w < px) {
			px = w
		}
	}
	return px
}
