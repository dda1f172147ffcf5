package align

import (
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// Kind names a trouble.
type Kind string

// The kinds (design §6).
const (
	KindSite            Kind = "site"   // place given and place in the pictures differ, or the axis lies where no site would have it
	KindClock           Kind = "clock"  // zone, offset or a clock that was set
	KindTurned          Kind = "turned" // the axis was turned between pictures
	KindNotTurning      Kind = "not turning"
	KindWrongHemisphere Kind = "wrong hemisphere"
	KindWrongRate       Kind = "wrong rate"
	KindPlay            Kind = "taking up play"
	KindKnock           Kind = "knock"
	KindReAimed         Kind = "re-aimed"
	KindSlipping        Kind = "slipping clamp"
	KindFlexure         Kind = "flexure"
	KindFocus           Kind = "focus"
	KindCloud           Kind = "cloud"
	KindOtherField      Kind = "other field"
	KindDaylight        Kind = "daylight"
	KindStacked         Kind = "stacked in phone"
	KindTooShort        Kind = "too short"
	KindWeakDirection   Kind = "weak direction"
	KindLowAltitude     Kind = "low altitude"
)

// Realm is where a trouble lies.
type Realm uint8

// The realms.
const (
	OfNothing Realm = iota // no such kind
	OfPlace
	OfClock
	OfMount   // its motor, clamps and holder, and what a hand does to them
	OfCamera  // what it looks at and how it draws
	OfSky     // what stands before the stars
	OfMeasure // nothing is amiss, but more pictures are wanted
)

// nature is what a kind means for all else.
type nature struct {
	kind     Kind
	of       Realm
	stops    stopping
	unsteady bool // the axis, however small its stated error, is not what the mount will do next
	twists   bool // the turn about the axis is not the motor's alone: it tells no rate
}

// stopping is when a kind stops the work: nothing else is worth doing before it is put right.
type stopping uint8

const (
	goesOn      stopping = iota
	stopsNoAxis          // where it leaves no axis
	stopsAll             // however well the axis is known
)

// natures has every kind, in their order.
var natures = [...]nature{
	{KindSite, OfPlace, goesOn, false, false},
	{KindClock, OfClock, goesOn, false, false},
	{KindTurned, OfMount, goesOn, false, false},
	{KindNotTurning, OfMount, stopsAll, false, false}, // with swings the axis is found all the same, and no star stays round
	{KindWrongHemisphere, OfMount, stopsAll, true, false},
	{KindWrongRate, OfMount, stopsAll, false, false},
	{KindPlay, OfMount, goesOn, false, false},
	{KindKnock, OfMount, goesOn, false, false},
	{KindReAimed, OfCamera, goesOn, false, false},
	{KindSlipping, OfMount, stopsAll, true, true},
	{KindFlexure, OfMount, goesOn, false, true},
	{KindFocus, OfCamera, goesOn, false, false},
	{KindCloud, OfSky, goesOn, false, false},
	{KindOtherField, OfCamera, goesOn, false, false},
	{KindDaylight, OfSky, stopsNoAxis, false, false},
	{KindStacked, OfCamera, stopsAll, true, true},
	{KindTooShort, OfMeasure, goesOn, false, false},
	{KindWeakDirection, OfMeasure, goesOn, false, false},
	{KindLowAltitude, OfSky, goesOn, false, false},
}

func (k Kind) nature() nature {
	if i := slices.IndexFunc(natures[:], func(n nature) bool { return n.kind == k }); i >= 0 {
		return natures[i]
	}
	return nature{kind: k}
}

// Of is where the trouble lies; OfNothing of what is no kind.
func (k Kind) Of() Realm { return k.nature().of }

// Stops is whether nothing else is worth doing before it is put right, where an axis was found and where none was.
func (k Kind) Stops(axis bool) bool {
	n := k.nature()
	return n.stops == stopsAll || n.stops == stopsNoAxis && !axis
}

// Unsteady is whether an axis, however small its stated error, is not what the mount will do next.
func (k Kind) Unsteady() bool { return k.nature().unsteady }

// Twists is whether the turn about the axis is not the motor's alone, or not what the camera saw: it tells no rate.
func (k Kind) Twists() bool { return k.nature().twists }

// Unit is what a size is counted in.
type Unit string

// The units.
const (
	Radians      Unit = "rad"
	Seconds      Unit = "s"
	Pixels       Unit = "px"
	Shares       Unit = "share"          // of one
	SiderealRate Unit = "sidereal ratio" // of the sidereal rate
)

// Size is how large a trouble is, as its text tells; the zero Size where there is nothing to measure.
type Size struct {
	Value float64 // in Unit
	Sigma float64 // its standard error; 0: not known
	Unit  Unit
}

func angle(a, sigma unit.Angle) Size { return Size{a.Rad(), sigma.Rad(), Radians} }

// Act is what puts a kind right that stops the work, at a glance; none of others.
func (k Kind) Act() say.Line {
	switch k {
	case KindNotTurning:
		return say.Of("act: switch on")
	case KindWrongHemisphere:
		return say.Of("act: hemisphere")
	case KindWrongRate:
		return say.Of("act: star rate")
	case KindSlipping:
		return say.Of("act: tighten")
	case KindStacked:
		return say.Of("act: no stacking")
	case KindDaylight:
		return say.Of("act: wait for the dark")
	}
	return say.Line{}
}
