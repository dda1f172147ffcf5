package align_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// told are four pictures, twenty seconds apart, of which the same is told; a fix that stands grows older.
func told(d frame.Told, stands bool) (q drift.Sequence) {
	for i := range 4 {
		after := time.Duration(i) * 20 * time.Second
		x := d
		if stands {
			x.Ahead += after
		}
		c := frame.Clock{Start: time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC).Add(after), Told: x}
		q.Shots = append(q.Shots, drift.Shot{File: fmt.Sprintf("sky-%03d.jpg", i+1), Clock: &c})
	}
	return q
}

// What the files say against the times of pictures, and what they do not.
func TestClockDoubts(t *testing.T) {
	const hour, minute = time.Hour, time.Minute
	file := func(d frame.Told) frame.Told { d.Zone, d.Offset = frame.ZoneInFile, hour; return d }
	for _, row := range []struct {
		name   string
		told   frame.Told
		stands bool
		later  time.Duration // of the other time
		says   string        // empty: nothing is said
		asks   string        // empty: nothing is asked
		slight bool
	}{
		{"nothing more", file(frame.Told{}), false, 0, "", "", false},
		{"GPS time agrees", file(frame.Told{HasFix: true, Ahead: 100 * time.Second}), false, 0, "", "", false},
		{"an old fix", file(frame.Told{HasFix: true, Ahead: 37 * minute}), true, 0, "", "", false},
		{"a fix an hour old", file(frame.Told{HasFix: true, Ahead: hour}), true, 0, "", "", false},
		{"an hour ahead of GPS times that go along", file(frame.Told{HasFix: true, Ahead: hour + 3*time.Second}), false, -hour,
			"The time of the pictures is 1 h ahead of the GPS time in them, as with a wrong zone or summer time set in the camera. Their own time is used, for GPS times may be old or not of UTC. If GPS is right, clock offset -3600.",
			"Which time is right for sky-001.jpg: 21:00 UTC, as the camera's clock has it, or 20:00 UTC, as GPS has it?", false},
		{"an hour behind a fix, which cannot be old", file(frame.Told{HasFix: true, Ahead: -hour}), true, hour, "1 h behind the GPS time", "or 22:00 UTC", false},
		{"five and a half hours", file(frame.Told{HasFix: true, Ahead: -330 * minute}), false, 330 * minute, "5 h 30 min behind", "or 02:30 UTC", false},
		{"six minutes", file(frame.Told{HasFix: true, Ahead: 6*minute + 3*time.Second}), false, -6*minute - 3*time.Second, "6 min 3 s ahead of the GPS time in them. Their own time is used", "or 20:53 UTC", true},
		{"37 minutes", file(frame.Told{HasFix: true, Ahead: 37 * minute}), false, -37 * minute, "37 min ahead of the GPS time in them. Their own", "or 20:23 UTC", false},
		{"another zone given", file(frame.Told{Against: true, Given: 2 * hour}), false, -hour,
			"The zone given, UTC+02:00, is not that of the pictures: they state UTC+01:00, which is used, for the camera wrote it with each time. If the zone given is right, clock offset -3600.",
			"Was the camera's clock at UTC+01:00, as its pictures say, or at UTC+02:00, as given?", false},
		{"another zone given, and GPS time against it", file(frame.Told{Against: true, Given: 2 * hour, HasFix: true, Ahead: time.Second}), false, -hour, "and GPS time confirms it.", "", false},
		{"another zone than GPS time gives", frame.Told{Zone: frame.ZoneFromGPS, Offset: hour, Against: true, Given: 2 * hour, HasFix: true}, false, -hour, "by GPS time their clock was at UTC+01:00, which is used.", "", false},
		{"another zone than an old fix gives", frame.Told{Zone: frame.ZoneFromGPS, Offset: hour, Against: true, Given: 0, HasFix: true, Ahead: 5 * minute}, true, hour, "by GPS time", "or at UTC+00:00, as given?", false},
		{"clocks changed that night", frame.Told{Zone: frame.ZoneAsGiven, Offset: 2 * hour, Changed: true, Other: hour}, false, hour,
			"was taken to be at UTC+02:00, as the zone had it then. If nobody had set it so, other zone +01:00.", "was the camera's at UTC+02:00 or at UTC+01:00?", false},
		{"clocks changed, and GPS time agrees", frame.Told{Zone: frame.ZoneAsGiven, Offset: 2 * hour, Changed: true, Other: hour, HasFix: true, Ahead: time.Second}, false, 0, "", "", false},
		{"a table", frame.Told{Zone: frame.ZoneTable}, false, 0, "", "", false},
		{"a session of an earlier version", frame.Told{}, false, 0, "", "", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			var d align.Doubt
			all := align.ClockDoubts(told(row.told, row.stands))
			for _, d = range all {
			}
			if (len(all) > 0) != (row.says != "") || len(all) > 1 {
				t.Fatalf("%d doubts, %q; want %q", len(all), saidOf(d), row.says)
			}
			if d.Other.Later != row.later || d.Slight != row.slight || !strings.Contains(saidOf(d), row.says) {
				t.Errorf("%v later, slight %v: %q; want %v, %v, %q", d.Other.Later, d.Slight, saidOf(d), row.later, row.slight, row.says)
			}
			if (d.Other.Ask != "") != (row.asks != "") || !strings.Contains(d.Other.Ask, row.asks) {
				t.Errorf("asks %q, want %q", d.Other.Ask, row.asks)
			}
		})
	}
}

