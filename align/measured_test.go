package align

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// measured makes a sequence from a run's exact star places with noise added, in
// place of rendering and measuring pictures.
func measured(t testing.TB, run *simulate.Run, count int, noisePx float64, stars int, r *rand.Rand) drift.Sequence {
	t.Helper()
	q, _ := sessionFrom(t, run, count, noisePx, stars, r)
	return q
}

// sessionFrom is measured, and the stars it used, picture by picture.
func sessionFrom(t testing.TB, run *simulate.Run, count int, noisePx float64, stars int, r *rand.Rand) (drift.Sequence, [][]simulate.TrueStar) {
	t.Helper()
	var q drift.Sequence
	var used [][]simulate.TrueStar
	e := run.Evening()
	hint := solve.Hint{FocalPx: e.Camera.FocalPx, NearWithin: unit.AngleFromDeg(0.5)}
	for i := range count {
		clock := run.Clock(i)
		s := drift.Shot{File: e.File(i), Clock: &frame.Clock{Start: clock.Start, Exposure: clock.Exposure}}
		s.Width, s.Height = e.Camera.Width, e.Camera.Height
		s.Field = star.Field{Width: s.Width, Height: s.Height}
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		lit = lit[:min(stars, len(lit))]
		for _, ts := range lit {
			s.Field.Stars = append(s.Field.Stars, star.Star{
				X: ts.X + noisePx*r.NormFloat64(), Y: ts.Y + noisePx*r.NormFloat64(), XErr: noisePx, YErr: noisePx, Flux: ts.Electrons})
		}
		sol, err := solve.Solve(context.Background(), s.Field, hint)
		if err != nil {
			t.Fatalf("picture %d: %v", i, err)
		}
		s.Solution = &sol
		hint.Near = []solve.Pose{sol.Pose}
		q.Shots = append(q.Shots, s)
		used = append(used, lit)
	}
	return q, used
}

// axisOf is the axis of a sequence as a user gets it who knows the site and takes the
// air from its height.
func axisOf(t testing.TB, q drift.Sequence, site ephem.Site) (Axis, error) {
	t.Helper()
	h, err := q.Horizon(site, ephem.StandardAir(site.HeightM))
	if err != nil {
		t.Fatal(err)
	}
	return Estimate(FromHorizon(h))
}

// invented is a site nobody lives at, half a kilometre up.
func invented(t testing.TB, latitudeDeg float64) ephem.Site {
	t.Helper()
	site, err := ephem.NewSite(latitudeDeg, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	return site
}

// practiceAt is the practice evening of a latitude with an axis off by 25′ and 48′.
func practiceAt(t testing.TB, latitudeDeg float64) simulate.Evening {
	t.Helper()
	e, err := simulate.Practice(invented(t, latitudeDeg), time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Mount.AltitudeError = unit.AngleFromMin(25)
	e.Mount.AzimuthError = unit.AngleFromMin(-48)
	return e
}

// degrees is a list of angles.
func degrees(deg ...float64) (list []unit.Angle) {
	for _, d := range deg {
		list = append(list, unit.AngleFromDeg(d))
	}
	return list
}

// missed is axis less truth, on the sky: across (toward growing azimuth) and up, radians.
func missed(a Axis, truth ephem.Horizontal) (across, up float64) {
	dAz := math.Remainder((a.Azimuth() - truth.Azimuth).Rad(), 2*math.Pi)
	return dAz * math.Cos(truth.Altitude.Rad()), (a.Altitude() - truth.Altitude).Rad()
}

// chi is how far an axis lies off the truth in its own standard errors, both directions and
// their correlation counted: √χ² of two degrees of freedom.
func chi(a Axis, truth ephem.Horizontal) float64 {
	x, y := missed(a, truth)
	i := inverse2(a.Covariance)
	return math.Sqrt(x*x*i[0][0] + 2*x*y*i[0][1] + y*y*i[1][1])
}

// off is the true angle between axis and truth.
func off(a Axis, truth ephem.Horizontal) unit.Angle {
	x, y := missed(a, truth)
	return unit.Angle(math.Hypot(x, y))
}
