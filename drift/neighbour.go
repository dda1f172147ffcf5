package drift

import (
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/solve"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// nearWithin is how far a picture may look away from where its neighbours
// suggest: a few minutes of a badly aligned mount.
const nearWithin = 0.5 * ephem.Degree

// neighbours are the nearest solved shots before and after shot i, of the same size.
func (q *Sequence) neighbours(i int) []int {
	var ns []int
	for _, dir := range []int{-1, 1} {
		for k := i + dir; k >= 0 && k < len(q.Shots); k += dir {
			o := &q.Shots[k]
			if o.Solution != nil && o.Width == q.Shots[i].Width && o.Height == q.Shots[i].Height {
				ns = append(ns, k)
				break
			}
		}
	}
	return ns
}

// guesses are where shot i may look if shot n looked where it did: with the
// stars (tracked), or standing while the sky turned (a tripod, or no motor).
func (q *Sequence) guesses(n, i int) []solve.Pose {
	p := q.Shots[n].Solution.Pose
	gs := []solve.Pose{p}
	a, b := q.Shots[n].Clock, q.Shots[i].Clock
	if a == nil || b == nil {
		return gs
	}
	// Seen from the standing Earth the stars turn westward; the camera's view of
	// the ICRS turns eastward about the pole.
	t := b.Mid().Sub(a.Mid()).Seconds()
	pole := r3.Vec{Z: 1}
	p.Attitude = turn.About(pole, unit.Angle(-ephem.SiderealRadPerS*t)).Then(p.Attitude)
	return append(gs, p)
}
