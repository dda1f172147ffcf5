package drift

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/solve"
	"trueturn/ephem"
)

// Sight is one solved picture in the horizon frame of a site.
type Sight struct {
	Shot     int // index into Sequence.Shots
	Mid      time.Time
	Attitude solve.Attitude // carries east, north, up to the camera frame
	Lens     int            // pictures of one Lens share distortion and scale
	Field    int            // pictures of one Field look at the same stars through one lens
	Altitude unit.Angle     // of the picture's middle, as seen
	// CentreSigmaPx is how well the place of the lens's optical centre is known.
	CentreSigmaPx [2]float64
}

// Horizon is a sequence seen from a site.
type Horizon struct {
	Site   ephem.Site
	Air    ephem.Air
	Sights []Sight
	// FieldCovariance is, per field, the covariance (turn about camera axes,
	// radians²) all its attitudes share through the catalogue's errors; nil where they do not.
	FieldCovariance []*mat.SymDense
	CatalogueSigma  float64 // radians, the largest of the lenses'
	// Common lists, per sight, what one standard deviation of each error that all pictures share turns its attitude
	// by (camera axes, radians): of a field followed by its own stars, how well is known where it lies. Nil
	// where the stars were recognised.
	Common [][]r3.Vec
}

// sameLens is how far two focal lengths of one lens may differ, relative: focus
// breathes by 0.1 %, another crop or camera differs by more than ten times that.
const sameLens = 0.01

// Horizon fits the solved pictures of each lens together against the apparent,
// refracted sky of the site. Pictures without a clock or a solution are left out. The error is that
// of [ephem.NewSky].
func (q Sequence) Horizon(site ephem.Site, air ephem.Air) (Horizon, error) {
	h := Horizon{Site: site, Air: air}
	groups := q.lenses()
	sights := make(map[int]Sight)
	for l, group := range groups {
		if q.Shots[group[0]].Solution.Listed() {
			listed, err := q.listed(group, site, air)
			if err != nil {
				return h, err
			}
			for k, i := range group {
				listed[k].Lens, listed[k].Field = l, len(h.FieldCovariance)
				sights[i] = listed[k]
			}
			h.FieldCovariance = append(h.FieldCovariance, nil)
			continue
		}
		views, err := q.views(group, site, air)
		if err != nil {
			return h, err
		}
		j := solve.NewJoint(views)
		base := len(h.FieldCovariance)
		h.FieldCovariance = append(h.FieldCovariance, j.FieldCovariance...)
		h.CatalogueSigma = max(h.CatalogueSigma, j.CatalogueSigma)
		for k, i := range group {
			s := Sight{Shot: i, Mid: q.Shots[i].Clock.Mid(), Attitude: j.Attitudes[k], Lens: l, Field: base + j.Attitudes[k].Field,
				CentreSigmaPx: j.CentreSigmaPx}
			axis := s.Attitude.Pose.Centre()
			s.Altitude = unit.Angle(math.Asin(max(-1, min(1, axis.Z))))
			sights[i] = s
		}
	}
	for i := range q.Shots {
		if s, ok := sights[i]; ok {
			h.Sights = append(h.Sights, s)
			if q.Followed != nil {
				h.Common = append(h.Common, q.Followed.Common(i))
			}
		}
	}
	return h, nil
}

// upBy is how far above the picture's middle its "up" is looked for: a finger's width at arm's length, so that what
// refraction does to the view is that of the view's middle.
const upBy = 0.02

// listed carries attitudes measured elsewhere to the apparent, refracted sky: their middle, and
// a place a little above it for the roll. Their errors stay.
func (q Sequence) listed(group []int, site ephem.Site, air ephem.Air) ([]Sight, error) {
	sights := make([]Sight, 0, len(group))
	for _, i := range group {
		mid, sol := q.Shots[i].Clock.Mid(), q.Shots[i].Solution
		sky, err := ephem.NewSky(site, air, mid)
		if err != nil {
			return nil, err
		}
		look := sky.Apparent(sol.Centre())
		above := sky.Apparent(sol.Attitude.Inverse().Apply(r3.Unit(r3.Vec{Y: -upBy, Z: 1})))
		g := solve.Given{Look: look, Up: above, Pixel: sol.Lens.Scale(), Errors: solve.Errors{
			Across: unit.Angle(math.Sqrt(sol.Covariance.At(0, 0))), About: unit.Angle(math.Sqrt(sol.Covariance.At(2, 2)))}}
		sights = append(sights, Sight{Shot: i, Mid: mid, Attitude: g.Attitude(), Altitude: unit.Angle(math.Asin(max(-1, min(1, look.Z))))})
	}
	return sights, nil
}

// views joins solutions to the sky of their instants.
func (q Sequence) views(group []int, site ephem.Site, air ephem.Air) ([]solve.View, error) {
	views := make([]solve.View, 0, len(group))
	for _, i := range group {
		sky, err := ephem.NewSky(site, air, q.Shots[i].Clock.Mid())
		if err != nil {
			return nil, err
		}
		views = append(views, solve.View{Solution: *q.Shots[i].Solution, Sky: sky.Apparent})
	}
	return views, nil
}

// lenses groups the usable shots by picture size, handedness and focal length.
func (q Sequence) lenses() [][]int {
	var groups [][]int
	for i, s := range q.Shots {
		if s.Solution == nil || s.Clock == nil || s.LeftOut != "" {
			continue
		}
		at := -1
		for g, members := range groups {
			if q.Shots[members[0]].sharesLens(s) {
				at = g
				break
			}
		}
		if at < 0 {
			at = len(groups)
			groups = append(groups, nil)
		}
		groups[at] = append(groups[at], i)
	}
	return groups
}

func (s Shot) sharesLens(o Shot) bool {
	a, b := s.Solution, o.Solution
	return s.Width == o.Width && s.Height == o.Height && a.Listed() == b.Listed() && a.Mirrored == b.Mirrored && a.RowsFlipped == b.RowsFlipped &&
		math.Abs(math.Log(a.Lens.FocalPx/b.Lens.FocalPx)) < sameLens
}
