// Package track follows the stars of pictures that no catalogue recognises, and reads
// tables of positions measured elsewhere.
//
// Start with [Follow]: pictures of one narrow field, with the direction they look in and their
// scale given, become attitudes as if they had been recognised.
//
// # The model
//
// The pictures' own stars are the catalogue. One picture, the reference, is said to look at the
// direction given, its "up" at the position angle given; every spot in it then stands for a direction
// s_k, and the other pictures' attitudes A_i (ICRS to camera, package solve) follow from where the same
// stars stand in them. What is true of the sky and what is said of it differ by one small turn E and one
// scale 1+g, the same for all pictures:
//
//	A_i said = A_i · E⁻¹,  E = A_ref⁻¹ exp(e) A_ref,  e = (pointing, pointing, roll)
//
// e moves every attitude alike but for the little the camera moved among the stars meanwhile,
// Δ_i = log(A_ref⁻¹·A_i): by e × Δ_i. So a pointing off by half a degree costs an axis that is a degree off
// half a minute of arc, no more. [Followed.Common] states these four errors, and the estimator
// carries them into its own.
//
// # Orientation without being told
//
// While the motor stands the sky moves through the picture westward, along the circle about the pole of date.
// A picture so taken shows trails, two of them show the whole way; either tells the roll. The trail alone
// leaves two opposite rolls; where the stars stood in the picture before or after decides.
//
// # Where it fails
//
// Fewer than three stars in common with the other pictures; fields that leave the picture
// altogether between two pictures; a lens flag that is wrong (the axis error found is in proportion). A mirrored
// picture is recognised by the way the field turns while the motor stands, else taken for an upright one.
package track

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"

	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// Causes of failure, for errors.Is.
var (
	// ErrNoScale: nothing says what angle a pixel spans.
	ErrNoScale = errors.New("the scale of the pictures is not known")
	// ErrNoRoll: neither told nor shown which way is north.
	ErrNoRoll = errors.New("the orientation of the pictures is not known")
	// ErrNotShared: the picture's stars are not those of the others.
	ErrNotShared = errors.New("its stars are not those of the other pictures")
	// ErrNoField: no picture to follow.
	ErrNoField = errors.New("no stars to follow")
)

// Picture is one picture's stars and when they were taken.
type Picture struct {
	Field    star.Field
	Mid      time.Time
	Exposure time.Duration // 0 if unknown
}

// Given is what is known of the pictures besides their stars.
type Given struct {
	RA         unit.RA     // ICRS, of the reference picture's middle
	Dec        unit.Angle  //
	Roll       *unit.Angle // position angle of the picture's "up", north through east; nil: to be found
	FocalPx    float64     // focal length in pixels; 0: unknown
	FocalShare float64     // how far that may be off, 1σ as a share

	reversed bool // the columns have been reversed once; a picture is not mirrored twice
}

// Followed is what following gives.
type Followed struct {
	Solutions []*solve.Solution // one per picture; nil where Errs says why
	Errs      []error
	Reference int        // the picture the direction given is that of
	Roll      unit.Angle // of the reference
	RollSigma unit.Angle
	RollShown bool  // found from pictures with the motor off
	HandKnown bool  // those showed also whether left and right are exchanged
	Untracked []int // pictures taken with the motor off
	// PointingSigma is how far the direction given may be off, by common practice: half the
	// picture's diagonal.
	PointingSigma unit.Angle
	FocalShare    float64

	moved []r3.Vec // how the camera turned since the reference, camera axes, radians
}

// rollToldSigma is how well a person reads a picture's orientation (common practice, no source).
const rollToldSigma = 3 * ephem.Degree

