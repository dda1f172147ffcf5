package guide

import (
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/drift"
	"trueturn/drift/solve"
)

// second is the same exposure in another file, whose writing added noise.
func (g *rig) second(s drift.Shot, ending string, addedPx float64) drift.Shot {
	g.t.Helper()
	s.File = strings.TrimSuffix(s.File, filepath.Ext(s.File)) + ending
	s.Field.Stars = slices.Clone(s.Field.Stars)
	for i := range s.Field.Stars {
		o := &s.Field.Stars[i]
		o.X, o.Y = o.X+addedPx*g.r.NormFloat64(), o.Y+addedPx*g.r.NormFloat64()
		o.XErr, o.YErr = math.Hypot(o.XErr, addedPx), math.Hypot(o.YErr, addedPx)
	}
	sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{Near: []solve.Pose{s.Solution.Pose}, NearWithin: 0.01})
	if err != nil {
		g.t.Fatal(err)
	}
	s.Solution = &sol
	return s
}

// much is the noise added to a file that is clearly the worse, little to one that may be either.
const much, little = 0.12, 0.02

// coarsely stamped shots are a second apart at least.
func coarse(s drift.Shot) drift.Shot {
	c := *s.Clock
	c.Step = time.Second
	s.Clock = &c
	return s
}

// usedFiles are the pictures that count, whyNot what is said of the others.
func usedFiles(v View) (used []string, whyNot map[string]string) {
	whyNot = map[string]string{}
	for _, f := range v.Frames {
		if f.Used {
			used = append(used, f.File)
		} else {
			whyNot[f.File] = f.WhyNot
		}
	}
	return used, whyNot
}

// TestStoredTwice: of two files of one exposure the better counts, whichever comes first, and the axis is no surer than by one.
func TestStoredTwice(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		betterFirst bool
		later       bool // all second files come after all first ones
	}{
		{"the worse comes second", true, false},
		{"the better comes second", false, false},
		{"the worse come afterwards", true, true},
		{"the better come afterwards", false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, 46, 3)
			single, guide := New(g.options()), New(g.options())
			var first, second, counting []drift.Shot
			for range 5 {
				better := coarse(g.shoot())
				worse := g.second(better, ".png", much)
				counting = append(counting, better)
				if !c.betterFirst {
					better, worse = worse, better
				}
				first, second = append(first, better), append(second, worse)
			}
			for i := range first {
				single.Add(context.Background(), counting[i])
				guide.Add(context.Background(), first[i])
				if !c.later {
					guide.Add(context.Background(), second[i])
				}
			}
			if c.later {
				for _, s := range second {
					guide.Add(context.Background(), s)
				}
			}
			v := guide.View()
			used, whyNot := usedFiles(v)
			for _, file := range used {
				if filepath.Ext(file) != ".jpg" {
					t.Errorf("%s counts", file)
				}
			}
			for file, text := range whyNot {
				if text != drift.CopyOf(strings.TrimSuffix(file, ".png")+".jpg") {
					t.Errorf("%s: %q", file, text)
				}
			}
			if len(used) != len(first) || len(whyNot) != len(first) {
				t.Errorf("%d count, %d do not", len(used), len(whyNot))
			}
			if a, b := single.View(), v; (a.Axis == nil) != (b.Axis == nil) || a.Axis != nil && *a.Axis != *b.Axis {
				t.Errorf("the axis is %+v; stored once %+v", b.Axis, a.Axis)
			}
			text, err := json.Marshal(guide.State())
			if err != nil {
				t.Fatal(err)
			}
			var state State
			if err := json.Unmarshal(text, &state); err != nil {
				t.Fatal(err)
			}
			again, err := Resume(g.options(), state, func(name string) (drift.Shot, bool) {
				i := slices.IndexFunc(counting, func(s drift.Shot) bool { return s.File == name })
				return counting[max(i, 0)], i >= 0
			})
			if err != nil {
				t.Fatal(err)
			}
			if list, _ := usedFiles(again.View()); !slices.Equal(list, used) {
				t.Errorf("resumed, %v count", list)
			}
		})
	}
}

// TestStoredTwiceWhileTurning: the second file of a picture that has moved the bubbles neither moves them again nor takes back what
// was asked, and the measurement after tightening counts each picture once.
func TestStoredTwiceWhileTurning(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 8)
	guide := g.measured()
	twice := func(addedPx float64) drift.Shot {
		s := coarse(g.shoot())
		guide.Add(context.Background(), s)
		before := guide.View()
		o := g.second(s, ".png", addedPx)
		guide.Add(context.Background(), o)
		if v := guide.View(); v.Live.Instruction != before.Live.Instruction || v.Live.Phase != before.Live.Phase {
			t.Errorf("%q, then %q", before.Live.Instruction, v.Live.Instruction)
		}
		return o
	}
	for range 6 {
		if guide.View().Live.Phase != Turning {
			break
		}
		g.obey(guide, 1)
		o := twice(little)
		if f := guide.View().Frames[guide.lineOf(o.File)]; f.Used || !strings.HasPrefix(f.WhyNot, "the same exposure as ") {
			t.Errorf("listed as %+v", f)
		}
	}
	if p := guide.View().Live.Phase; p != Untouched {
		t.Fatalf("%s after six turns", p)
	}
	fresh := len(guide.State().Fresh)
	twice(much)
	twice(little)
	if n := len(guide.State().Fresh) - fresh; n != 2 && guide.View().Live.Phase == Untouched {
		t.Errorf("two pictures stored twice count as %d after tightening", n)
	}
}

// TestOtherFormOfAnotherLens: a raw file of another size, the better, comes before or after each JPEG; one form makes up the measurement.
func TestOtherFormOfAnotherLens(t *testing.T) {
	t.Parallel()
	for _, rawFirst := range []bool{false, true} {
		g := newRig(t, 46, 4)
		guide := New(g.options())
		for range 4 {
			raw := coarse(g.shoot())
			small := g.half(raw)
			pair := []drift.Shot{small, raw}
			if rawFirst {
				slices.Reverse(pair)
			}
			for _, s := range pair {
				guide.Add(context.Background(), s)
			}
		}
		used, whyNot := usedFiles(guide.View())
		if len(used) != 4 || slices.ContainsFunc(used, func(f string) bool { return strings.Contains(f, "half") }) {
			t.Errorf("raw first %v: %v count; %v", rawFirst, used, whyNot)
		}
		for file, text := range whyNot {
			if !strings.HasPrefix(text, "the same exposure as ") {
				t.Errorf("raw first %v: %s: %q", rawFirst, file, text)
			}
		}
	}
}

// half is a JPEG of half the size, its stars measured half as well.
func (g *rig) half(s drift.Shot) drift.Shot {
	g.t.Helper()
	s.File = strings.TrimSuffix(s.File, ".jpg") + "-half.jpg"
	s.Width, s.Height = s.Width/2, s.Height/2
	s.Field.Width, s.Field.Height = s.Width, s.Height
	s.Field.Stars = slices.Clone(s.Field.Stars)
	for i := range s.Field.Stars {
		o := &s.Field.Stars[i]
		o.X, o.Y = (o.X-0.5)/2+0.05*g.r.NormFloat64(), (o.Y-0.5)/2+0.05*g.r.NormFloat64()
	}
	sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: s.Solution.Lens.FocalPx / 2})
	if err != nil {
		g.t.Fatal(err)
	}
	s.Solution = &sol
	return s
}
