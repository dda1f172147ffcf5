package align

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
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
	which := "ahead of"
	if ahead < 0 {
		which = "behind"
	}
	d := Doubt{Kind: KindClock, Files: off.files(), Slight: ahead.Abs() < gpsSlight}
	d.Text = fmt.Sprintf("The time of the pictures is %s %s the GPS time in them", spell(ahead.Abs()), which)
	if whole {
		d.Text += ", as with a wrong zone or summer time set in the camera"
	}
	d.Text += ". Their own time is used, for GPS times may be old or not of UTC."
	d.Ways = []amiss.Way{{When: "if GPS is right", Thing: amiss.ClockOffset, Value: fmt.Sprintf("%.0f", -ahead.Seconds())}}
	d.Other = Other{Name: "GPS time", Later: -ahead, If: "If that of the camera is right"}
	d.Other.Ask = fmt.Sprintf("Which time is right for %s: %s, as the camera's clock has it, or %s, as GPS has it?", off[0].File, utcOf(off[0], 0), utcOf(off[0], -ahead))
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
	d := Doubt{Kind: KindClock, Files: off.files(), Other: Other{Name: "the zone given", Later: later}}
	confirmed := len(off.those(frame.Told.Confirmed)) == len(off)
	switch {
	case t.Zone == frame.ZoneFromGPS:
		d.Text = fmt.Sprintf("The zone given, UTC%s, is not that of the pictures: by GPS time their clock was at UTC%s, which is used.", offsetWords(t.Given), offsetWords(t.Offset))
		confirmed = off.alive()
	case confirmed:
		d.Text = fmt.Sprintf("The zone given, UTC%s, is not that of the pictures: they state UTC%s, which is used, and GPS time confirms it.", offsetWords(t.Given), offsetWords(t.Offset))
	default:
		d.Text = fmt.Sprintf("The zone given, UTC%s, is not that of the pictures: they state UTC%s, which is used, for the camera wrote it with each time.", offsetWords(t.Given), offsetWords(t.Offset))
	}
	if confirmed {
		return d, true
	}
	d.Ways = []amiss.Way{{When: "if the zone given is right", Thing: amiss.ClockOffset, Value: fmt.Sprintf("%.0f", later.Seconds())}}
	d.Other.Ask = fmt.Sprintf("Was the camera's clock at UTC%s, as its pictures say, or at UTC%s, as given?", offsetWords(t.Offset), offsetWords(t.Given))
	d.Other.If = "If the pictures are right"
	return d, true
}

// changeDoubt is a zone whose clocks were changed that night, and a camera that may not have followed.
func (c clocks) changeDoubt() (Doubt, bool) {
	off := c.those(func(t frame.Told) bool { return t.Changed && !t.Confirmed() })
	if len(off) == 0 {
		return Doubt{}, false
	}
	t := off[0].Clock.Told
	d := Doubt{Kind: KindClock, Files: off.files(), Other: Other{Name: "UTC" + offsetWords(t.Other), Later: t.Offset - t.Other}}
	d.Text = fmt.Sprintf("The clocks of the zone given were changed within half a day of these pictures. The camera's was taken to be at UTC%s, as the zone had it then.", offsetWords(t.Offset))
	d.Ways = []amiss.Way{{When: "if nobody had set it so", Thing: amiss.ZoneOther, Value: offsetWords(t.Other)}}
	d.Other.Ask = fmt.Sprintf("The clocks were changed that night: was the camera's at UTC%s or at UTC%s?", offsetWords(t.Offset), offsetWords(t.Other))
	d.Other.If = "If at UTC" + offsetWords(t.Offset)
	return d, true
}

// setDoubt is a clock that was set between two pictures.
func setDoubt(s drift.ClockSet) Doubt {
	d := Doubt{Kind: KindClock, Files: s.After, Other: Other{Name: "the later clock", Later: s.By}}
	kept, other := "earlier", "later"
	if s.Later {
		kept, other = other, kept
		d.Other = Other{Name: "the earlier clock", Later: -s.By}
	}
	about := ""
	if !s.Mended {
		about = "about "
	}
	way, shown := "back", "by their numbers these pictures came after the others, by their times before"
	if s.By > 0 {
		way, shown = "forward", "the numbers go on one by one, and so does the interval but for whole hours"
	}
	by := about + spell(s.By.Abs().Round(time.Minute))
	d.Text = fmt.Sprintf("The camera's clock was set %s by %s before %s: %s.", way, by, s.After[0], shown)
	switch {
	case s.Mended:
		d.Text += fmt.Sprintf(" All are reckoned by the %s clock: %s.", kept, mendedWords(s))
	default:
		d.Text += fmt.Sprintf(" By how much exactly cannot be told, so the %s pictures alone count.", kept)
		d.Ways = []amiss.Way{{When: "to use all of them", Thing: amiss.TimesAnew}}
	}
	if s.Confirmed {
		d.Text += fmt.Sprintf(" GPS times agree with the %s clock.", kept)
		return d
	}
	d.Other.Ask = fmt.Sprintf("The camera's clock was set %s by %s before %s: which was right, the earlier or the later?", way, by, s.After[0])
	d.Other.If = "If the " + kept
	return d
}

// mendedWords say what was done to the times of those moved.
func mendedWords(s drift.ClockSet) string {
	by, files := spell(s.By.Abs()), fewFiles(s.Moved)
	if s.Later != (s.By > 0) {
		return fmt.Sprintf("%s was taken off the times of %s", by, files)
	}
	return fmt.Sprintf("%s was added to the times of %s", by, files)
}

// fewFiles names the first of several files and how many more there are.
func fewFiles(files []string) string {
	if len(files) == 1 {
		return files[0]
	}
	return fmt.Sprintf("%s and %d more", files[0], len(files)-1)
}

// spell writes a span in words, of hours and minutes, or of minutes and seconds.
func spell(d time.Duration) string {
	h, m, s := int(d.Hours()), int(d.Minutes())%60, int(math.Round(d.Seconds()))%60
	var parts []string
	for _, p := range []struct {
		n    int
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.n > 0 && !(p.unit == "s" && h > 0) {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.unit))
		}
	}
	return strings.Join(parts, " ")
}

// offsetWords writes an offset from UTC as +HH:MM.
func offsetWords(d time.Duration) string {
	return time.Time{}.In(time.FixedZone("", int(d/time.Second))).Format("-07:00")
}

// utcOf is when a picture was taken, or so much later.
func utcOf(s drift.Shot, later time.Duration) string {
	return s.Clock.Start.Add(later).UTC().Format("15:04") + " UTC"
}
