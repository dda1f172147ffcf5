package align

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Break is where the sequence stops fitting one mount with one camera on it.
type Break struct {
	Before int        // the first sample after it
	Size   unit.Angle // how far the camera turned about anything but the axis
	Knock  bool       // small: tripod or camera were knocked, the axis may have moved; else the camera was re-aimed
	Lens   bool       // the lens, crop or camera changed
	Turned bool       // the axis moved by more than a knock moves it: before and after are two axes
	Moved  Move       // of the axis, where it is another one afterwards
	chance float64    // logarithm, that nothing happened
}

// Move is how far an axis went, and one standard error of it.
type Move struct {
	Altitude, Azimuth           unit.Angle // up, and clockwise seen from above about the vertical
	AltitudeSigma, AzimuthSigma unit.Angle
	at                          unit.Angle // height of the axis
	was, is                     r3.Vec     // the axis before and after, east-north-up
}

// Total is how far it went on the sky.
func (m Move) Total() unit.Angle {
	return unit.Angle(math.Hypot(m.Altitude.Rad(), m.across().Rad()))
}

func (m Move) across() unit.Angle      { return m.Azimuth.Mul(math.Cos(m.at.Rad())) }
func (m Move) acrossSigma() unit.Angle { return m.AzimuthSigma.Mul(math.Cos(m.at.Rad())) }

// way says which way, what stands out of its error.
func (m Move) way() say.Line {
	up, across := sureOf(m.Altitude, m.AltitudeSigma), sureOf(m.Azimuth, m.AzimuthSigma)
	switch {
	case up && across:
		return say.Of("both ways", tiltBy(m.Altitude), baseBy(m.Azimuth))
	case across:
		return baseBy(m.Azimuth)
	}
	return tiltBy(m.Altitude)
}

// tiltBy is a way of the axis up or down.
func tiltBy(up unit.Angle) say.Line {
	if up < 0 {
		return say.Of("down", up)
	}
	return say.Of("up", up)
}

// baseBy is a way of the axis about the vertical.
func baseBy(clockwise unit.Angle) say.Line {
	if clockwise < 0 {
		return say.Of("anticlockwise by", clockwise)
	}
	return say.Of("clockwise by", clockwise)
}

// knockLimit parts a knock from a re-aimed camera (design §6).
const knockLimit = ephem.Degree

// A break adds four unknowns, a picture left out takes two equations away. The
// gain in χ² is judged by Fisher's F against what is left over, since the wander the
// χ² is counted in is itself an estimate; the guess behind it counts as a few degrees of
// freedom. With some hundred places to try in a session, a chance of breakChance for each
// means a false break in one session of a thousand.
const (
	breakChance = 1e-5
	priorDOF    = 4.0
	sideRun     = 12 // pictures looked at on either side
)

// significance is the logarithm of the chance to gain so much in χ² with so many unknowns more;
// the lower the surer.
func significance(gain float64, unknowns int, rest float64, dof int) float64 {
	if gain <= 0 {
		return 0
	}
	free := float64(dof) + priorDOF
	scale := max(1, (rest+priorDOF)/free)
	f := gain / float64(unknowns) / scale
	tail := distuv.F{D1: float64(unknowns), D2: free}.Survival(f)
	return math.Log(max(tail, 1e-300)) - 1e-9*f // the last term keeps an order among the certain ones
}

// segmentation is the outcome of looking for breaks and strays.
type segmentation struct {
	breaks []Break
	stray  []bool // samples that fit neither side
}

// segment looks for the places where the change of attitude is no turn about a common
// axis. Each place is judged by its neighbourhood only, so the work grows with the
// number of pictures, not with its square.
func segment(samples []Sample, obs []observation) segmentation {
	s := segmentation{stray: make([]bool, len(samples))}
	for _, part := range lensParts(samples) {
		if part[0] > 0 {
			s.breaks = append(s.breaks, Break{Before: part[0], Size: unit.Angle(math.Pi), Lens: true})
		}
		s.within(obs, between(part[0], part[1]))
	}
	sortBreaks(s.breaks)
	return s
}

// between lists the whole numbers from first to last.
func between(first, last int) []int {
	list := make([]int, 0, last-first+1)
	for i := first; i <= last; i++ {
		list = append(list, i)
	}
	return list
}

