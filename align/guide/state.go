package guide

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// stateVersion counts the form of State.
const stateVersion = 1

// State is a session as it survives a restart: plain JSON, names instead of pictures. Its fields are for JSON.
type State struct {
	Version int    `json:"version"`
	Serial  uint64 `json:"serial"`
	policy.State
	// Window are the pictures of the measurement, Fresh those since the clamps were tightened, Last the last one that moved the
	// bubbles, Odd one set aside.
	Window   []string           `json:"window"`
	Fresh    []string           `json:"fresh"`
	Last     string             `json:"last"`
	Odd      string             `json:"odd"`
	Swung    bool               `json:"swung"`    // since the clamps were tightened, so that the knobs cannot be followed any more
	Learned  bool               `json:"learned"`  // the knobs' state knows something of this mount
	Told     time.Time          `json:"told"`     // newest picture when a fault of the mount was first told; zero: there is none
	Suspects []Suspect          `json:"suspects"` // the last pictures running that fell behind the stars
	Knobs    *knobs.State       `json:"knobs"`
	Order    *Order             `json:"order"`
	Loss     Loss               `json:"loss"`    // of certainty by the turns since the measurement
	Carried  *Carried           `json:"carried"` // the axis as the turns before this measurement left it; nil: not known, or given up
	Frames   []answer.FrameJSON `json:"frames"`  // of the whole session, in the order of time

	Settings []Setting                `json:"settings"`         // of the camera's clock, found in mid-session
	Moved    map[string]time.Duration `json:"moved_ns"`         // by what the stamps of pictures were shifted for them
	Stamps   []Stamp                  `json:"stamps"`           // the newest few
	Late     bool                     `json:"late"`             // the last picture was older than those
	News     say.Line                 `json:"news"`             // what the last pictures showed besides, to be told once
	Asked    []Asked                  `json:"asked"`            // questions of place and clock put so far
	Missed   *Missed                  `json:"missed,omitempty"` // the newest picture, where it cannot be used; nil: it can
}

// Order is what was asked of the hand last, and where the axis was then.
type Order struct {
	Kind       knobs.Kind    `json:"kind"`
	Knob       knobs.Knob    `json:"knob"`
	Turn       unit.Angle    `json:"turn_rad"`
	Says       say.Line      `json:"text"`     // earlier versions kept it in words
	Remarked   bool          `json:"remarked"` // the text already says what the last turn did
	Direction  r3.Vec        `json:"direction"`
	Covariance [2][2]float64 `json:"covariance_rad2"`
}

func orderOf(i knobs.Instruction) *Order {
	o := &Order{Kind: i.Kind, Knob: i.Knob, Turn: i.Turn, Says: i.Says, Direction: i.Axis.Direction, Covariance: i.Axis.Covariance}
	o.Remarked = i.Kind != knobs.Turn || i.Remark
	return o
}

func (o *Order) axis() align.Axis {
	return align.Axis{Direction: o.Direction, Covariance: o.Covariance}
}

// ErrState: a state that is none of this program's.
var ErrState = errors.New("the session's state cannot be used")

// State is the session so far. Later Adds do not change it.
func (g *Guide) State() State {
	s := g.s
	s.Window, s.Fresh = g.window.files(), g.fresh.files()
	s.Last, s.Odd = fileOf(g.last), fileOf(g.odd)
	s.Frames, s.Suspects, s.Moved, s.Asked = slices.Clone(s.Frames), slices.Clone(g.suspects), maps.Clone(s.Moved), slices.Clone(s.Asked)
	if s.Knobs != nil {
		k := *s.Knobs
		s.Knobs = &k
	}
	return s
}

func fileOf(s *drift.Shot) string {
	if s == nil {
		return ""
	}
	return s.File
}

// Resume goes on from a state; shots finds a shot by its file's name. With all shots of the state there the View
// is the one of before; where some are missing the axis is measured from the others, and without enough of them
// measuring begins afresh.
//
// The error is [ErrState].
func Resume(o Options, s State, shots func(name string) (drift.Shot, bool)) (*Guide, error) {
	if s.Version != stateVersion {
		return nil, amiss.New(ErrState, fmt.Sprintf("the session's state is of form %d; this program reads %d", s.Version, stateVersion), "begin a new session")
	}
	g := New(o)
	g.s = s
	g.s.Frames, g.s.Moved, g.s.Asked = slices.Clone(s.Frames), maps.Clone(s.Moved), slices.Clone(s.Asked)
	for _, f := range s.Frames {
		g.names[f.File] = true
	}
	find := func(name string) *drift.Shot {
		if shot, ok := shots(name); ok && name != "" {
			shot = moved(shot, g.s.Moved[name])
			return &shot
		}
		return nil
	}
	g.window.shots, g.fresh.shots = all(s.Window, find), all(s.Fresh, find)
	g.last, g.odd = find(s.Last), find(s.Odd)
	for _, x := range s.Suspects {
		if shot := find(x.File); shot != nil {
			x.shot = *shot
			g.suspects = append(g.suspects, x)
		}
	}
	g.base = g.answer(g.window.sequence())
	if len(g.fresh.shots) > 0 {
		a := g.carried().weighed(answer.Find(g.fresh.sequence(), g.o.Answer))
		g.again = &a
	}
	g.recover()
	if g.s.Phase == Measuring && !g.s.Afresh { // place and clock may be told otherwise than before
		g.settle()
	}
	g.compose()
	return g, nil
}

func all(names []string, find func(string) *drift.Shot) (list []drift.Shot) {
	for _, n := range names {
		if s := find(n); s != nil {
			list = append(list, *s)
		}
	}
	return list
}

// recover mends what a state with missing pictures, or one meddled with, leaves open.
func (g *Guide) recover() {
	switch g.s.Phase {
	case Waiting, Measuring, Done:
	case Turning, Untouched:
		if g.s.Knobs != nil && g.base.Measured != nil {
			break
		}
		g.restart(say.Of("pictures are missing"), g.fresh.shots...)
		g.stale = false
		g.base = answer.Find(g.window.sequence(), g.o.Answer)
	default:
		g.s.Phase = Measuring
	}
	if g.last != nil && g.s.Knobs != nil {
		if fit, ok := g.fit(*g.last); ok {
			g.seen = fit.seen
		}
	}
}
