package guide

import (
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// mostShots a window holds. The error of an axis falls with the span of its pictures more than with their
// number: thirty over an hour do nearly what two hundred do.
const mostShots = 32

// window is pictures of one measurement in the order of time.
type window struct{ shots []drift.Shot }

// add inserts a shot and thins the window when it is full; the picture taken at keep stays.
func (w *window) add(s drift.Shot, keep time.Time) {
	at, _ := slices.BinarySearchFunc(w.shots, s, func(a, b drift.Shot) int {
		if c := byTime(a, b); c != 0 {
			return c
		}
		return -1 // after its equals
	})
	w.shots = slices.Insert(slices.Clone(w.shots), at, s)
	if len(w.shots) > mostShots {
		at := w.spare(keep)
		w.shots = slices.Delete(w.shots, at, at+1)
	}
}

// spare is the shot most easily done without: the oldest that is good for nothing, else the one in the midst whose
// neighbours are nearest in time. Ends and pictures of a swung camera say most.
func (w *window) spare(keep time.Time) int {
	for i, s := range w.shots {
		if !usable(s) {
			return i
		}
	}
	best, cost := 1, time.Duration(0)
	for i := 1; i < len(w.shots)-1; i++ {
		gap := w.shots[i+1].Clock.Mid().Sub(w.shots[i-1].Clock.Mid())
		if w.swung(i) {
			gap += longGap
		}
		if w.shots[i].Clock.Mid().Equal(keep) {
			gap += 100 * longGap
		}
		if i == 1 || gap < cost {
			best, cost = i, gap
		}
	}
	return best
}

// swungBy is a turn against the stars that no tracking mount makes from picture to picture.
const swungBy = ephem.Degree

// swung is whether the camera looked elsewhere before or after a picture.
func (w *window) swung(i int) bool {
	pose := func(k int) turn.Turn { return w.shots[k].Solution.Facing() }
	return between(pose(i), pose(i-1)) > swungBy || between(pose(i), pose(i+1)) > swungBy
}

func (w *window) sequence() drift.Sequence { return drift.Sequence{Shots: slices.Clone(w.shots)} }

// with is the sequence with one more shot, in the order of time.
func (w *window) with(s drift.Shot) drift.Sequence {
	q := w.sequence()
	q.Shots = append(q.Shots, s)
	slices.SortStableFunc(q.Shots, byTime)
	return q
}

func (w *window) files() []string {
	list := make([]string, 0, len(w.shots))
	for _, s := range w.shots {
		list = append(list, s.File)
	}
	return list
}

// usable counts the shots that can take part in an axis.
func (w *window) usable() (n int) {
	for _, s := range w.shots {
		if usable(s) {
			n++
		}
	}
	return n
}

// holds is whether a file is in it.
func (w *window) holds(file string) bool {
	return slices.ContainsFunc(w.shots, func(s drift.Shot) bool { return s.File == file })
}

// drop takes a file out.
func (w *window) drop(file string) {
	w.shots = slices.DeleteFunc(slices.Clone(w.shots), func(s drift.Shot) bool { return s.File == file })
}

// since leaves the shots from an instant on and names those that were taken before.
func (w *window) since(at time.Time) (dropped []string) {
	var kept []drift.Shot
	for _, s := range w.shots {
		if s.Clock != nil && s.Clock.Mid().Before(at) {
			dropped = append(dropped, s.File)
			continue
		}
		kept = append(kept, s)
	}
	w.shots = kept
	return dropped
}

// between is the angle of the turn from one attitude to another.
func between(a, b turn.Turn) unit.Angle { return a.Inverse().Then(b).Angle() }
