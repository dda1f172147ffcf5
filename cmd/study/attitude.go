package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/cmd/study/scene"
	"trueturn/cmd/study/sheet"
	"trueturn/drift/solve"
	"trueturn/ephem/turn"
)

// The part `attitude`: is the stated error of one picture's attitude true? Fields are drawn as for the part `solve`, clear and without
// spots that are no stars, and each is solved alone. A pull is error over stated error, of the turns of the picture about the
// camera's x, y and z axes; its root mean square over many fields is 1 where what is stated is true.

// attitudeView is a kind of field.
type attitudeView struct {
	name        string
	diagonalDeg float64
	stars       int
	axisOff     float64 // as in solvePlan
}

// attitudeViews are narrow and wide ones. A phone's main lens of 24 mm equivalent sees 84° (2 atan(43.27/48)).
func attitudeViews() []attitudeView {
	var vs []attitudeView
	for _, f := range []struct {
		name string
		deg  float64
	}{{"10°", 10}, {"25°", 25}, {"45°", 45}, {"60°", 60}, {"75°", 75}, {"84° (24 mm)", 84}, {"90°", 90}} {
		for _, stars := range []int{20, 60, 300} {
			for _, off := range []float64{0, usualAxisOff} {
				vs = append(vs, attitudeView{f.name, f.deg, stars, off})
			}
		}
	}
	return vs
}

// plan is a clear sky of the view.
func (v attitudeView) plan(r *rand.Rand) solvePlan {
	p := usualField(r)
	p.diagonalDeg, p.stars, p.axisOff = v.diagonalDeg, v.stars, v.axisOff
	p.hint, p.lost, p.falseShare = 1, 0, 0
	return p
}

// attitudePulls are those of the fields of one view.
type attitudePulls struct {
	view           attitudeView
	trials, solved int
	squares        [3]float64 // of error over stated error, about x, y, z
	off, stated    float64    // sums of squares, of the middle, radians
}

// facing is how a camera's picture looks: Aim turned from the optical axis to the picture's middle.
func facing(c scene.Camera, a scene.Aim) scene.Aim {
	m := c.Middle(a)
	axis := r3.Cross(a.Forward, m)
	sin := r3.Norm(axis)
	if sin == 0 {
		return a
	}
	return a.Turned(r3.Scale(1/sin, axis), unit.Angle(math.Atan2(sin, r3.Dot(a.Forward, m))))
}

// add enters a solved field.
func (p *attitudePulls) add(d solvePlot, sol *solve.Solution) {
	p.trials++
	if sol == nil {
		return
	}
	p.solved++
	a := facing(d.camera, d.aim)
	e := turn.FromRows(a.Right, a.Down, a.Forward).Inverse().Then(sol.Facing()).Log()
	for k, x := range [3]float64{e.X, e.Y, e.Z} {
		p.squares[k] += x * x / sol.Covariance.At(k, k)
	}
	p.off += e.X*e.X + e.Y*e.Y
	p.stated += sol.Covariance.At(0, 0) + sol.Covariance.At(1, 1)
}

// attitudeStudy is the part: fields of every view, each solved alone.
func attitudeStudy(ctx context.Context, o options, c *sheet.Chapter) error {
	views, n := attitudeViews(), o.trials(200, 4)
	plots, sols := make([]solvePlot, n*len(views)), make([]*solve.Solution, n*len(views))
	err := o.each(ctx, "field", len(plots), func(i int) (err error) {
		r := o.rng(i)
		plots[i] = views[i/n].plan(r).draw(r)
		sols[i], _, err = timedSolve(ctx, plots[i].field, plots[i].hint)
		return err
	})
	if err != nil {
		return err
	}
	ps := make([]attitudePulls, len(views))
	for i := range plots {
		ps[i/n].view = views[i/n]
		ps[i/n].add(plots[i], sols[i])
	}
	reportPulls(c, ps)
	return nil
}

// true between these: what is stated is then wrong by less than a seventh.
const leastPull, mostPull = 0.85, 1.15

func reportPulls(c *sheet.Chapter, ps []attitudePulls) {
	c.Say("Clear fields of 4032 × 3024 pixels, places to 0.2 px, up to 1 %% of distortion, lens told; the optical axis in the picture's middle or off it by %g of the width (1σ, each way). Pull: root mean square of error over stated error, of the picture's turn about the camera's axes, x and y carrying its middle, z its roll.", usualAxisOff)
	t := sheet.Table{Columns: []string{"view", "stars", "optical axis", "solved", "pull x", "y", "z", "middle off, ″ rms", "stated, ″ rms"}}
	for _, p := range ps {
		axis := "in the middle"
		if p.view.axisOff > 0 {
			axis = "off"
		}
		n := float64(p.solved)
		pull := func(k int) string { return sheet.Figure(math.Sqrt(p.squares[k]/n), 3) }
		sec := func(sum float64) string { return sheet.Figure(unit.Angle(math.Sqrt(sum/n)).Sec(), 3) }
		t.Row(p.view.name, p.view.stars, axis, fmt.Sprintf("%d of %d", p.solved, p.trials), pull(0), pull(1), pull(2), sec(p.off), sec(p.stated))
	}
	c.Table(t)
	c.Target(pullTarget(ps))
}

// pullTarget holds the middles of all views of 45° and more to the bounds, each its own.
func pullTarget(ps []attitudePulls) sheet.Target {
	low, high, n := math.Inf(1), 0.0, 0
	for _, p := range ps {
		if p.view.diagonalDeg >= 45 {
			pull := math.Sqrt((p.squares[0] + p.squares[1]) / 2 / float64(p.solved))
			low, high, n = min(low, pull), max(high, pull), p.solved
		}
	}
	err := 1 / math.Sqrt(4*float64(n)) // of an rms of 2n normal deviates
	v := sheet.AtMost(high, err, mostPull)
	if low < leastPull {
		v = sheet.Miss
	}
	return sheet.Target{What: "error over stated error of one picture's middle, views of 45–90°, each kind", Limit: fmt.Sprintf("%g–%g", leastPull, mostPull),
		Figure: fmt.Sprintf("%s to %s (± %s each)", sheet.Figure(low, 3), sheet.Figure(high, 3), sheet.Figure(err, 1)), Verdict: v}
}
