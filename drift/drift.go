// Package drift turns a handful of pictures into a sequence of attitudes.
//
// Start with [Measure]: pictures in any order become a [Sequence] of [Shot]s
// in the order of time, each with its stars and, where the stars could be
// recognised, its attitude in the ICRS. [Sequence.Horizon] carries the
// attitudes into the horizon frame of a site, all pictures of one lens fitted
// together.
//
// The package knows nothing of mounts; it does not ask why the attitude
// changes.
package drift

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"runtime"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Source is a picture that can be opened when its turn comes, and once more if closing it gives [ErrChanged].
type Source struct {
	Name string // base name, with its folder where two pictures would be called alike
	Open func() (io.ReadSeekCloser, error)
}

// Options steer Measure. The zero value takes everything from the pictures.
type Options struct {
	Frame    frame.Options
	Lens     LensFlags
	Workers  int             // pictures measured at once; 0 = as many as the machine runs at once, at most 3
	Cores    int             // that share the work on one picture; 0 = all in MeasureOne, in Measure those its pictures leave free
	Progress func(Shot)      // told of each picture when it is done, never two at once; may be nil
	Known    map[string]Shot // shots measured before, by name: not opened again
	Narrow   *Narrow         // for fields too narrow to recognise; nil: they stay unsolved
	Numbered bool            // the numbers in the files' names are in the order taken, and show a clock that was set
	Room     *Room           // shared with other calls at the same time; nil: one of its own
}

// LensFlags are what the user says of the lens; zeros are unknown.
type LensFlags struct {
	FocalLengthMM, PixelPitchUM float64
	EquivalentMM                float64
	ScaleArcsecPerPx            float64
}

// Shot is one picture, measured.
type Shot struct {
	File          string
	Clock         *frame.Clock
	ClockErr      error
	Exposure      time.Duration // known also where the clock is not; 0: not known
	Lens          frame.Lens
	Place         *ephem.Site
	Width, Height int
	RowOrderFree  bool
	Notes         []string
	Signal        string          // which of the picture's colours was measured, as frame.Frame says
	Altered       string          // by what the file shows that it is not the picture as the camera took it, as frame.Frame says
	Instead       string          // what was measured in place of the picture's own data, as frame.Frame says
	Field         star.Field      // empty where Err says the picture could not be read
	Solution      *solve.Solution // nil where Err says why not
	Err           error
	MotorOff      bool   // taken with the motor off on purpose, to show which way is up: neither axis nor roundness is judged by it
	LeftOut       string // why a solved picture takes no part in the axis; empty: it does
	Table         bool   // from a table: no picture was seen, and how many stars there are and how they look says nothing of the sky
}

// Sequence is a set of pictures in the order of time; pictures without a clock
// come last, by name.
type Sequence struct {
	Shots []Shot
	Notes []say.Line // what was taken for granted of all of them
	// Followed says how the pictures were followed by their own stars; nil where they were recognised.
	Followed *track.Followed
	// FollowErr is why they could not be followed, though the direction they look in was given.
	FollowErr error
	ClockSet  *ClockSet // the camera's clock was set between two pictures; nil: not known of
}

// errUnread marks what kept a picture from being read at all.
var errUnread = errors.New("the picture could not be read")

// ErrChanged marks what the Close of a Source gives when the picture was written to meanwhile: clock and pixels may be of
// two pictures.
var ErrChanged = errors.New("changed while it was read")

// Unread is whether a shot's picture could not be read at all.
func (s Shot) Unread() bool { return errors.Is(s.Err, errUnread) }

// NamedErr is Err with the picture's name before it, where what is amiss is in the file: such an error does not tell which.
func (s Shot) NamedErr() error {
	if frame.Own(s.Err) || errors.Is(s.Err, ErrChanged) {
		return namedError{s.Err, s.File}
	}
	return s.Err
}

// namedError has a name before its text, and else all that the error has.
type namedError struct {
	error
	name string
}

