package guide

import (
	"errors"
	"slices"

	"trueturn/align/knobs"
	"trueturn/drift"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Missed is a picture that cannot be used, by what is amiss with it alone.
type Missed struct {
	File  string        `json:"file"`
	Says  say.Line      `json:"says"`
	Wants []amiss.Thing `json:"wants"` // what would make it one that can
}

// miss notes whether the newest picture can be used.
func (g *Guide) miss(s drift.Shot) {
	g.s.Missed = nil
	why := s.Err
	if why == nil && s.Clock == nil {
		why = s.ClockErr
	}
	if why != nil && s.LeftOut == "" {
		g.s.Missed = &Missed{File: s.File, Says: say.Of("not used, as", say.Files{s.File}, g.sentence(why)), Wants: wanted(why)}
	}
}

// wanted are the things an error wants given.
func wanted(err error) (list []amiss.Thing) {
	for _, w := range amiss.Ways(err) {
		if w.Thing != "" {
			list = append(list, w.Thing)
		}
	}
	return list
}

// toldMissed puts a picture that cannot be used in the place of the order, unless the order is about it already: the person
// beside the tripod has just sent it, and waits for what it showed.
func (g *Guide) toldMissed(s told) told {
	m := g.s.Missed
	switch {
	case m == nil && slices.Contains(g.wants(g.shown().Err), amiss.Site):
		s.act = say.Of("act: give the place")
		return s
	case m == nil || s.kind == string(knobs.Wait):
		return s
	}
	s.act = say.Of("act: not used")
	if g.used() == 0 {
		s.says = m.Says
		return s
	}
	s.says = say.All(m.Says, s.says)
	return s
}

// wants are the things that would let the session go on: for its newest picture, and for all of them.
func (g *Guide) wants(err error) []amiss.Thing {
	list := []amiss.Thing{}
	if g.s.Missed != nil {
		list = append(list, g.s.Missed.Wants...)
	}
	var e *amiss.Error
	if errors.As(err, &e) && len(list) == 0 {
		list = append(list, wanted(err)...)
	}
	return list
}
