package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"trueturn/align"
	"trueturn/cmd/study/sheet"
)

// The part `axis`: how far the axis found lies from the truth, against the least error possible and against the error
// stated. Sessions are star lists of a mount with known faults (axis_night.go), measured as a user's pictures are from
// the lists on: solve.Solve, drift.Measure, Sequence.Horizon, align.Estimate. The bound is worked out apart from all of
// these (axis_bound.go).

// Targets of the design.
const (
	axisMostOfBound               = 1.3 // scatter over the bound
	axisLeastCover, axisMostCover = 60, 76
)

// axisRow is a named kind of session.
type axisRow struct {
	name string
	axisCase
}

// axisUsual is ten pictures in three minutes with a phone.
func axisUsual() axisCase {
	return axisCase{eye: phoneEye(115, 50), count: 10, every: 20 * time.Second, decDeg: 20, noisePx: 0.15, wanderPx: 0.1, catalogue: 1, airOff: 0.05}
}

// axisUsualSwings are those of a user who swings to and fro by an unequal angle and comes back near the start.
func axisUsualSwings(deg float64) []float64 { return []float64{0, deg, -0.6 * deg, 0.1 * deg} }

// axisWith is the usual case with one thing changed.
func axisWith(name string, change func(c *axisCase)) axisRow {
	r := axisRow{name, axisUsual()}
	change(&r.axisCase)
	return r
}

func axisSwung(c *axisCase, deg float64) { c.swings = axisUsualSwings(deg); c.count = len(c.swings) }

func axisSpanned(c *axisCase, count int, minutes float64) {
	c.count, c.every = count, time.Duration(minutes*60/float64(count-1)*float64(time.Second))
}

func axisPlaced(c *axisCase, decDeg float64, south bool) { c.decDeg, c.south = decDeg, south }

// axisRows are the sessions tried. Nothing is said of what is usual.
func axisRows() []axisRow {
	rows := []axisRow{}
	for _, e := range axisEyes() {
		rows = append(rows, axisWith(e.name, func(c *axisCase) { c.eye = e }))
	}
	for _, e := range axisEyes() {
		rows = append(rows, axisWith(e.name+", swings of 30°", func(c *axisCase) { c.eye = e; axisSwung(c, 30) }))
	}
	for _, s := range []struct {
		count   int
		minutes float64
	}{{4, 1}, {19, 6}, {37, 12}, {3, 3}, {5, 3}, {20, 3}, {40, 6}} {
		rows = append(rows, axisWith(fmt.Sprintf("%d pictures in %g min", s.count, s.minutes), func(c *axisCase) { axisSpanned(c, s.count, s.minutes) }))
	}
	for _, p := range []struct {
		deg   float64
		south bool
	}{{85, false}, {60, false}, {0, false}, {-30, false}, {-60, true}, {-85, true}, {0, true}, {30, true}} {
		side := map[bool]string{false: "north", true: "south"}[p.south]
		rows = append(rows, axisWith(fmt.Sprintf("%s, declination %s°", side, sheet.Figure(p.deg, 2)), func(c *axisCase) { axisPlaced(c, p.deg, p.south) }))
	}
	return append(rows, axisHardships()...)
}

