package frame

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// lens reads the optics of a FITS header. None of the keywords is in the
// standard; their meaning is common practice (no source): FOCALLEN and APTDIA
// in mm, XPIXSZ in µm with binning included, PIXSIZE1 without.
func (h header) lens() Lens {
	num := func(names ...string) float64 { v, _ := h.number(names...); return v }
	l := Lens{
		FocalLengthMM:    plausible(num("FOCALLEN", "FOCAL", "FOCLEN"), 0.5, 50000),
		PixelPitchUM:     plausible(num("XPIXSZ"), 0.2, 200),
		FNumber:          plausible(num("FOCRATIO", "FNUMBER"), 0.3, 500),
		ScaleArcsecPerPx: plausible(num("PIXSCALE", "SECPIX", "SECPIX1", "SCALE", "PIXSCAL1"), 0.01, 3600),
		Model:            h["INSTRUME"],
	}
	if l.PixelPitchUM == 0 {
		l.PixelPitchUM = plausible(num("PIXSIZE1", "PIXSIZE")*max(1, num("XBINNING")), 0.2, 200)
	}
	if d := num("APTDIA"); l.FNumber == 0 && d > 0 {
		l.FNumber = plausible(l.FocalLengthMM/d, 0.3, 500)
	}
	if l.ScaleArcsecPerPx == 0 {
		l.ScaleArcsecPerPx = plausible(h.solvedScale(), 0.01, 3600)
	}
	return l
}

// solvedScale is the scale of a plate solution in the header, 0 without one
// (FITS 4.0 §8): the root of the determinant of CD, else CDELT.
func (h header) solvedScale() float64 {
	if !strings.HasPrefix(h["CTYPE1"], "RA--") {
		return 0
	}
	cd := func(name string) float64 { v, _ := h.number(name); return v }
	det := cd("CD1_1")*cd("CD2_2") - cd("CD1_2")*cd("CD2_1")
	if det == 0 {
		det = cd("CDELT1") * cd("CDELT2")
	}
	return 3600 * math.Sqrt(math.Abs(det))
}

// place reads the site: OBSGEO-B, -L, -H (FITS 4.0 table 22), or the names in
// common use.
func (h header) place() *place {
	lat, ok1 := h.angle("OBSGEO-B", "SITELAT", "LAT-OBS", "OBSLAT", "GEOLAT", "LATITUDE")
	lon, ok2 := h.angle("OBSGEO-L", "SITELONG", "SITELON", "LONG-OBS", "LON-OBS", "OBSLONG", "GEOLON", "LONGITUD")
	if !ok1 || !ok2 {
		return h.cartesianPlace()
	}
	if lon > 180 && lon <= 360 {
		lon -= 360
	}
	height, _ := h.number("OBSGEO-H", "SITEELEV", "ALT-OBS", "OBSALT", "GEOELEV", "ELEVATIO")
	if lat == 0 && lon == 0 {
		return nil
	}
	return &place{lat, lon, height}
}

// cartesianPlace converts OBSGEO-X, -Y, -Z (metres, FITS 4.0 table 22) by
// Bowring's formula (Survey Review 23 (1976) 323), good to far below a metre.
func (h header) cartesianPlace() *place {
	x, ok1 := h.number("OBSGEO-X")
	y, ok2 := h.number("OBSGEO-Y")
	z, ok3 := h.number("OBSGEO-Z")
	if r := math.Hypot(math.Hypot(x, y), z); !ok1 || !ok2 || !ok3 || math.Abs(r-6370e3) > 30e3 {
		return nil
	}
	const a, f = 6378137.0, 1 / 298.257223563 // WGS 84
	const b, e2 = a * (1 - f), f * (2 - f)
	p := math.Hypot(x, y)
	sinU, cosU := math.Sincos(math.Atan2(z*a, p*b))
	lat := math.Atan2(z+e2/(1-e2)*b*sinU*sinU*sinU, p-e2*a*cosU*cosU*cosU)
	sin, cos := math.Sincos(lat)
	height := p*cos + z*sin - a*math.Sqrt(1-e2*sin*sin)
	return &place{lat * 180 / math.Pi, math.Atan2(y, x) * 180 / math.Pi, height}
}

