package guide

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/ephem"
)

// placed has a picture say that it was taken somewhere.
func placed(lat, lon float64) func(drift.Shot) drift.Shot {
	return func(s drift.Shot) drift.Shot {
		site, _ := ephem.NewSite(lat, lon, 500)
		s.Place = &site
		return s
	}
}

// fixed has a picture hold a GPS time so much later than its clock.
func fixed(by time.Duration) func(drift.Shot) drift.Shot {
	return func(s drift.Shot) drift.Shot {
		c := *s.Clock
		c.Told.HasFix, c.Told.Ahead = true, -by
		s.Clock = &c
		return s
	}
}

// put is a question as it must be put: in place of an order, first of all, with what to do about it.
func put(t *testing.T, v View, number int, about align.Kind, ask string) {
	t.Helper()
	q := v.Live.Question
	if q == nil || q.Number != number || q.About != about || !strings.Contains(v.Live.Instruction, "question, say so and go on ["+ask) {
		t.Fatalf("question %+v, want number %d about %q, %q first: %s", q, number, about, ask, v.Live.Instruction)
	}
	if v.Live.Phase != Measuring || v.Live.Kind != string(policy.Measure) || v.Live.Knob != "" || *v.Advice.Next != string(policy.Measure) || v.Advice.Trustworthy {
		t.Errorf("%s, %s %s, next %s, trustworthy %v beside a question", v.Live.Phase, v.Live.Kind, v.Live.Knob, *v.Advice.Next, v.Advice.Trustworthy)
	}
}

// reread is a session that goes on from its state on disk, and says the same.
func reread(t *testing.T, g *Guide, o Options, shots map[string]drift.Shot) *Guide {
	t.Helper()
	var state State
	if err := json.Unmarshal([]byte(text(t, g.State())), &state); err != nil {
		t.Fatal(err)
	}
	again, err := Resume(o, state, func(name string) (drift.Shot, bool) { s, ok := shots[name]; return s, ok })
	if err != nil {
		t.Fatal(err)
	}
	if a, b := text(t, g.View()), text(t, again.View()); a != b {
		t.Fatalf("restarted\n%s\nbefore\n%s", b, a)
	}
	return again
}

// TestQuestionFirst: what speaks against place or clock is asked where an order would be given, pictures count meanwhile, and once it is
// answered all goes on by the very words of a session in which it was never in question: that of the same pictures with nothing said against
// them, or one of which it is known.
func TestQuestionFirst(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		at    float64 // latitude
		set   func(*simulate.Evening)
		says  func(drift.Shot) drift.Shot // what in the files speaks against place or clock
		known align.Raised                // else: what the sure session was told before
		about align.Kind
		ask   string
	}{
		{"place in the pictures", 46, func(*simulate.Evening) {}, placed(46, 20), "", align.KindSite, "as given or as the pictures say? ["},
		{"GPS time", 46, func(*simulate.Evening) {}, fixed(time.Hour), "", align.KindClock, "camera's time or GPS? [sky-001.jpg]"},
		{"many degrees off", 46, func(e *simulate.Evening) {
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromDeg(-8), unit.AngleFromDeg(12)
		}, nil, align.RaisedByFar, "", "axis seldom so far off ["},
		{"the sky", -33, func(e *simulate.Evening) { e.Handling.ClockError = -2 * time.Hour }, nil, align.RaisedBySky, "", "sky against place or clock]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, c.at, 3, c.set)
			guide, shots := New(g.options()), map[string]drift.Shot{}
			known := g.options()
			if c.known != "" {
				known.Answered = []Asked{{Issue: align.Issue{Raised: c.known, Site: g.e.Site}, Answered: true}}
			}
			sure := New(known)
			next := func() {
				t.Helper()
				s := g.shoot()
				sure.Add(context.Background(), s)
				if c.says != nil {
					s = c.says(s)
				}
				shots[s.File] = s
				guide.Add(context.Background(), s)
			}
			for i := 0; sure.View().Live.Phase != Turning; i++ {
				if i == len(swings) {
					t.Fatalf("no axis: %s", sure.View().Live.Instruction)
				}
				g.swing(swings[i])
				next()
				if sure.View().Live.Phase != Turning && guide.View().Live.Instruction != sure.View().Live.Instruction {
					t.Errorf("picture %d: %s\nsure: %s", i+1, guide.View().Live.Instruction, sure.View().Live.Instruction)
				}
			}
			for range 3 {
				used := usedIn(guide.base)
				put(t, guide.View(), 1, c.about, c.ask)
				guide = reread(t, guide, g.options(), shots)
				next()
				if n := usedIn(guide.base); n != used+1 {
					t.Errorf("%d pictures count after %d", n, used)
				}
			}
			if before := text(t, guide.View()); guide.Settle(0) || guide.Settle(2) || text(t, guide.View()) != before {
				t.Error("an answer to no question is taken")
			}
			for range 2 { // two hands may answer
				if !guide.Settle(1) {
					t.Error("the answer is not taken")
				}
			}
			guide = reread(t, guide, g.options(), shots)
			for n := 0; ; n++ {
				a, b := guide.View(), sure.View()
				if a.Live.Question != nil || a.Live.Phase != b.Live.Phase || a.Live.Instruction != b.Live.Instruction || text(t, a.Live.Level) != text(t, b.Live.Level) {
					t.Fatalf("picture %d: %s: %s\nsure: %s: %s", g.taken, a.Live.Phase, a.Live.Instruction, b.Live.Phase, b.Live.Instruction)
				}
				if c.about != "" && (len(a.Situations) == 0 || a.Situations[0].Kind != string(c.about)) {
					t.Errorf("picture %d: %s is not named: %v", g.taken, c.about, a.Situations)
				}
				if b.Live.Phase == Done {
					break
				}
				if n == 20 {
					t.Fatalf("not done: %s", b.Live.Instruction)
				}
				if o := sure.State().Order; b.Live.Phase == Turning && o.Kind != knobs.Wait {
					g.obey(sure, 0.95)
				}
				next()
			}
		})
	}
}