// lensParts are the stretches of one lens, as first and last sample.
func lensParts(samples []Sample) [][2]int {
	var parts [][2]int
	for i := range samples {
		if i == 0 || samples[i].Lens != samples[i-1].Lens {
			parts = append(parts, [2]int{i, i})
		}
		parts[len(parts)-1][1] = i
	}
	return parts
}

// within splits the observations numbered at at their worst place and looks again at both parts. What is left
// out as a stray is gone: even with next to no weight, a picture of another field would
// lead the first guess of the axis astray.
func (s *segmentation) within(all []observation, at []int) {
	if len(at) < 3 {
		return
	}
	obs := make([]observation, len(at))
	for k, i := range at {
		obs[k] = all[i]
	}
	if k, ok := s.worstStray(obs); ok {
		s.stray[at[k]] = true
		s.within(all, slices.Delete(slices.Clone(at), k, k+1))
		return
	}
	k, chance, size := s.worstBreak(obs)
	if chance > math.Log(breakChance) {
		return
	}
	s.breaks = append(s.breaks, Break{Before: at[k], Size: size, Knock: size < knockLimit, chance: chance})
	s.within(all, at[:k])
	s.within(all, at[k:])
}

// worstBreak is the place where parting the neighbourhood gains most, the logarithm
// of the chance of that, and the size of the jump.
func (s *segmentation) worstBreak(obs []observation) (at int, chance float64, size unit.Angle) {
	last := len(obs) - 1
	for k := 1; k <= last; k++ {
		lo, hi := max(0, k-sideRun), min(last, k+sideRun-1)
		whole, okW := fitRun(obs, lo, hi, -1)
		left, okL := fitRun(obs, lo, k-1, -1)
		right, okR := fitRun(obs, k, hi, -1)
		if !okL || !okR {
			continue
		}
		dof := left.dof + right.dof
		c := significance(gainOf(whole, okW)-left.chi2-right.chi2, 2*(hi-lo+1)-4-dof, left.chi2+right.chi2, dof)
		if c < chance {
			at, chance, size = k, c, jump(obs, left, right, k)
		}
	}
	return at, chance, size
}

// gainOf is the χ² of a fit; one that finds no solution at all fits worse than any.
func gainOf(r run, ok bool) float64 {
	if !ok || math.IsNaN(r.chi2) {
		return 1e30
	}
	return r.chi2
}

// jump is how far the attitude at k lies off what the other side of the break
// leads one to expect, a turn about the axis not counted.
func jump(obs []observation, left, right run, k int) unit.Angle {
	from, rest := left, obs[k]
	if len(left.model.obs) < len(right.model.obs) {
		from, rest = right, obs[k-1]
	}
	m := from.model
	if len(m.obs) < 3 {
		m.axis[0] = m.guessAxis()
	}
	u := m.blocks[0].c0.Apply(m.axis[0])
	near := m.obs[len(m.obs)-1].c
	if len(left.model.obs) < len(right.model.obs) {
		near = m.obs[0].c
	}
	v := near.Inverse().Then(rest.c).Log()
	v = r3.Sub(v, r3.Scale(r3.Dot(u, v), u))
	return unit.Angle(r3.Norm(v))
}

// worstStray is an inner picture without which its neighbourhood fits, and fits
// better than a break could make it.
func (s *segmentation) worstStray(obs []observation) (at int, found bool) {
	best := math.Log(breakChance)
	last := len(obs) - 1
	for k := 0; k <= last && last >= 4; k++ {
		lo, hi := max(0, k-sideRun), min(last, k+sideRun)
		if k == lo || k == hi { // at an end a stray and a knock look alike: call it a knock
			continue
		}
		whole, okW := fitRun(obs, lo, hi, -1)
		rest, okR := fitRun(obs, lo, hi, k)
		if !okR {
			continue
		}
		c := significance(gainOf(whole, okW)-rest.chi2, 2, rest.chi2, rest.dof)
		fits := rest.chi2 < 3*float64(rest.dof)+15 // what remains must be sound
		if c < best && fits {
			best, at, found = c, k, true
		}
	}
	return at, found
}

func sortBreaks(b []Break) {
	for i := 1; i < len(b); i++ {
		for k := i; k > 0 && b[k].Before < b[k-1].Before; k-- {
			b[k], b[k-1] = b[k-1], b[k]
		}
	}
}

// sureOf is whether an angle stands out of its error, by twice that.
func sureOf(a, sigma unit.Angle) bool { return math.Abs(a.Rad()) >= 2*sigma.Rad() }