// angle reads degrees: a number, or degrees, minutes and seconds apart by
// blanks or colons, with a sign or a compass letter.
func (h header) angle(names ...string) (float64, bool) {
	for _, n := range names {
		if v, ok := parseAngle(h[n]); ok {
			return v, true
		}
	}
	return 0, false
}

func parseAngle(s string) (float64, bool) {
	s = strings.ToUpper(strings.TrimSpace(s))
	away := false
	if !strings.ContainsAny(s, "DM") { // else the S of 43d30m12s
		rest := strings.TrimRight(s, "NESW")
		away, s = strings.ContainsAny(s[len(rest):], "SW"), rest
	}
	v, _, ok := ephem.Sexagesimal(s, " :DMS'\"°")
	if away {
		v = -math.Abs(v)
	}
	return v, ok && math.Abs(v) <= 360
}

// clock reads when a FITS picture was taken. In this order: DATE-AVG, the
// middle; DATE-BEG with DATE-END; DATE-OBS, the start (or what Stamp says);
// MJD-AVG, MJD-BEG, MJD-OBS. Times are UTC unless TIMESYS says otherwise.
func (h header) clock(o Options) (Clock, []string, error) {
	exposure := h.exposure()
	if s, ok := h.utc("DATE-AVG"); ok {
		return h.settle(o, s, exposure, StampMiddle, "FITS DATE-AVG")
	}
	if begin, ok := h.utc("DATE-BEG"); ok {
		if end, ok := h.utc("DATE-END"); ok {
			if d := end.time.Sub(begin.time); d > 0 && d < 24*time.Hour {
				exposure = d
			}
		}
		return h.settle(o, begin, exposure, StampStart, "FITS DATE-BEG")
	}
	s, source, notes, err := h.observed(o)
	if err != nil {
		return Clock{}, notes, err
	}
	stamp := o.Stamp
	if source == "FITS MJD-AVG" {
		stamp = StampMiddle
	}
	c, more, err := h.settle(o, s, exposure, stamp, source)
	return c, append(notes, more...), err
}

// exposure reads the exposure time in seconds; XPOSURE is the standard's name.
func (h header) exposure() time.Duration {
	v, _ := h.number("EXPTIME", "EXPOSURE", "XPOSURE", "EXP_TIME", "TELAPSE")
	d, _ := durationOf(v)
	return d
}

// settle turns a stamp of the header's time scale into a clock.
func (h header) settle(o Options, s stamp, exposure time.Duration, means Stamp, source string) (Clock, []string, error) {
	t, told, err := h.toUTC(s, o.Zone)
	if err != nil {
		return Clock{}, nil, err
	}
	return Clock{Start: means.start(t, exposure), Exposure: exposure, Step: s.step, Source: source, Told: told}, nil, nil
}

// utc reads a keyword holding a full date and time.
func (h header) utc(name string) (stamp, bool) {
	s, err := parseStamp(h[name])
	return s, err == nil && s.hasTime
}

// Keywords beside DATE-OBS that hold the time of day in UTC, and those that
// hold local time (common practice, no source).
var (
	utcNames   = []string{"UT-OBS", "UTC-OBS", "UTSTART", "UTC", "UT", "UTCSTART"}
	localNames = []string{"DATE-LOC", "LOCALTIM", "DATE-LT", "LT-OBS"}
)

// observed reads DATE-OBS with its companions, else the Julian dates, else –
// with a zone given – a local time.
func (h header) observed(o Options) (stamp, string, []string, error) {
	if text := h["DATE-OBS"]; text != "" && !isBlankStamp(text) {
		return h.dateObs(text)
	}
	for _, name := range []string{"MJD-AVG", "MJD-BEG", "MJD-OBS", "JD", "JD-OBS"} {
		if s, ok := parseJulian(h[name]); ok {
			return s, "FITS " + name, nil, nil
		}
	}
	for _, name := range localNames {
		s, ok := h.utc(name)
		if !ok {
			continue
		}
		if d, known := parseOffset(s.zone); known {
			s.time, s.zone = s.time.Add(-d), "Z"
			return s, "FITS " + name, nil, nil
		}
		if o.Zone == nil {
			return stamp{}, "", nil, noClock("the FITS header gives local time alone ("+name+")", amiss.Zone)
		}
		s.local = true
		return s, "FITS " + name + ", zone as given", nil, nil
	}
	return stamp{}, "", nil, noClock("the FITS header says no time at which the picture was taken", amiss.Times)
}

