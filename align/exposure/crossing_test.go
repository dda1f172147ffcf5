package exposure

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/drift/wobble"
)

// The script's lengths lie two seconds apart and are given as the middle, hence integratedS; its 360 phases and one-second
// steps, and directions of the axis that are not the forecast's 24, make the rest.
const (
	integratedS = 1.0
	integrated  = 0.01
)

// TestIntegrated: longest exposures against direct numerical integration (testdata/authorities/exposure_gear.py, by numpy), which
// shares nothing with this package.
func TestIntegrated(t *testing.T) {
	for _, row := range readGear(t) {
		t.Run(row["case"], func(t *testing.T) {
			f := forecast(t, row.plan(t))
			row.near(t, "longest_s", f.LongestS)
			if f.LongestS > row.number(t, "ratio_s")*(1+integrated)+integratedS {
				t.Errorf("longest %.4g s, though by %s s the ratio of the axes is beyond the tolerance", f.LongestS, row["ratio_s"])
			}
			if d := f.Planned.ShareRound - row.number(t, "share_240"); math.Abs(d) > 2*integrated { // up to a percent for each second there
				t.Errorf("of 240 s %.3f are round, want %s", f.Planned.ShareRound, row["share_240"])
			}
			if row["again_s"] != "" && row.number(t, "axis_arcmin") == 0 { // directions that end an exposure at the same length bring it round again at others
				row.near(t, "again_s", f.AgainS)
			}
		})
	}
}

type gearRow map[string]string