// Follow finds the attitudes of pictures of one field, in the order of time. Pictures with no
// time take part in nothing. It never fails for one bad picture: see Errs.
//
// Errors: [ErrNoScale], [ErrNoRoll], [ErrNoField], or the context's.
func Follow(ctx context.Context, pics []Picture, g Given) (Followed, error) {
	f := &follower{pics: pics, given: g, links: make([]link, len(pics))}
	if err := f.connect(ctx); err != nil {
		return Followed{}, err
	}
	if !(g.FocalPx > 0) {
		return Followed{}, &amiss.Error{Kind: ErrNoScale, Text: "a field this narrow is measured by its scale, and nothing says what it is",
			Ways: []amiss.Way{{Thing: amiss.Scale}}}
	}
	ways, untracked := f.ways()
	hand := f.handOf(untracked)
	if hand == mirrored && !g.reversed {
		return followMirrored(ctx, pics, g)
	}
	out := Followed{Reference: f.reference, FocalShare: g.FocalShare, HandKnown: hand == upright}
	lens := f.lens()
	out.PointingSigma = lens.Diagonal() / 2
	if err := f.orient(&out, ways, untracked); err != nil {
		return Followed{}, err
	}
	f.attitudes(&out)
	mid := make([]time.Time, len(pics))
	for i := range pics {
		mid[i] = pics[i].Mid
	}
	out.readMoves(mid)
	return out, ctx.Err()
}

// follower is the work in hand.
type follower struct {
	pics      []Picture
	given     Given
	reference int
	links     []link // from each picture to the map
	stars     []mapped
}

// mapped is a star of the field, in the reference picture's pixels and, once the roll is known, on the sky.
type mapped struct {
	x, y      float64
	known     bool
	direction r3.Vec
}

func (f *follower) lens() solve.Lens {
	ref := f.pics[f.reference].Field
	return solve.Lens{Width: ref.Width, Height: ref.Height, FocalPx: f.given.FocalPx}
}

// pose is how the reference looks at the sky when its "up" has the position angle roll.
func (f *follower) pose(roll unit.Angle) solve.Pose {
	z := ephem.Direction(f.given.RA, f.given.Dec)
	east := r3.Vec{X: -z.Y, Y: z.X}
	if r3.Norm(east) == 0 {
		east = r3.Vec{Y: 1}
	}
	east = r3.Unit(east)
	north := r3.Cross(z, east)
	sin, cos := math.Sincos(roll.Rad())
	up := r3.Add(r3.Scale(cos, north), r3.Scale(sin, east))
	down := r3.Scale(-1, up)
	return solve.Pose{Attitude: turn.FromRows(r3.Cross(down, z), down, z), Lens: f.lens()}
}

// usable are the indices of stars whose places can be trusted, brightest first.
func usable(field star.Field) []int {
	var list []int
	for i, s := range field.Stars {
		if s.Flags&(star.Hot|star.Edge) == 0 && s.XErr > 0 && s.YErr > 0 && !math.IsInf(s.XErr+s.YErr, 0) {
			list = append(list, i)
		}
	}
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(field.Stars[b].Flux, field.Stars[a].Flux) })
	return list
}

// attitudes gives every connected picture its solution, the reference first and then outward in
// time, so that stars the reference does not show are on the map when they are needed.
func (f *follower) attitudes(out *Followed) {
	n := len(f.pics)
	out.Solutions, out.Errs = make([]*solve.Solution, n), make([]error, n)
	base := f.pose(out.Roll)
	for k := range f.stars {
		if m := &f.stars[k]; f.links[f.reference].holds(k) {
			m.known, m.direction = true, base.Attitude.Inverse().Apply(base.Lens.Direction(m.x, m.y))
		}
	}
	for _, i := range f.outward() {
		if f.links[i].err != nil {
			out.Errs[i] = f.links[i].err
			continue
		}
		near := base
		if p := f.towardReference(i); out.Solutions[p] != nil {
			near = out.Solutions[p].Pose
		}
		sol, err := solve.Refit(f.shifted(near, i), f.sightings(i))
		if err != nil {
			out.Errs[i] = err
			continue
		}
		out.Solutions[i] = &sol
		f.survey(i, sol)
	}
}

// outward lists the pictures from the reference on, nearest in order first.
func (f *follower) outward() []int {
	list := make([]int, len(f.pics))
	for i := range list {
		list[i] = i
	}
	away := func(i int) int { return max(i-f.reference, f.reference-i) }
	slices.SortStableFunc(list, func(a, b int) int { return away(a) - away(b) })
	return list
}

