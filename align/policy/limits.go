// Package policy says what next: from an axis as it was found and what is wanted of it, the one thing to do now, and how each knob stands.
//
// Start at [Advise], the first step, which `align` shows; [Next] and [Effort] go on from it, picture by picture. All of it is pure: a
// [State] and a [Case] in, a State and an order out. One comparison, [Standing], decides the step, both knobs and the marks of the level; one
// table, in this file, has the limits it goes by. No sentence is made here: orders are lines of package say.
package policy

import (
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem"
)

// What a correction must be to be made.
const (
	// Sureness is how many standard errors it must be (design §4).
	Sureness = 2
	// UsualPlay is the least a knob is good for.
	UsualPlay = align.KnobPlay
	// Steadiness: the knob begun is finished unless the other's error is larger by half; each change costs a hand its way.
	Steadiness = 1.5
	// Slack: a mount that was good enough is left alone until it is worse by half; else the noise of one picture would undo a tightened clamp.
	Slack = 1.5
	// Worthwhile is the share by which an exposure must grow to be worth a word: less than a tenth nobody sees in the sum.
	Worthwhile = 1.1
)

// Angles.
const (
	// FineLimit: below this a turn gains less than it costs whatever the lens. Over two hours a quarter of a degree moves the picture by 8′ and
	// turns it by 0.15°, which stacking absorbs; knobs of small mounts have more play than a tenth of it.
	FineLimit = 15 * ephem.Arcmin
	// coarsely is how far off an axis is aimed anew by hand rather than followed through the knobs: their thread ends before (common practice,
	// no source).
	coarsely = 15 * ephem.Degree
	// manyDegrees: the head or a leg is moved first (common practice, no source).
	manyDegrees = 5 * ephem.Degree
)

// How many pictures.
const (
	// LeastPictures of a measurement that a hand acts on: two always fit some axis, the third shows whether anything gave way.
	LeastPictures = 3
	// SurePictures are enough to tell what gives way from an axis far off.
	SurePictures = 6
	// PlannedPictures is how many somebody takes who is told nothing: ten in three minutes (design §7).
	PlannedPictures = 10
	// mostPictures more are asked for before a swing is advised instead: four minutes of standing there.
	mostPictures = 12
	// UsualPace: ten pictures in three minutes (design §7).
	UsualPace = 20 * time.Second
	// clearly is the share of the axis error its standard error may be for a turn by it: a hand is no better than a tenth.
	clearly = 1.0 / 8
	// TrackingPower: the error of an axis measured by tracking falls with the number of pictures as n^−3/2, for the span grows with it.
	TrackingPower = 1.5
	// handTime is how long a hand is at a knob and the clamps (common practice, no source).
	handTime = time.Minute
)

// Settled is the axis error not worth a turn where the planned exposure stays round.
func Settled(stands unit.Angle) unit.Angle { return max(UsualPlay, min(FineLimit, stands)) }
