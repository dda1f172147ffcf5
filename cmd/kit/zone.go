package kit

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog/spelling"
)

// ErrZone: a text that names no time zone.
var ErrZone = errors.New("not a time zone")

// noZone says the name most likely meant, or how zones are written.
func noZone(near string) error {
	if near != "" {
		return amiss.New(ErrZone, ErrZone.Error(), "did you mean "+near+"?")
	}
	return amiss.New(ErrZone, ErrZone.Error(), "write the clock's offset from UTC, as in +02:00 or -04:30, UTC itself, or a name of the IANA's list, as in Europe/Lisbon")
}

// Zone is the time zone a text means: the offset of a clock from UTC, as +02:00, from −12 to +14 hours; UTC; or a name
// of the IANA time zone database, whose offset is that of each date. The database is the system's where there is one,
// else the one the program was built with (Go's time/tzdata). The error is [ErrZone].
func Zone(text string) (*time.Location, error) {
	if strings.Contains(text, ":") {
		return offset(text)
	}
	if z, err := named(text); err == nil {
		return z, nil
	}
	return nil, noZone(nearName(text))
}

func offset(text string) (*time.Location, error) {
	text = strings.Replace(text, "−", "-", 1)
	t, err := time.Parse("-07:00", text)
	_, seconds := t.Zone()
	if err != nil || text[4:] > "59" || seconds < -12*3600 || seconds > 14*3600 {
		return nil, noZone("")
	}
	return time.FixedZone(text, seconds), nil
}

// named is a zone of the database. All its names begin with a capital letter (Theory and pragmatics of the tz code and data,
// "Timezone identifiers"); what does not is a file of some system, or means whatever clock the machine has.
func named(text string) (*time.Location, error) {
	if text == "" || text[0] < 'A' || text[0] > 'Z' || text == "Local" {
		return nil, fmt.Errorf("no name of a zone")
	}
	return time.LoadLocation(text)
}

// regions are what names of places in the database begin with.
var regions = [...]string{"Africa/", "America/", "Antarctica/", "Arctic/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/", "Etc/"}

// nearName is the name most likely meant: in its own capitals, or with the region that was left out or misspelt; "" where
// there is none.
func nearName(text string) string {
	text = strings.ReplaceAll(strings.TrimSpace(text), " ", "_")
	place := capitals(text)
	for _, whole := range []string{place, strings.ToUpper(text)} {
		if _, err := named(whole); err == nil {
			return whole
		}
	}
	region, city, ok := strings.Cut(place, "/")
	if !ok {
		city = place
	}
	known := regions[:]
	if i := spelling.Nearest(region+"/", known); ok && i >= 0 {
		known = known[i : i+1]
	}
	for _, r := range known {
		if _, err := named(r + city); err == nil && city != "" {
			return r + city
		}
	}
	return ""
}

// capitals writes each word of a name with a capital letter, as most of the database's are.
func capitals(name string) string {
	letters := []byte(strings.ToLower(name))
	for i := range letters {
		if first := i == 0 || strings.IndexByte("/_-", letters[i-1]) >= 0; first && 'a' <= letters[i] && letters[i] <= 'z' {
			letters[i] -= 'a' - 'A'
		}
	}
	return string(letters)
}

// ZoneWords name a zone beside the first time printed, for times from one instant to another: "UTC", "UTC+01:00", or of a
// named zone "UTC+02:00, Europe/Lisbon". Where the clock is changed between them, both offsets are told.
func ZoneWords(z *time.Location, from, to time.Time) string {
	words := Offset(z, from, to)
	if z == nil || z == time.UTC || strings.Contains(z.String(), ":") {
		return words
	}
	return words + ", " + z.String()
}

// Offset is how far a zone's clock is from UTC, for times from one instant to another: "UTC", "UTC+01:00", or where the
// clock is changed between them "UTC+02:00, later UTC+01:00".
func Offset(z *time.Location, from, to time.Time) string {
	if z == nil {
		return "UTC"
	}
	first, last := offsetAt(z, from), offsetAt(z, to)
	if first == last {
		return first
	}
	return first + ", later " + last
}

func offsetAt(z *time.Location, t time.Time) string {
	if words := t.In(z).Format("-07:00"); words != "+00:00" {
		return "UTC" + words
	}
	return "UTC"
}
