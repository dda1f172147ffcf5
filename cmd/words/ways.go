// Package words says for those who read it what the engine gives as values. It is the one place where a thing to give gets
// the flag it is given by, or the words for where there are no flags.
package words

import (
	"cmp"
	"fmt"

	"trueturn/ephem/amiss"
)

// phrase is how a thing is given: on the command line, and to who looks at the page, which has fields for place, zone and lens. %s is for a value.
type phrase struct{ flag, page string }

// given are the things that can be given.
var given = map[amiss.Thing]phrase{
	amiss.Aim: {"use refracted (the usual), true, or field together with --target RA,Dec",
		"aim at the refracted pole (the usual), the true one, or a field"},
	amiss.Air:         {"give the air with --air", "give temperature and pressure at the computer"},
	amiss.ClockOffset: {"add --clock-offset %s", "give a clock offset of %s s at the computer"},
	amiss.Forecast: {"run trueturn expose with your lens and --axis-error %s",
		"run trueturn expose at the computer, with your lens and an axis error of %s′"},
	amiss.Lens: {"give the lens (--equivalent, --focal-length with --pixel-pitch, or --scale)",
		"give the lens below"},
	amiss.NoSite: {"leave --site out", "start live again at the computer without a site"},
	amiss.Pointing: {"so narrow a field holds too few known stars: say where it looks with --at RA,Dec, and its stars are followed instead",
		"so narrow a field holds too few known stars: say at the computer where it looks, and its stars are followed instead"},
	amiss.Roll: {"give --roll DEG, the position angle of the picture's upper edge (north through east)",
		"give at the computer the position angle of the picture's upper edge (north through east)"},
	amiss.Saved: {"make it again with align --save FILE.json", "measure and save it again"},
	amiss.Scale: {"add --scale ARCSEC_PER_PX, or --focal-length MM and --pixel-pitch UM",
		"give the scale at the computer, or focal length and pixel pitch"},
	amiss.SessionPlace: {"name another with --session-dir", "have the session kept in another folder, at the computer"},
	amiss.SessionDisk:  {"name a place on another with --session-dir", "have the session kept on another, at the computer"},
	amiss.Site: {"add --site LAT,LON (decimal degrees, north and east positive; a few kilometres do)",
		"switch on the place in the camera, or give it below (a few kilometres do)"},
	amiss.CheckSite:  {"check --site", "check the site given at the computer"},
	amiss.CheckClock: {"check the camera's clock and its zone (--tz)", "check the camera's clock and its zone"},
	amiss.CheckSiteAndClock: {"check --site (south and west are negative), and the camera's clock and time zone (--tz, --clock-offset)",
		"check the site given at the computer (south and west are negative), and the camera's clock and time zone"},
	amiss.SiteAnew: {"give --site LAT,LON", "give the place below"},
	amiss.Target:   {"add --target RA,Dec", "name the field at the computer"},
	amiss.Times: {"give a table with --times FILE.csv (file,start_utc,exposure_s); a file's modification time is not used",
		"choose the picture through “Files”, because a photo list may strip its time, or give a table of times at the computer"},
	amiss.TimesAnew: {"give the times with --times", "give a table of times at the computer"},
	amiss.ZoneOther: {"give --tz %s", "give the zone %s below"},
	amiss.Zone: {"give --tz +HH:MM, the offset from UTC the camera's clock was set to",
		"set the time zone in the camera, or give it below: the offset from UTC its clock was set to"},
}

// Flags is the way out for who sits at the command line.
func Flags(w amiss.Way) string { return said(w, given[w.Thing].flag) }

// Page is the way out for who looks at the page.
func Page(w amiss.Way) string { return said(w, given[w.Thing].page) }

func said(w amiss.Way, thing string) string {
	text := cmp.Or(w.Act, thing)
	if w.Value != "" {
		text = fmt.Sprintf(text, w.Value)
	}
	if w.When != "" {
		return w.When + ", " + text
	}
	return text
}

// Hint is an error's ways out at the command line; "" where there are none.
func Hint(err error) string { return amiss.Voice(Flags).List(amiss.Ways(err)) }

// PageHint is the same at the page.
func PageHint(err error) string { return amiss.Voice(Page).List(amiss.Ways(err)) }
