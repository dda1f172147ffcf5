package answer

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// with says something of every picture of a sequence.
func with(q drift.Sequence, say func(i int, s *drift.Shot, c *frame.Clock)) drift.Sequence {
	q.Shots = slices.Clone(q.Shots)
	for i := range q.Shots {
		c := *q.Shots[i].Clock
		say(i, &q.Shots[i], &c)
		q.Shots[i].Clock = &c
	}
	return q
}

func placedAt(lat, lon float64) func(int, *drift.Shot, *frame.Clock) {
	return func(_ int, s *drift.Shot, _ *frame.Clock) {
		site, _ := ephem.NewSite(lat, lon, 500)
		s.Place = &site
	}
}

// behind is a camera's clock so much behind GPS times that go along with it.
func behind(by time.Duration) func(int, *drift.Shot, *frame.Clock) {
	return func(_ int, _ *drift.Shot, c *frame.Clock) {
		c.Start = c.Start.Add(-by)
		c.Told = frame.Told{Zone: frame.ZoneInFile, HasFix: true, Ahead: -by}
	}
}

// What contradicts place and time comes first, says what the other would change – held to the answer itself, asked with the other – and
// keeps a turn from being ordered where it would be another.
func TestContradictions(t *testing.T) {
	north := ephem.Site{Latitude: unit.AngleFromDeg(46), Longitude: unit.AngleFromDeg(7), HeightM: 500}
	at := func(lat, lon float64) ephem.Site {
		s, _ := ephem.NewSite(lat, lon, 500)
		return s
	}
	for _, row := range []struct {
		name  string
		set   func(*simulate.Evening)
		said  func(int, *drift.Shot, *frame.Clock)
		site  ephem.Site
		kind  string     // empty: none
		used  ephem.Site // by the answer
		other ephem.Site // the same for another time:
		later time.Duration
		asks  bool
	}{
		{"all agree", nil, placedAt(46, 7), north, "", north, north, 0, false},
		{"a sign", nil, placedAt(46, 7), at(-46, 7), "site", north, at(-46, 7), 0, true},
		{"exchanged", nil, placedAt(46, 7), at(7, 46), "site", north, at(7, 46), 0, true},
		{"800 km east", nil, placedAt(46, 7), at(46, 17.5), "site", at(46, 17.5), north, 0, true},
		{"800 km east, axis at the pole", func(e *simulate.Evening) {
			e.Mount.AltitudeError, e.Mount.AzimuthError = 0, unit.AngleFromMin(3)
		}, placedAt(46, 7), at(46, 17.5), "site", at(46, 17.5), north, 0, false},
		{"an hour behind GPS", nil, behind(time.Hour), north, "clock", north, north, time.Hour, true},
		{"six minutes behind GPS", nil, behind(6 * time.Minute), north, "clock", north, north, 6 * time.Minute, false},
		{"three minutes behind GPS, axis near the pole", func(e *simulate.Evening) {
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(20), 0
		}, behind(3 * time.Minute), north, "", north, north, 0, false},
		{"another zone given", nil, func(_ int, _ *drift.Shot, c *frame.Clock) {
			c.Told = frame.Told{Zone: frame.ZoneInFile, Against: true, Given: -2 * time.Hour}
		}, north, "clock", north, north, 2 * time.Hour, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, q, _ := practice(t, 46, func(e *simulate.Evening) {
				e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(24), 0, unit.AngleFromDeg(18), 0, unit.AngleFromDeg(-39)}
				e.Count = 6
				if row.set != nil {
					row.set(e)
				}
			})
			q = with(q, row.said)
			a := New(q, Options{Site: &row.site})
			if a.Err != nil {
				t.Fatal(a.Err)
			}
			first := ""
			if len(a.Situations) > 0 && (a.Situations[0].Kind == "site" || a.Situations[0].Kind == "clock") {
				first = a.Situations[0].Kind
			}
			if first != row.kind || row.kind == "" && len(a.Situations) > 0 {
				t.Fatalf("situations %v, want %q first", a.Situations, row.kind)
			}
			if *a.Site != row.used {
				t.Errorf("reckoned for %v, want %v", a.Site, row.used)
			}
			checkAsked(t, a, row.asks)
			if row.kind == "" {
				return
			}
			sure := with(q, func(_ int, s *drift.Shot, c *frame.Clock) {
				s.Place, c.Told, c.Start = nil, frame.Told{}, c.Start.Add(row.later)
			})
			checkEffect(t, a, New(sure, Options{Site: &row.other}))
		})
	}
}

