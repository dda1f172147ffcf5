package guide

import (
	"slices"
	"time"

	"trueturn/align/answer"
	"trueturn/drift"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// list puts a picture's line among the others, in the order of time; those without a clock last.
func (g *Guide) list(f answer.FrameJSON) {
	at := len(g.s.Frames)
	mid, known := midOf(f)
	for at > 0 {
		before, ok := midOf(g.s.Frames[at-1])
		if ok && !(known && mid.Before(before)) || !ok && !known {
			break
		}
		at--
	}
	g.s.Frames = slices.Insert(g.s.Frames, at, f)
}

func midOf(f answer.FrameJSON) (time.Time, bool) {
	if f.MidUTC == nil {
		return time.Time{}, false
	}
	t, err := time.Parse(time.RFC3339Nano, *f.MidUTC)
	return t, err == nil
}

// lineOf is the place of a file's line; the newest are looked at first. −1: there is none.
func (g *Guide) lineOf(file string) int {
	for i := len(g.s.Frames) - 1; i >= 0; i-- {
		if g.s.Frames[i].File == file {
			return i
		}
	}
	return -1
}

// relist takes over what an answer says of its pictures.
func (g *Guide) relist(a answer.Finding) {
	for _, f := range a.Lines {
		if i := g.lineOf(f.File); i >= 0 {
			f.Stars = g.s.Frames[i].Stars // a shot read back from disk may keep fewer
			f.WhyNot = g.withHint(f.WhyNot, g.amissWith(f.File))
			g.s.Frames[i] = f
		}
	}
}

// amissWith is what was amiss with a picture of the present measurement itself; nil: nothing.
func (g *Guide) amissWith(file string) error {
	for _, w := range []window{g.window, g.fresh} {
		if i := slices.IndexFunc(w.shots, func(s drift.Shot) bool { return s.File == file }); i >= 0 {
			return w.shots[i].Err
		}
	}
	return nil
}

// unused marks a picture's line, whose own cause, if it has one, comes first.
func (g *Guide) unused(file string, why say.Line) {
	if i := g.lineOf(file); i >= 0 {
		g.s.Frames[i].Used, g.s.Frames[i].WhyNot = false, g.o.Answer.Voice.Say(why)
	}
}

// taken marks a picture's line as one that moved the bubbles.
func (g *Guide) taken(file string) {
	if i := g.lineOf(file); i >= 0 {
		g.s.Frames[i].Used, g.s.Frames[i].WhyNot = true, ""
	}
}

// retried is whether nothing could be made of a file before, so that it is worth another look; its line is
// taken out.
func (g *Guide) retried(file string) bool {
	i := g.lineOf(file)
	if i < 0 || g.s.Frames[i].RADeg != nil {
		return false
	}
	g.s.Frames = slices.Delete(slices.Clone(g.s.Frames), i, i+1)
	g.window.drop(file)
	g.fresh.drop(file)
	return true
}

// used counts the pictures the present measurement rests on.
func (g *Guide) used() int { return usedIn(g.base) }

func usedIn(a answer.Finding) (n int) {
	for _, f := range a.Lines {
		if f.Used {
			n++
		}
	}
	return n
}

// withHint adds the way out to why a picture was not used: a page's list is all its sender sees of it.
func (g *Guide) withHint(why string, err error) string {
	if ways := g.o.Answer.Voice.List(amiss.Ways(err)); why != "" && ways != "" {
		return why + "; " + ways
	}
	return why
}
