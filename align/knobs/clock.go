package knobs

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// # What a wrong clock does to the knobs' tracks
//
// With a clock fast by δ, or a site as far west of where it is said to be as the sky turns in δ, the stars are taken for further on their
// way than they were: every direction found is turned by β = −ωδ about the pole p,
//
//	x' = Rot(p, β)·x        for the axis a, the azimuth knob's axis v (the plumb line) and the hinge h
//
// The pole stays, so that an axis led to it by a wrong clock gets there; but the tracks on which the knobs lead it are turned. A head
// turned about k' moves the axis by k' × a', and what it turns about a' the motor may have done. With h' square to a' and v',
//
//	azimuth     k' ∥ v'   up to a'        v'·(a' × k') = 0
//	altitude    k' ∥ h'   up to a'        v'·(k' − (k'·a') a') = 0
//
// Both are v'·w = 0 with v' = (v·p) p + cos β (v − (v·p) p) + sin β (p × v), and the root nearest 0 is what one turn tells of β.
//
// A base that leans sideways by ε does the same to v', and h' follows: it turns both tracks by ε/cos φ, φ the height of the axis. The
// two cannot be told apart but by size: an hour is 15°, a lean of 5° makes 7° at a latitude of 46°, 10° at 60°. A hinge not square to
// v turns the altitude's track alone, and hands on both knobs turn each track as it happens. Hence a clock is named only where both
// knobs were turned, agree, and no lean explains them; one knob alone is a question.
const (
	leanMost = 5 * ephem.Degree // no base leans more unnoticed (common practice, no source)
	// clockSigmas, askSigmas: standard errors beyond the lean by which a clock is named, and asked for.
	clockSigmas = 4
	askSigmas   = 2
	// tracksAgree: standard errors by which the two tracks may differ.
	tracksAgree = 2.5
	// trackLeast on the sky: of less a careless hand's touch of the other knob is too large a part.
	trackLeast = 12 * ephem.Arcmin
	// skewMost: more is nearer to the other knob's track.
	skewMost = 50 * ephem.Degree
	// skewRange is how far a wrong clock turns the tracks, one standard deviation: an hour or two.
	skewRange = 20 * ephem.Degree
	// skewMargin: −2 ln of the odds by which a clock may be the worse account and still be worth the question.
	// strayMargin is the same against axes that cannot be: then it is the sense of the stray account.
	skewMargin  = 6.0
	strayMargin = 20.0
	// trackedMost is the error of one turn's β beyond which it tells nothing.
	trackedMost = 15 * ephem.Degree
)

// Track is what the turns of one knob have told of β: sums of 1/σ², β/σ², β²/σ², radians.
type Track struct {
	Weight  float64 `json:"weight"`
	Sum     float64 `json:"sum"`
	Squares float64 `json:"squares"`
	Turns   int     `json:"turns"`
}

func (t Track) with(beta, sigma unit.Angle) Track {
	w := 1 / sq(sigma.Rad())
	return Track{t.Weight + w, t.Sum + w*beta.Rad(), t.Squares + w*sq(beta.Rad()), t.Turns + 1}
}

// mean is the track's β, with the error of all its turns; where they differ by more than theirs, by what they differ.
func (t Track) mean() (beta, sigma float64) {
	beta = t.Sum / t.Weight
	scatter := 1.0
	if t.Turns > 1 {
		scatter = max(1, (t.Squares-t.Sum*beta)/float64(t.Turns-1))
	}
	return beta, math.Sqrt(scatter / t.Weight)
}

