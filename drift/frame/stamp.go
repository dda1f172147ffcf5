package frame

import (
	"errors"
	"strconv"
	"strings"
	"time"
)

// stamp is a date and time as written, before any zone is applied: time is
// held as if UTC, zone is the offset or Z that followed, as written.
type stamp struct {
	time    time.Time
	step    time.Duration
	zone    string
	hasTime bool // false: a date alone
	local   bool // in a zone the user must give, whatever scale the file's times are of
}

var errStamp = errors.New("not a date and time")

// parseStamp reads a date (2019-07-29, 2019:07:29 or the old 29/07/19), then
// perhaps T or a space and a time, then perhaps Z or an offset. A second 60 is
// taken (a leap second) and becomes the next second.
func parseStamp(s string) (stamp, error) {
	s = strings.TrimSpace(s)
	if len(s) < 8 {
		return stamp{}, errStamp
	}
	day, rest, err := parseDay(s)
	if err != nil {
		return stamp{}, err
	}
	if rest == "" {
		return stamp{time: day, step: 24 * time.Hour}, nil
	}
	if rest[0] != 'T' && rest[0] != ' ' && rest[0] != 't' {
		return stamp{}, errStamp
	}
	rest = strings.TrimSpace(rest[1:])
	clock, zone := splitZone(rest)
	d, step, err := parseTimeOfDay(clock)
	if err != nil {
		return stamp{}, err
	}
	return stamp{time: day.Add(d), step: step, zone: zone, hasTime: true}, nil
}

// parseDay reads the date at the start of s.
func parseDay(s string) (time.Time, string, error) {
	if s[2] == '/' && s[5] == '/' { // DD/MM/YY, FITS before 1997: always 19YY
		return day("19"+s[6:8], s[3:5], s[0:2], s[8:])
	}
	if len(s) < 10 || s[4] != s[7] || !strings.ContainsRune("-:/", rune(s[4])) {
		return time.Time{}, "", errStamp
	}
	return day(s[0:4], s[5:7], s[8:10], s[10:])
}

func day(year, month, date, rest string) (time.Time, string, error) {
	y, err1 := digits(year)
	m, err2 := digits(month)
	d, err3 := digits(date)
	if err := errors.Join(err1, err2, err3); err != nil {
		return time.Time{}, "", errStamp
	}
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if y == 0 || t.Day() != d || t.Month() != time.Month(m) {
		return time.Time{}, "", errStamp
	}
	return t, rest, nil
}

// digits is strconv.Atoi without signs.
func digits(s string) (int, error) {
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return 0, errStamp
	}
	return strconv.Atoi(s)
}

// splitZone cuts a trailing Z or offset off a time of day.
func splitZone(s string) (clock, zone string) {
	if strings.HasSuffix(s, "Z") || strings.HasSuffix(s, "z") {
		return strings.TrimSpace(s[:len(s)-1]), "Z"
	}
	if i := strings.LastIndexAny(s, "+-"); i > 0 {
		return strings.TrimSpace(s[:i]), s[i:]
	}
	if c, ok := strings.CutSuffix(s, "UTC"); ok {
		return strings.TrimSpace(c), "Z"
	}
	return s, ""
}

// parseTimeOfDay reads HH:MM[:SS[.fff]] and says to what step it was written.
func parseTimeOfDay(s string) (time.Duration, time.Duration, error) {
	parts := strings.Split(s, ":")
	if len(parts) != 2 && len(parts) != 3 {
		return 0, 0, errStamp
	}
	h, err1 := digits(strings.TrimSpace(parts[0]))
	m, err2 := digits(strings.TrimSpace(parts[1]))
	if err1 != nil || err2 != nil || h > 23 || m > 59 {
		return 0, 0, errStamp
	}
	d := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
	if len(parts) == 2 {
		return d, time.Minute, nil
	}
	whole, fraction, hasFraction := strings.Cut(strings.TrimSpace(parts[2]), ".")
	sec, err := digits(whole)
	if err != nil || sec > 60 {
		return 0, 0, errStamp
	}
	d += time.Duration(sec) * time.Second
	if !hasFraction || fraction == "" {
		return d, time.Second, nil
	}
	f, step, ok := parseFraction(fraction)
	if !ok {
		return 0, 0, errStamp
	}
	return d + f, step, nil
}

// parseFraction reads the digits after the decimal point of a second. Leading
// zeros count; digits after the ninth are dropped.
func parseFraction(s string) (value, step time.Duration, ok bool) {
	s = strings.TrimSpace(s)
	if len(s) > 9 {
		s = s[:9]
	}
	n, err := digits(s)
	if err != nil {
		return 0, 0, false
	}
	step = time.Second
	for range len(s) {
		step /= 10
	}
	return time.Duration(n) * step, step, true
}
