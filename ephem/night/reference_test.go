package night

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// row is one line of a reference file under testdata/authorities, by column.
type row struct {
	t     *testing.T
	value map[string]string
}

func reference(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "authorities", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil || len(records) < 2 {
		t.Fatalf("%s: %d lines, %v", name, len(records), err)
	}
	var rows []row
	for _, record := range records[1:] {
		x := row{t, map[string]string{}}
		for j, column := range records[0] {
			x.value[column] = record[j]
		}
		rows = append(rows, x)
	}
	return rows
}

func (r row) number(column string) float64 {
	r.t.Helper()
	x, err := strconv.ParseFloat(r.value[column], 64)
	if err != nil {
		r.t.Fatal(err)
	}
	return x
}

func (r row) time(column, layout string) time.Time {
	r.t.Helper()
	t, err := time.Parse(layout, r.value[column])
	if err != nil {
		r.t.Fatal(err)
	}
	return t
}

func (r row) site() ephem.Site {
	r.t.Helper()
	s, err := ephem.NewSite(r.number("lat"), r.number("lon"), r.number("height_m"))
	if err != nil {
		r.t.Fatal(err)
	}
	return s
}

// known is one night of the reference: the site, the date, and its lines.
type known struct {
	name string
	site ephem.Site
	date time.Time
	rows []row
}

func knownNights(t *testing.T) []known {
	var all []known
	for _, r := range reference(t, "night_events.csv") {
		name := r.value["lat"] + " on " + r.value["date"]
		if len(all) == 0 || all[len(all)-1].name != name {
			all = append(all, known{name, r.site(), r.time("date", time.DateOnly), nil})
		}
		all[len(all)-1].rows = append(all[len(all)-1].rows, r)
	}
	return all
}

// The contract: a minute of time, or a quarter of a minute of arc where a body grazes its
// limit and time says little.
const (
	tolerance        = 60 * time.Second
	grazingTolerance = 0.25 // minutes of arc of the Sun's altitude
	moonTolerance    = 1.0  // and of the Moon's, the contract's for its direction
)

// events are those of a night, as the reference names them.
func events(n Night) map[string]*time.Time {
	return map[string]*time.Time{
		"sun down": n.Sunset, "sun up": n.Sunrise, "civil down": n.CivilEnd, "civil up": n.CivilStart,
		"nautical down": n.NauticalEnd, "nautical up": n.NauticalStart, "dark down": n.DarkFrom, "dark up": n.DarkTo,
		"moon down": n.Moon.Set, "moon up": n.Moon.Rise,
	}
}

var limits = map[string]quantity{
	"sun": sunAbove(sunDown), "civil": sunAbove(civil), "nautical": sunAbove(nautical), "dark": sunAbove(dark), "moon": moonAbove,
}

// Every event astropy has must be found, and none that it has not, unless the body
// passes its limit by less than the tolerance.
func TestEventsAgreeWithAstropy(t *testing.T) {
	var off time.Duration
	checked, grazed := 0, 0
	for _, k := range knownNights(t) {
		n, err := Of(k.site, ephem.Air{}, k.date.Year(), k.date.Month(), k.date.Day(), Options{})
		if err != nil {
			t.Fatalf("%s: %v", k.name, err)
		}
		w := &watch{site: k.site}
		// above is how far a body stands over its limit at an instant, in minutes of arc.
		above := func(what string, at time.Time) float64 { return unit.Angle(limits[what](w.look(at))).Min() }
		got := events(n)
		for _, r := range k.rows {
			what, way := r.value["what"], r.value["way"]
			if way == "" {
				continue
			}
			want := r.time("utc", time.RFC3339)
			if want.Before(n.Noon) || want.After(n.NextNoon) {
				continue
			}
			event := what + " " + way
			at := got[event]
			delete(got, event)
			checked++
			if at != nil && at.Sub(want).Abs() <= tolerance {
				off = max(off, at.Sub(want).Abs())
				continue
			}
			limit := grazingTolerance
			if what == "moon" {
				limit = moonTolerance
			}
			grazed++
			if a := above(what, want); !(math.Abs(a) <= limit) {
				t.Errorf("%s, %s: %v, want %v (%.2f′ over the limit then)", k.name, event, at, want, a)
			}
		}
		for event, at := range got {
			if at != nil {
				t.Errorf("%s: %s at %v, which astropy has not", k.name, event, at)
			}
		}
	}
	t.Logf("%d events, %d of them grazing; the others within %v", checked, grazed, off)
	if checked < 300 {
		t.Errorf("only %d events", checked)
	}
}

