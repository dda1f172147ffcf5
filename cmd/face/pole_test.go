package face

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/pole"
)

// TestBeside: eight directions, each in the middle of its eighth; widths of the Moon (31.1′ in the mean).
func TestBeside(t *testing.T) {
	for _, row := range []struct {
		name            string
		rightMin, upMin float64
		want            string
	}{
		{"the issue's own", -44, 44, "2.0 Moon widths above and left of the pole"},
		{"above", 3, 62.2, "2.0 Moon widths above the pole"},
		{"below", -3, -31.1, "one Moon width below the pole"},
		{"right", 93.3, -8, "3.0 Moon widths right of the pole"},
		{"left", -93.3, 8, "3.0 Moon widths left of the pole"},
		{"below and right", 22, -22, "one Moon width below and right of the pole"},
		{"just no corner: 22°", 22 * 31.1 / 59.3, 28.8, "one Moon width above the pole"},
		{"just a corner: 23°", 31.1 * 0.3907, 31.1 * 0.9205, "one Moon width above and right of the pole"},
	} {
		if got := words.Line(beside(unit.AngleFromMin(row.rightMin), unit.AngleFromMin(row.upMin))); got != row.want {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}

func TestFists(t *testing.T) {
	for deg, want := range map[float64]string{0.5: "less than half a fist", 5: "about half a fist", 10: "about one fist", 33.9: "about 3½ fists", 46: "about 4½ fists", 60: "about 6 fists"} {
		if got := words.Line(fists(deg)); got != want {
			t.Errorf("%v°: %q, want %q", deg, got, want)
		}
	}
}

func TestMeridian(t *testing.T) {
	for deg, want := range map[float64]string{187.75: "172.2° W", -170: "170.0° W", 12.5: "12.5° E", 0: "0°", 180: "180°", -180: "180°", 359.99: "0°"} {
		if got := meridian(unit.AngleFromDeg(deg)); got != want {
			t.Errorf("%v°: %q, want %q", deg, got, want)
		}
	}
}

// at is the sign's place in a panel.
func (p panel) at(sign rune) (row, column int) {
	for row := range p {
		for column, s := range p[row] {
			if s == sign {
				return row, column
			}
		}
	}
	return -1, -1
}

// TestPanel: the drawing puts the star where the numbers do, whatever the hour and the height of the pole, and a finder's is the same
// turned by half a turn.
func TestPanel(t *testing.T) {
	for _, lat := range []float64{90, 60, 2, 0.6, 0, -0.3, -33, -78} {
		site, err := ephem.NewSite(lat, 20, 0)
		if err != nil {
			t.Fatal(err)
		}
		views, err := pole.Series(site, ephem.StandardAir(0), time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 20*time.Minute, 73)
		if err != nil {
			t.Fatal(err)
		}
		for i := range len(views) - 1 {
			now, then := views[i], views[i+1]
			perArcmin := starReach / max(arc(now).Min(), arc(then).Min())
			eye, horizon, _ := drawn(now, then, perArcmin)
			row, column := eye.at('*')
			// Half a sign is the rounding.
			dx, dy := float64(column-poleColumn)-now.Star.Right.Min()*perArcmin, float64(poleRow-row)-now.Star.Up.Min()*perArcmin/2
			if math.Abs(dx) > 0.5 || math.Abs(dy) > 0.5 {
				t.Fatalf("latitude %v°, hour angle %v: star at row %d, column %d", lat, now.Star.HourAngle.Hour(), row, column)
			}
			// The star is above the drawn horizon when it is above the true one, but for rounding of either.
			above := (now.Star.Up + now.Seen.Altitude).Min() * perArcmin / 2
			if math.Abs(above) > 1.1 && above > 0 != (row < horizon) {
				t.Errorf("latitude %v°: %v rows above the horizon, drawn in row %d with the horizon in %d", lat, above, row, horizon)
			}
			turnedRow, turnedColumn := eye.turned().at('*')
			if turnedRow != panelHigh-1-row || turnedColumn != panelWide-1-column {
				t.Errorf("latitude %v°: turned from %d, %d to %d, %d", lat, row, column, turnedRow, turnedColumn)
			}
		}
	}
}

// TestPoleFitsAPhone: no line is wider than the window of a phone's terminal turned sideways, at any latitude.
func TestPoleFitsAPhone(t *testing.T) {
	for _, lat := range []float64{90, 86.4, 60, 2, 0.6, 0, -0.3, -33, -78, -90} {
		site, _ := ephem.NewSite(lat, -162.8, 0)
		p, err := (&seeking{at: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}).find(&site)
		if err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		(&face{out: &text}).sayPole(p)
		for line := range strings.Lines(text.String()) {
			if n := seen(strings.TrimSuffix(line, "\n")); n > lineWidth {
				t.Errorf("latitude %v°: %d columns: %s", lat, n, line)
			}
		}
	}
}

// FuzzPoleTime: whatever is typed for a time is refused with a way out, or is an instant from 1900 to 2100 that has an answer.
func FuzzPoleTime(f *testing.F) {
	for _, s := range []string{"2026-11-25T21:30:00Z", "2026-11-25T22:30:00+01:00", "1900-01-01T00:00:00Z", "1900-01-01T00:30:00+01:00", "2100-12-31T23:59:59.999999999Z",
		"2030-01-01T00:00:00Z", "2029-12-31T23:59:59.999999999Z", "2029-12-31T23:59:59,5-23:59", "0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2026-02-29T00:00:00Z",
		"2016-12-31T23:59:60Z", "yesterday", "", "\x00", "2026-11-25T21:30:00", "２０２６-11-25T21:30:00Z"} {
		f.Add(s, 46.0)
		f.Add(s, -90.0)
	}
	f.Fuzz(func(t *testing.T, typed string, lat float64) {
		var s seeking
		if err := instant(&s.at).Set(typed); err != nil {
			if hint(err) == "" {
				t.Errorf("%q: %v without a way out", typed, err)
			}
			return
		}
		if y := s.at.Year(); y < 1900 || y > 2100 || s.at.Location() != time.UTC {
			t.Fatalf("%q was taken as %v", typed, s.at)
		}
		site, err := ephem.NewSite(lat, 7.75, 0)
		if err != nil {
			return
		}
		p, err := s.find(&site)
		if err != nil {
			t.Fatalf("%q: %v", typed, err)
		}
		if r := p.report(); r.Compass.DeclinationDeg == nil && p.mute == nil || len(r.Next) < 1 || r.UTC != s.at.Format(time.RFC3339Nano) {
			t.Errorf("%q: %+v", typed, r)
		}
		var text strings.Builder
		(&face{out: &text}).sayPole(p)
		if strings.Contains(text.String(), "NaN") {
			t.Errorf("%q:\n%s", typed, text.String())
		}
	})
}

// TestNoSite: the command line is at fault, and says how to mend it.
func TestNoSite(t *testing.T) {
	_, err := (&seeking{}).find(nil)
	if !errors.Is(err, errUsage) || hint(err) == "" {
		t.Errorf("%v", err)
	}
}
