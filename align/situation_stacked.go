package align

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"

	"trueturn/drift"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// The test for pictures stacked inside the phone: between pictures the camera turns against
// the stars at a rate that, over one exposure, must draw a star into a trail. Where the trail expected is longer than mustTrail star widths
// (elongation 1.4 and more) and that measured is shorter than half of it (a lens that draws its corners, and noise, make round stars seem to trail by half a star width), the picture was put together from
// shorter ones. Motion counts only where it is the same before and after the picture, so that a touch between
// pictures does not pass for motion during them, and no faster than a motor can make it.
const (
	mustTrail      = 1.5
	roundShare     = 0.5
	steadyShare    = 0.3
	stackedShots   = 3       // at least so many pictures must say so
	stackedShare   = 2.0 / 3 // and so many of those that could
	fewestRound    = 5       // stars measured in such a picture
	fastestAgainst = 2.2     // of the sky's rate: a motor turning the wrong way, and some
)

// stacked names pictures the phone put together or moved.
func (s *session) stacked() []Situation {
	var round []int
	var missing []float64 // of the trails, px
	could := 0
	for n, i := range s.solved {
		w, ok := s.motion(n)
		if !ok || s.seq.Shots[i].Table { // a table does not say how long its stars are drawn
			continue
		}
		expected, measured, ok := trails(s.seq.Shots[i], w)
		if !ok {
			continue
		}
		could++
		if measured < roundShare*expected {
			round, missing = append(round, i), append(missing, expected-measured)
		}
	}
	if len(round) >= stackedShots && float64(len(round)) >= stackedShare*float64(could) {
		return []Situation{{Kind: KindStacked, Files: s.shotFiles(round), Size: meanOf(missing, Pixels), Sure: true, Says: say.Of("stacked inside")}}
	}
	return nil
}

// meanOf is the mean of some values, with its error by their scatter.
func meanOf(list []float64, u Unit) Size {
	mean, deviation := stat.MeanStdDev(list, nil)
	return Size{mean, stat.StdErr(deviation, float64(len(list))), u}
}

// motion is the camera's turn against the stars about shot s.solved[n], radians per second in its own frame, where
// it is the same before and after.
func (s *session) motion(n int) (w r3.Vec, ok bool) {
	if n == 0 || n+1 >= len(s.solved) {
		return w, false
	}
	i, k, j := s.solved[n-1], s.solved[n], s.solved[n+1]
	before := r3.Scale(-1/s.secondsBetween(i, k), s.turnBetween(k, i))
	after := r3.Scale(1/s.secondsBetween(k, j), s.turnBetween(k, j))
	w = r3.Scale(0.5, r3.Add(before, after))
	size := r3.Norm(w)
	steady := r3.Norm(r3.Sub(before, after)) < steadyShare*size
	return w, steady && size < fastestAgainst*ephem.SiderealRadPerS && size > 0
}

// trails are the medians over a picture's stars of the trail expected from a motion w and that measured, px. False where no
// trail is to be expected or too few stars tell.
func trails(shot drift.Shot, w r3.Vec) (expected, measured float64, ok bool) {
	var want, got []float64
	f := shot.Solution.Lens.FocalPx
	for _, st := range shot.Field.Stars {
		if st.Flags&(star.Saturated|star.Edge|star.Blend) != 0 || !(st.FWHM > 0) {
			continue
		}
		want = append(want, trailOf(shot, st, w, f))
		got = append(got, st.TrailPx)
	}
	if len(want) < fewestRound {
		return 0, 0, false
	}
	expected, measured = middle(want), middle(got)
	return expected, measured, expected > mustTrail*max(shot.Field.FWHM, 1)
}

// trailOf is the path of a star over the exposure: direction d moves with w × d.
func trailOf(shot drift.Shot, st star.Star, w r3.Vec, f float64) float64 {
	x, y := (st.X-float64(shot.Width-1)/2)/f, (st.Y-float64(shot.Height-1)/2)/f
	if shot.Solution.Mirrored {
		x = -x
	}
	if shot.Solution.RowsFlipped {
		y = -y
	}
	v := r3.Cross(w, r3.Vec{X: x, Y: y, Z: 1})
	return f * shot.Clock.Exposure.Seconds() * math.Hypot(v.X-x*v.Z, v.Y-y*v.Z)
}

// The test for pictures moved so that the same stars stay in the middle: the field turns about the line of sight by many
// of its errors while its centre keeps its place in the sky to a part in 250 of that turn, and to a tenth of a pixel. An
// untouched mount does so only if its whole error happens to lie within a degree of the line of sight and its gear is free of wobble.
const (
	standPx     = 0.1
	standShare  = 0.004
	rollChance  = 1e-6
	standSeries = 5
)

// standing names pictures whose field turns about a centre that stands.
func (s *session) standing() []Situation {
	shots := s.solved
	if len(shots) < standSeries {
		return nil
	}
	roll := s.trend(shots, 0, func(i int) float64 { return s.turnBetween(shots[0], i).Z })
	if roll.chance > rollChance {
		return nil
	}
	off := s.centreScatter(shots)
	if off > standShare*math.Abs(roll.change) || off > standPx/s.seq.Shots[shots[0]].Solution.Lens.FocalPx {
		return nil
	}
	return []Situation{{Kind: KindStacked, Files: s.shotFiles(shots), Size: Size{math.Abs(roll.change), roll.sigma, Radians}, Sure: true, Says: say.Of("moved onto each other", unit.Angle(roll.change))}}
}

// centreScatter is the root mean square distance of the pictures' middles from their mean, radians.
func (s *session) centreScatter(shots []int) float64 {
	var mean r3.Vec
	at := s.centres(shots)
	for _, v := range at {
		mean = r3.Add(mean, r3.Scale(1/float64(len(at)), v))
	}
	var sum float64
	for _, v := range at {
		sum += r3.Norm2(r3.Sub(v, mean))
	}
	return math.Sqrt(sum / float64(len(at)))
}

// centres are where the pictures' middles stand among the stars, across the view of the first, radians: by the joint
// fit, whose lens is the same for all, where there is a site; else by each picture for itself.
func (s *session) centres(shots []int) []r3.Vec {
	joint := map[int]r3.Vec{}
	if s.h != nil {
		for _, sight := range s.h.Sights {
			if sky, err := ephem.NewSky(s.h.Site, s.h.Air, sight.Mid); err == nil {
				joint[sight.Shot] = sky.ICRS(sight.Attitude.Pose.Attitude.Inverse().Apply(r3.Vec{Z: 1}))
			}
		}
	}
	var list []r3.Vec
	for _, i := range shots {
		look, ok := joint[i]
		if !ok {
			look = s.skyAttitude(i).Inverse().Apply(r3.Vec{Z: 1})
		}
		v := s.skyAttitude(shots[0]).Apply(look)
		list = append(list, r3.Vec{X: v.X, Y: v.Y})
	}
	return list
}
