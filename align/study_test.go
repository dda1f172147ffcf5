package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/ephem"
)

// The calibration study. Every row is a kind of session, drawn again and again with another
// place in the sky, site, axis error, air and noise. Asked of each:
//
//   - does the stated 1σ cover the truth as often as a normal law promises (68 %; 60–76 % of 200
//     runs is what chance allows to a calibrated error, ±2.4 standard deviations)?
//   - is the scatter within 1.3 times the Cramér–Rao bound (bound_test.go)?
//   - how often is a knock or a stray picture seen that never was?
//
// The full study is run by
//
//	TRUETURN_STUDY=200 go test ./align -run TestCalibration -v -timeout 60m
//	TRUETURN_STUDY=200 TRUETURN_STUDY_ROW="swings;two patches" go test ./align -run TestCalibration -v
//
// and a smaller one always. Stars are drawn at exact places with noise added: rendering and star finding have no part in
// it, recognising the field has.
//
// Where it misses: clean swings scatter by 1.75 of the bound (of 0.013′) and their azimuth is covered by 98 %. The bound
// learns the air from the stars' places, the estimator only from how high the pictures stand; and so few pictures cannot
// rule out the wander phones may have (wander.go), so that the stated error is too large. Realistic swings, azimuth: 80 %,
// for the same reason. With 0.1 px of wander two patches in three minutes are no better than six minutes on one.

// kind of session.
type kind struct {
	name    string
	noisePx float64
	stars   int
	wander  float64        // px, as simulated
	catalog float64        // seconds of arc, as simulated
	set     func(s *setup) // shapes the evening
	small   bool           // also in the small study
}

// setup is a session about to begin.
type setup struct {
	e   simulate.Evening
	r   *rand.Rand
	err error
}

// aimed turns the camera to a place in the sky.
func (s *setup) aimed(azimuthDeg, altitudeDeg float64) {
	s.e, s.err = s.e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuthDeg), Altitude: unit.AngleFromDeg(altitudeDeg)})
	s.e.Roll += unit.AngleFromDeg(360 * s.r.Float64())
}

// away is the azimuth of the meridian on the side away from the pole.
func (s *setup) away() float64 {
	if s.e.Site.Latitude < 0 {
		return 0
	}
	return 180
}

// anywhere is a place drawn evenly from the sky above 30°, near the pole too.
func (s *setup) anywhere() {
	s.aimed(360*s.r.Float64(), 180/math.Pi*math.Asin(0.5+0.45*s.r.Float64()))
}

// swung is three to five pictures, swung by 20–50° to and fro.
func (s *setup) swung() {
	s.aimed(s.away()-40+80*s.r.Float64(), 35+30*s.r.Float64())
	s.e.Count = 3 + s.r.IntN(3)
	at := 0.0
	s.e.Mount.Swings = make([]unit.Angle, s.e.Count)
	for i := 1; i < s.e.Count; i++ {
		to := [...]float64{0, 1, -1, 0.5, -0.5}[i] * (20 + 15*s.r.Float64())
		s.e.Mount.Swings[i] = unit.AngleFromDeg(to - at)
		at = to
	}
}

// patches is three minutes each on two patches six hours apart.
func (s *setup) patches() {
	s.aimed(s.away(), 40+20*s.r.Float64())
	s.e.Count = 20
	side := 90.0
	if s.r.IntN(2) == 1 {
		side = 270
	}
	target, roll, err := s.e.Seen(ephem.Horizontal{Azimuth: unit.AngleFromDeg(side - 15 + 30*s.r.Float64()),
		Altitude: unit.AngleFromDeg(35 + 15*s.r.Float64())}, s.e.MidOf(10))
	s.err = err
	s.e.Handling.ReAims = []simulate.ReAim{{Frame: 10, Target: target, Roll: roll + unit.AngleFromDeg(30*s.r.NormFloat64())}}
}

// breathing is focus creeping by 0.05 % over the run and jumping a little.
func (s *setup) breathing() { s.e.Handling.Breathing, s.e.Handling.BreathingJitter = 5e-4, 2e-5 }