// saidOf is all a doubt says, things to give by their names.
func saidOf(d align.Doubt) string { return amiss.Voice(nil).Sentences(d.Text, d.Ways) }

// A clock that was set: which is kept, and when to ask.
func TestClockSetDoubt(t *testing.T) {
	after := []string{"sky-003.jpg", "sky-004.jpg"}
	for _, row := range []struct {
		name       string
		set        drift.ClockSet
		later      time.Duration
		says, asks string
	}{
		{"brought to the earlier", drift.ClockSet{After: after, By: -time.Hour, Mended: true, Moved: after}, -time.Hour,
			"The camera's clock was set back by 1 h before sky-003.jpg: by their numbers these pictures came after the others, by their times before. All are reckoned by the earlier clock: 1 h was added to the times of sky-003.jpg and 1 more.",
			"which was right, the earlier or the later?"},
		{"brought to the later, by GPS times", drift.ClockSet{After: after, By: -time.Hour, Mended: true, Moved: []string{"sky-001.jpg"}, Later: true, Confirmed: true}, time.Hour,
			"reckoned by the later clock: 1 h was taken off the times of sky-001.jpg. GPS times agree with the later clock.", ""},
		{"the later alone", drift.ClockSet{After: after, By: -2500 * time.Second, Later: true}, 2500 * time.Second,
			"set back by about 42 min before sky-003.jpg", "set back by about 42 min before sky-003.jpg: which was right"},
		{"forward, brought to the earlier", drift.ClockSet{After: after, By: time.Hour, Mended: true, Moved: after}, time.Hour,
			"The camera's clock was set forward by 1 h before sky-003.jpg: the numbers go on one by one, and so does the interval but for whole hours. All are reckoned by the earlier clock: 1 h was taken off the times of sky-003.jpg and 1 more.",
			"set forward by 1 h before sky-003.jpg: which was right"},
		{"the earlier alone", drift.ClockSet{After: after, By: -2500 * time.Second}, -2500 * time.Second, "so the earlier pictures alone count. To use all of them, times anew.", "which was right"},
	} {
		t.Run(row.name, func(t *testing.T) {
			q := told(frame.Told{}, false)
			q.ClockSet = &row.set
			d := align.ClockDoubts(q)[0]
			if d.Kind != align.KindClock || d.Other.Later != row.later || d.Files[0] != "sky-003.jpg" || !strings.Contains(saidOf(d), row.says) {
				t.Errorf("%v from %v: %q; want %v, %q", d.Other.Later, d.Files, saidOf(d), row.later, row.says)
			}
			if (d.Other.Ask != "") != (row.asks != "") || !strings.Contains(d.Other.Ask, row.asks) {
				t.Errorf("asks %q, want %q", d.Other.Ask, row.asks)
			}
		})
	}
}
