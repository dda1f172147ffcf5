package guide

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/stat/distuv"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

var updateStaged = flag.Bool("update-staged", false, "write testdata/staged.golden")

// mistake is something gone wrong with place, clock, hand, sky or motor, of ten pictures; invented, as people make them (common practice,
// no source).
type mistake struct {
	name   string
	set    func(e *simulate.Evening)
	before func(g *rig, i int)                  // done before picture i
	file   func(i int, s drift.Shot) drift.Shot // what the files say
	told   func(s ephem.Site) ephem.Site        // what the user gives for the site
	want   []align.Kind                         // any of these is right to be named
	hidden bool                                 // nothing can show it: what it would change must be told
}

const stagedPictures = 10

// stagedSwings go there and back and stand now and then.
var stagedSwings = []float64{0, 24, 0, 18, 0, -39, 0, 21, 0, -24}

func siteAt(lat, lon float64) ephem.Site {
	return ephem.Site{Latitude: unit.AngleFromDeg(lat), Longitude: unit.AngleFromDeg(lon), HeightM: 500}
}

// clocked changes what a file's clock says, without touching the shot's own.
func clocked(s drift.Shot, say func(c *frame.Clock)) drift.Shot {
	c := *s.Clock
	say(&c)
	s.Clock = &c
	return s
}

func geotag(s drift.Shot, at ephem.Site) drift.Shot { s.Place = &at; return s }

func fast(by time.Duration) func(*simulate.Evening) {
	return func(e *simulate.Evening) { e.Handling.ClockError = by }
}

func rate(r float64) func(*simulate.Evening) {
	return func(e *simulate.Evening) { e.Mount.Rate = r }
}

// atPicture does something once.
func atPicture(n int, do func(g *rig)) func(*rig, int) {
	return func(g *rig, i int) {
		if i == n {
			do(g)
		}
	}
}

