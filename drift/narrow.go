package drift

import (
	"context"
	"errors"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/drift/solve"
	"trueturn/drift/track"
	"trueturn/ephem"
)

// Narrow is where pictures look that show too little sky to be recognised.
type Narrow struct {
	RA   unit.RA // ICRS, of the picture's middle, to half the picture's diagonal
	Dec  unit.Angle
	Roll *unit.Angle // position angle of the picture's "up", north through east, to 3°; nil: pictures taken with the motor off show it
}

// ledText says why a picture takes no part in the axis.
const ledText = "taken with the motor off: it showed which way is up"

// follow gives pictures of which not one was recognised their attitudes by their own stars. What keeps it from
// that is FollowErr, and every picture's error; the error returned is the context's.
func (q *Sequence) follow(ctx context.Context, o Options) error {
	if o.Narrow == nil || q.recognised() > 0 {
		return nil
	}
	pics := make([]track.Picture, len(q.Shots))
	given := track.Given{RA: o.Narrow.RA, Dec: o.Narrow.Dec, Roll: o.Narrow.Roll}
	for i, s := range q.Shots {
		if s.Clock == nil || s.Unread() || s.LeftOut != "" {
			continue
		}
		pics[i] = track.Picture{Field: s.Field, Mid: s.Clock.Mid(), Exposure: s.Clock.Exposure}
		if h := s.hint(o.Lens); given.FocalPx == 0 {
			given.FocalPx, given.FocalShare = h.FocalPx, h.FocalShare/2 // what it keeps within is two standard deviations
		}
	}
	f, err := track.Follow(ctx, pics, given)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, track.ErrNoField) {
		return nil // what is wrong with the pictures themselves says more
	}
	if q.FollowErr = err; err != nil {
		q.notFollowed(err)
		return nil
	}
	q.Followed = &f
	q.takeFollowed(f)
	return nil
}

// notFollowed tells each picture that could be read why it has no attitude.
func (q *Sequence) notFollowed(err error) {
	for i := range q.Shots {
		if s := &q.Shots[i]; !s.Unread() && s.Solution == nil {
			s.Err = err
		}
	}
}

// narrowField: below this diagonal the catalogue shows a picture too few stars to be recognised by,
// wherever it looks.
const narrowField = 3.5 * ephem.Degree

// narrow is whether the lens is known to see no more than that.
func (s Shot) narrow(h solve.Hint) bool {
	return h.FocalPx > 0 && 2*math.Atan(math.Hypot(float64(s.Width), float64(s.Height))/2/h.FocalPx)*(1+h.FocalShare) < narrowField.Rad()
}

// recognised counts the pictures with a solution.
func (q Sequence) recognised() (n int) {
	for _, s := range q.Shots {
		if s.Solution != nil {
			n++
		}
	}
	return n
}

// takeFollowed hands the attitudes to the shots.
func (q *Sequence) takeFollowed(f track.Followed) {
	for i := range q.Shots {
		s := &q.Shots[i]
		switch {
		case s.Clock == nil || s.Unread() || s.LeftOut != "":
		case f.Errs[i] != nil:
			s.Err = f.Errs[i]
		default:
			s.Solution, s.Err = f.Solutions[i], nil
			s.shapeOfStars()
		}
	}
	for _, i := range f.Untracked {
		q.Shots[i].LeftOut, q.Shots[i].MotorOff = ledText, true
	}
}
