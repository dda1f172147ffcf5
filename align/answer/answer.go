// Package answer turns one measured sequence into the whole answer: the axis, what to
// turn, what was amiss, and its JSON.
//
// Start with [New]. It never fails: where something cannot be told the field is
// nil (JSON null) and [Answer.Err] says why, with a way out.
package answer

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Options say what is known besides the pictures and what is wanted.
type Options struct {
	Site          *ephem.Site // nil: the pictures' own place
	Air           *ephem.Air  // nil: the standard air at the site's height
	Aim           align.AimKind
	Target        *align.Target
	Planned       time.Duration    // exposure planned; 0 = 30 s
	MaxElongation float64          // 0 = 1.25
	Share         float64          // of the exposures that shall stay round; 0 = 0.9
	PeriodS       float64          // of the gear, where known
	Gear          *exposure.Wobble // as told by the user or the kit; what the pictures measure goes before it; nil: nobody has said
	Play          unit.Angle       // of the knobs, as told by the user or the kit; 0: nobody has said
	LeaveAsking   bool             // who asks puts the queries of Measured himself: the advice is as if all were answered
	Voice         say.Voice        // of who is told
	Memory        *Memory          // for faces that ask again and again; nil: nothing is remembered
}

// Causes why there is no axis, beside those of align.Estimate; for errors.Is.
var (
	// ErrNoSite: neither flag nor picture says where this was.
	ErrNoSite = errors.New("the site is not known")
	// ErrSunk: the pictures' part of the sky was below the horizon.
	ErrSunk = errors.New("below the horizon")
	// ErrNoPictures: not one picture could be used.
	ErrNoPictures = errors.New("no picture could be used")
)

// builder gathers the answer.
type builder struct {
	seq  drift.Sequence
	o    Options
	site ephem.Site
	air  ephem.Air
	out  *Finding

	rests  align.PlaceRests
	doubts []align.Doubt
	// skySpeaks: the sky itself speaks against place or clock.
	skySpeaks bool

	forms func() []exposure.Form // of the shots' stars; zero where not recognised
}

// Find finds what a sequence shows. The sequence's shots are not changed.
func Find(seq drift.Sequence, o Options) Finding {
	if o.Planned <= 0 {
		o.Planned = 30 * time.Second
	}
	if o.MaxElongation <= 1 {
		o.MaxElongation = 1.25
	}
	out := Finding{Voice: o.Voice}
	b := &builder{seq: seq, o: o, out: &out, forms: formsOf(seq, o.Memory)}
	b.seq.Shots = slices.Clone(seq.Shots)
	b.doubts = align.ClockDoubts(seq)
	b.run()
	b.frames()
	b.noteMirrored()
	b.noteTable()
	b.noteInstead()
	b.noteFollowed()
	if out.Err != nil {
		out.Advice.Notes = append([]policy.Note{{Says: say.Text(o.Voice.Reason(out.Err))}}, out.Advice.Notes...)
	}
	return out
}

// run goes from the site to the advice, as far as the pictures carry.
func (b *builder) run() {
	if err := b.findSite(); err != nil {
		b.stop(nil, nil, b.firstCause(err))
		return
	}
	b.leaveOutSunk()
	seen, err := b.see()
	if err != nil {
		b.stop(nil, nil, err)
		return
	}
	b.out.Seen = &seen
	h, in := seen.Horizon, seen.Input
	axis, err := seen.Axis()
	if err != nil {
		b.stop(&h, nil, b.firstCause(err))
		b.setAim(b.lastMid())
		if errors.Is(err, align.ErrNotTurning) {
			b.forecast(h, exposure.Mount{Tripod: true})
		}
		return
	}
	b.leaveOutStray(h, axis)
	b.out.Rate = rateOf(in, axis)
	b.readWobble(h, in, axis)
	b.situations(&h, &axis, nil)
	if b.bends() { // what gives way turns the camera as well: the angle about the axis is not the motor's
		b.out.Rate = nil
	}
	if !b.setAim(b.lastMid()) {
		b.contradictions(nil)
		return
	}
	b.contradictions(&axis)
	b.advise(h, in, axis)
}

// stop ends without an axis.
func (b *builder) stop(h *drift.Horizon, a *align.Axis, err error) {
	b.out.Err = err
	b.situations(h, a, err)
	b.contradictions(nil)
}