// TestAnotherQuestion: what was answered is not asked again for a picture more or a place a little aside; another contradiction is, and so is
// the same with another site.
func TestAnotherQuestion(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 3)
	guide, shots := New(g.options()), map[string]drift.Shot{}
	next := func(says ...func(drift.Shot) drift.Shot) View {
		s := g.shoot()
		for _, say := range says {
			s = say(s)
		}
		shots[s.File] = s
		guide.Add(context.Background(), s)
		return guide.View()
	}
	for _, deg := range swings {
		g.swing(deg)
		next(placed(46, 20))
	}
	put(t, guide.View(), 1, align.KindSite, "as given or as the pictures say? [")
	guide.Settle(1)
	for range 5 {
		if v := next(placed(46.1, 20.1)); v.Live.Question != nil || v.Live.Phase != Turning {
			t.Fatalf("%s: %s", v.Live.Phase, v.Live.Instruction)
		}
	}
	for range 6 {
		next(placed(46, 20), fixed(time.Hour))
	}
	put(t, guide.View(), 2, align.KindClock, "camera's time or GPS? [")
	if guide.Settle(2); guide.View().Live.Phase != Turning {
		t.Errorf("%s: %s", guide.View().Live.Phase, guide.View().Live.Instruction)
	}
	o := g.options()
	site, _ := ephem.NewSite(46, 30, 500)
	o.Answer.Site, o.Answered = &site, guide.State().Asked
	elsewhere := New(o)
	for _, f := range guide.State().Frames[:len(swings)] {
		elsewhere.Add(context.Background(), shots[f.File])
	}
	put(t, elsewhere.View(), 1, align.KindSite, "as given or as the pictures say? [")
}

// TestPutRight: a session restarted with the place put right orders at once by that, and asks nothing.
func TestPutRight(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 3)
	wrong := g.options()
	site, _ := ephem.NewSite(46, 20, 500)
	wrong.Answer.Site = &site
	guide, right, shots := New(wrong), New(g.options()), map[string]drift.Shot{}
	for _, deg := range swings {
		g.swing(deg)
		s := placed(46, 7)(g.shoot())
		shots[s.File] = s
		guide.Add(context.Background(), s)
		right.Add(context.Background(), s)
	}
	put(t, guide.View(), 1, align.KindSite, "as given or as the pictures say? [")
	again, err := Resume(g.options(), guide.State(), func(name string) (drift.Shot, bool) { s, ok := shots[name]; return s, ok })
	if err != nil {
		t.Fatal(err)
	}
	if a, b := again.View().Live, right.View().Live; a.Question != nil || a.Phase != Turning || a.Instruction != b.Instruction {
		t.Errorf("%s: %s\nwith the right place all the time %s: %s", a.Phase, a.Instruction, b.Phase, b.Instruction)
	}
}
