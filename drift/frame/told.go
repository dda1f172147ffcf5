package frame

import "time"

// Zone says how a time's offset from UTC was found.
type Zone string

// The ways, from the surest.
const (
	ZoneUTC     Zone = "utc"   // the file's keyword, or its format, is of UTC
	ZoneTable   Zone = "table" // a table beside the pictures, which is of UTC
	ZoneInFile  Zone = "file"  // the file states the offset
	ZoneFromGPS Zone = "gps"   // from the GPS time beside the camera's own, to a quarter of an hour
	ZoneAsGiven Zone = "given" // the file is silent: the zone the user gave
)

// Told is what a time rests on, and what speaks against it. The zero value says nothing of it, as do sessions kept by earlier
// versions.
type Told struct {
	Zone   Zone
	Offset time.Duration // of the camera's clock from UTC as reckoned with, east positive; of file, gps and given

	Against bool          // the zone the user gave for these pictures is another, and was not used:
	Given   time.Duration // its offset

	Changed bool          // the clocks of the zone given were changed within half a day, and a hand may not have set the camera's:
	Other   time.Duration // the offset on the other side of the change

	HasFix bool          // the file tells when its place was fixed by GPS:
	Ahead  time.Duration // the stamp as reckoned with, less that instant
}

// fixNear is how near a stamp GPS time must be to confirm it. A fix that is minutes old is usual, and phones' clocks are good to
// seconds (common practice, no source).
const fixNear = 2 * time.Minute

// Confirmed is whether GPS time says the same.
func (d Told) Confirmed() bool { return d.HasFix && d.Ahead.Abs() <= fixNear }

// halfDay is how near to a picture clocks must have been changed to leave a doubt: cameras follow only when a hand sets them,
// and in the hour that runs twice not even a clock that follows can tell.
const halfDay = 12 * time.Hour

// given is what a zone the user gave tells of a time in it.
func given(local time.Time, zone *time.Location) Told {
	at := inZone(local, zone)
	d := Told{Zone: ZoneAsGiven, Offset: offsetAt(at)}
	for _, near := range []time.Duration{-halfDay, halfDay} {
		if other := offsetAt(at.Add(near)); other != d.Offset {
			d.Changed, d.Other = true, other
			return d
		}
	}
	return d
}

// against marks a zone the user gave that the picture contradicts.
func (d Told) against(local time.Time, o Options) Told {
	if o.Zone == nil || o.ZoneKept {
		return d
	}
	if given := offsetAt(inZone(local, o.Zone)); given != d.Offset {
		d.Against, d.Given = true, given
	}
	return d
}

func offsetAt(t time.Time) time.Duration {
	_, seconds := t.Zone()
	return time.Duration(seconds) * time.Second
}

// MovedBy is the clock set on by a span.
func (c Clock) MovedBy(by time.Duration) Clock {
	c.Start = c.Start.Add(by).UTC()
	if c.Told.HasFix {
		c.Told.Ahead += by
	}
	return c
}