// firstCause prefers what is wrong with the pictures themselves to what follows from it: when
// none is solved, or none has a clock, the axis is not the news.
func (b *builder) firstCause(err error) error {
	var solved, clocked int
	var first error
	for _, s := range b.seq.Shots {
		switch {
		case s.Solution == nil:
			if first == nil {
				first = s.NamedErr()
			}
		case s.Clock == nil:
			solved++
			if first == nil || errors.Is(err, ErrNoSite) {
				first = s.ClockErr
			}
		default:
			solved++
			clocked++
		}
	}
	switch {
	case b.sunk() > 0 && (clocked == b.sunk() || errors.Is(err, align.ErrNoAxis) || errors.Is(err, align.ErrFewPictures)):
		return &amiss.Error{Kind: ErrSunk, Text: "seen from this site at that time, what the pictures show was below the horizon",
			Ways: []amiss.Way{{Thing: amiss.CheckSiteAndClock}}}
	case b.seq.FollowErr != nil:
		return b.seq.FollowErr
	case len(b.seq.Shots) == 0:
		return amiss.New(ErrNoPictures, "there is no picture", "name the pictures or their folder")
	case solved == 0 && first != nil:
		if n := len(b.seq.Shots); n > 1 {
			ways := amiss.Ways(first)
			if ways == nil {
				ways = amiss.Do("look at the pictures: stars must be visible and in focus")
			}
			return &amiss.Error{Kind: ErrNoPictures, Text: fmt.Sprintf("none of the %d pictures could be used; the first: %v", n, first), Ways: ways, From: first}
		}
		return first
	case clocked == 0 && first != nil:
		return first
	}
	return err
}

// findSite takes the flag and the pictures' places.
func (b *builder) findSite() error {
	p, ok := align.PlaceOf(b.o.Site, b.seq.Shots, b.sunkAt)
	if !ok {
		return &amiss.Error{Kind: ErrNoSite, Text: "the pictures do not say where they were taken", Ways: []amiss.Way{{Thing: amiss.Site}}}
	}
	b.site, b.rests = p.Site, p.Rests
	b.doubts = append(p.Doubts, b.doubts...)
	b.air = ephem.StandardAir(b.site.HeightM)
	if b.o.Air != nil {
		b.air = *b.o.Air
	}
	b.out.Site, b.out.air = &b.site, b.air
	return nil
}

// sunkBelow: a picture whose middle stands lower than this cannot have been taken there and then.
const sunkBelow = -3 * ephem.Degree

// sunkText says why such a picture is left out.
const sunkText = "below the horizon: check site and clock"

// lowBelow: so near the horizon the air bends the view by more than is known of it, layer by layer (common practice, no
// source). Such a picture is left out where enough stand higher, lest it spoil what the others tell.
const (
	lowBelow = 10 * ephem.Degree
	enough   = 3
)

const lowText = "too near the horizon, where the air bends the view"

// leaveOutSunk excludes pictures below the horizon – site or clock are wrong – and those near it where others do.
func (b *builder) leaveOutSunk() {
	var low []int
	high := 0
	for i := range b.seq.Shots {
		s := &b.seq.Shots[i]
		height, ok := heightFrom(b.site, b.air, *s)
		switch {
		case !ok:
		case height < sunkBelow:
			s.LeftOut = sunkText
		case height < lowBelow:
			low = append(low, i)
		case s.LeftOut == "":
			high++
		}
	}
	if high >= enough && high > len(low) {
		for _, i := range low {
			b.seq.Shots[i].LeftOut = lowText
		}
	}
}

// heightFrom is how high over a site's horizon stood what a recognised picture shows; false where none is known.
func heightFrom(site ephem.Site, air ephem.Air, s drift.Shot) (unit.Angle, bool) {
	if s.Solution == nil || s.Clock == nil {
		return 0, false
	}
	sky, err := ephem.NewSky(site, air, s.Clock.Mid())
	if err != nil {
		return 0, false
	}
	return ephem.HorizontalOf(sky.Apparent(s.Solution.Centre())).Altitude, true
}

// sunk counts the pictures left out for standing below the horizon.
func (b *builder) sunk() (n int) {
	for _, s := range b.seq.Shots {
		if s.LeftOut == sunkText {
			n++
		}
	}
	return n
}

// leaveOutStray marks the pictures the axis could not use.
func (b *builder) leaveOutStray(h drift.Horizon, a align.Axis) {
	for i, stray := range a.Stray {
		if stray {
			b.seq.Shots[h.Sights[i].Shot].LeftOut = "fits no steady axis: touched, shaken or of another field"
		}
	}
}

// lastMid is the instant the aim is counted for: that of the last picture.
func (b *builder) lastMid() time.Time {
	var last time.Time
	for _, s := range b.seq.Shots {
		if s.Clock != nil && s.Clock.Mid().After(last) {
			last = s.Clock.Mid()
		}
	}
	return last
}

// setAim forms the aim; false with Err set where that fails.
func (b *builder) setAim(at time.Time) bool {
	aim, err := align.NewAim(b.o.Aim, b.site, b.air, at, b.o.Target)
	if err != nil {
		if b.out.Err == nil {
			b.out.Err = err
		}
		return false
	}
	b.out.Aim = &aim
	return true
}

