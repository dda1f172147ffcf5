package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// Sighting is one star of the catalogue seen in one picture.
type Sighting struct {
	X, Y              float64 // pixels, as measured (columns or rows reversed if the picture is)
	VarX, VarY, CovXY float64 // px²
	Direction         r3.Vec  // where the star stands, in the frame the attitude starts from
	Catalog           int32   // index into catalog.Stars(); below zero for a star no catalogue told of
	Star              int     // index into the field's stars
}

// Pose is how one picture looks at the sky.
type Pose struct {
	Attitude turn.Turn // carries a direction of the sky's frame into the camera frame
	Lens     Lens
}

// Prior widths of the distortion, one standard deviation of lenses as people
// have them (common practice, no source): a few per cent at the corner for the
// radial terms, a few pixels in a thousand for the tangential ones.
const (
	priorK1 = 0.05
	priorK2 = 0.03
	priorP  = 0.001
	// priorCentre is how far the optical centre lies off the picture's middle, in half diagonals:
	// some ten pixels of a 12-megapixel phone.
	priorCentre = 0.005
)

// linearised is one sighting's equation about the present pose:
// error = measured ideal offset − predicted offset, px, and its derivatives.
type linearised struct {
	ex, ey float64
	jx, jy [maxUnknowns]float64 // d(predicted − measured ideal)/d(unknown)
}

// aimed is a pose made ready to be compared with many sightings.
type aimed struct {
	Pose
	plate plate
}

func (p Pose) aimed() aimed { return aimed{p, p.Lens.plate()} }

// linearise writes down the model of the package comment for one sighting.
func (p *aimed) linearise(s *Sighting, q *linearised) (ok bool) {
	d := p.Attitude.Apply(s.Direction)
	if d.Z < 0.05 {
		return false
	}
	*q = linearised{}
	a, b, f := d.X/d.Z, d.Y/d.Z, p.Lens.FocalPx
	xi, eta, rr := p.plate.from(s.X, s.Y)
	u, v := p.Lens.straight(p.plate.half, xi, eta, rr)
	q.ex, q.ey = u-f*a, v-f*b
	q.jx[turnX], q.jy[turnX] = -f*a*b, -f*(1+b*b)
	q.jx[turnY], q.jy[turnY] = f*(1+a*a), f*a*b
	q.jx[turnZ], q.jy[turnZ] = -f*b, f*a
	q.jx[lnFocal], q.jy[lnFocal] = f*a, f*b
	h := p.plate.half
	q.jx[distK1], q.jy[distK1] = -h*xi*rr, -h*eta*rr
	q.jx[distK2], q.jy[distK2] = -h*xi*rr*rr, -h*eta*rr*rr
	q.jx[distP1], q.jy[distP1] = -h*(rr+2*xi*xi), -h*2*xi*eta
	q.jx[distP2], q.jy[distP2] = -h*2*xi*eta, -h*(rr+2*eta*eta)
	q.jx[centreX], q.jy[centreY] = 1, 1 // to the size of the distortion
	return true
}

// error is the measured ideal offset less the predicted one, px: linearise without the derivatives. False behind the
// camera.
func (p *aimed) error(s *Sighting) (ex, ey float64, ok bool) {
	d := p.Attitude.Apply(s.Direction)
	if d.Z < 0.05 {
		return 0, 0, false
	}
	a, b, f := d.X/d.Z, d.Y/d.Z, p.Lens.FocalPx
	xi, eta, rr := p.plate.from(s.X, s.Y)
	u, v := p.Lens.straight(p.plate.half, xi, eta, rr)
	return u - f*a, v - f*b, true
}

// whitening turns a pair of correlated equations into two independent ones of unit weight: the Cholesky factor of the
// inverse covariance.
type whitening struct{ wx, wy, slope float64 }

func (s *Sighting) whitening(extraVar float64) whitening {
	vx, vy, c := s.VarX+extraVar, s.VarY+extraVar, s.CovXY
	slope := c / vx
	return whitening{1 / math.Sqrt(vx), 1 / math.Sqrt(vy-slope*c), slope}
}

func (w whitening) of(ex, ey float64) (float64, float64) { return w.wx * ex, w.wy * (ey - w.slope*ex) }

// whiten applies it to errors and derivatives.
func (q *linearised) whiten(s *Sighting, extraVar float64) {
	w := s.whitening(extraVar)
	q.ex, q.ey = w.of(q.ex, q.ey)
	for i := range q.jx {
		q.jx[i], q.jy[i] = w.of(q.jx[i], q.jy[i])
	}
}

// step applies a solution of the normal equations.
func (p Pose) step(x [maxUnknowns]float64) Pose {
	p.Attitude = p.Attitude.Then(turn.Exp(r3.Vec{X: x[turnX], Y: x[turnY], Z: x[turnZ]}))
	p.Lens.FocalPx *= math.Exp(max(-0.3, min(0.3, x[lnFocal])))
	p.Lens.K1 += x[distK1]
	p.Lens.K2 += x[distK2]
	p.Lens.P1 += x[distP1]
	p.Lens.P2 += x[distP2]
	p.Lens.CentreX += x[centreX]
	p.Lens.CentreY += x[centreY]
	return p
}

