package answer

import (
	"slices"
	"time"

	"trueturn/align"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// sunkAt is whether from a site most of the recognised pictures would have been below the horizon.
func (b *builder) sunkAt(site ephem.Site) bool {
	sunk, all := 0, 0
	for _, s := range b.seq.Shots {
		if s.Solution == nil || s.Clock == nil {
			continue
		}
		all++
		if height, ok := heightFrom(site, ephem.StandardAir(site.HeightM), s); ok && height < sunkBelow {
			sunk++
		}
	}
	return 2*sunk > all
}

// contradictions weighs what speaks against place and time, and names it before all else.
func (b *builder) contradictions(a *align.Axis) {
	if a != nil {
		for i := range b.doubts {
			b.doubts[i].Weigh(*a, b.site, b.aimAt)
		}
	}
	first := align.Contradictions(b.doubts)
	if len(first) > 0 { // mechanics last: where they stood, and how the air and gravity went, rests on place and time
		b.out.Faults = slices.DeleteFunc(b.out.Faults, func(s align.Situation) bool {
			return s.Kind == align.KindLowAltitude || s.Kind == align.KindFlexure && a != nil && a.Gave.How == align.GaveBending
		})
	}
	b.out.Faults = append(first, b.out.Faults...)
}

// aimAt is the aim from a site, so much later than the pictures are reckoned.
func (b *builder) aimAt(site ephem.Site, later time.Duration) (align.Aim, error) {
	air := b.air
	if site != b.site && b.o.Air == nil {
		air = ephem.StandardAir(site.HeightM)
	}
	return align.NewAim(b.o.Aim, site, air, b.lastMid().Add(later), b.o.Target)
}

// noteRests says what place and zone rest on where nothing confirms them, and what an hour would change; what contradicts them stands
// among the situations.
func (b *builder) noteRests(a align.Axis) {
	var zone, site, hour say.Line
	if z := b.zoneRests(); !z.None() && !b.met(align.KindClock) {
		zone, hour = z, b.hourOff(a)
	}
	if b.rests == align.PlaceGiven && !b.met(align.KindSite) {
		site = say.Of("site as given")
	}
	b.note(say.All(zone, site, hour))
}

// hourOff says what an hour would change, where that is more than the axis's own error.
func (b *builder) hourOff(a align.Axis) (says say.Line) {
	hour := align.Doubt{Other: align.Other{Later: time.Hour}}
	hour.Weigh(a, b.site, b.aimAt)
	if hour.Moved == nil || hour.Moved.By < hourMatters || hour.Moved.By < a.WorstSigma() {
		return says
	}
	was, then := a.Deviation(*b.out.Aim), hour.Moved.Deviation
	return say.Of("were the clock an hour off", then.Altitude-was.Altitude, then.Azimuth-was.Azimuth)
}

// hourMatters: less is within the play of the knobs (common practice, no source).
const hourMatters = 2 * ephem.Arcmin

// zoneRests says what the zone of most pictures rests on; nothing where GPS times confirm it, or nothing is known of it.
func (b *builder) zoneRests() (none say.Line) {
	count := map[frame.Zone]int{}
	best := frame.Zone("")
	for _, s := range b.seq.Shots {
		if s.Clock == nil || s.Solution == nil {
			continue
		}
		if s.Clock.Told.Confirmed() {
			return none
		}
		z := s.Clock.Told.Zone
		if count[z]++; count[z] > count[best] {
			best = z
		}
	}
	return zones[best]
}

var zones = map[frame.Zone]say.Line{
	frame.ZoneInFile:  say.Of("zone as in the pictures"),
	frame.ZoneAsGiven: say.Of("zone as given"),
	frame.ZoneUTC:     say.Of("times taken for UTC"),
	frame.ZoneTable:   say.Of("times as in the table"),
}