// advise fills axis, error and advice.
func (b *builder) advise(h drift.Horizon, in align.Input, a align.Axis) {
	d := a.Deviation(*b.out.Aim)
	b.forecast(h, b.mount(a))
	q := policy.Question{Aim: *b.out.Aim, PlannedS: b.o.Planned.Seconds(), Stands: b.stands(h), South: b.site.Latitude < 0,
		Forecast: align.Predict(in, a), Unsteady: b.hasUnsteady(a), Play: b.o.Play}
	f := b.out.Forecast
	if f != nil {
		q.LongestS, q.Rounded, q.Rests = f.LongestS, f.Rounded, f.RestsOn()
	}
	queries := align.Queries(b.doubts, b.skySpeaks, b.site, a, d)
	if len(queries) > 0 && !b.o.LeaveAsking {
		q.Query = queries[0]
	}
	b.out.Advice = policy.Advise(a, q)
	b.noteRests(a)
	b.note(b.towardTarget(h, a))
	b.doubtHand()
	b.out.Measured = &Measured{Axis: a, Deviation: d, Question: q, Queries: queries}
	if stop, ok := b.out.Stop(); ok && q.Ask.None() {
		b.stopAt(stop)
		return
	}
	if f == nil {
		return
	}
	b.aside(f.LongSays())
	b.aside(f.Advice)
	b.noteOddRate()
	if f.Gear != exposure.GearMeasured { // whose figures stand for themselves
		b.aside(b.out.Plan.Mount.Wobble.Says())
	}
}

// stopAt makes a fault the only order: nothing that is said besides may speak of another step.
func (b *builder) stopAt(stop align.Situation) {
	ad := &b.out.Advice
	ad.Next, ad.Says, ad.Trustworthy, ad.Notes = policy.Measure, say.Text(stop.Told(b.o.Voice)), false, nil
	b.out.Faults = slices.DeleteFunc(b.out.Faults, func(x align.Situation) bool { return x.Kind.Of() == align.OfMeasure })
}

// note is a doubt; aside, what may be worth knowing. What says nothing is none.
func (b *builder) note(says say.Line) { b.add(policy.Note{Says: says}) }

func (b *builder) aside(says say.Line) { b.add(policy.Note{Says: says, Aside: true}) }

func (b *builder) add(n policy.Note) {
	if !n.Says.None() {
		b.out.Advice.Notes = append(b.out.Advice.Notes, n)
	}
}

// towardTarget says where the camera's axis is at the target, where a bending holder makes it another than here.
func (b *builder) towardTarget(h drift.Horizon, a align.Axis) (says say.Line) {
	if b.o.Target == nil || !a.Gave.Shown() || a.Gave.How != align.GaveBending {
		return says
	}
	last := h.Sights[len(h.Sights)-1]
	shot := viewOf(b.seq.Shots[last.Shot])
	lens := last.Attitude.Pose.Lens
	view, err := exposure.Above(exposure.Lens{FocalPx: lens.FocalPx, Width: lens.Width, Height: lens.Height}, b.site, b.air, last.Mid, *b.o.Target, unit.AngleFromDeg(shot.RollDeg))
	if err != nil {
		return says
	}
	there := align.Axis{}
	there.Direction, there.Covariance = a.Bend.At(view.Attitude, b.site.Latitude < 0)
	moved, sigma := a.Apart(there), max(there.WorstSigma(), a.WorstSigma())
	if moved < sigma {
		return says
	}
	return say.Of("axis at the target", say.Off{Value: moved, Sigma: sigma}, there.Deviation(*b.out.Aim).Total)
}

// oddRate is how many standard errors off the stars' rate a motor must run to be worth a
// word; the situations name a wrong rate only from a surer one.
const oddRate = 3

// noteOddRate says what an odd rate may mean: a clamp that gives way evenly looks, in one patch
// of sky, like another axis and another rate.
func (b *builder) noteOddRate() {
	r := b.out.Rate
	if r == nil || math.Abs(r.SiderealRatio-1) < max(oddRate*r.Sigma, 0.01) {
		return
	}
	if b.met(align.KindWrongRate) {
		return
	}
	again := say.Of("tighten and swing")
	if b.seq.Followed != nil {
		again = say.Of("tighten")
	}
	b.note(say.All(say.Of("odd rate", say.Ratio{Value: r.SiderealRatio, Sigma: r.Sigma}), again))
}

// noteMirrored says so where pictures are mirrored: some programs write them so, and whoever
// compares them with the sky should know.
func (b *builder) noteMirrored() {
	n := 0
	for _, f := range b.out.Lines {
		if f.Mirrored {
			n++
		}
	}
	switch {
	case n > 1 && n == len(b.out.Lines):
		b.aside(say.Of("all mirrored"))
	case n > 0:
		b.aside(say.Of("some mirrored", say.Pictures(n)))
	}
}