// residual is the distance in pixels between a sighting and its prediction,
// both as ideal offsets; +Inf behind the camera.
func (p *aimed) residual(s *Sighting) float64 {
	ex, ey, ok := p.error(s)
	if !ok {
		return math.Inf(1)
	}
	return math.Hypot(ex, ey)
}

// fitter says what a single-picture fit adjusts.
type fitter struct {
	unknowns   int     // how many of the unknowns, in order, are adjusted
	extraVar   float64 // px² added to every star: catalogue, unmodelled lens
	robust     bool    // hold stars far off the rest at arm's length
	iterations int
	focalPx    float64 // where focalSigma > 0, the focal length expected
	focalSigma float64 // relative
}

// addSightings adds the equations of sightings about pose p. Robust weights
// are Huber's: full up to k standard deviations, falling as k/r beyond.
func (f fitter) addSightings(s *system, p Pose, ss []Sighting, scale float64) (chi2 float64) {
	at := p.aimed()
	var q linearised
	for i := range ss {
		if !at.linearise(&ss[i], &q) {
			continue
		}
		q.whiten(&ss[i], f.extraVar)
		s.addPair(&q, f.weight(&q, scale))
		chi2 += q.ex*q.ex + q.ey*q.ey
	}
	return chi2
}

// weight of a whitened equation.
func (f fitter) weight(q *linearised, scale float64) float64 {
	const k = 2
	if r := math.Hypot(q.ex, q.ey); f.robust && r > k*scale {
		return k * scale / r
	}
	return 1
}

// normal builds the normal equations of one picture about pose p, priors included.
func (f fitter) normal(p Pose, ss []Sighting, scale float64) (s system, chi2 float64) {
	s.n = f.unknowns
	chi2 = f.addSightings(&s, p, ss, scale)
	if s.n > frameUnknowns {
		p.Lens.priors(&s, frameUnknowns)
	}
	if f.focalSigma > 0 && s.n > lnFocal {
		s.prior(lnFocal, math.Log(f.focalPx/p.Lens.FocalPx), f.focalSigma)
	}
	return s, chi2
}

// priors pulls the distortion toward none; its unknowns begin at first.
func (l Lens) priors(s *system, first int) {
	now := [...]float64{l.K1, l.K2, l.P1, l.P2, l.CentreX, l.CentreY}
	c := priorCentre * l.halfDiagonal()
	for i, sigma := range [...]float64{priorK1, priorK2, priorP, priorP, c, c} {
		if first+i < s.n {
			s.prior(first+i, -now[i], sigma)
		}
	}
}

// mixed is how far off the fit is for a lens whose distortion is the polynomial of [Lens] not from the measured place to the
// ideal one but the other way, s being the normal equations. See [Lens.mixed]: which of the two a lens
// follows, or how much of either, nobody knows, so that this is one standard deviation of the answer.
func (f fitter) mixed(p Pose, ss []Sighting, s *system) (x [maxUnknowns]float64, ok bool) {
	off, at := system{n: s.n}, p.aimed()
	scale := f.whitenedScale(p, ss)
	var q linearised
	for i := range ss {
		if !at.linearise(&ss[i], &q) {
			continue
		}
		q.whiten(&ss[i], f.extraVar)
		w := f.weight(&q, scale)
		q.ex, q.ey = ss[i].whitening(f.extraVar).of(p.Lens.mixed(at.plate.from(ss[i].X, ss[i].Y)))
		off.addPair(&q, w)
	}
	off.a = s.a
	return off.solve()
}

// fit adjusts the pose by Gauss–Newton; false where the sightings do not
// determine it.
func (f fitter) fit(p Pose, ss []Sighting) (Pose, bool) {
	for range f.iterations {
		scale := 1.0
		if f.robust {
			scale = f.whitenedScale(p, ss)
		}
		s, _ := f.normal(p, ss, scale)
		x, ok := s.solve()
		if !ok {
			return p, false
		}
		p = p.step(x)
		if math.Abs(x[turnX])+math.Abs(x[turnY])+math.Abs(x[turnZ])+math.Abs(x[lnFocal]) < 1e-10 {
			break
		}
	}
	return p, !math.IsNaN(p.Lens.FocalPx) && p.Lens.FocalPx > 0
}

// whitenedScale is the robust size of the whitened residuals: 1 where the stated
// errors are true. For a two-dimensional normal deviate the median length is
// √(2 ln 2) = 1.1774.
func (f fitter) whitenedScale(p Pose, ss []Sighting) float64 {
	r := make([]float64, 0, len(ss))
	at := p.aimed()
	for i := range ss {
		if ex, ey, ok := at.error(&ss[i]); ok {
			r = append(r, math.Hypot(ss[i].whitening(f.extraVar).of(ex, ey)))
		}
	}
	if len(r) == 0 {
		return 1
	}
	slices.Sort(r)
	return max(r[len(r)/2]/1.1774, 1e-3)
}

// attitudeFrom matches two directions of the camera to two of the sky, the first
// exactly.
func attitudeFrom(sky1, sky2, cam1, cam2 r3.Vec) turn.Turn {
	frame := func(a, b r3.Vec) turn.Turn {
		z := r3.Unit(a)
		y := r3.Unit(r3.Cross(z, b))
		return turn.FromRows(r3.Cross(y, z), y, z)
	}
	return frame(sky1, sky2).Then(frame(cam1, cam2).Inverse())
}