// axisHardships are wander, breathing, a poor catalogue, and their absence.
func axisHardships() []axisRow {
	return []axisRow{
		axisWith("no wander", func(c *axisCase) { c.wanderPx = 0 }),
		axisWith("wander 0.3 px", func(c *axisCase) { c.wanderPx = 0.3 }),
		axisWith("breathing 0.05 %", func(c *axisCase) { c.breathing = 5e-4 }),
		axisWith("catalogue off by 3″", func(c *axisCase) { c.catalogue = 3 }),
		axisWith("wander 0.3 px, breathing, 3″", func(c *axisCase) { c.wanderPx, c.breathing, c.catalogue = 0.3, 5e-4, 3 }),
		axisWith("200 stars, 0.03 px, no wander", func(c *axisCase) { axisClean(c) }),
		axisWith("swings of 20°", func(c *axisCase) { axisSwung(c, 20) }),
		axisWith("swings of 50°", func(c *axisCase) { axisSwung(c, 50) }),
		axisWith("swings of 30°, south", func(c *axisCase) { axisSwung(c, 30); axisPlaced(c, -20, true) }),
		axisWith("swings of 30°, no wander", func(c *axisCase) { axisSwung(c, 30); c.wanderPx = 0 }),
		axisWith("swings of 30°, wander 0.3 px", func(c *axisCase) { axisSwung(c, 30); c.wanderPx = 0.3 }),
		axisWith("swings of 30°, breathing", func(c *axisCase) { axisSwung(c, 30); c.breathing = 5e-4 }),
		axisWith("swings of 30°, 3″", func(c *axisCase) { axisSwung(c, 30); c.catalogue = 3 }),
		axisWith("swings of 30°, 200 stars, 0.03 px, no wander", func(c *axisCase) { axisSwung(c, 30); axisClean(c) }),
		axisWith("the same, the air as assumed", func(c *axisCase) { axisSwung(c, 30); axisClean(c); c.airOff = 0 }),
		axisWith("ten pictures, swings to 45°, 200 stars, 0.03 px, no wander", func(c *axisCase) { axisSwungTen(c); axisClean(c) }),
		axisWith("the same ten, the air as assumed", func(c *axisCase) { axisSwungTen(c); axisClean(c); c.airOff = 0 }),
	}
}

func axisSwungTen(c *axisCase) { c.swings = []float64{0, 0, 30, 30, 45, 45, 20, 20, 3, 3} }

func axisClean(c *axisCase) { c.eye.stars, c.noisePx, c.wanderPx = 200, 0.03, 0 }

// axisTried is one session measured.
type axisTried struct {
	err          error // why there was no axis; nil: there is one
	miss         [2]float64
	stated       [2][2]float64
	bound, told  [2][2]float64 // where pictures tell of the air, and where they do not
	breaks, lost int           // breaks and strays that never were
	wanderPx     float64
}

// tryAxis draws a session and measures it. The error is the context's or the study's own.
func tryAxis(ctx context.Context, c axisCase, dice *rand.Rand) (t axisTried, err error) {
	n, err := newNight(c, dice)
	if err != nil {
		return t, err
	}
	b, err := newBounder(n)
	if err != nil {
		return t, err
	}
	if t.bound, err = b.bound(c.count); err != nil {
		return t, err
	}
	if t.told, err = b.told(c.count); err != nil {
		return t, err
	}
	a, err := n.axis(ctx)
	if ctx.Err() != nil {
		return t, ctx.Err()
	}
	t.err = err
	t.take(n, a)
	return t, nil
}

// axis is what a user gets.
func (n *night) axis(ctx context.Context) (align.Axis, error) {
	q, err := n.measured(ctx)
	if err != nil {
		return align.Axis{}, err
	}
	return n.axisOf(q)
}

// take notes what the answer was.
func (t *axisTried) take(n *night, a align.Axis) {
	if t.err != nil {
		return
	}
	t.miss, t.stated, t.wanderPx, t.breaks = n.miss(a.Direction), a.Covariance, a.WanderPx, len(a.Breaks)
	for _, s := range a.Stray {
		if s {
			t.lost++
		}
	}
}

// axisAlongWeak is the miss along a covariance's longer axis, and that axis' standard deviation; axisAlongStrong the same across.
func axisAlongWeak(miss [2]float64, c [2][2]float64) (off, sigma float64) {
	sin, cos := math.Sincos(0.5 * math.Atan2(2*c[0][1], c[0][0]-c[1][1]))
	return miss[0]*cos + miss[1]*sin, math.Sqrt(axisVariance(c, cos, sin))
}

func axisAlongStrong(miss [2]float64, c [2][2]float64) (off, sigma float64) {
	sin, cos := math.Sincos(0.5 * math.Atan2(2*c[0][1], c[0][0]-c[1][1]))
	return miss[1]*cos - miss[0]*sin, math.Sqrt(axisVariance(c, -sin, cos))
}

