package kit

import (
	"errors"
	"testing"
	"time"

	"trueturn/ephem/amiss"
)

// TestZone: what a clock shows at an instant. Of named zones the rules are those in force in 2026 (IANA time zone database: the
// European Union's change on the last Sunday of March and October at 01:00 UTC; India keeps +05:30).
func TestZone(t *testing.T) {
	winter, summer := time.Date(2026, 1, 15, 12, 0, 0, 0, time.UTC), time.Date(2026, 7, 15, 12, 0, 0, 0, time.UTC)
	for _, row := range []struct{ text, winter, summer string }{
		{"+02:00", "14:00", "14:00"}, {"-04:30", "07:30", "07:30"}, {"−04:30", "07:30", "07:30"}, {"+00:00", "12:00", "12:00"},
		{"+14:00", "02:00", "02:00"}, {"-12:00", "00:00", "00:00"},
		{"UTC", "12:00", "12:00"}, {"Europe/Zurich", "13:00", "14:00"}, {"Asia/Kolkata", "17:30", "17:30"}, {"Etc/GMT+5", "07:00", "07:00"},
	} {
		z, err := Zone(row.text)
		if err != nil {
			t.Errorf("%s: %v", row.text, err)
			continue
		}
		if w, s := winter.In(z).Format("15:04"), summer.In(z).Format("15:04"); w != row.winter || s != row.summer {
			t.Errorf("%s: noon UTC is %s in winter and %s in summer, want %s and %s", row.text, w, s, row.winter, row.summer)
		}
	}
}

func TestZoneRefused(t *testing.T) {
	usual := amiss.Ways(noZone(""))[0].Act
	for _, row := range []struct{ text, hint string }{
		{"", usual}, {"2", usual}, {"+2", usual}, {"+25:00", usual}, {"+14:30", usual}, {"-12:30", usual}, {"+02:60", usual}, {"02:00", usual},
		{"Local", usual}, {"localtime", usual}, {"right/Europe/Zurich", usual}, {"../../etc/passwd", usual}, {"Europe", usual}, {"Nowhere/Atall", usual},
		{"europe/zurich", "did you mean Europe/Zurich?"}, {"Zurich", "did you mean Europe/Zurich?"}, {"Euorpe/Zurich", "did you mean Europe/Zurich?"},
		{"utc", "did you mean UTC?"}, {"america/new york", "did you mean America/New_York?"},
	} {
		z, err := Zone(row.text)
		if !errors.Is(err, ErrZone) {
			t.Errorf("%q: taken as %v, %v", row.text, z, err)
		} else if hint := amiss.Ways(err)[0].Act; hint != row.hint {
			t.Errorf("%q: hint %q, want %q", row.text, hint, row.hint)
		}
	}
}

func TestZoneWords(t *testing.T) {
	at := func(month time.Month, day, hour int) time.Time {
		return time.Date(2026, month, day, hour, 0, 0, 0, time.UTC)
	}
	zone := func(text string) *time.Location {
		z, err := Zone(text)
		if err != nil {
			t.Fatal(err)
		}
		return z
	}
	for _, row := range []struct {
		zone     *time.Location
		from, to time.Time
		words    string
	}{
		{nil, at(1, 1, 0), at(1, 1, 9), "UTC"},
		{zone("UTC"), at(1, 1, 0), at(1, 1, 9), "UTC"},
		{zone("+00:00"), at(1, 1, 0), at(1, 1, 9), "UTC"},
		{zone("-04:30"), at(1, 1, 0), at(1, 1, 9), "UTC-04:30"},
		{zone("Europe/Zurich"), at(1, 1, 0), at(1, 1, 9), "UTC+01:00, Europe/Zurich"},
		{zone("Europe/Zurich"), at(7, 1, 0), at(7, 1, 9), "UTC+02:00, Europe/Zurich"},
		{zone("Europe/London"), at(1, 1, 0), at(1, 1, 9), "UTC, Europe/London"},
		{zone("Europe/Zurich"), at(10, 24, 20), at(10, 25, 4), "UTC+02:00, later UTC+01:00, Europe/Zurich"},
	} {
		if got := ZoneWords(row.zone, row.from, row.to); got != row.words {
			t.Errorf("%v from %v: %q, want %q", row.zone, row.from, got, row.words)
		}
	}
}
