package report

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

var evening = time.Date(2026, 11, 20, 20, 4, 0, 0, time.UTC)

func to[T any](v T) *T { return &v }

// full is an invented answer with everything there is to show. Its numbers are round on purpose: the golden page must
// not change with the last bit of a library's sine.
func full() Data {
	a := answer.Answer{
		Aim:   &answer.AimJSON{Kind: "refracted", AltitudeDeg: 46.016, AzimuthDeg: 0},
		Axis:  &answer.AxisJSON{AltitudeDeg: 46.421, AzimuthDeg: 359.2, AltitudeSigmaArcmin: 0.8, AzimuthSigmaArcmin: 3.1, Correlation: -0.62},
		Error: &answer.ErrorJSON{AltitudeArcmin: 24.3, AzimuthArcmin: -48, TotalArcmin: 41.2, TotalSigmaArcmin: 2},
		Advice: answer.AdviceJSON{Next: to("turn"), NextText: "Turn the knobs: first turn the base 48′ clockwise seen from above (toward east), then lower the tilt by 24′.",
			Altitude: "lower the tilt by 24′", Azimuth: "turn the base 48′ clockwise seen from above (toward east)", TurnAltitudeArcmin: to(-24.3), TurnAzimuthArcmin: to(48.0),
			Trustworthy: true, Notes: []string{"Measure once more after the turn."}},
		Situations: []answer.Situation{
			{Kind: "knock", Files: []string{"sky-07.jpg", "sky-08.jpg"}, Text: "The camera moved by 12′ at once: before and after are measured apart. Secure the tripod."},
			{Kind: "weak direction", Files: []string{}, Text: "The base is known four times worse than the tilt: add three minutes six hours away."}},
		Rate:          &answer.RateJSON{SiderealRatio: 1.0004, Sigma: 0.0011},
		PeriodicError: &answer.PeriodicJSON{State: "measured", PeriodS: to(480.0), PeakToPeakArcsec: to(44.0), MaxRateArcsecPerSec: to(0.31)},
		Exposure:      &answer.ExposureJSON{LongestS: to(41.0), PlannedS: 30, PlannedStaysRound: to(true), ShareRound: to(0.94)},
	}
	site, _ := ephem.NewSite(46, 7, 500)
	a.Site = &site
	a.Measured = &answer.Measured{Question: policy.Question{PlannedS: 30, Stands: unit.AngleFromMin(18)}}
	d := Data{Answer: a, Title: "Evening at the reservoir", Generated: evening.Add(time.Hour), Version: "0.3",
		Drift: &Drift{}, Wobble: &Wobble{Result: wobble.Result{State: wobble.Measured, PeriodS: 480, PeriodSigmaS: 6, PeakToPeakSigma: unit.AngleFromSec(3), MaxRateSigma: 0.04}},
		Exposure: &Exposure{MaxElongation: 1.25, Share: 0.9, Rules: exposure.Rules{Rule500S: to(4.3), NPFS: to(3.9)},
			Forecast: exposure.Forecast{LimitedBy: exposure.LimitAxis, Advice: say.Text("Turning the base by 48′ lengthens exposures from 41 s to 95 s; after that, the gear is the limit.")}},
		Field: &Field{File: "sky-01.jpg", Width: 4032, Height: 3024},
		Judged: &exposure.Verdict{Round: 11, Of: 12, Causes: []exposure.Share{{Cause: "declination drift", Share: 0.8, Says: say.Text("The axis is off.")}, {Cause: "unknown", Share: 0.2}}, Advice: say.Text("Leave out one picture: sky-07.jpg."),
			Frames: []exposure.Judged{{File: "sky-01.jpg", Round: true}, {File: "sky-07.jpg", Cause: "shake", TrailPx: 4, Elongation: 1.4}}}}
	d.fill()
	return d
}

// fill invents the series.
func (d *Data) fill() {
	for i := range 24 {
		mid := evening.Add(time.Duration(i) * 40 * time.Second)
		saw := float64(i%12) - 5.5 // in place of a sine
		f := answer.FrameJSON{File: fmt.Sprintf("sky-%02d.jpg", i+1), MidUTC: to(mid.Format(time.RFC3339Nano)), ExposureS: to(8.0), Used: true, Stars: 212 - i, Matched: 180 - i,
			RMSPx: to(0.125), RADeg: to(83.5 + float64(i)/4096), DecDeg: to(-2.25 - float64(i)/2048), RollDeg: to(359.75 + float64(i)/64 - 360*float64(i/16)),
			ScaleArcsecPx: to(11.5), FWHMPx: to(2.5), Elongation: to(1.125)}
		if i == 6 {
			f.Used, f.WhyNot = false, "fits no steady axis: touched, shaken or of another field"
		}
		if i == 9 {
			f = answer.FrameJSON{File: "clouded-10.jpg", WhyNot: "not recognised", Stars: 2}
		}
		d.Answer.Frames = append(d.Answer.Frames, f)
		d.Drift.Mid = append(d.Drift.Mid, mid)
		d.Drift.AltitudeArcsec = append(d.Drift.AltitudeArcsec, saw/8)
		d.Drift.SidewaysArcsec = append(d.Drift.SidewaysArcsec, -saw/4)
		d.Drift.TurnArcsec = append(d.Drift.TurnArcsec, 4*saw)
		d.Drift.TurnSigmaArcsec = append(d.Drift.TurnSigmaArcsec, 2.5)
		d.Drift.Stretch = append(d.Drift.Stretch, i/18)
	}
	w := d.Wobble
	w.Mid, w.Arcsec, w.SigmaArcsec, w.CurveMid, w.CurveArcsec = d.Drift.Mid, d.Drift.TurnArcsec, d.Drift.TurnSigmaArcsec, d.Drift.Mid, d.Drift.TurnArcsec
	for i := 1; i <= 40; i++ {
		w.Frequencies = append(w.Frequencies, 1/(60*float64(i)))
		w.Spectrum = append(w.Spectrum, 1/(1+math.Abs(float64(i-8))))
	}
	for i := 1; i <= 24; i++ {
		t := 4 * float64(i)
		d.Exposure.Curve = append(d.Exposure.Curve, exposure.Point{ExposureS: t, TrailPx: t / 12, Elongation: math.Sqrt(1 + t*t/3000), ShareRound: math.Max(0, math.Min(1, 1.5-t/70))})
	}
	for i := range 60 {
		x, y := float64(i%10)*400+200, float64(i/10)*480+240
		d.Field.Stars = append(d.Field.Stars, plot.Whisker{X: x, Y: y, Elongation: 1 + math.Abs(x-2000)/4000})
	}
}