// skew is β of one step, if only that knob was turned, with its error; false where no turn about the pole makes the knob's axis of
// what moved.
func (s State) skew(at step, k Knob) (beta, sigma unit.Angle, ok bool) {
	p, plumb := s.northward(s.Aim.Direction), r3.Vec{Z: 1}
	moved := at.misfit(make([]float64, unknowns)) // the rotation vector of K
	across := r3.Sub(moved, r3.Scale(r3.Dot(moved, at.axis), at.axis))
	w := across
	if k == Azimuth {
		w = r3.Cross(at.axis, moved)
	}
	fixed := r3.Scale(plumb.Z*p.Z, p)
	u, q := r3.Sub(plumb, fixed), r3.Cross(p, plumb)
	a, b, c := r3.Dot(u, w), r3.Dot(q, w), r3.Dot(fixed, w)
	reach := math.Hypot(a, b)
	if r3.Norm(across) < trackLeast.Rad() || math.Abs(c) > reach {
		return 0, 0, false
	}
	half := math.Acos(-c / reach)
	root := math.Pi
	for _, x := range [2]float64{math.Atan2(b, a) + half, math.Atan2(b, a) - half} {
		if x = math.Remainder(x, 2*math.Pi); math.Abs(x) < math.Abs(root) {
			root = x
		}
	}
	sin, cos := math.Sincos(root)
	vertical := r3.Add(fixed, r3.Add(r3.Scale(cos, u), r3.Scale(sin, q)))
	slope := b*cos - a*sin
	spoilt := s.trackError(at, k, vertical, r3.Norm(across))
	return unit.Angle(root), unit.Angle(spoilt / math.Abs(slope)), math.Abs(root) < skewMost.Rad() && spoilt < trackedMost.Rad()*math.Abs(slope)
}

// trackError is the error of v'·w: of the attitudes, and of the other knob's following a little.
func (s State) trackError(at step, k Knob, vertical r3.Vec, size float64) float64 {
	aside := r3.Sub(vertical, r3.Scale(r3.Dot(vertical, at.axis), at.axis))
	along, other := aside, vertical
	if k == Azimuth {
		along, other = r3.Cross(vertical, at.axis), r3.Unit(r3.Cross(at.axis, vertical))
	}
	cov, _ := turn.Invert(at.weight)
	follows := sq(jiggle.Rad()) + sq(coupling*size)
	return math.Sqrt(r3.Dot(along, cov.MulVec(along)) + sq(r3.Dot(along, other))*follows)
}

// doubtedClock explains a motion that nothing else does well by the knob that was asked for, turned under a wrong clock.
func (s State) doubtedClock(p Pose, than motion) (motion, bool) {
	if s.Asked == nil || than.kind == bothKnobs && s.bothNeeded(than) {
		return than, false
	}
	at, still := s.stepTo(p, s.Stand)
	beta, sigma, ok := s.skew(at, s.Asked.Knob)
	if !ok {
		return than, false
	}
	h := altitudeOnly
	if s.Asked.Knob == Azimuth {
		h = azimuthOnly
	}
	at.axes = guessAxes(s.northward(at.axis)).turned(s.northward(s.Aim.Direction), beta)
	free := widths{knobRange, unit.Angle(knobRange.Rad() / max(0.1, math.Hypot(at.axis.X, at.axis.Y))), clutchRange}
	m, ok := at.explain(h, h.widths(still, free, turned(at)))
	m.score += bothKnobs.surprise(s.Asked) + 2*math.Log(max(1, skewRange.Rad()/sigma.Rad()))
	m.skewed = true
	margin := skewMargin
	if s.strayed(than) {
		margin = strayMargin
	}
	return m, ok && s.asAsked(m) && m.score < than.score+margin
}

// bothNeeded is whether the knob that was not asked for did what is needed of it as well: a hand that follows the bubbles.
func (s State) bothNeeded(m motion) bool {
	k := s.Asked.Knob.other()
	need, _ := s.needed(s.axisAt(s.Stand)).of(k)
	share := m.of(k).Rad() / need.Rad()
	return math.Abs(need.Rad()) > s.Options.play().Rad() && share > 0.5 && share < 1.5
}

// turned are axes turned about a direction.
func (x Axes) turned(about r3.Vec, by unit.Angle) Axes {
	t := turn.About(about, by)
	x.Vertical, x.Hinge = t.Apply(x.Vertical), t.Apply(x.Hinge)
	return x
}