// axisVariance is a covariance's variance along a unit vector.
func axisVariance(c [2][2]float64, x, y float64) float64 {
	return x*x*c[0][0] + 2*x*y*c[0][1] + y*y*c[1][1]
}

// axisSums sums sessions up.
type axisSums struct {
	n, silent           int
	why                 error // of the last silent one
	inside              [3]int
	ofBound             float64    // squares of the miss along the bound's weak direction over the bound
	ofTold              [2]float64 // in the weak and the strong direction
	bound, told, stated float64
	scatter             float64
	breaks, lost        int
	wanderPx            float64
}

func (s *axisSums) add(t axisTried) {
	if t.err != nil {
		s.silent, s.why = s.silent+1, t.err
		return
	}
	s.n++
	weak, sigma := axisAlongWeak(t.miss, t.stated)
	for k, pull := range [3]float64{t.miss[1] / math.Sqrt(t.stated[1][1]), t.miss[0] / math.Sqrt(t.stated[0][0]), weak / sigma} {
		if math.Abs(pull) < 1 {
			s.inside[k]++
		}
	}
	s.stated += sigma * sigma
	off, least := axisAlongWeak(t.miss, t.bound)
	s.ofBound += off * off / (least * least)
	s.scatter += off * off
	s.bound += least * least
	off, least = axisAlongWeak(t.miss, t.told)
	s.told += least * least
	s.ofTold[0] += off * off / (least * least)
	off, least = axisAlongStrong(t.miss, t.told)
	s.ofTold[1] += off * off / (least * least)
	s.breaks, s.lost, s.wanderPx = s.breaks+t.breaks, s.lost+t.lost, s.wanderPx+t.wanderPx
}

func (s *axisSums) rms(sum float64) float64 { return math.Sqrt(sum / float64(s.n)) }

// uncertain is the relative standard error of a root mean square of n normal deviates.
func (s *axisSums) uncertain() float64 { return 1 / math.Sqrt(2*float64(s.n)) }

func (s *axisSums) cover(k int) float64 { return 100 * float64(s.inside[k]) / float64(s.n) }

const radToMin = arcsecPerRad / 60

func axisTable() sheet.Table {
	return sheet.Table{Columns: []string{"session", "1σ covers, %: altitude / azimuth / weak direction", "scatter ÷ bound",
		"scatter ÷ bound that takes the air as told: weak / strong direction", "scatter, bound, stated 1σ in the weak direction, rms",
		"wander found, px", "false breaks / strays / no answer, % of sessions"}}
}

func (s *axisSums) row(t *sheet.Table, name string) {
	share := 100 / float64(max(1, s.n+s.silent))
	t.Row(name, fmt.Sprintf("%.0f / %.0f / %.0f", s.cover(0), s.cover(1), s.cover(2)),
		sheet.PlusMinus(s.rms(s.ofBound), s.uncertain()*s.rms(s.ofBound), 2),
		fmt.Sprintf("%.2f / %.2f", s.rms(s.ofTold[0]), s.rms(s.ofTold[1])),
		fmt.Sprintf("%s′, %s′, %s′", sheet.Figure(radToMin*s.rms(s.scatter), 2), sheet.Figure(radToMin*s.rms(s.bound), 2), sheet.Figure(radToMin*s.rms(s.stated), 2)),
		fmt.Sprintf("%.2f", s.wanderPx/float64(s.n)),
		fmt.Sprintf("%.1f / %.1f / %.1f", share*float64(s.breaks), share*float64(s.lost), share*float64(s.silent)))
}

var errNoAnswers = errors.New("no session gave an axis")

