package main

import (
	"context"
	"fmt"
	"math"
	"time"

	"trueturn/cmd/study/sheet"
)

// solveStudy is the part: true skies, false ones, pictures.
func solveStudy(ctx context.Context, o options, c *sheet.Chapter) error {
	c.Say("A star list is drawn by a camera of the study's own (pinhole, radial and tangential distortion, optical axis off the middle; held to astropy's TAN and SIP) and handed to solve.Solve. A solution counts as wrong when the middle of its picture is more than %g° off, its mirror is not the picture's, or there is nothing to find; as unsure, when the middle is so far off but by less than %d of the errors the solution states. The last column is the root mean square of error over stated error, of the middle, of right solutions: 1 is true. Times are of one core's work, after detection.", wrongByDeg, unsurePull)
	sky, err := trueSky(ctx, o, o.trials(150, 2))
	if err != nil {
		return err
	}
	lies, err := falseSkies(ctx, o, o.trials(2500, 2))
	if err != nil {
		return err
	}
	shots, err := solvePictures(ctx, o, o.trials(480, 6))
	if err != nil {
		return err
	}
	sky.report(c)
	reportLies(c, lies)
	shots.report(c)
	solveTargets(c, &sky, lies, &shots)
	return nil
}

// failed is the share of trials without a right solution, in per cent, with its standard error: at least that of one
// trial, since none of few proves little.
func (t *solveTally) failed() (percent, err float64) {
	if t.trials == 0 {
		return math.NaN(), math.NaN()
	}
	n, bad := float64(t.trials), float64(t.trials-t.solved)
	return 100 * bad / n, 100 * math.Sqrt(max(bad*(n-bad)/n, 1)) / n
}

func milliseconds(d time.Duration) string { return sheet.Figure(d.Seconds()*1e3, 2) }

// solveColumns head the tables of tallies.
var solveColumns = []string{"", "trials", "solved, %", "unsure", "wrong", "median, ms", "95 %, ms", "farthest off, °", "error / stated"}

func (t *solveTally) row(table *sheet.Table, name string) {
	failed, err := t.failed()
	table.Row(name, t.trials, sheet.PlusMinus(100-failed, err, 1), t.unsure, t.wrong,
		milliseconds(t.percentile(0.5)), milliseconds(t.percentile(0.95)), t.worst, sheet.Figure(math.Sqrt(t.pulls/float64(t.solved)), 2))
}

func (s *solveSky) report(c *sheet.Chapter) {
	c.Head("One thing changed at a time")
	c.Say("The usual field: 8–75° across, 50 true stars on 4032 × 3024 pixels, any part of the sky, no hint, 1 %% of distortion, a tenth of the stars lost, a tenth of the spots false, places to 0.2 px, magnitudes off by 0.2. Narrow fields that hold fewer stars of the catalogue than asked for are filled with stars it does not list. False spots are half hot pixels, half lamps brighter than every star. The Moon drowns three magnitudes in its corner.")
	c.Table(solveTable(s.single))
	c.Head("Everything at once")
	c.Say("Every factor drawn from its row: a field may have half its view behind a roof, lose four stars of ten to cloud, bend by 10 %%, and have as many lamps and hot pixels as stars.")
	c.Table(solveTable(s.mixed))
	mixed := sheet.Table{Columns: solveColumns}
	s.mixedMiddle.row(&mixed, "everything at once, 8–75°, ≥ 12 true stars")
	s.mixedEnds.row(&mixed, "everything at once, 5–8° and 75–90°, ≥ 12 true stars")
	s.hinted.row(&mixed, "solved, lens known to 20 %")
	s.unhinted.row(&mixed, "solved, no hint")
	c.Table(mixed)
	c.Say("Proved by so many trials without a wrong solution: less than three in as many. The 10⁻⁹ of the likelihood test is its model's own figure.")
	for _, w := range s.wrong {
		c.Say("Wrong: %s.", w)
	}
}

func solveTable(fs []solveTallied) sheet.Table {
	t := sheet.Table{Columns: solveColumns}
	for _, f := range fs {
		for i := range f.levels {
			f.levels[i].row(&t, f.factor+": "+f.levels[i].name)
		}
	}
	return t
}

func reportLies(c *sheet.Chapter, lies []solveLies) {
	c.Head("No sky to find")
	c.Say("12 to 24 spots; half of the lists come with a hint of their lens. Of two skies in one picture either may be found: that is \"solved\"; everywhere else every solution would be wrong.")
	t := sheet.Table{Columns: solveColumns}
	for i := range lies {
		lies[i].row(&t, lies[i].name)
	}
	c.Table(t)
	for _, l := range lies {
		for _, w := range l.which {
			c.Say("Wrong: %s.", w)
		}
	}
}

// solveTargets holds the results to the targets of the design.
func solveTargets(c *sheet.Chapter, s *solveSky, lies []solveLies, p *solveShots) {
	solved := func(what string, t *solveTally, limit float64) {
		failed, err := t.failed()
		c.Target(sheet.Target{What: what, Limit: fmt.Sprintf("≥ %g %%", limit),
			Figure: fmt.Sprintf("%s %% of %d", sheet.PlusMinus(100-failed, err, 2), t.trials), Verdict: sheet.AtMost(failed, err, 100-limit)})
	}
	solved("solved, 8–75°, ≥ 12 true stars, one thing changed", &s.singleMiddle, 99.5)
	solved("solved, 5–8° and 75–90°, ≥ 12 true stars, one thing changed", &s.singleEnds, 95)
	solved("solved, pictures of 8–75° with ≥ 12 true stars", &p.all, 99.5)
	wrongTarget := func(what string, wrong, trials, wanted int) {
		v := sheet.Pass
		switch {
		case wrong > 0:
			v = sheet.Miss
		case trials < wanted:
			v = sheet.Open
		}
		c.Target(sheet.Target{What: what, Limit: fmt.Sprintf("0 in %d", wanted), Figure: fmt.Sprintf("%d in %d", wrong, trials), Verdict: v})
	}
	wrongTarget("wrong solutions, true sky", len(s.wrong), s.trials, 10000)
	wrong, trials := 0, 0
	for _, l := range lies {
		wrong, trials = wrong+l.wrong, trials+l.trials
	}
	wrongTarget("wrong solutions, no sky to find", wrong, trials, 10000)
	wrongTarget("wrong solutions, pictures", len(p.which), p.trials, 400)
	fast := func(what string, t *solveTally, limit time.Duration) {
		// A median's standard error is that of the count on either side of it: half the root of the trials.
		half := 0.5 / math.Sqrt(float64(max(t.trials, 1)))
		low, median, high := t.percentile(0.5-half), t.percentile(0.5), t.percentile(0.5+half)
		c.Target(sheet.Target{What: what, Limit: "≤ " + milliseconds(limit) + " ms", Figure: milliseconds(median) + " ms",
			Verdict: sheet.AtMost(median.Seconds(), (high-low).Seconds()/2, limit.Seconds())})
	}
	fast("median time, lens known to 20 %, all fields solved", &s.hinted, 10*time.Millisecond)
	fast("median time, no hint, all fields solved", &s.unhinted, 50*time.Millisecond)
}
