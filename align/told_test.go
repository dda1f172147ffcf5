package align_test

import (
	"fmt"
	"testing"
	"time"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// started is when the first of the pictures was taken.
var started = time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)

// told are four pictures, twenty seconds apart, of which the same is told; a fix that stands grows older.
func told(d frame.Told, stands bool) (q drift.Sequence) {
	for i := range 4 {
		after := time.Duration(i) * 20 * time.Second
		x := d
		if stands {
			x.Ahead += after
		}
		c := frame.Clock{Start: started.Add(after), Told: x}
		q.Shots = append(q.Shots, drift.Shot{File: fmt.Sprintf("sky-%03d.jpg", i+1), Clock: &c})
	}
	return q
}

// What the files say against the times of pictures, and what they do not.
func TestClockDoubts(t *testing.T) {
	const hour, minute = time.Hour, time.Minute
	none, whole, used := say.Line{}, say.Of("as a wrong zone"), say.Of("camera's time used")
	which := func(later time.Duration) say.Line {
		return say.Of("camera's time or GPS?", "sky-001.jpg", started, started.Add(later))
	}
	file := func(d frame.Told) frame.Told { d.Zone, d.Offset = frame.ZoneInFile, hour; return d }
	for _, row := range []struct {
		name   string
		told   frame.Told
		stands bool
		later  time.Duration // of the other time
		says   []say.Line    // none: nothing is said
		ways   string
		asks   say.Line // none: nothing is asked
		slight bool
	}{
		{"nothing more", file(frame.Told{}), false, 0, nil, "", none, false},
		{"GPS time agrees", file(frame.Told{HasFix: true, Ahead: 100 * time.Second}), false, 0, nil, "", none, false},
		{"an old fix", file(frame.Told{HasFix: true, Ahead: 37 * minute}), true, 0, nil, "", none, false},
		{"a fix an hour old", file(frame.Told{HasFix: true, Ahead: hour}), true, 0, nil, "", none, false},
		{"an hour ahead of GPS times that go along", file(frame.Told{HasFix: true, Ahead: hour + 3*time.Second}), false, -hour,
			[]say.Line{say.Of("ahead of GPS", say.Span(hour)), whole, used}, "if GPS is right, clock offset -3600", which(-hour), false},
		{"an hour behind a fix, which cannot be old", file(frame.Told{HasFix: true, Ahead: -hour}), true, hour,
			[]say.Line{say.Of("behind GPS", say.Span(-hour)), whole, used}, "if GPS is right, clock offset 3600", which(hour), false},
		{"five and a half hours", file(frame.Told{HasFix: true, Ahead: -330 * minute}), false, 330 * minute,
			[]say.Line{say.Of("behind GPS", say.Span(-330*minute)), whole, used}, "if GPS is right, clock offset 19800", which(330 * minute), false},
		{"six minutes", file(frame.Told{HasFix: true, Ahead: 6*minute + 3*time.Second}), false, -6*minute - 3*time.Second,
			[]say.Line{say.Of("ahead of GPS", say.Span(6*minute+3*time.Second)), used}, "if GPS is right, clock offset -363", which(-6*minute - 3*time.Second), true},
		{"37 minutes", file(frame.Told{HasFix: true, Ahead: 37 * minute}), false, -37 * minute,
			[]say.Line{say.Of("ahead of GPS", say.Span(37*minute)), used}, "if GPS is right, clock offset -2220", which(-37 * minute), false},
		{"another zone given", file(frame.Told{Against: true, Given: 2 * hour}), false, -hour,
			[]say.Line{say.Of("zone in the pictures", say.Offset(2*hour), say.Offset(hour))}, "if the zone given is right, clock offset -3600",
			say.Of("pictures' zone or the one given?", say.Offset(hour), say.Offset(2*hour)), false},
		{"another zone given, and GPS time against it", file(frame.Told{Against: true, Given: 2 * hour, HasFix: true, Ahead: time.Second}), false, -hour,
			[]say.Line{say.Of("zone in the pictures and by GPS", say.Offset(2*hour), say.Offset(hour))}, "", none, false},
		{"another zone than GPS time gives", frame.Told{Zone: frame.ZoneFromGPS, Offset: hour, Against: true, Given: 2 * hour, HasFix: true}, false, -hour,
			[]say.Line{say.Of("zone by GPS", say.Offset(2*hour), say.Offset(hour))}, "", none, false},
		{"another zone than an old fix gives", frame.Told{Zone: frame.ZoneFromGPS, Offset: hour, Against: true, Given: 0, HasFix: true, Ahead: 5 * minute}, true, hour,
			[]say.Line{say.Of("zone by GPS", say.Offset(0), say.Offset(hour))}, "if the zone given is right, clock offset 3600",
			say.Of("pictures' zone or the one given?", say.Offset(hour), say.Offset(0)), false},
		{"clocks changed that night", frame.Told{Zone: frame.ZoneAsGiven, Offset: 2 * hour, Changed: true, Other: hour}, false, hour,
			[]say.Line{say.Of("clocks changed", say.Offset(2*hour))}, "if nobody had set it so, other zone +01:00",
			say.Of("before or after the change?", say.Offset(2*hour), say.Offset(hour)), false},
		{"clocks changed, and GPS time agrees", frame.Told{Zone: frame.ZoneAsGiven, Offset: 2 * hour, Changed: true, Other: hour, HasFix: true, Ahead: time.Second}, false, 0, nil, "", none, false},
		{"a table", frame.Told{Zone: frame.ZoneTable}, false, 0, nil, "", none, false},
		{"a session of an earlier version", frame.Told{}, false, 0, nil, "", none, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			var d align.Doubt
			all := align.ClockDoubts(told(row.told, row.stands))
			for _, d = range all {
			}
			if (len(all) > 0) != (row.says != nil) || len(all) > 1 {
				t.Fatalf("%d doubts, %v; want %v", len(all), d.Says, row.says)
			}
			if d.Other.Later != row.later || d.Slight != row.slight {
				t.Errorf("%v later, slight %v; want %v, %v", d.Other.Later, d.Slight, row.later, row.slight)
			}
			checkDoubt(t, d, say.All(row.says...), row.ways, row.asks)
		})
	}
}