func readGear(t *testing.T) (rows []gearRow) {
	t.Helper()
	f, err := os.Open("../../testdata/authorities/exposure_gear.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	list, err := csv.NewReader(f).ReadAll()
	if err != nil || len(list) < 2 {
		t.Fatal(err, len(list))
	}
	for _, fields := range list[1:] {
		row := gearRow{}
		for i, name := range list[0] {
			row[name] = fields[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func (r gearRow) number(t *testing.T, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[name], 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func (r gearRow) near(t *testing.T, name string, got float64) {
	t.Helper()
	if want := r.number(t, name); math.Abs(got-want) > integratedS+integrated*want {
		t.Errorf("%s: got %.5g, want %.5g", name, got, want)
	}
}

func (r gearRow) plan(t *testing.T) Plan {
	n := func(name string) float64 { return r.number(t, name) }
	p := Plan{FWHM: 2.5, PlannedS: 240, View: toward(t, Lens{n("focal_px"), int(n("width")), int(n("height"))}, n("declination_deg"), 0)}
	p.Mount.Axis.Size = unit.AngleFromMin(n("axis_arcmin"))
	if n("peak_to_peak_arcsec") == 0 {
		return p
	}
	w := &Wobble{PeriodS: n("period_s"), PeakToPeak: unit.AngleFromSec(n("peak_to_peak_arcsec"))}
	for _, text := range strings.Fields(r["form"]) {
		var order int
		var c, s float64
		if _, err := fmt.Sscanf(strings.ReplaceAll(text, ":", " "), "%d %g %g", &order, &c, &s); err != nil {
			t.Fatal(err)
		}
		for len(w.Harmonics) < order {
			w.Harmonics = append(w.Harmonics, wobble.Harmonic{})
		}
		w.Harmonics[order-1] = wobble.Harmonic{Cos: unit.Angle(c), Sin: unit.Angle(s)}
	}
	p.Mount.Wobble = w
	return p
}

// anyGear is a gear as any small mount may have it: quick or slow, with or without harmonics, fine or coarse.
func anyGear(r *rand.Rand) *Wobble {
	w := &Wobble{PeriodS: 20 * math.Pow(60, r.Float64()), PeakToPeak: unit.AngleFromSec(5 * math.Pow(40, r.Float64()))}
	if r.IntN(2) == 0 {
		for k := range 3 {
			w.Harmonics = append(w.Harmonics, wobble.Harmonic{Cos: unit.Angle(r.NormFloat64() / float64(k+1)), Sin: unit.Angle(r.NormFloat64() / float64(k+1))})
		}
	}
	return w
}

// anyPlan is a camera over any sky, on a mount anyhow off.
func anyPlan(t *testing.T, r *rand.Rand) Plan {
	v := toward(t, Lens{1500 * math.Pow(20, r.Float64()), 4000, 3000}, 160*r.Float64()-80, 12*r.Float64()-6)
	off := func() unit.Angle { return unit.AngleFromMin(20 * r.NormFloat64()) }
	p := Plan{View: v, FWHM: 1.5 + 3*r.Float64(), Mount: Mount{Axis: v.Off(off(), off())}}
	if r.IntN(3) == 0 {
		p.Mount.RateError = 2e-3 * r.NormFloat64()
	}
	return p
}

// TestShorterPasses: below the longest exposure there is none that fails, looked for at many lengths and at other phases than the
// forecast's.
func TestShorterPasses(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	dense := fine
	dense.all = 256
	const shareApart = 0.01 // of 64 phases joined by lines, against 256
	for i := range 60 {
		p := anyPlan(t, r)
		p.Mount.Wobble = anyGear(r)
		p = p.filled()
		end := newTrial(p, fine).longest()
		d := newTrial(p, dense)
		for k := range 300 {
			s := end * (float64(k) + 0.5) / 300
			if share := d.share(&d.mounts[0], s); share < DefaultShare-shareApart {
				t.Fatalf("plan %d: longest %.4g s, but of %.4g s only %.3f are round; %+v", i, end, s, share, *p.Mount.Wobble)
			}
		}
	}
}

// TestShareOverPhases: the share is that of very many phases counted.
func TestShareOverPhases(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	many := fine
	many.all = 4000
	off, n := 0.0, 0.0
	for range 40 {
		p := anyPlan(t, r)
		p.Mount.Wobble = anyGear(r)
		p = p.filled()
		a, b := newTrial(p, fine), newTrial(p, many)
		for _, s := range []float64{0.3, 1, 2} {
			length := s * a.longest()
			want := b.counted(length)
			if want == 0 || want == 1 {
				continue
			}
			d := a.share(&a.mounts[0], length) - want
			if math.Abs(d) > 0.02 { // where the margin only just touches, a phase of 64 is a step
				t.Errorf("share off by %.4f of %.4f", d, want)
			}
			off, n = off+d*d, n+1
		}
	}
	if rms := math.Sqrt(off / n); rms > 0.003 {
		t.Errorf("shares are off by %.4f rms, want some parts in a thousand", rms)
	}
}

// counted is the share of the first mounting's phases that stay round.
func (t *trial) counted(lengthS float64) float64 {
	t.lay(&t.mounts[0], lengthS)
	good := 0
	for _, w := range t.moments {
		if variance, _ := longest(t.places, w); variance <= t.bound {
			good++
		}
	}
	return float64(good) / float64(len(t.moments))
}

// TestWobbleNeverLengthens: a gear that blurs the stars across the drift of the axis must not pass for a cure of it. With harmonics
// of odd order only: half a turn later the gear then errs the other way, so that of two such exposures one at least is
// longer for it (the sum of their variances in any direction is twice that of drift and gear apart).
func TestWobbleNeverLengthens(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	for i := range 150 {
		p := anyPlan(t, r)
		if i%15 == 0 { // of unknown direction
			p.Mount.Axis = Axis{Size: unit.AngleFromMin(30 * r.Float64())}
		}
		without := longestOf(p)
		w := anyGear(r)
		if len(w.Harmonics) > 1 {
			w.Harmonics[1] = wobble.Harmonic{}
		}
		p.Mount.Wobble = w
		if with := longestOf(p); with > without*(1+2*fine.settled) {
			t.Errorf("plan %d: %.5g s without the gear, %.5g s with it: %+v", i, without, with, *w)
		}
	}
}

// longestOf is the longest exposure alone, without what would help.
func longestOf(p Plan) float64 { return newTrial(p.filled().worstWay(), fine).longest() }

// TestBlurAcross, the case that led to the rule: 10′ of the axis alone, and with a gear that draws the stars out across.
func TestBlurAcross(t *testing.T) {
	p := Plan{FWHM: 2.5, View: toward(t, Lens{6645, 2000, 1500}, 0, 0), Mount: Mount{Axis: Axis{Size: unit.AngleFromMin(10)}}}
	alone := longestOf(p)
	for arcsec := 10.0; arcsec < 70; arcsec += 5 {
		p.Mount.Wobble = &Wobble{PeriodS: 300, PeakToPeak: unit.AngleFromSec(arcsec)}
		with := longestOf(p)
		if with > alone*(1+2*fine.settled) {
			t.Errorf("with a gear of %.0f″ %.4g s, without %.4g s", arcsec, with, alone)
		}
		alone = math.Min(alone, with*1.02) // and a larger gear is no better than a smaller one
	}
}

// TestRoundAgain: the gap after the first failure is told and lies on the curve.
func TestRoundAgain(t *testing.T) {
	p := Plan{FWHM: 2.5, View: toward(t, Lens{6645, 2000, 1500}, 0, 0), Mount: Mount{Wobble: &Wobble{PeriodS: 300, PeakToPeak: unit.AngleFromSec(64)}}}
	f := forecast(t, p)
	if !(f.LongestS < f.AgainS && f.AgainS < f.AgainToS) {
		t.Fatalf("longest %.4g s, again from %.4g to %.4g s", f.LongestS, f.AgainS, f.AgainToS)
	}
	failing, back := false, false
	for _, c := range f.Curve {
		switch round := c.ShareRound >= DefaultShare-shareSlack; {
		case c.ExposureS > f.LongestS && c.ExposureS < f.AgainS:
			failing = failing || !round
		case c.ExposureS >= f.AgainS && c.ExposureS <= f.AgainToS:
			back = back || round
		case c.ExposureS <= f.LongestS && !round:
			t.Errorf("of %.4g s, below the longest, %.3f are round", c.ExposureS, c.ShareRound)
		}
	}
	if !failing || !back {
		t.Errorf("the gap is not on the curve: %+v", f.Curve)
	}
}
