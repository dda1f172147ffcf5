package guide

import (
	"math"
	"slices"

	"trueturn/align/knobs"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// # A motor that stops midway
//
// While knobs are turned the angle about the axis is free: a hand may be on the clutch. A motor that stands, or runs
// backward, looks like a hand that turns the clutch back by the same share of the clock's angle before
// every picture; with a longer lens it draws stars out as a touch does. Neither does so three times running.
const (
	mostSuspects = 3
	// lagLeast is the share of the sky's turn the camera falls behind by that is no gear's wobble; lagSpread how
	// far the shares of one motor's fault may differ, the gear's wobble and the noise of short steps included.
	lagLeast  = 0.3
	lagSpread = 0.3
)

// Suspect is a picture that fell behind.
type Suspect struct {
	File  string  `json:"file"`
	Drawn bool    `json:"drawn"` // its stars are drawn out, and the knobs were not asked
	Lag   float64 `json:"lag"`   // else: the share of the sky's turn it fell behind by
	shot  drift.Shot
}

// suspected counts the pictures that fall behind the stars; true where it was the third running, and measuring has
// begun again with these three.
func (g *Guide) suspected(s drift.Shot, before knobs.State, i knobs.Instruction, trailed bool) bool {
	x := Suspect{File: s.File, Drawn: trailed, shot: s}
	if i.Used && !trailed {
		x.Lag = -i.Swung.Rad() / (ephem.SiderealRadPerS * s.Clock.Mid().Sub(before.Now.Mid).Seconds())
	}
	if !trailed && x.Lag < lagLeast {
		g.suspects = nil
		return false
	}
	g.suspects = append(slices.Clone(g.suspects), x)
	if len(g.suspects) < mostSuspects || !alike(g.suspects) {
		g.suspects = g.suspects[max(0, len(g.suspects)-mostSuspects+1):]
		return false
	}
	var shots []drift.Shot
	for _, x := range g.suspects {
		shots = append(shots, x.shot)
	}
	g.restart(say.Of("three running fell behind"), shots...)
	return true
}

// alike is whether some pictures fell behind by one share.
func alike(all []Suspect) bool {
	least, most := math.Inf(1), math.Inf(-1)
	for _, x := range all {
		if !x.Drawn {
			least, most = min(least, x.Lag), max(most, x.Lag)
		}
	}
	return !(most-least > lagSpread)
}
