package drift

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/drift/star"
	"trueturn/ephem/turn"
)

// Hot pixels stand still in the picture while the sky moves through it. Stars on a
// tracking mount stand still as well, so only pictures between which the solved sky moved tell
// the two apart.
const (
	movedPx    = 4.0 // the sky must have moved by this much for a spot that stood to be no star
	standsPx   = 0.6 // what a spot drowned in noise may seem to move
	standsSeen = 3   // pictures, each with another sky, a spot must stand in
)

// markStanding flags spots that stand in the picture while the sky moves, and takes them from the
// stars of every picture; it returns whether any was found.
func (q *Sequence) markStanding() bool {
	base := q.movedSkies()
	if len(base) < standsSeen {
		return false
	}
	hot := q.standingSpots(base)
	if len(hot) == 0 {
		return false
	}
	for i := range q.Shots {
		q.Shots[i].dropStanding(hot)
	}
	return true
}

// movedSkies picks solved pictures of one size, each of which shows another sky than the ones picked before.
func (q *Sequence) movedSkies() []int {
	var picked []int
	for i := range q.Shots {
		s := &q.Shots[i]
		if s.Solution == nil || s.Solution.Mirrored || s.Solution.RowsFlipped {
			continue
		}
		other := true
		for _, k := range picked {
			o := &q.Shots[k]
			if o.Width != s.Width || o.Height != s.Height {
				other = false
				break
			}
			limit := unit.Angle(movedPx * s.Solution.Lens.Scale().Rad())
			if skyTurn(o.Solution.Facing(), s.Solution.Facing()) < limit {
				other = false
				break
			}
		}
		if other {
			picked = append(picked, i)
		}
	}
	return picked
}

func skyTurn(a, b turn.Turn) unit.Angle { return a.Inverse().Then(b).Angle() }

// spot is a place in the picture.
type spot struct{ x, y float64 }

// standingSpots are the unmatched places that recur in enough of the pictures.
func (q *Sequence) standingSpots(base []int) []spot {
	need := max(standsSeen, (len(base)+1)/2)
	var hot []spot
	for b, i := range base[:len(base)-need+1] {
		matched := q.Shots[i].matched()
		for k, s := range q.Shots[i].Field.Stars {
			if matched[k] || stands(hot, s.X, s.Y) {
				continue
			}
			seen := 1
			for _, o := range base[b+1:] {
				if q.Shots[o].shows(s.X, s.Y) {
					seen++
				}
			}
			if seen >= need {
				hot = append(hot, spot{s.X, s.Y})
			}
		}
	}
	return hot
}

// matched are the indices of the stars the solution used.
func (s *Shot) matched() map[int]bool {
	m := map[int]bool{}
	if s.Solution != nil {
		for _, g := range s.Solution.Sightings {
			m[g.Star] = true
		}
	}
	return m
}

// shows is whether an unmatched spot stands at x, y.
func (s *Shot) shows(x, y float64) bool {
	for _, o := range s.Field.Stars {
		if math.Abs(o.X-x) < standsPx && math.Abs(o.Y-y) < standsPx {
			return true
		}
	}
	return false
}

func stands(hot []spot, x, y float64) bool {
	for _, h := range hot {
		if math.Abs(h.x-x) < standsPx && math.Abs(h.y-y) < standsPx {
			return true
		}
	}
	return false
}

// dropStanding moves standing spots from the stars to the suspects, but for those
// the solution recognised: a star may pass over a hot pixel. The solution's references are kept right.
func (s *Shot) dropStanding(hot []spot) {
	matched := s.matched()
	renumber := make(map[int]int, len(matched))
	suspects := slices.Clone(s.Field.Suspects)
	var kept []star.Star
	for k, o := range s.Field.Stars {
		if !matched[k] && stands(hot, o.X, o.Y) {
			o.Flags |= star.Hot
			suspects = append(suspects, o)
			continue
		}
		renumber[k] = len(kept)
		kept = append(kept, o)
	}
	s.Field.Stars, s.Field.Suspects = kept, suspects
	if s.Solution != nil {
		sol := *s.Solution // the shot may be kept elsewhere as it was
		sol.Sightings = slices.Clone(sol.Sightings)
		for i := range sol.Sightings {
			sol.Sightings[i].Star = renumber[sol.Sightings[i].Star]
		}
		s.Solution = &sol
	}
}