// mistakes are those of a latitude.
func mistakes(lat float64) []mistake {
	const site, clock = align.KindSite, align.KindClock
	kinds := func(k ...align.Kind) []align.Kind { return k }
	home := siteAt(lat, 7)
	geotagged := func(_ int, s drift.Shot) drift.Shot { return geotag(s, home) }
	gps := func(behind time.Duration) func(int, drift.Shot) drift.Shot {
		return func(_ int, s drift.Shot) drift.Shot {
			return clocked(s, func(c *frame.Clock) {
				c.Start = c.Start.Add(-behind)
				c.Told = frame.Told{Zone: frame.ZoneInFile, HasFix: true, Ahead: -behind}
			})
		}
	}
	elsewhere := func(la, lo float64) func(ephem.Site) ephem.Site {
		return func(ephem.Site) ephem.Site { return siteAt(la, lo) }
	}
	at := func(la, lo float64) func(*simulate.Evening) {
		return func(e *simulate.Evening) {
			seen := ephem.Horizontal{Altitude: unit.AngleFromDeg(48), Azimuth: unit.AngleFromDeg(180)}
			if la < 0 {
				seen.Azimuth = 0
			}
			e.Site = siteAt(la, lo)
			there, err := e.Aimed(seen)
			if err != nil {
				panic(err) // the test's own table
			}
			*e = there
		}
	}
	min := unit.AngleFromMin
	setClock := func(at int, by time.Duration) func(*rig, int) {
		return atPicture(at, func(g *rig) { g.setClock(by) })
	}
	reAim := func(g *rig) {
		g.e.Handling.ReAims = append(g.e.Handling.ReAims, simulate.ReAim{Frame: g.taken, Target: g.e.Target, Roll: g.e.Roll})
	}
	lowOne := func(g *rig, i int) { // from 48° high in the meridian
		if i == 5 {
			g.swingBy(73)
		}
		if i == 6 {
			g.swingBy(-73)
		}
	}
	lagFrom := func(from, to int, share float64) func(*rig, int) {
		return func(g *rig, i int) {
			if i > 0 && i >= from && i < to {
				g.lag(share)
			}
		}
	}
	return []mistake{
		{name: "nothing"},
		{name: "site: sign of the latitude", told: elsewhere(-lat, 7), want: kinds(site, clock), hidden: true},
		{name: "site: sign of the longitude", told: elsewhere(lat, -70), set: at(lat, 70), want: kinds(site, clock)},
		{name: "site: exchanged", told: elsewhere(7, lat), want: kinds(site, clock), hidden: true},
		{name: "site: 800 km east", told: elsewhere(lat, 17.5), hidden: true},
		{name: "site: 600 km north", told: elsewhere(lat+5.4, 7), hidden: true},
		{name: "site: sign of the longitude, zone told", told: elsewhere(lat, -70), set: at(lat, 70), file: func(_ int, s drift.Shot) drift.Shot {
			return clocked(s, func(c *frame.Clock) { c.Told = frame.Told{Zone: frame.ZoneInFile, Offset: 5 * time.Hour} })
		}, want: kinds(site)},
		{name: "site: 90° east", told: elsewhere(lat, 97), want: kinds(site, clock)},
		{name: "site: sign, place in the files", told: elsewhere(-lat, 7), file: geotagged, want: kinds(site)},
		{name: "site: exchanged, place in the files", told: elsewhere(7, lat), file: geotagged, want: kinds(site)},
		{name: "site: 800 km east, place in the files", told: elsewhere(lat, 17.5), file: geotagged, want: kinds(site)},
		{name: "site: one file of elsewhere", file: func(i int, s drift.Shot) drift.Shot {
			if i == 4 {
				return geotag(s, siteAt(lat, 20))
			}
			return geotag(s, home)
		}, want: kinds(site)},
		{name: "clock: an hour fast", set: fast(time.Hour), hidden: true},
		{name: "clock: two hours slow", set: fast(-2 * time.Hour), hidden: true, want: kinds(site, clock)},
		{name: "clock: half an hour fast", set: fast(30 * time.Minute), hidden: true},
		{name: "clock: six minutes slow", set: fast(-6 * time.Minute), hidden: true},
		{name: "clock: five hours fast", set: fast(5 * time.Hour), hidden: true, want: kinds(site, clock)},
		{name: "clock: twelve hours off", set: fast(12 * time.Hour), want: kinds(site, clock)},
		{name: "clock: a day off", set: fast(-24 * time.Hour), hidden: true},
		{name: "clock: a month off", set: fast(30 * 24 * time.Hour), hidden: true, want: kinds(site, clock)},
		{name: "clock: an hour behind GPS", file: gps(time.Hour), want: kinds(clock)},
		{name: "clock: another zone given", file: func(_ int, s drift.Shot) drift.Shot {
			return clocked(s, func(c *frame.Clock) {
				c.Told = frame.Told{Zone: frame.ZoneInFile, Against: true, Given: -2 * time.Hour}
			})
		}, want: kinds(clock)},
		{name: "clock: set back an hour", before: setClock(3, -time.Hour), want: kinds(clock)},
		{name: "clock: set back half an hour", before: setClock(6, -30*time.Minute), want: kinds(clock)},
		{name: "clock: set forward an hour", before: setClock(3, time.Hour), want: kinds(clock)},
		{name: "clock: set back, no numbers", before: setClock(3, -time.Hour), file: func(_ int, s drift.Shot) drift.Shot { return unnumbered(s) }, want: kinds(clock)},
		{name: "hand: both knobs turned", before: atPicture(5, func(g *rig) { g.turn(min(-22), min(41)) }), want: kinds(align.KindTurned, align.KindKnock)},
		{name: "hand: both knobs, aimed anew", before: atPicture(5, func(g *rig) { g.turn(min(-22), min(41)); reAim(g) }), want: kinds(align.KindTurned, align.KindReAimed, align.KindKnock, align.KindFlexure)},
		{name: "hand: tilt turned", before: atPicture(5, func(g *rig) { g.turn(min(-20), 0) }), want: kinds(align.KindTurned, align.KindKnock)},
		{name: "hand: tripod knocked", set: func(e *simulate.Evening) { e.Mount.Knocks = []simulate.Knock{{Frame: 5, Size: min(12)}} }, want: kinds(align.KindKnock, align.KindTurned)},
		{name: "hand: camera knocked", set: func(e *simulate.Evening) {
			e.Mount.Knocks = []simulate.Knock{{Frame: 5, Size: min(12), Camera: true}}
		}, want: kinds(align.KindKnock)},
		{name: "hand: aimed anew", before: atPicture(5, func(g *rig) {
			t, r, err := g.e.Seen(ephem.Horizontal{Altitude: unit.AngleFromDeg(45), Azimuth: unit.AngleFromDeg(120)}, g.e.MidOf(5))
			if err != nil {
				g.t.Fatal(err)
			}
			g.e.Handling.ReAims = []simulate.ReAim{{Frame: 5, Target: t, Roll: r}}
		}), want: kinds(align.KindReAimed)},
		{name: "hand: zoomed", set: func(e *simulate.Evening) { e.Handling.Crops = []simulate.Crop{{Frame: 5, Factor: 1.5}} }, want: kinds(align.KindReAimed)},
		{name: "hand: clutch slips", set: func(e *simulate.Evening) { e.Mount.Slip = min(30) }, want: kinds(align.KindSlipping, align.KindPlay, align.KindWrongRate)},
		{name: "hand: camera's clamp slips", set: func(e *simulate.Evening) { e.Mount.BallSlip = min(30) }, want: kinds(align.KindSlipping, align.KindKnock, align.KindFlexure)},
		{name: "mount: holder bends", set: func(e *simulate.Evening) { e.Mount.Sag = min(6) }, want: kinds(align.KindFlexure)},
		{name: "mount: play", set: func(e *simulate.Evening) { e.Mount.Play = 70 * time.Second }, want: kinds(align.KindPlay, align.KindNotTurning)},
		{name: "motor: off", set: rate(simulate.RateOff), want: kinds(align.KindNotTurning)},
		{name: "motor: other hemisphere", set: rate(simulate.RateWrongHemisphere), want: kinds(align.KindWrongHemisphere)},
		{name: "motor: half the rate", set: rate(simulate.RateHalf), want: kinds(align.KindWrongRate)},
		{name: "motor: lunar rate, three minutes", set: func(e *simulate.Evening) {
			e.Mount.Rate, e.Every = simulate.RateLunar, 18*time.Second
			e.Exposure = 10 * time.Second
		}, want: kinds(align.KindWrongRate)},
		{name: "motor: lunar rate, forty minutes", set: func(e *simulate.Evening) { e.Mount.Rate, e.Every = simulate.RateLunar, 4*time.Minute }, want: kinds(align.KindWrongRate)},
		{name: "motor: switched on after three", before: lagFrom(0, 3, 1), want: kinds(align.KindNotTurning, align.KindPlay)},
		{name: "motor: hemisphere put right", before: lagFrom(0, 4, 2), want: kinds(align.KindWrongHemisphere)},
		{name: "motor: stops after six", before: lagFrom(6, 10, 1), want: kinds(align.KindNotTurning, align.KindPlay, align.KindStacked)},
		{name: "sky: one picture at 4°", before: lowOne, want: kinds(align.KindLowAltitude)},
		{name: "sky: low throughout", set: func(e *simulate.Evening) {
			low, err := e.Aimed(ephem.Horizontal{Altitude: unit.AngleFromDeg(14), Azimuth: unit.AngleFromDeg(110)})
			if err != nil {
				panic(err) // the test's own table
			}
			*e = low
		}, want: kinds(align.KindLowAltitude)},
	}
}