func (e namedError) Error() string { return e.name + ": " + e.error.Error() }
func (e namedError) Unwrap() error { return e.error }

type unreadError struct{ error }

func (e unreadError) Unwrap() []error { return []error{e.error, errUnread} }

// Measure decodes the pictures, finds their stars and recognises the fields. A picture
// that cannot be used is a Shot with Err set, not an error; the error is the
// context's. Memory holds as many decoded pictures as there are workers, and never
// more than there is Room for; of each finished one its stars only.
func Measure(ctx context.Context, sources []Source, o Options) (Sequence, error) {
	shots := make([]Shot, len(sources))
	o.Cores = o.coresEach(sources)
	if o.Room == nil {
		o.Room = NewRoom()
	}
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(o.workers())
	var mu sync.Mutex
	for i, src := range sources {
		if known, ok := o.Known[src.Name]; ok {
			shots[i] = known
			continue
		}
		g.Go(func() error {
			s, err := guarded(gctx, src, o)
			if err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			shots[i] = s
			if o.Progress != nil {
				o.Progress(s)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return Sequence{}, err
	}
	var set *ClockSet
	if o.Numbered {
		set = keepOneClock(shots)
	}
	seq, err := arrange(ctx, shots)
	seq.ClockSet = set
	if err != nil {
		return seq, err
	}
	return seq, seq.follow(ctx, o)
}

// arrange sorts the shots and lets them help each other.
func arrange(ctx context.Context, shots []Shot) (Sequence, error) {
	seq := Sequence{Shots: shots}
	seq.sort()
	if err := seq.helpNeighbours(ctx); err != nil {
		return Sequence{}, err
	}
	if seq.markStanding() { // fewer spots that are no stars: the fields left may be recognised now
		if err := seq.helpNeighbours(ctx); err != nil {
			return Sequence{}, err
		}
	}
	seq.leaveOutCopies()
	for i := range seq.Shots {
		seq.Shots[i].shapeOfStars()
	}
	return seq, nil
}

// mostAtOnce pictures of 12 megapixels, each 80 MB while its stars are found, leave room in 300 MB. Four did not.
const mostAtOnce = 3

func (o Options) workers() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return min(runtime.GOMAXPROCS(0), mostAtOnce)
}

// coresEach parts the machine among the pictures measured at once, none left idle.
func (o Options) coresEach(sources []Source) int {
	if o.Cores > 0 {
		return o.Cores
	}
	fresh := 0
	for _, src := range sources {
		if _, known := o.Known[src.Name]; !known {
			fresh++
		}
	}
	at := max(1, min(fresh, o.workers()))
	return (runtime.GOMAXPROCS(0) + at - 1) / at
}

// guarded keeps a fault met in one hostile picture from ending the whole run: a
// panic in a goroutine could not be caught elsewhere.
func guarded(ctx context.Context, src Source, o Options) (s Shot, err error) {
	defer func() {
		if r := recover(); r != nil {
			s, err = Shot{File: src.Name, Err: unreadError{Fault(r)}}, nil
		}
	}()
	return MeasureOne(ctx, src, o)
}

// ErrFault: a fault of this program met while measuring a picture.
var ErrFault = errors.New("a fault of the program")

// Fault is the error a recovered panic makes.
func Fault(recovered any) error {
	return &amiss.Error{Kind: ErrFault, Text: "the picture upset the program",
		Ways: amiss.Do("leave this picture out, and please report it with the picture"), From: fmt.Errorf("%v", recovered)}
}

// MeasureOne measures a single picture, without help from neighbours and as fast as the
// machine can. The error is the context's.
func MeasureOne(ctx context.Context, src Source, o Options) (Shot, error) {
	s := Shot{File: src.Name}
	if err := ctx.Err(); err != nil {
		return s, err
	}
	if o.Room == nil {
		o.Room = NewRoom()
	}
	p := &place{room: o.Room}
	defer p.leave()
	fr, err := decode(ctx, src, o, p)
	if err != nil {
		s.Err = unreadError{err}
		return s, ctx.Err()
	}
	s.take(fr)
	if s.Field, err = star.Find(ctx, fr.Plane, star.Options{Workers: o.Cores}); err != nil {
		s.Err = unreadError{err}
		return s, ctx.Err()
	}
	p.leave() // the pixels are not needed any more
	h := s.hint(o.Lens)
	h.NeighbourOnly = o.Narrow != nil && s.narrow(h) // searching the whole sky would take its seconds for nothing
	s.solve(ctx, h)
	return s, ctx.Err()
}

// decode reads a picture, one that changes meanwhile once more.
func decode(ctx context.Context, src Source, o Options, p *place) (frame.Frame, error) {
	fr, err := decodeOnce(ctx, src, o, p)
	if errors.Is(err, ErrChanged) {
		fr, err = decodeOnce(ctx, src, o, p)
	}
	return fr, err
}

func decodeOnce(ctx context.Context, src Source, o Options, p *place) (fr frame.Frame, err error) {
	r, err := src.Open()
	if err != nil {
		return frame.Frame{}, err
	}
	defer func() {
		if late := r.Close(); errors.Is(late, ErrChanged) { // whatever was made of it
			fr, err = frame.Frame{}, late
		}
	}()
	fo := o.Frame
	fo.Name = path.Base(src.Name) // tables of times name files without folders
	fo.Admit = func(bytes int64) error { return p.take(ctx, bytes) }
	return frame.Decode(r, fo)
}

// take keeps what outlives the pixels.
func (s *Shot) take(fr frame.Frame) {
	s.Clock, s.ClockErr, s.Exposure, s.Lens, s.Place = fr.Clock, fr.ClockErr, fr.Exposure, fr.Lens, fr.Place
	side := fr.Plane.Cell.Side() // from here on true pixels count, as in the field
	s.Width, s.Height = side*fr.Plane.Width, side*fr.Plane.Height
	s.RowOrderFree, s.Notes = fr.RowOrderUnknown, fr.Notes
	s.Signal, s.Altered, s.Instead = fr.Signal, fr.Altered, fr.Instead
}

// ErrNoStars: the picture is not one of stars.
var ErrNoStars = errors.New("no stars")

// starless says what a picture is when it is not one of stars.
func starless(c star.Condition) error {
	const lit, capped = "wait for the dark, or expose more briefly", "take the cap off, and expose for some seconds"
	switch c {
	case star.Dark:
		return amiss.New(ErrNoStars, "no stars: the picture is black but for hot pixels", capped)
	case star.TooBright:
		return amiss.New(ErrNoStars, "no stars: the picture is too bright", lit)
	case star.Featureless:
		return amiss.New(ErrNoStars, "no stars: the picture shows nothing at all", capped)
	}
	return amiss.New(ErrNoStars, "no stars were found", "focus on a star, wait for a gap in the clouds, or aim at open sky")
}

// solve recognises the field.
func (s *Shot) solve(ctx context.Context, h solve.Hint) {
	if s.Field.Condition != star.Good && len(s.Field.Stars) < 3 {
		s.Err = s.doubted(starless(conditionOf(s.Field)))
		return
	}
	sol, err := solve.Solve(ctx, s.Field, h)
	if err != nil {
		s.Err = s.doubted(err)
		return
	}
	s.Solution, s.Err = &sol, nil
}

// doubted adds to why a picture cannot be measured that it is not as the camera took it, where the file shows that.
func (s *Shot) doubted(err error) error {
	if s.Altered == "" {
		return err
	}
	ways := append(amiss.Do("use the picture as the camera saved it"), amiss.Ways(err)...)
	return &amiss.Error{Text: err.Error() + "; " + s.Altered, Ways: ways, From: err}
}

// conditionOf is a field's condition; of one value everywhere, nothing at all is the dark of a capped camera.
func conditionOf(f star.Field) star.Condition {
	if f.Condition == star.Featureless && f.Background == 0 {
		return star.Dark
	}
	return f.Condition
}

// Hints on the scale: what a user or a file says of a lens is right to within
// so much. A 35 mm equivalent is rounded, and counted over the diagonal or the width.
const (
	shareSaid       = 0.05
	shareEquivalent = 0.15
	diagonal35mm    = 43.2666 // of 36 mm × 24 mm
)

// hint gathers what flags and file say of the focal length; flags first.
func (s Shot) hint(l LensFlags) solve.Hint {
	h := solve.Hint{RowOrderFree: s.RowOrderFree}
	px, share := l.focalPx(s.Width, s.Height)
	if px == 0 {
		own := LensFlags{s.Lens.FocalLengthMM, s.Lens.PixelPitchUM, s.Lens.EquivalentMM, s.Lens.ScaleArcsecPerPx}
		px, share = own.focalPx(s.Width, s.Height)
		share *= 2 // the file may speak of the sensor, not of the crop
	}
	h.FocalPx, h.FocalShare = px, share
	return h
}

// focalPx is the focal length in pixels, 0 if the flags do not tell, and by what
// share it may be off.
func (l LensFlags) focalPx(width, height int) (px, share float64) {
	switch {
	case l.ScaleArcsecPerPx > 0:
		return 1 / math.Tan(l.ScaleArcsecPerPx/3600*math.Pi/180), shareSaid
	case l.FocalLengthMM > 0 && l.PixelPitchUM > 0:
		return l.FocalLengthMM * 1000 / l.PixelPitchUM, shareSaid
	case l.EquivalentMM > 0:
		return l.EquivalentMM * math.Hypot(float64(width), float64(height)) / diagonal35mm, shareEquivalent
	}
	return 0, 0
}

// sort puts the shots in the order of time.
func (q *Sequence) sort() {
	slices.SortStableFunc(q.Shots, func(a, b Shot) int {
		switch {
		case a.Clock != nil && b.Clock != nil:
			if c := a.Clock.Mid().Compare(b.Clock.Mid()); c != 0 {
				return c
			}
		case a.Clock != nil:
			return -1
		case b.Clock != nil:
			return 1
		}
		return cmp.Compare(a.File, b.File)
	})
}

// helpNeighbours solves what could not be solved alone from the pictures beside it: the
// stars of a thin cloud or a small field suffice once scale, lens and place are known.
func (q *Sequence) helpNeighbours(ctx context.Context) error {
	for i := range q.Shots {
		s := &q.Shots[i]
		if s.Solution != nil || s.Unread() || len(s.Field.Stars) < 3 {
			continue
		}
		h := solve.Hint{RowOrderFree: s.RowOrderFree, NeighbourOnly: true}
		for _, n := range q.neighbours(i) {
			h.Near = append(h.Near, q.guesses(n, i)...)
		}
		if len(h.Near) == 0 {
			continue
		}
		h.NearWithin = nearWithin
		if sol, err := solve.Solve(ctx, s.Field, h); err == nil {
			s.Solution, s.Err = &sol, nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// shapeOfStars takes the picture's width and elongation of stars from those the
// solution recognised, where there are enough: nothing else is sure to be a star.
func (s *Shot) shapeOfStars() {
	const enough = 5
	if s.Solution == nil || len(s.Solution.Sightings) < enough {
		return
	}
	var width, long []float64
	for _, g := range s.Solution.Sightings {
		st := s.Field.Stars[g.Star]
		if st.Flags&(star.Saturated|star.Blend|star.Edge) == 0 && st.FWHM > 0 {
			width = append(width, st.FWHM)
			long = append(long, st.Elongation)
		}
	}
	if len(width) < enough {
		return
	}
	slices.Sort(width)
	slices.Sort(long)
	s.Field.FWHM, s.Field.Elongation = width[len(width)/2], long[len(long)/2]
}
