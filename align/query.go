package align

import (
	"cmp"
	"slices"
	"time"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Query is a question of place or clock whose other answer would make other turns.
type Query struct {
	Ask   say.Line // none: nothing is asked
	If    say.Line // the condition under which what was reckoned with holds
	Issue Issue
}

// Issue is what a query is about, in values: by them, and not by its sentence, it is known again with the next picture. Its JSON is for
// sessions on disk.
type Issue struct {
	Raised Raised        `json:"raised"`
	Kind   Kind          `json:"kind"`     // KindSite or KindClock; empty: both are in question
	Site   ephem.Site    `json:"site"`     // reckoned with
	Other  *ephem.Site   `json:"other"`    // nil: the same
	Later  time.Duration `json:"later_ns"` // the other time, than reckoned
}

// Raised is what raises an issue.
type Raised string

// What may raise one.
const (
	RaisedByFiles Raised = "files" // they contradict each other, or the flags
	RaisedBySky   Raised = "sky"   // it speaks against place or clock
	RaisedByFar   Raised = "far"   // the axis is many degrees off
)

// AnsweredBy is whether one who said of another issue that what was reckoned with is right need not be asked this one: it is the same
// one, or nothing but how far off the axis is where both place and clock are known to be right.
func (i Issue) AnsweredBy(o Issue) bool {
	if apartKM(i.Site, o.Site) > farKM {
		return false
	}
	if i.Raised == RaisedByFar && o.Kind == "" {
		return true
	}
	return i.Raised == o.Raised && i.Kind == o.Kind && sameOther(i, o) && (i.Later-o.Later).Abs() <= gpsLeast
}

// sameOther is whether the places not reckoned with are one.
func sameOther(a, b Issue) bool {
	if a.Other == nil || b.Other == nil {
		return a.Other == b.Other
	}
	return apartKM(*a.Other, *b.Other) <= farKM
}

// Queries are the questions to be put before a turn by an axis found for a site, the first one first: those of the doubts, the one that
// would change the turns most in front, then what the sky says where it speaks against place or clock, else how far off the axis is.
func Queries(doubts []Doubt, sky bool, site ephem.Site, a Axis, d Deviation) (all []Query) {
	asking := slices.DeleteFunc(slices.Clone(doubts), func(x Doubt) bool { return !x.asks(a) })
	slices.SortStableFunc(asking, func(x, y Doubt) int { return cmp.Compare(y.Moved.By, x.Moved.By) })
	for _, x := range asking {
		all = append(all, Query{x.Other.Ask, x.Other.If, Issue{RaisedByFiles, x.Kind, site, x.Other.Site, x.Other.Later}})
	}
	switch {
	case sky && matters(a, d):
		all = append(all, Query{say.Of("sky against place or clock"), say.Of("if so"), Issue{Raised: RaisedBySky, Site: site}})
	case !sky && d.Total > farOff:
		all = append(all, Query{say.Of("axis seldom so far off", d.Total), say.Of("if so"), Issue{Raised: RaisedByFar, Site: site}})
	}
	return all
}

// farOff: an axis set up by eye or compass is seldom farther off (common practice, no source); such an error is a
// question about place and clock before it is an order.
const farOff = 10 * ephem.Degree

// matters is whether some clock could send the turn far astray: not where the axis is near the pole.
func matters(a Axis, d Deviation) bool {
	return d.Total >= 2*askLeast && d.Total >= a.WorstSigma().Mul(askSigmas)
}