// checkAsked: the question is the first sentence, and with it no turn is ordered.
func checkAsked(t *testing.T, a Answer, asks bool) {
	t.Helper()
	text, ask := a.Advice.NextText, a.Measured.Question.Ask
	question := !ask.None() && strings.Contains(text, "["+ask.String()+"]")
	if ordered := *a.Advice.Next == "turn"; question != asks || ordered && asks || asks && a.Advice.Trustworthy {
		t.Errorf("next %q, trustworthy %v, %q; want a question %v", *a.Advice.Next, a.Advice.Trustworthy, text, asks)
	}
}

// checkEffect holds what the first situation says the turns would be to an answer with the other place or time.
func checkEffect(t *testing.T, a, other Answer) {
	t.Helper()
	// Refraction, which the closed form leaves as it is, makes the rest: seen up to 2.4′ with latitudes exchanged.
	const rigid = 3
	if other.Err != nil {
		t.Fatal(other.Err)
	}
	alt, az := *other.Advice.TurnAltitudeArcmin-*a.Advice.TurnAltitudeArcmin, *other.Advice.TurnAzimuthArcmin-*a.Advice.TurnAzimuthArcmin
	want := math.Hypot(alt, az*math.Cos(46*math.Pi/180))
	by, ok := movedIn(a.Faults[0].Says)
	if !ok {
		t.Fatalf("nothing is said of what it would change: %v", a.Faults[0].Says)
	}
	if math.Abs(by.Min()-want) > rigid {
		t.Errorf("by %.1f′, but the other answer differs by %.1f′", by.Min(), want)
	}
}

// movedIn is by how much a line says the axis would move, first.
func movedIn(l say.Line) (by unit.Angle, ok bool) {
	switch l.Key {
	case "other moves the axis":
		return l.With[1].(unit.Angle), true
	case "other leaves the axis":
		return 0, true
	}
	for _, w := range l.With {
		parts, _ := w.([]say.Line)
		for _, p := range parts {
			if by, ok = movedIn(p); ok {
				return by, ok
			}
		}
	}
	return 0, false
}

// What place and zone rest on is told where nothing confirms them.
func TestRests(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) { e.Count = 6 })
	given := say.Of("site as given")
	fix := frame.Told{Zone: frame.ZoneInFile, HasFix: true, Ahead: time.Second}
	for _, row := range []struct {
		name  string
		told  frame.Told
		place bool
		site  *ephem.Site
		want  []say.Line
	}{
		{"file and flag", frame.Told{Zone: frame.ZoneInFile}, false, &site, []say.Line{say.Of("zone as in the pictures"), given}},
		{"flags alone", frame.Told{Zone: frame.ZoneAsGiven}, false, &site, []say.Line{say.Of("zone as given"), given}},
		{"FITS", frame.Told{Zone: frame.ZoneUTC}, false, &site, []say.Line{say.Of("times taken for UTC"), given}},
		{"a table", frame.Told{Zone: frame.ZoneTable}, false, &site, []say.Line{say.Of("times as in the table"), given}},
		{"place in the pictures", frame.Told{Zone: frame.ZoneInFile}, true, nil, []say.Line{say.Of("zone as in the pictures")}},
		{"GPS time, site given", fix, false, &site, []say.Line{given}},
		{"GPS confirms both", fix, true, &site, nil},
		{"nothing known, as of old", frame.Told{}, false, &site, []say.Line{given}},
	} {
		said := with(q, func(i int, s *drift.Shot, c *frame.Clock) {
			if c.Told = row.told; row.place {
				placedAt(46, 7)(i, s, c)
			}
		})
		var got []say.Line
		for _, n := range Find(said, Options{Site: row.site}).Advice.Notes {
			got = append(got, restsIn(n.Says)...)
		}
		if !slices.EqualFunc(got, row.want, say.Line.Same) {
			t.Errorf("%s: %v, want %v", row.name, got, row.want)
		}
	}
}

// restsIn are the parts of a line that say what place and time rest on.
func restsIn(l say.Line) (all []say.Line) {
	parts := []say.Line{l}
	if len(l.With) == 1 {
		if several, ok := l.With[0].([]say.Line); ok {
			parts = several
		}
	}
	for _, p := range parts {
		switch p.Key {
		case "zone as in the pictures", "zone as given", "times taken for UTC", "times as in the table", "site as given":
			all = append(all, p)
		}
	}
	return all
}
