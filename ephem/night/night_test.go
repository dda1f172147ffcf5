package night

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/meeus/v3/julian"
	"github.com/soniakeys/meeus/v3/sidereal"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

func site(t testing.TB, lat, lon float64) ephem.Site {
	t.Helper()
	s, err := ephem.NewSite(lat, lon, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// of is the night of a date at longitude 25° east, without air.
func of(t testing.TB, lat float64, date string, o Options) Night {
	t.Helper()
	d, err := time.Parse(time.DateOnly, date)
	if err != nil {
		t.Fatal(err)
	}
	n, err := Of(site(t, lat, 25), ephem.Air{}, d.Year(), d.Month(), d.Day(), o)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// keys are what is said of a night.
func keys(n Night) string {
	var all []string
	for _, l := range n.Notes {
		all = append(all, string(l.Key))
	}
	return strings.Join(all, "\n")
}

// The figures said are those found: midsummer at 60° N, where the Sun's depth at midnight is 90° less latitude and declination, 6.6°.
func TestFiguresSaid(t *testing.T) {
	n := of(t, 60, "2026-06-21", Options{})
	want := say.Of("it does not get dark", say.Degrees(-n.SunLowest), say.Degrees(unit.AngleFromDeg(18)))
	if len(n.Notes) == 0 || !n.Notes[0].Same(want) || math.Abs(n.SunLowest.Deg()+90-60-23.4) > 0.1 {
		t.Errorf("%v, the Sun at %.2f°", n.Notes, n.SunLowest.Deg())
	}
}

// Which events happen, and what is said where one does not, by what is known of the seasons:
// the Sun's depth at midnight is 90° less latitude and declination.
func TestSeasons(t *testing.T) {
	for _, c := range []struct {
		name, date string
		lat        float64
		happens    string // sunset, dark from, dark to, sunrise
		dark       bool
		note       string
	}{
		{"autumn at mid latitude", "2026-11-25", 46, "sdDr", true, ""},
		{"midsummer without darkness", "2026-06-21", 60, "s..r", false, "it does not get dark"},
		{"midnight Sun", "2026-06-21", 71, "....", false, "the Sun does not set"},
		{"midwinter without sunrise", "2026-12-21", 71, ".dD.", true, "the Sun does not rise"},
		{"dark all day", "2026-12-21", 88, "....", true, "it is dark all day"},
		{"northern summer in the far south", "2026-06-21", -78, ".dD.", true, "the Sun does not rise"},
		{"southern summer in the far south", "2026-12-21", -78, "....", false, "the Sun does not set"},
		{"equator", "2026-03-20", 0, "sdDr", true, ""},
		{"the pole at midsummer", "2026-06-21", 90, "....", false, "the Sun does not set"},
		{"the south pole in its winter", "2026-06-21", -90, "....", true, "it is dark all day"},
		{"the last sunset at the pole", "2026-09-24", 90, "s...", false, "the Sun sets and does not rise again"},
	} {
		n := of(t, c.lat, c.date, Options{})
		got := ""
		for i, at := range []*time.Time{n.Sunset, n.DarkFrom, n.DarkTo, n.Sunrise} {
			if at == nil {
				got += "."
			} else {
				got += "sdDr"[i : i+1]
			}
		}
		if got != c.happens || n.Dark != nil != c.dark {
			t.Errorf("%s: %s, dark %v; want %s", c.name, got, n.Dark, c.happens)
		}
		if said := keys(n); !strings.Contains(said, c.note) || c.note == "" && strings.Contains(said, "Sun") {
			t.Errorf("%s: notes %q, want %q", c.name, n.Notes, c.note)
		}
	}
}

// The date is that of the afternoon at the site, whichever UTC says.
func TestDateIsThatOfTheAfternoonAtTheSite(t *testing.T) {
	for _, lon := range []float64{-180, -157.8, -71, 0, 7.75, 100, 179.9, 180} {
		n, err := Of(site(t, 20, lon), ephem.Air{}, 2026, time.November, 25, Options{})
		if err != nil {
			t.Fatal(err)
		}
		mean := func(at time.Time) time.Time {
			return at.Add(time.Duration(lon / 15 * float64(time.Hour)))
		}
		if s := mean(*n.Sunset); s.Day() != 25 || s.Hour() < 16 || s.Hour() > 18 {
			t.Errorf("longitude %g: sunset at %v mean solar time", lon, s)
		}
		if s := mean(*n.Sunrise); s.Day() != 26 {
			t.Errorf("longitude %g: sunrise at %v mean solar time", lon, s)
		}
		for at, want := range map[time.Time]int{n.Noon.Add(time.Hour): 25, *n.Sunrise: 25, n.NextNoon.Add(time.Hour): 26, n.Noon.Add(-time.Hour): 24} {
			if got := DateAt(site(t, 20, lon), at); got.Day() != want {
				t.Errorf("longitude %g: %v belongs to the night of %v, want the %dth", lon, at, got, want)
			}
		}
	}
}

// Counting by hand: in 100 s with 10 s of pause there is room for exposures of 30 s at 0–30,
// 40–70, and one more from 80 would end at 110.
func TestExposuresThatFit(t *testing.T) {
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name                    string
		length, exposure, pause time.Duration
		want                    int
	}{
		{"one too many does not", 100 * time.Second, 30 * time.Second, 10 * time.Second, 2},
		{"the last needs no pause after it", 110 * time.Second, 30 * time.Second, 10 * time.Second, 3},
		{"without a pause", 100 * time.Second, 25 * time.Second, 0, 4},
		{"longer than the window", 100 * time.Second, 101 * time.Second, 50 * time.Second, 0},
		{"exactly one", 100 * time.Second, 100 * time.Second, time.Hour, 1},
		{"none wanted", 100 * time.Second, 0, time.Second, 0},
	} {
		n := Night{Dark: &Span{at, at.Add(c.length)}}
		n.count(Options{Exposure: c.exposure, Pause: c.pause})
		if n.Exposures != c.want || n.IntegrationS != float64(c.want)*c.exposure.Seconds() {
			t.Errorf("%s: %d, %g s", c.name, n.Exposures, n.IntegrationS)
		}
	}
	n := Night{Dark: &Span{at, at.Add(time.Hour)}, Target: &Target{}}
	if n.count(Options{Exposure: time.Second}); n.Exposures != 0 {
		t.Errorf("%d exposures of a target that is never high enough", n.Exposures)
	}
}

// Where targets stand, by declination and latitude alone.
func TestTargets(t *testing.T) {
	for _, c := range []struct {
		name      string
		lat       float64
		date      string
		raDeg     float64
		decDeg    float64
		limitDeg  float64
		windows   int
		best      bool
		highest   float64 // 90° − |latitude − declination|
		note      string
		whole     bool // the window is the darkness
		mustCross bool
	}{
		{"circumpolar all night", 60, "2026-12-10", 30, 89, 50, 1, true, 61, "", true, true},
		{"never rises", 46, "2026-12-10", 15, -73, 25, 0, false, -29, "the target never rises", false, true},
		{"never high enough", 46, "2026-12-10", 84, -5.4, 60, 0, true, 38.6, "the target stays under the limit", false, true},
		{"up by day only", 0, "2026-06-10", 80, 22, 25, 0, false, 68, "the target is up while it is not dark", false, true},
		{"above the limit at dusk and at dawn", 60, "2026-12-10", 90 + 180, 40, 25, 2, true, 70, "the target is above the limit more than once", false, true},
		{"no darkness", 60, "2026-06-21", 279, 38.8, 25, 0, true, 68.8, "the target's best time is not dark", false, true},
		{"midnight Sun", 78, "2026-06-21", 279, 38.8, 25, 0, false, 50.8, "the Sun does not set", false, true},
	} {
		target := ephem.Direction(unit.RAFromDeg(c.raDeg), unit.AngleFromDeg(c.decDeg))
		n := of(t, c.lat, c.date, Options{Target: &target, MinAltitude: unit.AngleFromDeg(c.limitDeg), Exposure: time.Minute})
		g := n.Target
		if len(g.Windows) != c.windows || g.Window != nil != (c.windows > 0) || g.Best != nil != c.best || g.Meridian == nil {
			t.Errorf("%s: windows %v, best %v, meridian %v", c.name, g.Windows, g.Best, g.Meridian)
		}
		const precession = 0.2 // degrees in 26 years
		if math.Abs(g.Highest.Deg()-c.highest) > precession {
			t.Errorf("%s: %.2f° at the highest, want %g°", c.name, g.Highest.Deg(), c.highest)
		}
		if !strings.Contains(keys(n), c.note) {
			t.Errorf("%s: notes %q, want %q", c.name, n.Notes, c.note)
		}
		if c.whole && *g.Window != *n.Dark {
			t.Errorf("%s: window %v in the darkness %v", c.name, g.Window, n.Dark)
		}
		if n.Exposures > 0 != (c.windows > 0) {
			t.Errorf("%s: %d exposures", c.name, n.Exposures)
		}
	}
}

func TestRefusals(t *testing.T) {
	up := r3.Vec{Z: 1}
	for _, c := range []struct {
		name string
		year int
		site ephem.Site
		air  ephem.Air
		o    Options
		is   error
	}{
		{"too early", 1899, ephem.Site{}, ephem.Air{}, Options{}, ephem.ErrDate},
		{"too late", 2101, ephem.Site{}, ephem.Air{}, Options{}, ephem.ErrDate},
		{"no date at all", -1 << 40, ephem.Site{}, ephem.Air{}, Options{}, ephem.ErrDate},
		{"no place", 2026, ephem.Site{Latitude: unit.Angle(math.NaN())}, ephem.Air{}, Options{}, ephem.ErrSite},
		{"no air", 2026, ephem.Site{}, ephem.Air{PressureHPa: -1}, Options{}, ephem.ErrAir},
		{"no limit", 2026, ephem.Site{}, ephem.Air{}, Options{MinAltitude: unit.Angle(math.NaN())}, ErrOption},
		{"limit above the zenith", 2026, ephem.Site{}, ephem.Air{}, Options{MinAltitude: 2}, ErrOption},
		{"negative exposure", 2026, ephem.Site{}, ephem.Air{}, Options{Exposure: -1}, ErrOption},
		{"negative pause", 2026, ephem.Site{}, ephem.Air{}, Options{Pause: -1}, ErrOption},
		{"no direction", 2026, ephem.Site{}, ephem.Air{}, Options{Target: &r3.Vec{}}, ErrOption},
	} {
		if c.o.Target == nil {
			c.o.Target = &up
		}
		n, err := Of(c.site, c.air, c.year, time.June, 21, c.o)
		if err == nil || !errors.Is(err, c.is) || amiss.Ways(err) == nil {
			t.Errorf("%s: %T %v", c.name, err, err)
		}
		if n.Heights != nil {
			t.Errorf("%s: an answer beside the error", c.name)
		}
	}
}

// Example 15.a of J. Meeus, Astronomical Algorithms, 2nd ed., p. 103: Venus over Boston on 1988
// March 20, from its places on three days, put through this package's search. The book
// stops after one correction; its own figures have five decimals of a day (0.9 s).
func TestMeeusRisingAndSetting(t *testing.T) {
	const correctionLeft = 2 * time.Second
	ra := [3]float64{unit.NewRA(2, 42, 43.25).Deg(), unit.NewRA(2, 46, 55.51).Deg(), unit.NewRA(2, 51, 7.69).Deg()}
	dec := [3]float64{unit.NewAngle(' ', 18, 2, 51.4).Deg(), unit.NewAngle(' ', 18, 26, 27.3).Deg(), unit.NewAngle(' ', 18, 49, 38.7).Deg()}
	boston := ephem.Site{Latitude: unit.NewAngle(' ', 42, 20, 0), Longitude: unit.NewAngle('-', 71, 5, 0)}
	start := time.Date(1988, 3, 20, 0, 0, 0, 0, time.UTC)
	const deltaT = 56 * time.Second
	venus := func(l look) (sinAltitude, hour float64) {
		n := float64(l.at.Add(deltaT).Sub(start)) / float64(24*time.Hour)
		between := func(y [3]float64) unit.Angle { // eq. 3.3
			a, b := y[1]-y[0], y[2]-y[1]
			return unit.AngleFromDeg(y[1] + n/2*(a+b+n*(b-a)))
		}
		hour = math.Remainder(sidereal.Apparent(julian.TimeToJD(l.at)).Rad()+boston.Longitude.Rad()-between(ra).Rad(), 2*math.Pi)
		sf, cf := boston.Latitude.Sincos()
		sd, cd := between(dec).Sincos()
		return sf*sd + cf*cd*math.Cos(hour), hour
	}
	w := &watch{site: boston}
	w.scan(start, start.Add(24*time.Hour))
	h0 := math.Sin(-0.5667 * math.Pi / 180)
	down, up := both(w.crossings(func(l look) float64 { s, _ := venus(l); return s - h0 }))
	transit := w.settle(start.Add(18*time.Hour), start.Add(21*time.Hour), func(l look) float64 { _, h := venus(l); return h })
	for _, c := range []struct {
		what string
		at   *time.Time
		day  float64
	}{{"rising", up, 0.51766}, {"transit", &transit, 0.81980}, {"setting", down, 0.12130}} {
		want := start.Add(time.Duration(c.day * float64(24*time.Hour)))
		if c.at == nil || c.at.Sub(want).Abs() > correctionLeft {
			t.Errorf("%s: %v, the book has %v", c.what, c.at, want)
		}
	}
}

// What comes up and goes within a step is found, and a near miss is not.
func TestCrossingsBetweenTwoLooks(t *testing.T) {
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	w := &watch{}
	for i := range 13 {
		w.looks = append(w.looks, w.look(start.Add(time.Duration(i)*Step)))
	}
	minutes := func(l look) float64 { return l.at.Sub(start).Minutes() }
	for _, sign := range []float64{1, -1} {
		for _, c := range []struct {
			name   string
			middle float64 // minutes
			depth  float64 // in units in which a minute off the middle is 1e-4
			want   int
		}{
			{"between two looks", 22.3, 1e-4, 2}, {"on a look", 25, 1e-4, 2}, {"in the first step", 1.2, 1e-4, 2},
			{"in the last step", 58.9, 1e-4, 2}, {"for four seconds", 32.1, 1e-7, 2}, {"not quite", 32.1, -1e-7, 0},
			{"over several looks", 30, 1e-2, 2},
		} {
			q := func(l look) float64 { return sign * (1e-4*math.Pow(minutes(l)-c.middle, 2) - c.depth) }
			cs := w.crossings(q)
			if len(cs) != c.want {
				t.Errorf("%s, sign %g: %v", c.name, sign, cs)
				continue
			}
			for i, x := range cs {
				half := math.Sqrt(c.depth / 1e-4)
				want := c.middle + []float64{-half, half}[i]
				if off := x.at.Sub(start).Minutes() - want; math.Abs(off) > 0.001 || x.up != (i == 1 == (sign > 0)) {
					t.Errorf("%s, sign %g: %v, off by %g min", c.name, sign, x, off)
				}
			}
		}
	}
}

// FuzzNight: whatever the place, day and target, events stand in their order, and at each
// the sky is what the event says.
func FuzzNight(f *testing.F) {
	for _, k := range [][6]float64{{46, 7.75, 9800, 84, -5, 25}, {60, 25, 9668, 279, 39, 25}, {71, 25, 9851, 0, 89, 60}, {-78, 167, 9668, 0, -90, 0},
		{90, 0, 9762, 10, 90, -90}, {-90, 180, 9762, 200, 0, 89}, {0, -180, 1, 300, 30, 30}, {66.6, -20, 9668, 100, -60, 5}, {89.5, 12, 9574, 1, 1, 1}, {85, 0, 9585, 0, 40, 44}} {
		f.Add(k[0], k[1], int(k[2]), k[3], k[4], k[5])
	}
	f.Fuzz(func(t *testing.T, lat, lon float64, day int, ra, dec, limit float64) {
		s, err := ephem.NewSite(lat, lon, 0)
		if err != nil || day < 1 || day > 36000 || !(math.Abs(ra) < 1000) || !(math.Abs(dec) <= 90) || !(math.Abs(limit) <= 90) {
			return
		}
		target := ephem.Direction(unit.RAFromDeg(ra), unit.AngleFromDeg(dec))
		date := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day)
		n, err := Of(s, ephem.StandardAir(0), date.Year(), date.Month(), date.Day(), Options{Target: &target, MinAltitude: unit.AngleFromDeg(limit), Exposure: time.Minute})
		if err != nil {
			t.Fatal(err)
		}
		checkOrder(t, n)
		checkLimits(t, s, n)
		checkWindows(t, s, n, target, unit.AngleFromDeg(limit))
	})
}

// checkOrder: dusk falls, dawn rises, all between the two noons. Nearer a pole than 80° the
// Sun may pass a limit again, and less is known.
func checkOrder(t *testing.T, n Night) {
	t.Helper()
	order := []*time.Time{&n.Noon, n.Sunset, n.CivilEnd, n.NauticalEnd, n.DarkFrom, n.DarkTo, n.NauticalStart, n.CivilStart, n.Sunrise, &n.NextNoon}
	if n.SunHighest-n.SunLowest < unit.AngleFromDeg(20) {
		order = nil
	}
	for _, at := range []*time.Time{n.Sunset, n.DarkFrom, n.DarkTo, n.Sunrise, n.Moon.Rise, n.Moon.Set, n.Target.Best, n.Target.Meridian} {
		if at != nil && (at.Before(n.Noon) || at.After(n.NextNoon)) {
			t.Errorf("%v is not between %v and %v", at, n.Noon, n.NextNoon)
		}
	}
	order = slices.DeleteFunc(order, func(at *time.Time) bool { return at == nil })
	if !slices.IsSortedFunc(order, func(a, b *time.Time) int { return a.Compare(*b) }) {
		t.Errorf("out of order: %v", order)
	}
	if d := n.NextNoon.Sub(n.Noon) - 24*time.Hour; d.Abs() > 31*time.Second { // the day's length changes by 30 s
		t.Errorf("noons %v apart", n.NextNoon.Sub(n.Noon))
	}
}

// checkLimits looks at the sky at each event.
func checkLimits(t *testing.T, s ephem.Site, n Night) {
	t.Helper()
	// The sky turns by 0.15″ in 10 ms.
	const closeArcmin = 0.01
	w := &watch{site: s}
	for event, at := range events(n) {
		what, _, _ := strings.Cut(event, " ")
		if at == nil {
			continue
		}
		if a := unit.Angle(limits[what](w.look(*at))).Min(); math.Abs(a) > closeArcmin {
			t.Errorf("%s at %v: %.3f′ from the limit", event, at, a)
		}
	}
}

// checkWindows: inside the window it is dark and the target above the limit, and none but
// the windows is so; nothing stands higher than the highest.
func checkWindows(t *testing.T, s ephem.Site, n Night, target r3.Vec, limit unit.Angle) {
	t.Helper()
	const slack = 1e-6 // radians, 0.2″: the edges
	w := &watch{site: s, air: ephem.StandardAir(0), target: &target}
	for at := n.Noon.Add(37 * time.Second); at.Before(n.NextNoon); at = at.Add(13*time.Minute + 7*time.Second) {
		l := w.look(at)
		over, below := targetAbove(limit)(l), -sunAbove(dark)(l)
		in := slices.ContainsFunc(n.Target.Windows, func(x Span) bool { return !at.Before(x.From) && !at.After(x.To) })
		if in && min(over, below) < -slack || !in && min(over, below) > slack {
			t.Errorf("%v: in a window %v, target %.4f° over the limit, Sun %.4f° under its", at, in, unit.Angle(over).Deg(), unit.Angle(below).Deg())
		}
		if seen := ephem.HorizontalOf(l.target).Altitude; (seen - n.Target.Highest).Rad() > slack {
			t.Errorf("%v: the target stands at %.4f°, above the highest, %.4f°", at, seen.Deg(), n.Target.Highest.Deg())
		}
	}
}

func BenchmarkNight(b *testing.B) {
	target := ephem.Direction(unit.RAFromDeg(83.85), unit.AngleFromDeg(-5.45))
	s := site(b, 46, 7.75)
	for b.Loop() {
		if _, err := Of(s, ephem.StandardAir(0), 2026, time.November, 25, Options{Target: &target, MinAltitude: 0.4, Exposure: time.Minute}); err != nil {
			b.Fatal(err)
		}
	}
}