// inZone is the instant at which a clock in the zone shows t.
func inZone(t time.Time, zone *time.Location) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), zone)
}

// dateObs joins DATE-OBS with a time of day kept elsewhere. A UTC keyword that
// contradicts DATE-OBS by whole quarters of an hour shows that DATE-OBS is
// local time; UTC wins.
func (h header) dateObs(text string) (stamp, string, []string, error) {
	s, err := parseStamp(text)
	if err != nil {
		return stamp{}, "", nil, noClock(fmt.Sprintf("DATE-OBS = %q is no valid time", text), amiss.Times)
	}
	if d, ok := parseOffset(s.zone); ok {
		s.time, s.zone = s.time.Add(-d), "Z"
		return s, "FITS DATE-OBS", nil, nil
	}
	local := s
	if !s.hasTime {
		if d, step, err := parseTimeOfDay(h["TIME-OBS"]); err == nil {
			local.time, local.step, local.hasTime = s.time.Add(d), step, true
		}
	}
	for _, name := range utcNames {
		if utc, ok := h.beside(local, name); ok {
			return h.agree(local, utc, name)
		}
	}
	if !local.hasTime {
		return stamp{}, "", nil, noClock(fmt.Sprintf("DATE-OBS = %q gives no time of day", text), amiss.Times)
	}
	return local, "FITS DATE-OBS", nil, nil
}

// beside reads a UTC keyword: a full stamp, or a time of day, which is put on
// the day nearest to the local stamp.
func (h header) beside(local stamp, name string) (stamp, bool) {
	if s, ok := h.utc(name); ok {
		return s, true
	}
	d, step, err := parseTimeOfDay(strings.TrimSuffix(h[name], "Z"))
	if err != nil {
		return stamp{}, false
	}
	day := local.time.Truncate(24 * time.Hour)
	s := stamp{time: day.Add(d), step: step, hasTime: true}
	if !local.hasTime {
		return s, true
	}
	switch diff := s.time.Sub(local.time); {
	case diff > 12*time.Hour:
		s.time = s.time.Add(-24 * time.Hour)
	case diff < -12*time.Hour:
		s.time = s.time.Add(24 * time.Hour)
	}
	return s, true
}

// agree chooses between DATE-OBS and the UTC keyword. A difference that is no
// offset of a time zone is a contradiction.
func (h header) agree(local, utc stamp, name string) (stamp, string, []string, error) {
	if !local.hasTime {
		return utc, "FITS DATE-OBS and " + name, nil, nil
	}
	diff := utc.time.Sub(local.time)
	if diff.Abs() <= max(local.step, utc.step) {
		if utc.step < local.step {
			return utc, "FITS " + name, nil, nil
		}
		return local, "FITS DATE-OBS", nil, nil
	}
	if rest := (diff - diff.Round(15*time.Minute)).Abs(); rest > 2*time.Minute || diff.Abs() < 10*time.Minute {
		return stamp{}, "", nil, noClock(fmt.Sprintf("DATE-OBS and %s contradict each other by %v", name, diff.Round(time.Second).Abs()), amiss.Times)
	}
	utc.zone = "Z"
	note := fmt.Sprintf("DATE-OBS and %s differ by %v: DATE-OBS was taken for local time and %s used", name, diff.Round(time.Second).Abs(), name)
	return utc, "FITS " + name, []string{note}, nil
}

// mjdZero is 1858-11-17, the zero of the modified Julian date.
var mjdZero = time.Date(1858, 11, 17, 0, 0, 0, 0, time.UTC)

