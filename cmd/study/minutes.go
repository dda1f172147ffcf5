package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"trueturn/align"
	"trueturn/cmd/study/sheet"
	"trueturn/drift"
	"trueturn/ephem"
)

// The part `minutes`: how long an untouched mount must be watched until its axis is known to 10′, 3′ and 1′, and what three
// pictures with a swing give. Sessions are those of the part `axis`, one picture every 20 s; the first few pictures of a long
// session are a short one.

// minutesGoals are in minutes of arc, on the sky, in the weaker direction.
var minutesGoals = [3]float64{10, 3, 1}

// longestSession is as many pictures as are ever tried: a quarter of an hour's.
const longestSession = 46

// minutesCase is one pointing of one lens. A picture 90° from the axis looks at the equator.
func minutesCase(e eye, fromAxisDeg, wanderPx float64) axisCase {
	c := axisUsual()
	c.eye, c.decDeg, c.wanderPx, c.count = e, 90-fromAxisDeg, wanderPx, longestSession
	return c
}

// minutesSwing is three pictures over a swing of 30°.
func minutesSwing(c axisCase) axisCase {
	c.swings, c.count = []float64{0, 15, 30}, 3
	return c
}

// known is how well sessions know the axis after so many pictures: the true error and the stated one in the weaker
// direction, rms, minutes of arc.
type known struct {
	pictures               int
	miss, stated, bound, n float64
}

func (k *known) add(t axisTried) {
	if t.err != nil {
		return
	}
	off, least := axisAlongWeak(t.miss, t.bound)
	_, sigma := axisAlongWeak(t.miss, t.stated)
	k.n++
	k.miss, k.stated, k.bound = k.miss+off*off, k.stated+sigma*sigma, k.bound+least*least
}

func (k *known) done() {
	k.miss, k.stated, k.bound = radToMin*math.Sqrt(k.miss/k.n), radToMin*math.Sqrt(k.stated/k.n), radToMin*math.Sqrt(k.bound/k.n)
}

// minutes from the first picture to the last.
func (k known) minutes(every time.Duration) float64 { return float64(k.pictures-1) * every.Minutes() }

// minutesSteps are the numbers of pictures to try: a little more and a little fewer than the bound of one session asks
// for, for every goal.
func minutesSteps(o options, c axisCase) (steps []int, err error) {
	n, err := newNight(c, o.rng("steps", c.eye.name, c.decDeg, c.wanderPx))
	if err != nil {
		return nil, err
	}
	b, err := newBounder(n)
	if err != nil {
		return nil, err
	}
	least := make([]float64, c.count+1)
	for k := 3; k <= c.count; k++ {
		cov, err := b.bound(k)
		if err != nil {
			return nil, err
		}
		_, sigma := axisAlongWeak([2]float64{}, cov)
		least[k] = radToMin * sigma
	}
	for _, goal := range minutesGoals {
		for _, factor := range [2]float64{1.35, 0.65} {
			k := 3
			for k < c.count && least[k] > factor*goal {
				k++
			}
			steps = append(steps, k)
		}
	}
	slices.Sort(steps)
	return slices.Compact(steps), nil
}

// minutesCourse is how the axis becomes known.
func minutesCourse(ctx context.Context, o options, c axisCase, sessions int) ([]known, error) {
	steps, err := minutesSteps(o, c)
	if err != nil {
		return nil, err
	}
	c.count = steps[len(steps)-1]
	tried := make([][]axisTried, sessions)
	err = o.each(ctx, fmt.Sprintf("%s, %.0f°, %g px", c.eye.name, 90-c.decDeg, c.wanderPx), sessions, func(i int) (err error) {
		tried[i], err = minutesOf(ctx, o, c, steps, i)
		return err
	})
	course := make([]known, len(steps))
	for k := range course {
		course[k].pictures = steps[k]
		for _, t := range tried {
			if t != nil {
				course[k].add(t[k])
			}
		}
		course[k].done()
	}
	return course, err
}

// minutesOf measures one session after every step.
func minutesOf(ctx context.Context, o options, c axisCase, steps []int, session int) ([]axisTried, error) {
	n, err := newNight(c, o.rng(c.eye.name, c.decDeg, c.wanderPx, c.count, session))
	if err != nil {
		return nil, err
	}
	b, err := newBounder(n)
	if err != nil {
		return nil, err
	}
	q, err := n.measured(ctx)
	if err != nil {
		return nil, err
	}
	tried := make([]axisTried, len(steps))
	for k, count := range steps {
		t := &tried[k]
		if t.bound, err = b.bound(count); err != nil {
			return nil, err
		}
		var a align.Axis
		a, t.err = n.axisOf(drift.Sequence{Shots: q.Shots[:count]})
		t.take(n, a)
	}
	return tried, ctx.Err()
}

// axisOf is the axis of a measured sequence, to a user who knows the site and takes the air from its height.
func (n *night) axisOf(q drift.Sequence) (align.Axis, error) {
	h, err := q.Horizon(n.site, ephem.StandardAir(n.site.HeightM))
	if err != nil {
		return align.Axis{}, err
	}
	return align.Estimate(align.FromHorizon(h))
}

