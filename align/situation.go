package align

import (
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// Situation is one trouble the pictures show.
type Situation struct {
	Kind  Kind
	Files []string // the pictures concerned; of an event, those after it
	Size  Size
	Sure  bool        // nothing else is known that looks the same; else it is said what may
	Stops bool        // nothing else is worth doing before it is put right
	Says  say.Line    // what happened and what to do
	Ways  []amiss.Way // where something must be given for it
}

// Line is all of it, with its ways out for those who are told.
func (s Situation) Line(v say.Voice) say.Line {
	return say.All(s.Says, say.Text(strings.TrimSpace(v.Sentences("", s.Ways))))
}

// Told is all of it in words.
func (s Situation) Told(v say.Voice) string { return v.Sentences(v.Say(s.Says), s.Ways) }

// Situations names what was amiss in a session, in the order of the kinds above but for those
// found in single pictures. h is nil when there is no site; a is nil when there is no axis,
// and err then says why; what can still be told without them is told.
//
// Every finding is a test whose threshold stands as a named constant beside it. Over sound
// sessions fewer than one in a hundred brings a false one.
func Situations(seq drift.Sequence, h *drift.Horizon, a *Axis, err error) []Situation {
	s := newSession(seq, h, a)
	all := s.placeAndClock()
	moved := s.standing() // such pictures say nothing of the mount
	if len(moved) == 0 {
		mount := s.mount(err)
		if placeOrClock(all) { // mechanics last
			mount = slices.DeleteFunc(mount, func(x Situation) bool { return x.Kind == KindFlexure })
		}
		all = append(all, mount...)
		moved = s.stacked()
	}
	all = append(all, moved...)
	all = append(all, s.unlit()...)
	all = append(all, s.clouds()...)
	all = append(all, s.focus()...)
	if s.a != nil {
		all = append(all, s.doubt()...)
	}
	if !placeOrClock(all) { // where they stood rests on place and clock
		all = append(all, s.low()...)
	}
	return weighed(all, s.a != nil)
}

// weighed fills in what stops the work.
func weighed(all []Situation, axis bool) []Situation {
	for i := range all {
		all[i].Stops = all[i].Kind.Stops(axis)
	}
	return all
}

// mount names what is wrong with motor, clamps and holder.
func (s *session) mount(err error) []Situation {
	if s.a == nil {
		all := append(s.motor(err), s.straysInSky()...)
		return append(all, s.lensChanges()...)
	}
	all := append(s.motor(err), s.breaks()...)
	if bent := s.flexure(); len(bent) > 0 {
		all = append(all, bent...)
	} else if !names(all, KindKnock) && !names(all, KindSlipping) {
		all = append(all, s.loose()...)
	}
	return append(all, s.strays()...)
}

func names(all []Situation, k Kind) bool {
	return slices.ContainsFunc(all, func(s Situation) bool { return s.Kind == k })
}

// placeOrClock is whether either is in doubt.
func placeOrClock(all []Situation) bool {
	return slices.ContainsFunc(all, func(s Situation) bool { return s.Kind.Of() == OfPlace || s.Kind.Of() == OfClock })
}

// session is what the tests look at.
type session struct {
	seq    drift.Sequence
	h      *drift.Horizon
	a      *Axis // nil unless it speaks of exactly the samples of in
	in     Input
	stamp  time.Duration
	solved []int // shots solved, with a clock
	// elsewhere: another place or time would fit better, though not for certain.
	elsewhere bool
}

func newSession(seq drift.Sequence, h *drift.Horizon, a *Axis) *session {
	s := &session{seq: seq, h: h}
	for i, shot := range seq.Shots {
		if shot.Clock != nil {
			s.stamp = max(s.stamp, shot.Clock.Step)
			if shot.Solution != nil {
				s.solved = append(s.solved, i)
			}
		}
	}
	if h != nil {
		s.in = FromHorizon(*h)
		if a != nil && len(a.Theta) == len(s.in.Samples) && len(a.Stray) == len(a.Theta) {
			s.a = a
		}
	}
	return s
}

// listed is whether the attitudes were measured elsewhere: one pixel is then the error a table states.
func (s *session) listed() bool {
	return len(s.solved) > 0 && s.seq.Shots[s.solved[0]].Solution.Listed()
}

// file is the name of the picture behind a sample.
func (s *session) file(sample int) string { return s.seq.Shots[s.h.Sights[sample].Shot].File }

// files are the names behind samples from first to last.
func (s *session) files(first, last int) []string {
	var names []string
	for i := first; i <= last && i < len(s.in.Samples); i++ {
		if s.a == nil || !s.a.Stray[i] {
			names = append(names, s.file(i))
		}
	}
	return names
}

// shotFiles are the names of shots.
func (s *session) shotFiles(shots []int) []string {
	var names []string
	for _, i := range shots {
		names = append(names, s.seq.Shots[i].File)
	}
	return names
}

// north is the axis's end toward the north pole, as the model counts θ about it.
func (s *session) north() r3.Vec {
	if s.in.Site.Latitude < 0 {
		return r3.Scale(-1, s.a.Direction)
	}
	return s.a.Direction
}

// turnBetween is the turn of the camera from shot i to shot k against the stars, in the
// camera's frame of shot i: what a direction fixed in the sky does there.
func (s *session) turnBetween(i, k int) r3.Vec {
	return s.skyAttitude(i).Inverse().Then(s.skyAttitude(k)).Log()
}

func (s *session) skyAttitude(shot int) turn.Turn {
	return s.seq.Shots[shot].Solution.Facing()
}

// secondsBetween the middles of two shots with clocks.
func (s *session) secondsBetween(i, k int) float64 {
	return s.seq.Shots[k].Clock.Mid().Sub(s.seq.Shots[i].Clock.Mid()).Seconds()
}

// KnobPlay is the least a knob is good for (common practice, no source).
const KnobPlay = 2 * ephem.Arcmin
