package align

import (
	"fmt"
	"slices"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Limits of what GPS times in pictures can say. A fix is as old as it is, so that stamps run ahead of it: only one later than
// the stamp, or one that goes along with the pictures, speaks of the clock.
const (
	gpsLeast   = 2 * time.Minute  // less confirms a clock
	gpsSlight  = 10 * time.Minute // clocks so much wrong are usual
	zoneMost   = 14 * time.Hour
	aliveShare = 0.5 // a fix that ages by less than this share of the time between first and last picture is taken anew
)

// ClockDoubts are what file numbers, GPS times and the zone given say against the times of pictures.
func ClockDoubts(q drift.Sequence) (all []Doubt) {
	c := clocksOf(q.Shots)
	if q.ClockSet != nil {
		all = append(all, setDoubt(*q.ClockSet))
	} else if d, ok := c.gpsDoubt(); ok { // else the numbers have said it
		all = append(all, d)
	}
	if d, ok := c.zoneDoubt(); ok {
		all = append(all, d)
	}
	if d, ok := c.changeDoubt(); ok {
		all = append(all, d)
	}
	return all
}

// clocks are the pictures that have one, in the order of time.
type clocks []drift.Shot

func clocksOf(shots []drift.Shot) (c clocks) {
	for _, s := range shots {
		if s.Clock != nil {
			c = append(c, s)
		}
	}
	return c
}

// those are the pictures of which something is told.
func (c clocks) those(is func(frame.Told) bool) (list clocks) {
	for _, s := range c {
		if is(s.Clock.Told) {
			list = append(list, s)
		}
	}
	return list
}

func (c clocks) files() (names []string) {
	for _, s := range c {
		names = append(names, s.File)
	}
	return names
}

// alive is whether the GPS times go along with the pictures.
func (c clocks) alive() bool {
	c = c.those(func(t frame.Told) bool { return t.HasFix })
	if len(c) < 2 {
		return false
	}
	first, last := c[0].Clock, c[len(c)-1].Clock
	span, aged := last.Start.Sub(first.Start), last.Told.Ahead-first.Told.Ahead
	return float64(aged) < aliveShare*float64(span)
}

// gpsDoubt is a camera's clock that GPS times contradict.
func (c clocks) gpsDoubt() (Doubt, bool) {
	off := c.those(func(t frame.Told) bool { return t.HasFix && !t.Confirmed() })
	if len(off) == 0 {
		return Doubt{}, false
	}
	ahead := off.ahead()
	if ahead > 0 && !off.alive() { // the fix is old
		return Doubt{}, false
	}
	hours := ahead.Round(drift.SetStep)
	whole := hours != 0 && (ahead-hours).Abs() <= gpsLeast && hours.Abs() <= zoneMost
	if whole {
		ahead = hours
	}
	differ, zone := say.Of("ahead of GPS", say.Span(ahead)), say.Line{}
	if ahead < 0 {
		differ = say.Of("behind GPS", say.Span(ahead))
	}
	if whole {
		zone = say.Of("as a wrong zone")
	}
	d := Doubt{Kind: KindClock, Files: off.files(), Slight: ahead.Abs() < gpsSlight, Says: say.All(differ, zone, say.Of("camera's time used"))}
	d.Ways = []amiss.Way{{When: "if GPS is right", Thing: amiss.ClockOffset, Value: fmt.Sprintf("%.0f", -ahead.Seconds())}}
	d.Other = Other{Name: say.Of("GPS time"), Later: -ahead, If: say.Of("if the camera's is right"),
		Ask: say.Of("camera's time or GPS?", off[0].File, off[0].Clock.Start, off[0].Clock.Start.Add(-ahead))}
	return d, true
}

// ahead is the median of the stamps less their GPS times.
func (c clocks) ahead() time.Duration {
	var list []time.Duration
	for _, s := range c {
		list = append(list, s.Clock.Told.Ahead)
	}
	slices.Sort(list)
	return list[len(list)/2].Round(time.Second)
}

// zoneDoubt is a zone given that the pictures contradict.
func (c clocks) zoneDoubt() (Doubt, bool) {
	off := c.those(func(t frame.Told) bool { return t.Against })
	if len(off) == 0 {
		return Doubt{}, false
	}
	t := off[0].Clock.Told
	later := t.Offset - t.Given
	d := Doubt{Kind: KindClock, Files: off.files(), Other: Other{Name: say.Of("zone given"), Later: later}}
	confirmed := len(off.those(frame.Told.Confirmed)) == len(off)
	says := say.Key("zone in the pictures")
	switch {
	case t.Zone == frame.ZoneFromGPS:
		says, confirmed = say.Key("zone by GPS"), off.alive()
	case confirmed:
		says = say.Key("zone in the pictures and by GPS")
	}
	d.Says = say.Of(says, say.Offset(t.Given), say.Offset(t.Offset))
	if confirmed {
		return d, true
	}
	d.Ways = []amiss.Way{{When: "if the zone given is right", Thing: amiss.ClockOffset, Value: fmt.Sprintf("%.0f", later.Seconds())}}
	d.Other.Ask = say.Of("pictures' zone or the one given?", say.Offset(t.Offset), say.Offset(t.Given))
	d.Other.If = say.Of("if the pictures are right")
	return d, true
}

// changeDoubt is a zone whose clocks were changed that night, and a camera that may not have followed.
func (c clocks) changeDoubt() (Doubt, bool) {
	off := c.those(func(t frame.Told) bool { return t.Changed && !t.Confirmed() })
	if len(off) == 0 {
		return Doubt{}, false
	}
	t := off[0].Clock.Told
	d := Doubt{Kind: KindClock, Files: off.files(), Other: Other{Name: say.Of("UTC and", say.Offset(t.Other)), Later: t.Offset - t.Other}}
	d.Says = say.Of("clocks changed", say.Offset(t.Offset))
	d.Ways = []amiss.Way{{When: "if nobody had set it so", Thing: amiss.ZoneOther, Value: zoneValue(t.Other)}}
	d.Other.Ask = say.Of("before or after the change?", say.Offset(t.Offset), say.Offset(t.Other))
	d.Other.If = say.Of("if at UTC and", say.Offset(t.Offset))
	return d, true
}

// zoneValue is an offset as it is given.
func zoneValue(d time.Duration) string {
	return time.Time{}.In(time.FixedZone("", int(d/time.Second))).Format("-07:00")
}

// setDoubt is a clock that was set between two pictures.
func setDoubt(s drift.ClockSet) Doubt {
	earlier, later := say.Of("earlier clock"), say.Of("later clock")
	kept, other := earlier, Other{Name: later, Later: s.By, If: say.Of("if the earlier")}
	if s.Later {
		kept, other = later, Other{Name: earlier, Later: -s.By, If: say.Of("if the later")}
	}
	by := clockBy(s.By.Round(time.Minute))
	if !s.Mended {
		by = clockWay(s.By > 0, say.Of("about", say.Span(s.By.Round(time.Minute))))
	}
	d := Doubt{Kind: KindClock, Files: s.After, Other: other}
	told := []say.Line{say.Of("clock set back", by, s.After[0])}
	if s.By > 0 {
		told[0] = say.Of("clock set forward", by, s.After[0])
	}
	switch {
	case s.Mended:
		told = append(told, say.Of("all by one clock", kept), mended(s))
	default:
		told = append(told, say.Of("some by one clock", kept))
		d.Ways = []amiss.Way{{When: "to use all of them", Thing: amiss.TimesAnew}}
	}
	if s.Confirmed {
		d.Says, d.Other.If = say.All(append(told, say.Of("GPS agrees with", kept))...), say.Line{}
		return d
	}
	d.Says, d.Other.Ask = say.All(told...), say.Of("earlier or later clock?", by, s.After[0])
	return d
}

// mended says what was done to the times of those moved.
func mended(s drift.ClockSet) say.Line {
	if s.Later != (s.By > 0) {
		return say.Of("taken off the times", say.Span(s.By), say.Files(s.Moved))
	}
	return say.Of("added to the times", say.Span(s.By), say.Files(s.Moved))
}