// outcome is what is said of a staged mistake.
type outcome struct {
	mistake
	lat   float64
	swung bool
	g     *rig
	truth ephem.Horizontal // of the last picture
	once  answer.Answer    // all pictures at once
	live  View             // one by one
}

func stage(t *testing.T, m mistake, lat float64, swung bool, seed uint64) outcome {
	t.Helper()
	g := newRig(t, lat, seed, func(e *simulate.Evening) {
		e.Every = 45 * time.Second
		if m.set != nil {
			m.set(e)
		}
	})
	o := g.options()
	if m.told != nil {
		told := m.told(g.e.Site)
		o.Answer.Site = &told
	}
	guide := New(o)
	out := outcome{mistake: m, lat: lat, swung: swung, g: g}
	var shots []drift.Shot
	for i := range stagedPictures {
		if swung {
			g.swing(stagedSwings[i])
		}
		if m.before != nil {
			m.before(g, i)
		}
		s := g.shoot()
		if m.file != nil {
			s = m.file(i, s)
		}
		shots = append(shots, s)
		if err := guide.Add(context.Background(), s); err != nil {
			t.Fatal(err)
		}
	}
	_, out.truth = g.truth()
	out.live = guide.View()
	out.once = answer.New(together(t, shots), o.Answer)
	return out
}