// nothing is an answer in which everything is null.
func nothing() Data {
	return Data{Answer: answer.New(drift.Sequence{}, answer.Options{Voice: words.ForPage}), Generated: evening}
}

// hostile has a name in it that is no name.
func hostile() Data {
	d := full()
	const name = `<script>alert(1)</script>"><img src=x onerror=alert(2)>.jpg`
	d.Title, d.Field.File, d.Answer.Frames[0].File = name, name, name
	d.Answer.Frames[1].WhyNot, d.Answer.Err = name, errors.New(name)
	d.Answer.Situations[0].Text, d.Answer.Situations[0].Kind = name, name
	d.Answer.Situations[0].Files = []string{name}
	d.Judged.Causes[0].Cause, d.Exposure.LimitedBy, d.Wobble.Note, d.Missing.Field = name, name, say.Text(name), name
	return d
}

// simulated is a real answer about exact star places with noise, of a mount that is off and wobbles, under a cloud.
func simulated(t testing.TB) Data {
	t.Helper()
	seq := simulatedSequence(t)
	d := Of(seq, answer.New(seq, answer.Options{Site: to(place(t)), Voice: words.ForTerminal}))
	if d.Answer.Measured == nil {
		t.Fatal(d.Answer.Err)
	}
	d.Title, d.Generated = "A simulated evening", evening.Add(time.Hour)
	return d
}

func place(t testing.TB) ephem.Site {
	t.Helper()
	site, err := ephem.NewSite(46, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	return site
}

// simulatedSequence is made once: it takes a second.
func simulatedSequence(t testing.TB) drift.Sequence {
	t.Helper()
	once.Do(func() {
		made = sequence(t, func(e *simulate.Evening) {
			e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 480 * time.Second}
			e.Count, e.Every = 30, 40*time.Second
		})
	})
	return made
}

// swung is an evening of four pictures with the axis swung by hand between them.
func swung(t testing.TB) Data {
	t.Helper()
	seq := sequence(t, func(e *simulate.Evening) {
		e.Count = 5
		for _, deg := range []float64{0, 25, -20, 40, 5} {
			e.Mount.Swings = append(e.Mount.Swings, unit.AngleFromDeg(deg))
		}
	})
	return Of(seq, answer.New(seq, answer.Options{Site: to(place(t)), Voice: words.ForTerminal}))
}

// standing is a tripod: there is no axis.
func standing(t testing.TB) Data {
	t.Helper()
	seq := sequence(t, func(e *simulate.Evening) { e.Count, e.Mount.Tripod = 6, true })
	return Of(seq, answer.New(seq, answer.Options{Site: to(place(t)), Voice: words.ForTerminal}))
}

func sequence(t testing.TB, set func(*simulate.Evening)) drift.Sequence {
	t.Helper()
	e, err := simulate.Practice(place(t), evening)
	if err != nil {
		t.Fatal(err)
	}
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	set(&e)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return placed(t, run, 0.05)
}

var (
	once sync.Once
	made drift.Sequence
)

// placed makes a sequence of a run's exact star places with noise, in place of pictures; the last but one is clouded.
func placed(t testing.TB, run *simulate.Run, noisePx float64) drift.Sequence {
	t.Helper()
	r := rand.New(rand.NewPCG(1, 2))
	e := run.Evening()
	var q drift.Sequence
	for i := range e.Count {
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		c := run.Clock(i)
		s := drift.Shot{File: e.File(i), Clock: &c, Width: e.Camera.Width, Height: e.Camera.Height,
			Field: star.Field{Width: e.Camera.Width, Height: e.Camera.Height, FWHM: 3, Elongation: 1.02}}
		for _, l := range lit[:min(80, len(lit))] {
			s.Field.Stars = append(s.Field.Stars, star.Star{X: l.MeanX + noisePx*r.NormFloat64(), Y: l.MeanY + noisePx*r.NormFloat64(),
				XErr: noisePx, YErr: noisePx, Flux: l.Electrons, FWHM: 3, Elongation: 1 + 0.3*r.Float64(), Angle: unit.AngleFromDeg(30)})
		}
		if i == e.Count-2 {
			s.Field = star.Field{Width: s.Width, Height: s.Height}
			s.Err = errors.New("no stars: cloud, or the lens capped")
			q.Shots = append(q.Shots, s)
			continue
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx})
		if err != nil {
			t.Fatal(err)
		}
		s.Solution = &sol
		q.Shots = append(q.Shots, s)
	}
	return q
}
