package align

import (
	"testing"
	"time"

	"trueturn/ephem"
)

// TestAnsweredBy: an issue is known again by its values, give or take what two pictures differ by, and whoever vouched for place and clock
// together has vouched for an axis far off.
func TestAnsweredBy(t *testing.T) {
	at := func(lat, lon float64) ephem.Site {
		s, err := ephem.NewSite(lat, lon, 500)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	here, aside, away, other, otherAside := at(46, 7), at(46.1, 7.2), at(46, 20), at(-46, 7), at(-46.1, 7)
	place := Issue{RaisedByFiles, KindSite, here, &other, 0}
	hour := Issue{RaisedByFiles, KindClock, here, nil, time.Hour}
	sky, far := Issue{Raised: RaisedBySky, Site: here}, Issue{Raised: RaisedByFar, Site: here}
	for _, c := range []struct {
		name     string
		new, old Issue
		want     bool
	}{
		{"the same", place, place, true},
		{"a little aside", Issue{RaisedByFiles, KindSite, aside, &otherAside, 0}, place, true},
		{"another place", Issue{RaisedByFiles, KindSite, here, &away, 0}, place, false},
		{"reckoned with another site", Issue{RaisedByFiles, KindSite, away, &other, 0}, place, false},
		{"a minute more", Issue{RaisedByFiles, KindClock, here, nil, time.Hour + time.Minute}, hour, true},
		{"another hour", Issue{RaisedByFiles, KindClock, here, nil, 2 * time.Hour}, hour, false},
		{"the clock, after the place", hour, place, false},
		{"the sky, after the files", sky, hour, false},
		{"the sky, after the axis", sky, far, false},
		{"the axis, after the sky", far, sky, true},
		{"the axis, after the place alone", far, place, false},
		{"the axis, after the sky over another site", far, Issue{Raised: RaisedBySky, Site: away}, false},
	} {
		if got := c.new.AnsweredBy(c.old); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