// together are shots as a folder of them is measured.
func together(t *testing.T, shots []drift.Shot) drift.Sequence {
	t.Helper()
	o := drift.Options{Numbered: true, Known: map[string]drift.Shot{}}
	var sources []drift.Source
	for _, s := range shots {
		sources, o.Known[s.File] = append(sources, drift.Source{Name: s.File}), s
	}
	q, err := drift.Measure(context.Background(), sources, o)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func named(list []answer.Situation) (kinds []align.Kind) {
	for _, s := range list {
		if k := align.Kind(s.Kind); k.Of() != align.OfMeasure && !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
	}
	return kinds
}

func kindsText(kinds []align.Kind) string {
	var list []string
	for _, k := range kinds {
		list = append(list, string(k))
	}
	return strings.Join(list, " ")
}

// orders is what the answer has its reader do.
func (o outcome) orders() string {
	a := o.once
	switch {
	case a.Err != nil:
		return "no axis"
	case !a.Measured.Question.Ask.None():
		return "question"
	case !a.Advice.Trustworthy:
		return "untrusted"
	case a.Advice.Next == nil:
		return "-"
	}
	return *a.Advice.Next
}

// astray is how far a turn ordered without a question misses, in arc and in its own errors: what the answer says the axis is off,
// against what it really is, on the sky.
func (o outcome) astray() (arcmin, sigmas float64) {
	a := o.once
	if a.Err != nil || a.Error == nil {
		return 0, 0
	}
	aim, err := align.NewAim(align.AimRefracted, siteAt(o.lat, o.g.e.Site.Longitude.Deg()), ephem.StandardAir(500), evening, nil)
	if err != nil {
		o.g.t.Fatal(err)
	}
	x := a.Error.AltitudeArcmin - (o.truth.Altitude - aim.Altitude()).Min()
	y := math.Remainder(a.Error.AzimuthArcmin/60-(o.truth.Azimuth-aim.Azimuth()).Deg(), 360) * 60
	c := math.Cos(aim.Altitude().Rad())
	miss := math.Hypot(x, y*c)
	sx, sy, r := x/a.Axis.AltitudeSigmaArcmin, y/a.Axis.AzimuthSigmaArcmin, a.Axis.Correlation
	return miss, math.Sqrt((sx*sx - 2*r*sx*sy + sy*sy) / (1 - r*r))
}

// TestStagedMistakes: whatever went wrong, nobody is sent to the wrong screw: a turn that is ordered without a question is right to its
// error, or what nothing in the pictures can show is told beside it; no cause is named that has no part in it. The table in testdata is
// what is said of each. TRUETURN_STUDY stages each mistake in all four ways, else one of them.
func TestStagedMistakes(t *testing.T) {
	t.Parallel()
	all := *updateStaged || os.Getenv("TRUETURN_STUDY") != ""
	lines := make([]string, 4*len(mistakes(46)))
	t.Run("staged", func(t *testing.T) {
		for n := range lines {
			lat, swung := []float64{46, -33}[n/2%2], n%2 == 0
			m := mistakes(lat)[n/4]
			if !all && n%4 != n/4%4 {
				continue
			}
			t.Run(fmt.Sprintf("%s at %.0f°, swung %v", m.name, lat, swung), func(t *testing.T) {
				t.Parallel()
				o := stage(t, m, lat, swung, uint64(100+n))
				o.check(t)
				lines[n] = o.line()
			})
		}
	})
	golden(t, filepath.Join("testdata", "staged.golden"), lines)
}

// line is a row of the table.
func (o outcome) line() string {
	how := "tracked"
	if o.swung {
		how = "swung"
	}
	return strings.TrimRight(fmt.Sprintf("%-40s %+.0f° %-7s | %-9s: %-30s | %-9s: %s", o.name, o.lat, how, o.orders(), kindsText(named(o.once.Situations)), o.doing(), kindsText(named(o.live.Situations))), " ")
}

// doing is what live is at.
func (o outcome) doing() string {
	if o.live.Live.Question != nil {
		return "question"
	}
	return o.live.Live.Phase
}

// golden holds lines to those of a file; empty ones were not tried.
func golden(t *testing.T, name string, lines []string) {
	t.Helper()
	if *updateStaged {
		if err := os.WriteFile(name, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Split(string(text), "\n")
	for i, got := range lines {
		if got != "" && (i >= len(want) || want[i] != got) {
			t.Errorf("line %d of %s is now (-update-staged writes it)\n%s", i+1, name, got)
		}
	}
}

// check holds what is said to what was staged.
func (o outcome) check(t *testing.T) {
	t.Helper()
	for _, k := range named(o.once.Situations) {
		if !o.right(k, o.once.Situations) {
			t.Errorf("align names %s: %s", k, textOf(o.once.Situations, k))
		}
	}
	for _, k := range named(o.live.Situations) {
		if !o.right(k, o.live.Situations) {
			t.Errorf("live names %s: %s", k, textOf(o.live.Situations, k))
		}
	}
	if !o.agree() {
		t.Errorf("align and live differ: %+v ± %+v and %+v ± %+v", *o.once.Error, *o.once.Axis, *o.live.Error, *o.live.Axis)
	}
	miss, sigmas := o.astray()
	if says := o.orders(); (says == "turn" || says == "shoot") && miss > 1 && sigmas > o.most() && !(o.hidden && o.rests()) {
		t.Errorf("%s ordered %.1f′ astray, %.1f of its errors; named %s", says, miss, sigmas, kindsText(named(o.once.Situations)))
	}
}

// agree is whether both ways of asking tell the same error of the axis.
func (o outcome) agree() bool {
	a, b := o.once, o.live
	if a.Error == nil || b.Error == nil || o.orders() == "untrusted" {
		return true
	}
	alt := math.Abs(a.Error.AltitudeArcmin-b.Error.AltitudeArcmin) / math.Hypot(a.Axis.AltitudeSigmaArcmin, b.Axis.AltitudeSigmaArcmin)
	az := math.Abs(a.Error.AzimuthArcmin-b.Error.AzimuthArcmin) / math.Hypot(a.Axis.AzimuthSigmaArcmin, b.Axis.AzimuthSigmaArcmin)
	return max(alt, az) < o.most()
}

// most is how many of its errors an answer may be off: those are read off the scatter, so that their number follows Fisher's F, which exceeds this once
// in ten thousand answers.
func (o outcome) most() float64 {
	f := distuv.F{D1: 2, D2: float64(max(1, o.once.Measured.Axis.DOF))}
	return math.Sqrt(2 * f.Quantile(1-1e-4))
}

// right is whether a kind may be named: a cause that is there, a height that place and clock make low, or a cause that asks for the right one.
func (o outcome) right(k align.Kind, list []answer.Situation) bool {
	text := textOf(list, k)
	misplaced := strings.HasPrefix(o.name, "site") || strings.HasPrefix(o.name, "clock")
	return slices.Contains(o.want, k) || misplaced && (k == align.KindLowAltitude || strings.Contains(text, "clock or place") || strings.Contains(text, "clock set"))
}

// rests is whether it is said what the answer rests on.
func (o outcome) rests() bool {
	return slices.ContainsFunc(o.once.Advice.Notes, func(n string) bool { return strings.Contains(n, "site as given") })
}

func textOf(list []answer.Situation, k align.Kind) string {
	i := slices.IndexFunc(list, func(s answer.Situation) bool { return s.Kind == string(k) })
	return list[i].Text
}