// parseJulian reads a Julian or modified Julian date; the digits written give
// the step.
func parseJulian(s string) (stamp, bool) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > 15000 && v < 2.6e6) {
		return stamp{}, false
	}
	whole, fraction, _ := strings.Cut(s, ".")
	days, err := digits(whole)
	if err != nil {
		return stamp{}, false
	}
	part, err := strconv.ParseFloat("0."+fraction+"0", 64)
	if err != nil {
		return stamp{}, false
	}
	const day = 24 * time.Hour
	t := mjdZero.AddDate(0, 0, days).Add(time.Duration(part * float64(day)))
	if days > 1e6 { // JD = MJD + 2400000.5
		t = mjdZero.AddDate(0, 0, days-2400001).Add(time.Duration(part*float64(day)) + day/2)
	}
	step := time.Duration(float64(day) * math.Pow(10, -float64(len(fraction))))
	return stamp{time: t, step: max(step, 1), hasTime: true}, true
}

// toUTC converts from the header's time scale (FITS 4.0 table 30). An offset
// or Z in the stamp itself is UTC.
func (h header) toUTC(s stamp, zone *time.Location) (time.Time, Told, error) {
	if d, ok := parseOffset(s.zone); ok {
		return s.time.Add(-d), Told{Zone: ZoneUTC}, nil
	}
	scale, _, _ := strings.Cut(strings.ToUpper(h["TIMESYS"]), "(")
	scale = strings.TrimSpace(scale)
	if s.local || scale == "LOCAL" || scale == "LT" {
		if zone == nil {
			return time.Time{}, Told{}, noClock("the FITS header gives local time (TIMESYS)", amiss.Zone)
		}
		return inZone(s.time, zone), given(s.time, zone), nil
	}
	t, err := h.fromScale(s.time, scale)
	return t, Told{Zone: ZoneUTC}, err
}

// fromScale carries a time of a named scale to UTC.
func (h header) fromScale(t time.Time, scale string) (time.Time, error) {
	var ahead time.Duration // of TAI
	switch scale {
	case "", "UTC", "UT", "UT1", "GMT", "Z":
		return t, nil
	case "TAI", "IAT":
	case "TT", "TDT", "ET", "TDB": // TDB within 2 ms of TT
		ahead = 32184 * time.Millisecond
	case "GPS":
		ahead = -19 * time.Second
	default:
		return time.Time{}, noClock(fmt.Sprintf("TIMESYS = %q in the FITS header is no time scale known here", h["TIMESYS"]), amiss.Times)
	}
	tai := t.Add(-ahead)
	return tai.Add(-taiMinusUTC(tai)), nil
}

// leapSeconds lists TAI−UTC in seconds from each date on: IERS Bulletin C,
// unchanged since 2017 up to Bulletin C 70.
var leapSeconds = []struct {
	year, month, seconds int
}{
	{1972, 1, 10}, {1972, 7, 11}, {1973, 1, 12}, {1974, 1, 13}, {1975, 1, 14}, {1976, 1, 15}, {1977, 1, 16},
	{1978, 1, 17}, {1979, 1, 18}, {1980, 1, 19}, {1981, 7, 20}, {1982, 7, 21}, {1983, 7, 22}, {1985, 7, 23},
	{1988, 1, 24}, {1990, 1, 25}, {1991, 1, 26}, {1992, 7, 27}, {1993, 7, 28}, {1994, 7, 29}, {1996, 1, 30},
	{1997, 7, 31}, {1999, 1, 32}, {2006, 1, 33}, {2009, 1, 34}, {2012, 7, 35}, {2015, 7, 36}, {2017, 1, 37},
}

// taiMinusUTC looks up the leap seconds at an instant given in TAI; before
// 1972 it returns the 10 s of that year.
func taiMinusUTC(tai time.Time) time.Duration {
	for i := len(leapSeconds) - 1; i > 0; i-- {
		l := leapSeconds[i]
		d := time.Duration(l.seconds) * time.Second
		if !tai.Add(-d).Before(time.Date(l.year, time.Month(l.month), 1, 0, 0, 0, 0, time.UTC)) {
			return d
		}
	}
	return 10 * time.Second
}