// learnTrack takes note of what a motion of the knob asked for tells of the clock.
func (s State) learnTrack(m motion, p Pose) State {
	if s.Asked == nil || m.kind != altitudeOnly && m.kind != azimuthOnly || !m.moved(s.Asked.Knob) {
		return s
	}
	at, _ := s.stepTo(p, s.Stand)
	beta, sigma, ok := s.skew(at, s.Asked.Knob)
	switch {
	case !ok:
	case s.Asked.Knob == Altitude:
		s.AltitudeTrack = s.AltitudeTrack.with(beta, sigma)
	default:
		s.AzimuthTrack = s.AzimuthTrack.with(beta, sigma)
	}
	return s
}

// Clock is what the tracks of both knobs tell of the camera's clock.
type Clock struct {
	Sure  bool          // it is off; else it may be
	Fast  time.Duration // how far its times are too late, or the site too far east; negative: too early, too far west
	Sigma time.Duration // of Fast: turns and the lean a base may have
}

// Clock is the zero value where there is nothing to say.
func (s State) Clock() Clock {
	flat := math.Hypot(s.Aim.Direction.X, s.Aim.Direction.Y)
	if flat < 1e-3 || s.AltitudeTrack.Weight == 0 && s.AzimuthTrack.Weight == 0 {
		return Clock{}
	}
	lean, skew := leanMost.Rad()/flat, hingeSkew.Rad()/flat
	if s.AltitudeTrack.Weight == 0 {
		return question(s.AzimuthTrack, 0, lean)
	}
	if s.AzimuthTrack.Weight == 0 {
		return question(s.AltitudeTrack, skew, lean)
	}
	up, upSigma := s.AltitudeTrack.mean()
	side, sideSigma := s.AzimuthTrack.mean()
	upSigma = math.Hypot(upSigma, skew)
	if math.Abs(up-side) > tracksAgree*math.Hypot(upSigma, sideSigma) {
		return Clock{}
	}
	w, v := 1/sq(upSigma), 1/sq(sideSigma)
	beta, sigma := (w*up+v*side)/(w+v), 1/math.Sqrt(w+v)
	c := clockOf(beta, sigma, lean)
	c.Sure = math.Abs(beta)-lean > clockSigmas*sigma
	if !c.Sure && math.Abs(beta)-lean < askSigmas*sigma {
		return Clock{}
	}
	return c
}

// question is what one knob alone tells.
func question(t Track, skew, lean float64) Clock {
	beta, sigma := t.mean()
	sigma = math.Hypot(sigma, skew)
	if math.Abs(beta)-lean < askSigmas*sigma {
		return Clock{}
	}
	return clockOf(beta, sigma, lean)
}

func clockOf(beta, sigma, lean float64) Clock {
	in := func(a float64) time.Duration { return time.Duration(a / ephem.SiderealRadPerS * float64(time.Second)) }
	return Clock{Fast: in(-beta), Sigma: in(math.Hypot(sigma, lean/2))}
}

// Found is whether there is anything to say.
func (c Clock) Found() bool { return c.Fast != 0 }

// Says what there is to say.
func (c Clock) Says() say.Line {
	off := say.Hours{Value: c.Fast, Sigma: max(6*time.Minute, c.Sigma)}
	late := c.Fast > 0
	switch {
	case !c.Found():
		return say.Line{}
	case c.Sure && late:
		return say.Of("the clock is wrong, late", off)
	case c.Sure:
		return say.Of("the clock is wrong, early", off)
	case late:
		return say.Of("is the clock right, late", off)
	}
	return say.Of("is the clock right, early", off)
}

// tellClock is what there is to say of the clock and was not said yet. While it is sure the knobs' axes are taken for turned.
func (s State) tellClock() (State, say.Line) {
	c, level := s.Clock(), 0
	switch {
	case c.Sure:
		level = 2
	case c.Found():
		level = 1
	}
	if s.Skew != 0 && !c.Sure { // a later turn spoke against it
		s.Skew, s.Axes, s.ClockTold = 0, guessAxes(s.axisAt(s.Now).Direction), 1
	}
	if level <= s.ClockTold {
		return s, say.Line{}
	}
	s.ClockTold = level
	if c.Sure {
		s.Skew = unit.Angle(-c.Fast.Seconds() * ephem.SiderealRadPerS)
		s.Axes = guessAxes(s.axisAt(s.Now).Direction).turned(s.northward(s.Aim.Direction), s.Skew)
	}
	return s, c.Says()
}
