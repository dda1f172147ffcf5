package main

import (
	"testing"
	"time"

	"trueturn/ephem"
)

// The night belongs to the afternoon before it, by the site's own mean solar time.
func TestDateAt(t *testing.T) {
	for _, row := range []struct {
		name   string
		lonDeg float64
		utc    string
		want   string
	}{
		{"evening at Greenwich", 0, "2026-11-25T20:00:00Z", "2026-11-25"},
		{"after midnight", 0, "2026-11-26T03:00:00Z", "2026-11-25"},
		{"the morning after", 0, "2026-11-26T11:59:00Z", "2026-11-25"},
		{"noon", 0, "2026-11-26T12:00:00Z", "2026-11-26"},
		{"evening far in the east", 175, "2026-11-25T08:00:00Z", "2026-11-25"},    // 19:40 there
		{"after midnight in the east", 175, "2026-11-25T15:00:00Z", "2026-11-25"}, // 02:40 on the 26th
		{"evening far in the west", -150, "2026-11-26T06:00:00Z", "2026-11-25"},   // 20:00 on the 25th
		{"before a new year in the west", -150, "2027-01-01T06:00:00Z", "2026-12-31"},
	} {
		site, err := ephem.NewSite(46, row.lonDeg, 0)
		if err != nil {
			t.Fatal(err)
		}
		now, err := time.Parse(time.RFC3339, row.utc)
		if err != nil {
			t.Fatal(err)
		}
		if got := dateAt(site, now).Format(time.DateOnly); got != row.want {
			t.Errorf("%s: %s, want %s", row.name, got, row.want)
		}
	}
}

func TestRounded(t *testing.T) {
	for n, want := range map[int]string{0: "0", 7: "7", 99: "99", 346: "350", 46137: "46 000", 1_249_000: "1 200 000", 999: "1000"} {
		if got := rounded(n); got != want {
			t.Errorf("rounded(%d) = %q, want %q", n, got, want)
		}
	}
}

func TestToward(t *testing.T) {
	for deg, want := range map[float64]string{0: "north", 22: "north", 23: "north-east", 90: "east", 180: "south", 315: "north-west", 350: "north", 360: "north"} {
		if got := toward(deg); got != want {
			t.Errorf("toward(%g) = %q, want %q", deg, got, want)
		}
	}
}