// axisStudy is the part.
func axisStudy(ctx context.Context, o options, c *sheet.Chapter) error {
	sessions := o.trials(200, 4)
	rows := axisRows()
	if o.Quick {
		rows = rows[:0]
		for i, r := range axisRows() {
			if i%6 == 2 {
				rows = append(rows, r)
			}
		}
	}
	c.Say("%d sessions a row. Unless a row says otherwise: %s, %d stars at %g px, ten pictures in three minutes on a mount that nobody touches, declination 20°, "+
		"sites 20–55° north, axis off by %d′ and %d′ (1σ: altitude, turn of the base), gear of 44″ in eight minutes, rate off by %g %%, air by %g %%, "+
		"the optical axis wandering by %g px from picture to picture, the catalogue off by %g″. Where the catalogue has fewer stars, what it has.",
		sessions, axisUsual().eye.name, axisUsual().eye.stars, axisUsual().noisePx, axisUpMin, axisAsideMin, 100*rateOff, 100*axisUsual().airOff, axisUsual().wanderPx, axisUsual().catalogue)
	table := axisTable()
	over, outside := axisHeld{what: "scatter of the axis", limit: "≤ 1.3 × the bound in every row"}, axisHeld{what: "the stated 1σ covers", limit: "60–76 % in every row"}
	for _, r := range rows {
		s, err := axisRowSums(ctx, o, r, sessions)
		if err != nil {
			return err
		}
		s.row(&table, r.name)
		over.judge(sheet.AtMost(s.rms(s.ofBound), s.uncertain()*s.rms(s.ofBound), axisMostOfBound), fmt.Sprintf("%s (%.2f)", r.name, s.rms(s.ofBound)))
		outside.judge(s.covers(), fmt.Sprintf("%s (%.0f/%.0f/%.0f)", r.name, s.cover(0), s.cover(1), s.cover(2)))
	}
	c.Table(table)
	c.Say("The first bound is for one who knows how large noise, wander and the air's scatter are and learns the air from the stars' places as well. " +
		"The estimator takes the air as it is told and adds what 5 %% of it can do to its stated error; the second bound does so too.")
	c.Target(over.target())
	c.Target(outside.target())
	return nil
}

// axisRowSums tries a row's sessions.
func axisRowSums(ctx context.Context, o options, r axisRow, sessions int) (s axisSums, err error) {
	tried := make([]axisTried, sessions)
	err = o.each(ctx, r.name, sessions, func(i int) (err error) {
		tried[i], err = tryAxis(ctx, r.axisCase, o.rng(r.name, i))
		return err
	})
	for _, t := range tried {
		s.add(t)
	}
	if err == nil && s.n == 0 {
		err = fmt.Errorf("%s: %w: %w", r.name, errNoAnswers, s.why)
	}
	return s, err
}

// covers judges the three coverages: one outside the target misses it by two of its standard errors, or leaves it open, as
// do few sessions.
func (s *axisSums) covers() sheet.Verdict {
	const few = 50
	v := sheet.Pass
	err := 100 * math.Sqrt(0.68*0.32/float64(s.n))
	for k := range s.inside {
		off := max(axisLeastCover-s.cover(k), s.cover(k)-axisMostCover)
		switch {
		case off > 2*err && s.n >= few:
			return sheet.Miss
		case off > 0:
			v = sheet.Open
		}
	}
	return v
}

// axisHeld is a target that every row is held to.
type axisHeld struct {
	what, limit  string
	rows         int
	missed, open []string
}

func (h *axisHeld) judge(v sheet.Verdict, row string) {
	h.rows++
	switch v {
	case sheet.Miss:
		h.missed = append(h.missed, row)
	case sheet.Open:
		h.open = append(h.open, row)
	}
}

func (h *axisHeld) target() sheet.Target {
	t := sheet.Target{What: h.what, Limit: h.limit, Figure: fmt.Sprintf("%d of %d rows", h.rows-len(h.missed)-len(h.open), h.rows)}
	if len(h.open) > 0 {
		t.Figure += "; open: " + strings.Join(h.open, ", ")
		t.Verdict = sheet.Open
	}
	if len(h.missed) > 0 {
		t.Figure += "; missed: " + strings.Join(h.missed, ", ")
		t.Verdict = sheet.Miss
	}
	return t
}