// checkDoubt holds what a doubt says, the ways out, and what it asks.
func checkDoubt(t *testing.T, d align.Doubt, says say.Line, ways string, asks say.Line) {
	t.Helper()
	if !d.Says.Same(says) {
		t.Errorf("says %v, want %v", d.Says, says)
	}
	if got := amiss.Voice(nil).List(d.Ways); got != ways {
		t.Errorf("the way out is %q, want %q", got, ways)
	}
	if !d.Other.Ask.Same(asks) || d.Other.If.None() != asks.None() {
		t.Errorf("asks %v, if %v; want %v", d.Other.Ask, d.Other.If, asks)
	}
}

// A clock that was set: which is kept, and when to ask.
func TestClockSetDoubt(t *testing.T) {
	after := []string{"sky-003.jpg", "sky-004.jpg"}
	const hour, odd = time.Hour, 2500 * time.Second
	earlier, later := say.Of("earlier clock"), say.Of("later clock")
	back, forward := say.Of("back by", say.Span(-hour)), say.Of("forward by", say.Span(hour))
	about := say.Of("back by", say.Of("about", say.Span(-42*time.Minute)))
	asked := func(by say.Line) say.Line { return say.Of("earlier or later clock?", by, "sky-003.jpg") }
	for _, row := range []struct {
		name  string
		set   drift.ClockSet
		later time.Duration
		says  []say.Line
		ways  string
		asks  say.Line
	}{
		{"brought to the earlier", drift.ClockSet{After: after, By: -hour, Mended: true, Moved: after}, -hour,
			[]say.Line{say.Of("clock set back", back, "sky-003.jpg"), say.Of("all by one clock", earlier), say.Of("added to the times", say.Span(-hour), say.Files(after))}, "", asked(back)},
		{"brought to the later, by GPS times", drift.ClockSet{After: after, By: -hour, Mended: true, Moved: []string{"sky-001.jpg"}, Later: true, Confirmed: true}, hour,
			[]say.Line{say.Of("clock set back", back, "sky-003.jpg"), say.Of("all by one clock", later), say.Of("taken off the times", say.Span(-hour), say.Files{"sky-001.jpg"}),
				say.Of("GPS agrees with", later)}, "", say.Line{}},
		{"the later alone", drift.ClockSet{After: after, By: -odd, Later: true}, odd,
			[]say.Line{say.Of("clock set back", about, "sky-003.jpg"), say.Of("some by one clock", later)}, "to use all of them, times anew", asked(about)},
		{"forward, brought to the earlier", drift.ClockSet{After: after, By: hour, Mended: true, Moved: after}, hour,
			[]say.Line{say.Of("clock set forward", forward, "sky-003.jpg"), say.Of("all by one clock", earlier), say.Of("taken off the times", say.Span(hour), say.Files(after))}, "", asked(forward)},
		{"the earlier alone", drift.ClockSet{After: after, By: -odd}, -odd,
			[]say.Line{say.Of("clock set back", about, "sky-003.jpg"), say.Of("some by one clock", earlier)}, "to use all of them, times anew", asked(about)},
	} {
		t.Run(row.name, func(t *testing.T) {
			q := told(frame.Told{}, false)
			q.ClockSet = &row.set
			d := align.ClockDoubts(q)[0]
			if d.Kind != align.KindClock || d.Other.Later != row.later || d.Files[0] != "sky-003.jpg" {
				t.Errorf("%v from %v; want %v", d.Other.Later, d.Files, row.later)
			}
			checkDoubt(t, d, say.All(row.says...), row.ways, row.asks)
		})
	}
}