func kinds() []kind {
	phone := func(s *setup) { s.anywhere() }
	return []kind{
		{name: "clean", noisePx: 0.03, stars: 200, catalog: 1, set: phone},
		{name: "realistic", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) { s.breathing(); s.anywhere() }, small: true},
		{name: "realistic, six minutes", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) { s.breathing(); s.anywhere(); s.e.Count = 19 }},
		{name: "no wander", noisePx: 0.15, stars: 50, catalog: 1, set: phone},
		{name: "wander 0.3 px", noisePx: 0.15, stars: 50, wander: 0.3, catalog: 1, set: phone},
		{name: "breathing", noisePx: 0.15, stars: 50, catalog: 1, set: func(s *setup) { s.breathing(); s.anywhere() }},
		{name: "catalogue off by 3″", noisePx: 0.15, stars: 50, catalog: 3, set: phone},
		{name: "wander 0.3 px, breathing, 3″", noisePx: 0.15, stars: 50, wander: 0.3, catalog: 3, set: func(s *setup) { s.breathing(); s.anywhere() }},
		{name: "within 20° of the pole", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) {
			s.aimed(180-s.away()-20+40*s.r.Float64(), math.Abs(s.e.Site.Latitude.Deg())+20*(s.r.Float64()-0.5))
		}},
		{name: "on the equator", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) {
			s.aimed(s.away(), 90-math.Abs(s.e.Site.Latitude.Deg()))
		}},
		{name: "swings, clean", noisePx: 0.03, stars: 200, catalog: 1, set: (*setup).swung},
		{name: "swings, realistic", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) { s.breathing(); s.swung() }, small: true},
		{name: "swings, wander 0.3 px, 3″", noisePx: 0.15, stars: 50, wander: 0.3, catalog: 3, set: (*setup).swung},
		{name: "two patches", noisePx: 0.15, stars: 50, wander: 0.1, catalog: 1, set: func(s *setup) { s.breathing(); s.patches() }, small: true},
		{name: "phone 24 mm", noisePx: 0.15, stars: 90, wander: 0.1, catalog: 1, set: func(s *setup) { s.e.Camera = simulate.Phone(24, 12); s.anywhere() }},
		{name: "phone 24 mm, swings", noisePx: 0.15, stars: 90, wander: 0.1, catalog: 1, set: func(s *setup) { s.e.Camera = simulate.Phone(24, 12); s.swung() }},
		{name: "camera 50 mm APS-C", noisePx: 0.15, stars: 150, wander: 0.05, catalog: 1, set: func(s *setup) { s.e.Camera = simulate.Small(50, 2, 3.9, 6000, 4000); s.anywhere() }},
		{name: "camera 135 mm APS-C", noisePx: 0.15, stars: 90, wander: 0.05, catalog: 1, set: func(s *setup) { s.e.Camera = simulate.Small(135, 2.8, 3.9, 6000, 4000); s.anywhere() }},
	}
}

// begin draws session seed of a kind.
func (k kind) begin(t testing.TB, seed uint64) *simulate.Run {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 11))
	lat := 25 + 35*r.Float64()
	if seed%2 == 1 {
		lat = -lat
	}
	site := invented(t, lat)
	start := time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC).Add(time.Duration(r.Float64() * 24 * float64(time.Hour)))
	e, err := simulate.Practice(site, start)
	if err != nil {
		t.Fatal(err)
	}
	e.Seed = seed
	e.Mount.AltitudeError = unit.AngleFromMin(40 * r.NormFloat64())
	e.Mount.AzimuthError = unit.AngleFromMin(60 * r.NormFloat64())
	e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second, Phase: unit.AngleFromDeg(360 * r.Float64())}
	e.Air.PressureHPa *= 1 + airShare*r.NormFloat64()
	e.Handling.Wander = k.wander
	e.CatalogScatter = unit.AngleFromSec(k.catalog)
	s := &setup{e: e, r: r}
	if k.set(s); s.err != nil {
		t.Fatal(s.err)
	}
	run, err := s.e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return run
}

// tried is one session measured.
type tried struct {
	pull         [3]float64 // altitude, azimuth, along the weak direction; in standard errors
	ofBound      float64    // the miss along the bound's weak direction against the bound
	boundMin     float64    // the bound there, minutes
	sigmaMin     float64    // stated in the weak direction, minutes
	breaks, lost int
	wander       float64
	south        bool
}

func (k kind) try(t testing.TB, seed uint64) tried {
	t.Helper()
	run := k.begin(t, seed)
	e := run.Evening()
	q, stars := sessionFrom(t, run, e.Count, k.noisePx, k.stars, rand.New(rand.NewPCG(seed, 12)))
	a, err := axisOf(t, q, e.Site)
	if err != nil {
		t.Errorf("%s, run %d: %v", k.name, seed, err)
		return tried{}
	}
	x, y := missed(a, run.Axis(e.Count-1))
	o := tried{breaks: len(a.Breaks) - len(e.Handling.ReAims), wander: a.WanderPx, south: e.Site.Latitude < 0}
	for _, s := range a.Stray {
		if s {
			o.lost++
		}
	}
	o.pull[0], o.pull[1] = y/math.Sqrt(a.Covariance[1][1]), x/math.Sqrt(a.Covariance[0][0])
	vx, vy := weakest(a.Covariance)
	o.pull[2] = (x*vx + y*vy) / a.WorstSigma().Rad()
	o.sigmaMin = a.WorstSigma().Min()
	bound := cramerRao(t, run, stars, boundOf{k.noisePx, k.wander, k.catalog / 206265, airShare})
	vx, vy = weakest(bound)
	worst := Axis{Covariance: bound}.WorstSigma()
	o.ofBound, o.boundMin = (x*vx+y*vy)/worst.Rad(), worst.Min()
	return o
}

// weakest is the unit vector along the longer axis of a covariance.
func weakest(c [2][2]float64) (x, y float64) {
	angle := 0.5 * math.Atan2(2*c[0][1], c[0][0]-c[1][1])
	sin, cos := math.Sincos(angle)
	return cos, sin
}

