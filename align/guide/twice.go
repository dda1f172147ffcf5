package guide

import (
	"trueturn/drift"
	"trueturn/ephem/say"
)

// storedTwice deals with a shot of an exposure the session knows from another file; false where there is none, or where the
// shot is to be taken as any other.
//
// The better file counts. It takes the other's place while the pictures of a measurement gather; of a picture that has moved the bubbles the
// first file stays, for what was said since rests on it.
func (g *Guide) storedTwice(s drift.Shot) bool {
	old := g.twinOf(s)
	switch w := g.gathering(); {
	case old == nil:
		return false
	case g.odd != nil && old.File == g.odd.File && g.belongs(s): // the other form of this picture was the odd one
		g.unused(old.File, say.Text(drift.CopyOf(s.File)))
		return false
	case w != nil && w.holds(old.File) && drift.Better(s, *old, w.shots):
		w.drop(old.File)
		w.add(s, g.reference())
		g.unused(old.File, say.Text(drift.CopyOf(s.File)))
		g.stale = true
	default:
		g.unused(s.File, say.Text(drift.CopyOf(old.File)))
	}
	return true
}

// twinOf is the shot that holds the same exposure; nil where there is none.
func (g *Guide) twinOf(s drift.Shot) *drift.Shot {
	known := append(g.window.sequence().Shots, g.fresh.shots...)
	for _, one := range []*drift.Shot{g.last, g.odd} {
		if one != nil {
			known = append(known, *one)
		}
	}
	for _, x := range g.suspects {
		known = append(known, x.shot)
	}
	for i := range known {
		if usable(known[i]) && drift.SameExposure(s, known[i]) {
			return &known[i]
		}
	}
	return nil
}

// gathering is the window that pictures are put into now; nil while the knobs are being turned.
func (g *Guide) gathering() *window {
	switch {
	case g.s.Phase == Untouched && g.s.Knobs != nil:
		return &g.fresh
	case g.s.Phase == Turning && g.s.Knobs != nil && g.s.Knobs.Turns > 0:
		return nil
	}
	return &g.window
}