func TestSunRangeAndMoonAgreeWithAstropy(t *testing.T) {
	// The reference is half a step, 15 s, from the turning point at the most, which is 0.02′ at
	// 80° from the horizon; nearer the zenith and nadir it turns too sharply for it. The rest is
	// the Sun's place.
	const rangeArcmin, sharpDeg = 0.1, 80
	// Two hundredths of a degree of the Moon's elongation turn by a minute of ΔT.
	const share = 0.0005
	for _, k := range knownNights(t) {
		n, err := Of(k.site, ephem.Air{}, k.date.Year(), k.date.Month(), k.date.Day(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range k.rows {
			if what := r.value["what"]; r.value["value"] == "" || what != "lit" && math.Abs(r.number("value")) > sharpDeg {
				continue
			}
			var d, limit float64
			switch r.value["what"] {
			case "lowest":
				d, limit = n.SunLowest.Min()-60*r.number("value"), rangeArcmin
			case "highest":
				d, limit = n.SunHighest.Min()-60*r.number("value"), rangeArcmin
			case "lit":
				d, limit = n.Moon.Illuminated-r.number("value"), share
			}
			if math.Abs(d) > limit {
				t.Errorf("%s, %s: off by %g", k.name, r.value["what"], d)
			}
		}
	}
}

// The target without air, since the reference has none.
func TestTargetAgreesWithAstropy(t *testing.T) {
	const (
		seconds      = 3 * time.Second // written to a second, by straight lines over 30 s
		altitudeDeg  = 0.002           // at the nearest 30 s, and UT1
		separatedDeg = 0.02            // written to 0.01°, and the Moon's 0.3′
	)
	orion := ephem.Direction(unit.RAFromDeg(83.85), unit.AngleFromDeg(-5.45))
	for _, r := range reference(t, "tonight.csv") {
		date := r.time("noon", "2006-01-02T15:04:05")
		n, err := Of(r.site(), ephem.Air{}, date.Year(), date.Month(), date.Day(), Options{Target: &orion, MinAltitude: unit.AngleFromDeg(25)})
		if err != nil {
			t.Fatal(err)
		}
		at := r.time("utc", time.RFC3339)
		switch r.value["what"] {
		case "target":
			w := &watch{site: r.site(), target: &orion}
			w.scan(n.Noon, n.NextNoon)
			near := false
			for _, c := range w.crossings(targetAbove(unit.AngleFromDeg(25))) {
				near = near || c.at.Sub(at).Abs() <= seconds && c.up == (r.value["way"] == "up")
			}
			if !near && at.After(n.Noon) && at.Before(n.NextNoon) {
				t.Errorf("%v: the target does not pass 25°", at)
			}
		case "highest":
			if d := n.Target.Highest.Deg() - r.number("value_deg"); math.Abs(d) > altitudeDeg {
				t.Errorf("%v: highest %.4f°, off by %.4f°", date, n.Target.Highest.Deg(), d)
			}
		case "moon distance":
			if n.Target.Best == nil || n.Target.Best.Sub(at).Abs() > time.Minute {
				continue // the reference has it for the highest by day
			}
			if d := n.Target.MoonSeparation.Deg() - r.number("value_deg"); math.Abs(d) > separatedDeg {
				t.Errorf("%v: %.3f° from the Moon, off by %.3f°", date, n.Target.MoonSeparation.Deg(), d)
			}
		}
	}
}
