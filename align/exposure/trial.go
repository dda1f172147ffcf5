package exposure

import (
	"math"
	"slices"
)

// # Round
//
// A star counts as round while its long axis is at most the tolerance times as long as a round star is wide,
//
//	λ₁(σ²·1 + V) ≤ e²σ²        that is  λ₁(V) ≤ (e²−1)σ²
//
// The ratio of the axes is then within the tolerance too, since the short one is no shorter than σ; of a straight trail both say
// the same. The ratio alone would call a star round that a gear has blurred across the drift of the axis as much as the
// drift has drawn it out. Of all the rules that agree with the ratio on straight trails this is the widest in which
// such a blur never makes a longer exposure pass: the bound on the long axis must not grow with the short one. It bounds the
// growth of the short axis by the same factor.

// grain is how finely a trial looks: at how many mountings, how many phases of the wobble of each (of a single one, all), at how
// many places fewer than all, and to what share of itself it settles a length.
type grain struct {
	mountings, phases, all, fewer int
	settled                       float64
}

var (
	fine  = grain{64, 16, 64, 0, 2e-4}
	rough = grain{16, 8, 32, 4, 2e-3} // for comparing: corners and middle
)

// trial is one plan laid out: the courses of the stars at all places under every mounting drawn.
type trial struct {
	p      Plan
	grain  grain
	mounts []mounted
	bound  float64 // of a path's variance in any direction, pixels²

	fastest  float64 // order of the wobble's fastest harmonic; 0: there is no wobble
	shortest float64 // period of the wobble among the mountings, s

	// One mounting at one length, laid out.
	places  []stretch
	moments []wobbling
	margins []float64
	known   [interleave]knownMoments
}

// mounted is the stars' courses under one mounting.
type mounted struct {
	courses       []course
	size, periodS float64  // of the wobble
	phases        [][]sine // of the wobble; one nil where there is none
	set           int      // which of the interleaved phases these are
}

// knownMoments are the moments last asked for of a set of phases: most mountings have the same period.
type knownMoments struct {
	periodS, lengthS float64
	moments          []wobbling
}

func newTrial(p Plan, g grain) *trial {
	if !p.Mount.unsure() {
		g.mountings, g.phases = 1, g.all
	}
	sigma := sigmaOf(p.FWHM)
	t := &trial{p: p, grain: g, bound: (p.MaxElongation*p.MaxElongation - 1) * sigma * sigma, shortest: math.Inf(1)}
	sets := p.phaseSets(g)
	follow := newFollower(p.View, thinned(p.View.Lens.places(), g.fewer))
	for i, d := range newDraws(g.mountings) {
		m := p.way(d, p.toward)
		t.mounts = append(t.mounts, mounted{p.without(follow.courses(m, nil)), m.wobble, m.periodS, sets[i%len(sets)], i % len(sets)})
		t.shortest = math.Min(t.shortest, m.periodS)
	}
	for _, s := range p.form {
		t.fastest = math.Max(t.fastest, s.order)
	}
	return t
}

// interleave: the phases tried under one mounting lie between those of its neighbours, so that together they are fine.
const interleave = 4

// perHarmonic is how many phases a wave must have at least for lines between them to follow it.
const perHarmonic = 12

// phaseSets are the phases of the wobble to try, by turns under one mounting after another.
func (p Plan) phaseSets(g grain) [][][]sine {
	if p.Mount.Wobble == nil || p.form == nil {
		return [][][]sine{{nil}}
	}
	n, sets := g.phases, interleave
	if g.mountings == 1 {
		sets = 1
		for _, s := range p.form {
			n = max(n, perHarmonic*int(s.order))
		}
	}
	out := make([][][]sine, sets)
	for i, s := range phases(p.form, sets*n) {
		out[i%sets] = append(out[i%sets], s)
	}
	return out
}

// thinned leaves out the middles of the edges.
func thinned(at []vec, fewer int) []vec {
	if len(at) <= fewer {
		return at
	}
	return slices.Delete(slices.Clone(at), len(at)-1-fewer, len(at)-1)
}

// without makes the courses all like that of the middle, where the turning of the field is to be left out.
func (p Plan) without(list []course) []course {
	if p.unturned {
		for i := range list {
			list[i] = list[len(list)-1]
		}
	}
	return list
}

// lay lays a mounting over a length: its places and the moments of its wobble, one phase after another.
func (t *trial) lay(m *mounted, lengthS float64) {
	t.places = t.places[:0]
	for _, c := range m.courses {
		t.places = append(t.places, c.over(lengthS, m.size))
	}
	if m.phases[0] == nil {
		t.moments = append(t.moments[:0], wobbling{})
		return
	}
	k := &t.known[m.set]
	if k.periodS != m.periodS || k.lengthS != lengthS {
		*k = knownMoments{m.periodS, lengthS, over(k.moments[:0], m.phases, m.periodS, lengthS)}
	}
	t.moments = k.moments
}

// shareSlack: a share is a sum of rounded parts.
const shareSlack = 1e-9

// passes is whether the share asked for of the exposures of a length stays round everywhere.
func (t *trial) passes(lengthS float64) bool {
	need, sum := (t.p.Share-shareSlack)*float64(len(t.mounts)), 0.0
	for i := range t.mounts {
		sum += t.share(&t.mounts[i], lengthS)
		if left := float64(len(t.mounts) - i - 1); sum >= need || sum+left < need {
			break
		}
	}
	return sum >= need
}

// share of the phases of one mounting that stay round: the margin is followed from phase to phase along straight lines, which makes
// the share exact to some parts in ten thousand.
func (t *trial) share(m *mounted, lengthS float64) float64 {
	t.lay(m, lengthS)
	t.margins = t.margins[:0]
	for _, w := range t.moments {
		variance, _ := longest(t.places, w)
		t.margins = append(t.margins, t.bound-variance)
	}
	return positive(t.margins)
}

// positive is the part of a closed round on which values, evenly spread and joined by straight lines, are not negative.
func positive(list []float64) float64 {
	sum, last := 0.0, list[len(list)-1]
	for _, v := range list {
		switch {
		case v >= 0 && last >= 0:
			sum++
		case v >= 0:
			sum += v / (v - last)
		case last >= 0:
			sum += last / (last - v)
		}
		last = v
	}
	return sum / float64(len(list))
}