// tally sums sessions up.
type tally struct {
	n            float64
	inside       [3]int
	pull         [3]float64
	ofBound      float64
	bound, sigma float64
	breaks, lost int
	wander       float64
}

func (s *tally) add(o tried) {
	s.n++
	for k, p := range o.pull {
		if math.Abs(p) < 1 {
			s.inside[k]++
		}
		s.pull[k] += p * p
	}
	s.ofBound += o.ofBound * o.ofBound
	s.bound += o.boundMin * o.boundMin
	s.sigma += o.sigmaMin * o.sigmaMin
	s.wander += o.wander
	s.breaks += max(o.breaks, -o.breaks)
	s.lost += o.lost
}

func (s *tally) cover(k int) float64     { return 100 * float64(s.inside[k]) / s.n }
func (s *tally) rms(sum float64) float64 { return math.Sqrt(sum / s.n) }

const tallyHead = "| session | 1σ covers: altitude / azimuth / weak direction, % | rms pull: same | scatter ÷ bound | bound, stated 1σ (rms) | false breaks / strays per 100 sessions |\n|---|---|---|---|---|---|"

func (s *tally) row(name string) string {
	return fmt.Sprintf("| %s | %.0f / %.0f / %.0f | %.2f / %.2f / %.2f | %.2f | %s, %s | %.1f / %.1f |", name,
		s.cover(0), s.cover(1), s.cover(2), s.rms(s.pull[0]), s.rms(s.pull[1]), s.rms(s.pull[2]), s.rms(s.ofBound),
		fine(s.rms(s.bound)), fine(s.rms(s.sigma)), 100*float64(s.breaks)/s.n, 100*float64(s.lost)/s.n)
}

func fine(minutes float64) string {
	if minutes < 1 {
		return fmt.Sprintf("%.3f′", minutes)
	}
	return fmt.Sprintf("%.2f′", minutes)
}

// study tries sessions of a kind, two at a time.
func (k kind) study(t testing.TB, sessions int) (all, north, south tally) {
	t.Helper()
	out := make([]tried, sessions)
	var wg sync.WaitGroup
	for w := range 2 {
		wg.Go(func() {
			for i := w; i < sessions; i += 2 {
				out[i] = k.try(t, uint64(i))
			}
		})
	}
	wg.Wait()
	for _, o := range out {
		all.add(o)
		if o.south {
			south.add(o)
		} else {
			north.add(o)
		}
	}
	return all, north, south
}

// TestCalibration holds a small study to what chance allows, or runs the full one.
func TestCalibration(t *testing.T) {
	t.Parallel()
	if os.Getenv("TRUETURN_STUDY") != "" {
		full(t)
		return
	}
	// 40 sessions of a calibrated kind cover 27.3 ± 2.9 times, of one at the edges of the target
	// (60 and 76 %) 24 ± 3.1 and 30.4 ± 2.7: outside 16 to 38 chance alone puts it once in a hundred times
	// for those, once in 2000 for a calibrated one. The scatter of 40 has a relative error of 11 %: three of
	// them above the target of 1.3.
	const sessions, fewest, most = 40, 16, 38
	const widest = 1.3 * 1.33
	for _, k := range kinds() {
		if !k.small {
			continue
		}
		t.Run(k.name, func(t *testing.T) {
			all, _, _ := k.study(t, sessions)
			t.Log(all.row(k.name))
			for n, what := range [...]string{"altitude", "azimuth", "the weak direction"} {
				if all.inside[n] < fewest || all.inside[n] > most {
					t.Errorf("1σ in %s covers %d of %d sessions, want %d to %d", what, all.inside[n], sessions, fewest, most)
				}
			}
			if got := all.rms(all.ofBound); got > widest {
				t.Errorf("scatter %.2f of the bound, want at most %.2f", got, widest)
			}
			if all.breaks+all.lost > 1 { // expected: one in a thousand sessions
				t.Errorf("%d breaks and %d strays seen that never were", all.breaks, all.lost)
			}
		})
	}
}

// full prints the table of the full study.
func full(t *testing.T) {
	sessions, err := strconv.Atoi(os.Getenv("TRUETURN_STUDY"))
	if err != nil || sessions < 1 {
		t.Fatalf("TRUETURN_STUDY: how many sessions of each kind?")
	}
	fmt.Println(tallyHead)
	only := os.Getenv("TRUETURN_STUDY_ROW") // parts of names, parted by semicolons, to run some rows alone
	for _, k := range kinds() {
		if only != "" && !slices.ContainsFunc(strings.Split(only, ";"), func(part string) bool { return strings.Contains(k.name, part) }) {
			continue
		}
		all, north, south := k.study(t, sessions)
		fmt.Println(all.row(k.name))
		t.Logf("%s: north covers %.0f/%.0f/%.0f, south %.0f/%.0f/%.0f; wander found %.3f px", k.name,
			north.cover(0), north.cover(1), north.cover(2), south.cover(0), south.cover(1), south.cover(2), all.wander/all.n)
	}
}
