// Package say is what is to be told, in values: which sentence, and the quantities in it. Start at [Of].
//
// The packages below the command make no sentences. They say which one is meant by a [Key] and hand over what stands in it,
// each quantity with its own type; the face that shows it has the sentences (cmd/words), one form for each quantity, and may
// say the same thing otherwise to others. Nobody decides by a sentence: decisions are made from the values it was made of.
package say

import (
	"math"
	"reflect"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/amiss"
)

// Key names a sentence, or a part of one.
type Key string

// Line is a sentence in values. The zero Line says nothing. It survives JSON.
type Line struct {
	Key  Key
	With []any // what stands in it, in order: the types below, Lines, numbers and texts from elsewhere
}

// Of is a line. A package's test (cmd/words) reads every call: each key that stands here as a literal has a sentence with as
// many gaps as there are quantities.
func Of(k Key, with ...any) Line { return Line{k, with} }

// Text is a line that is a text already: a name, an error's cause, what an earlier version wrote.
func Text(s string) Line {
	if s == "" {
		return Line{}
	}
	return Of(verbatim, s)
}

// verbatim is the key of what is shown as it is.
const verbatim Key = "as it is"

// Same is whether two lines tell the same with the same quantities.
func (l Line) Same(o Line) bool { return reflect.DeepEqual(l, o) }

// None is whether there is nothing to tell.
func (l Line) None() bool { return l.Key == "" }

// The quantities, besides unit.Angle (an angle without its sign), time.Duration (a length of exposure), time.Time (the time of day, in UTC), int, string
// (from elsewhere, as a file's name), []string (such, listed), Line and []Line (one after another).
type (
	// Off is an angle and its standard error.
	Off struct{ Value, Sigma unit.Angle }
	// Moons is an angle in widths of the Moon.
	Moons unit.Angle
	// Times is how often.
	Times int
	// Pictures is how many.
	Pictures int
	// Share is a part of one.
	Share float64
	// Arcsec is an angle always told in seconds of arc, as what gears do is, with its standard error; 0 where none is known.
	Arcsec struct{ Value, Sigma unit.Angle }
	// Period is that of a gear in seconds, with its standard error; 0 where none is known.
	Period struct{ Seconds, Sigma float64 }
	// Rate is an angle a second.
	Rate unit.Angle
	// Ratio is a number of the order of one, to be told to the last figure its error allows.
	Ratio struct{ Value, Sigma float64 }
	// Pixels is a length in the picture.
	Pixels float64
	// Millimetres is a length at the mount.
	Millimetres float64
	// Kilometres is a distance on the ground.
	Kilometres float64
	// Degrees is an angle always told in degrees.
	Degrees unit.Angle
	// Wind is an azimuth, told as the nearest of eight winds.
	Wind unit.Angle
	// Offset is a zone's from UTC.
	Offset time.Duration
	// Hours is a difference between clocks with its standard error, told in hours.
	Hours struct{ Value, Sigma time.Duration }
	// Tenths is a number told to a tenth.
	Tenths float64
	// Hundredths is a number told to a hundredth.
	Hundredths float64
	// Number is a bare one, told to two figures.
	Number float64
	// Place is on the Earth, degrees north and east.
	Place struct{ LatitudeDeg, LongitudeDeg float64 }
	// Wait is a length of time to be spent, told in whole minutes, rounded up.
	Wait time.Duration
	// Span is a difference between clocks, or a time that went by, told to the second.
	Span time.Duration
	// Longest is a length of exposure up to which stars stay round; of an hour and more nobody says how much more.
	Longest time.Duration
	// Sentence is a text from elsewhere as a sentence: its first letter large, a full stop behind.
	Sentence string
	// Clause is a line within another one: its first letter is small.
	Clause Line
	// Files are names of pictures: the first of them, and how many more there are.
	Files []string
)

// Seconds is a length of so many seconds.
func Seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// LongestOf is a longest exposure of so many seconds.
func LongestOf(s float64) Longest { return Longest(Seconds(s)) }

// Voice is how things are told to those who are meant. The zero Voice is for tests: it names keys and values as they are.
type Voice struct {
	amiss.Voice                   // ways out
	Line        func(Line) string // sentences
}

// Say is a line in words; "" for none.
func (v Voice) Say(l Line) string {
	switch {
	case l.None():
		return ""
	case v.Line != nil:
		return v.Line(l)
	}
	return l.String()
}

// All is one line after another; those that say nothing are left out.
func All(lines ...Line) Line {
	var told []Line
	for _, l := range lines {
		if !l.None() {
			told = append(told, l)
		}
	}
	switch len(told) {
	case 0:
		return Line{}
	case 1:
		return told[0]
	}
	return Of(inSequence, told)
}

// inSequence is the key of several lines.
const inSequence Key = "one after another"