// towardReference is the next connected picture on the way to the reference.
func (f *follower) towardReference(i int) int {
	for i != f.reference {
		if i < f.reference {
			i++
		} else {
			i--
		}
		if f.links[i].err == nil {
			break
		}
	}
	return i
}

// shifted turns a pose so that picture i's stars stand about where they were seen.
func (f *follower) shifted(p solve.Pose, i int) solve.Pose {
	for _, k := range f.links[i].spots() {
		m := f.stars[f.links[i].id[k]]
		if !m.known {
			continue
		}
		s := f.pics[i].Field.Stars[k]
		from, to := p.Attitude.Apply(m.direction), p.Lens.Direction(s.X, s.Y)
		if axis := r3.Cross(from, to); r3.Norm(axis) > 0 {
			p.Attitude = p.Attitude.Then(turn.About(axis, unit.Angle(math.Atan2(r3.Norm(axis), r3.Dot(from, to)))))
		}
		break
	}
	return p
}

// sightings pairs picture i's stars with what is known of the map.
func (f *follower) sightings(i int) []solve.Sighting {
	var ss []solve.Sighting
	for _, k := range f.links[i].spots() {
		id := f.links[i].id[k]
		if !f.stars[id].known {
			continue
		}
		s := f.pics[i].Field.Stars[k]
		ss = append(ss, solve.Sighting{X: s.X, Y: s.Y, VarX: s.XErr * s.XErr, VarY: s.YErr * s.YErr, CovXY: s.XYCov,
			Direction: f.stars[id].direction, Catalog: int32(-1 - id), Star: k})
	}
	return ss
}

// survey puts picture i's new stars on the map.
func (f *follower) survey(i int, sol solve.Solution) {
	back := sol.Attitude.Inverse()
	for _, k := range f.links[i].spots() {
		if m := &f.stars[f.links[i].id[k]]; !m.known {
			s := f.pics[i].Field.Stars[k]
			m.known, m.direction = true, back.Apply(sol.Lens.Direction(s.X, s.Y))
		}
	}
}

// Common is what one standard deviation of each error that all pictures share turns picture i's attitude by, about the
// camera's axes: of the direction given (two), of the roll and of the scale. What is the same in all
// pictures is left out, as it changes no axis.
func (f Followed) Common(i int) []r3.Vec {
	if f.Solutions[i] == nil {
		return nil
	}
	delta := f.moved[i]
	change := func(e r3.Vec) r3.Vec { return r3.Sub(turn.Exp(delta).Apply(e), e) }
	p := f.PointingSigma.Rad()
	return []r3.Vec{
		change(r3.Vec{X: p}), change(r3.Vec{Y: p}), change(r3.Vec{Z: f.RollSigma.Rad()}),
		{X: f.FocalShare * delta.X, Y: f.FocalShare * delta.Y},
	}
}

// readMoves reads off how the camera turned among the stars since the reference, Δ_i of the package comment. The stars
// of a narrow field fix a turn about the line of sight many times worse than one across it, and that noise would
// pass for a motion; so it is replaced by what a mount can do: an even turn in time, and of a turn about the pole, which shows
// across the view, its part about the line of sight.
func (f *Followed) readMoves(mid []time.Time) {
	f.moved = make([]r3.Vec, len(f.Solutions))
	ref := f.Solutions[f.Reference]
	if ref == nil {
		return
	}
	pole := ref.Attitude.Apply(r3.Vec{Z: 1})
	cos2 := max(pole.X*pole.X+pole.Y*pole.Y, 0.01)
	var seconds, about []float64
	var seen []int
	for i, s := range f.Solutions {
		if s == nil {
			continue
		}
		d := ref.Attitude.Inverse().Then(s.Attitude).Log()
		shown := pole.Z * (d.X*pole.X + d.Y*pole.Y) / cos2
		seconds, about = append(seconds, mid[i].Sub(mid[f.Reference]).Seconds()), append(about, d.Z-shown)
		f.moved[i] = r3.Vec{X: d.X, Y: d.Y, Z: shown}
		seen = append(seen, i)
	}
	if len(seen) < 3 {
		return
	}
	at0, slope := stat.LinearRegression(seconds, about, nil, false)
	for k, i := range seen {
		f.moved[i].Z += at0 + slope*seconds[k]
	}
}