// minutesUntil is the time at which a figure of the course falls to a goal, between steps by the law of powers that joins
// them. Before the first step the last two steps' law is not trusted: "at most" is what is known then.
func minutesUntil(course []known, every time.Duration, goal float64, figure func(known) float64) (minutes float64, atMost bool) {
	if len(course) == 0 || figure(course[0]) <= goal {
		return course[0].minutes(every), true
	}
	for k := 1; k < len(course); k++ {
		a, b := course[k-1], course[k]
		if figure(b) > goal {
			continue
		}
		share := math.Log(figure(a)/goal) / math.Log(figure(a)/figure(b))
		return a.minutes(every) * math.Pow(b.minutes(every)/a.minutes(every), share), false
	}
	return math.NaN(), false
}

func trueMiss(k known) float64    { return k.miss }
func statedSigma(k known) float64 { return k.stated }
func leastSigma(k known) float64  { return k.bound }

// minutesCell is one goal's cell: minutes by the true errors, by the stated ones and by the bound.
func minutesCell(course []known, every time.Duration, goal float64) string {
	one := func(figure func(known) float64) string {
		m, atMost := minutesUntil(course, every, goal, figure)
		if atMost {
			return "≤ " + sheet.Figure(m, 2)
		}
		return sheet.Figure(m, 2)
	}
	return one(trueMiss) + " / " + one(statedSigma) + " / " + one(leastSigma)
}

// minutesStudy is the part.
func minutesStudy(ctx context.Context, o options, c *sheet.Chapter) error {
	sessions := o.trials(40, 3)
	eyes, wanders, angles := axisEyes(), []float64{0, 0.1}, []float64{90, 45}
	if o.Quick {
		eyes, wanders, angles = eyes[2:3], wanders[1:], angles[:1]
	}
	c.Say("%d sessions a row, one picture of 15 s every 20 s, stars placed to %g px, everything else as in the part `axis`. Minutes from the first picture to the last until the rms over all "+
		"sessions falls to the goal in the weaker direction on the sky: of the true errors / of the stated 1σ / of the bound. "+
		"± %.0f %% in the true errors' minutes. The last column has three pictures over a swing of 30°, 0°, 15°, 30°: true / stated / bound.",
		sessions, axisUsual().noisePx, 100*2./3/math.Sqrt(2*float64(sessions)))
	t := sheet.Table{Columns: []string{"lens (stars)", "from the axis", "wander, px", "10′: minutes", "3′: minutes", "1′: minutes", "three pictures, swing of 30°"}}
	chart := minutesChart(angles[0], wanders[len(wanders)-1])
	for _, e := range eyes {
		for _, angle := range angles {
			for _, wander := range wanders {
				course, err := minutesRow(ctx, o, &t, minutesCase(e, angle, wander), sessions)
				if err != nil {
					return err
				}
				if angle == angles[0] && wander == wanders[len(wanders)-1] {
					chart.Series = append(chart.Series, minutesSeries(e.name, course))
				}
			}
		}
	}
	c.Table(t)
	c.Chart("minutes-course", chart)
	return nil
}

func minutesChart(angle, wander float64) sheet.Chart {
	ch := sheet.Chart{Title: fmt.Sprintf("True error of the axis, %.0f° from it, wander of %g px", angle, wander),
		X: sheet.Axis{Label: "minutes from the first picture to the last", Log: true}, Y: sheet.Axis{Label: "rms in the weaker direction, minutes of arc", Log: true}}
	for _, goal := range minutesGoals {
		ch.Lines = append(ch.Lines, sheet.Line{At: goal, Name: fmt.Sprintf("%g′", goal)})
	}
	return ch
}

func minutesSeries(name string, course []known) sheet.Series {
	s := sheet.Series{Name: name}
	for _, k := range course {
		s.X, s.Y = append(s.X, k.minutes(axisUsual().every)), append(s.Y, k.miss)
		s.Sigma = append(s.Sigma, k.miss/math.Sqrt(2*k.n))
	}
	return s
}

// minutesRow adds one lens and pointing, and returns the course of its untouched sessions.
func minutesRow(ctx context.Context, o options, t *sheet.Table, c axisCase, sessions int) ([]known, error) {
	course, err := minutesCourse(ctx, o, c, sessions)
	if err != nil {
		return nil, err
	}
	swung, err := minutesSwung(ctx, o, minutesSwing(c), sessions)
	if err != nil {
		return nil, err
	}
	row := []any{fmt.Sprintf("%s (%d)", c.eye.name, c.eye.stars), fmt.Sprintf("%.0f°", 90-c.decDeg), fmt.Sprint(c.wanderPx)}
	for _, goal := range minutesGoals {
		row = append(row, minutesCell(course, c.every, goal))
	}
	t.Row(append(row, fmt.Sprintf("%s′ / %s′ / %s′", sheet.Figure(swung.miss, 2), sheet.Figure(swung.stated, 2), sheet.Figure(swung.bound, 2)))...)
	return course, nil
}

// minutesSwung tries sessions of a swing.
func minutesSwung(ctx context.Context, o options, c axisCase, sessions int) (k known, err error) {
	tried := make([]axisTried, sessions)
	err = o.each(ctx, c.eye.name+", swing", sessions, func(i int) (err error) {
		tried[i], err = tryAxis(ctx, c, o.rng("swing", c.eye.name, c.decDeg, c.wanderPx, i))
		return err
	})
	for _, t := range tried {
		k.add(t)
	}
	k.done()
	return k, err
}
