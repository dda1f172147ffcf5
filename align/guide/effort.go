package guide

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/ephem"
)

// plannedPictures is how many pictures somebody takes who is told nothing: ten in three minutes (design §7).
const plannedPictures = 10

// mostPictures more are asked for before a swing is advised instead.
const mostPictures = 12

// sureness is how many standard errors a correction must be, as in align.Advise.
const sureness = 2

// effort says how many more pictures are needed, or to swing, for an answer that says nothing a hand can
// turn by yet.
func (g *Guide) effort(a answer.Finding, w window) told {
	n := usedIn(a)
	if n < leastPictures || a.Measured == nil {
		return g.firstEffort(a, w, n)
	}
	m := a.Measured
	how := ""
	if g.s.Phase != Untouched { // there the bubbles still show what the turns made of the first measurement
		how = "the axis is " + off(m) + " off"
	}
	f := m.Question.Forecast
	if m.Axis.DOF < 1 {
		return told{kind: string(align.Measure), text: "Take one more picture, hands off, to see whether anything gave way" + tail(how)}
	}
	if m.Deviation.Total > coarsely {
		return told{kind: string(align.Measure), text: "Take " + g.count(max(1, surePictures-n)) + ", to see whether anything gives way" + tail(how)}
	}
	more := morePictures(m.Axis.WorstSigma(), wanted(a), f, n)
	if more > mostPictures && f.SwingSigma > 0 && f.SwingSigma < m.Axis.WorstSigma() || a.Advice.Next == align.Swing {
		return told{kind: string(align.Swing), text: fmt.Sprintf("Swing the axis by hand by about 30° and take a picture, then back past the start by 20° and take another: that brings the axis from ± %s to ± %s.",
			align.Arc(m.Axis.WorstSigma()), align.Arc(f.SwingSigma))}
	}
	if more > mostPictures {
		return told{kind: string(align.Measure), text: a.Advice.NextText}
	}
	return told{kind: string(align.Measure), text: "Take " + g.count(more) + tail(how)}
}

// morePictures of the same kind bring the error down to what is wanted: from the forecast for twice as many, by a power of the number.
func morePictures(now, want unit.Angle, f align.Forecast, n int) int {
	if now <= want || f.MoreSigma <= 0 {
		return 1
	}
	power := math.Log2(now.Rad() / f.MoreSigma.Rad())
	power = max(0.3, min(2, power))
	total := float64(n) * math.Pow(now.Rad()/want.Rad(), 1/power)
	return max(1, int(math.Ceil(min(total, 1e6)))-n)
}

// count is a number of pictures and how long they take.
func (g *Guide) count(n int) string {
	if n == 1 {
		return "one more picture, hands off"
	}
	return fmt.Sprintf("about %d more pictures, hands off (%s)", n, minutes(float64(n)*g.paceS()))
}

// tail ends a sentence, with how far off the axis is where that is the news.
func tail(how string) string {
	if how == "" {
		return "."
	}
	return ": " + how + "."
}

func pictures(n int) string {
	if n == 1 {
		return "one more picture"
	}
	return fmt.Sprintf("%d more pictures", n)
}

// firstEffort speaks before the third picture: whether a few minutes of tracking will do, or the axis is to be swung now.
func (g *Guide) firstEffort(a answer.Finding, w window, n int) told {
	sigma, stands, ok := g.tracking(a, w)
	want := stands.Div(sureness)
	least := max(leastPictures-n, 1)
	switch {
	case !ok:
		return told{kind: string(align.Measure), text: "Take at least " + pictures(least) + ", hands off."}
	case sigma > want:
		return told{kind: string(align.Swing), text: fmt.Sprintf("Swing the axis by hand by about 30° now and take the next picture, then back past the start by 20°: tracking alone would leave ± %s after ten pictures, and %s stand %s.",
			align.Arc(sigma), exposure.Lasting(g.o.Answer.Planned.Seconds()), align.Arc(stands))}
	}
	total := plannedPictures * math.Pow(sigma.Rad()/want.Rad(), 1/trackingPower)
	more := max(least, int(math.Ceil(total))-n)
	return told{kind: string(align.Measure), text: "Take " + g.count(more) + ", or swing the axis by hand by 30° before the next one."}
}

// trackingPower: the error of an axis measured by tracking falls with the number of pictures as n^−3/2, for the span grows with it.
const trackingPower = 1.5

// tracking forecasts the error of the axis after ten pictures of tracking from one or two, and the axis error worth a
// turn then. The axis itself is taken to be near the aim: where it really is changes the forecast little.
func (g *Guide) tracking(a answer.Finding, w window) (sigma, stands unit.Angle, ok bool) {
	seen, err := g.see(a, w.sequence())
	in := seen.Input
	if err != nil || len(in.Samples) == 0 {
		return 0, 0, false
	}
	if len(in.Samples) == 1 {
		second := in.Samples[0]
		second.Mid = second.Mid.Add(usualPaceS * time.Second)
		in.Samples = append(slices.Clone(in.Samples), second)
	}
	aim, err := align.NewAim(g.o.Answer.Aim, in.Site, in.Air, in.Samples[0].Mid, g.o.Answer.Target)
	if err != nil {
		return 0, 0, false
	}
	unknown := sq(unit.AngleFromDeg(30).Rad())
	f := align.Predict(in, align.Axis{Direction: aim.Direction, Covariance: [2][2]float64{{unknown, 0}, {0, unknown}}, Theta: make([]unit.Angle, len(in.Samples))})
	if f.MoreSigma <= 0 {
		return 0, 0, false
	}
	const forecast = 2 * leastPictures // pictures Predict lays out for so short a beginning
	sigma = f.MoreSigma.Mul(math.Pow(forecast/float64(plannedPictures), trackingPower))
	stands, ok = g.standsOf(a)
	return sigma, stood(stands), ok
}

func sq(x float64) float64 { return x * x }

// standsOf is the axis error the planned exposure stands, from the width of the stars alone: half of the tolerance, as in answer.
func (g *Guide) standsOf(a answer.Finding) (unit.Angle, bool) {
	for _, f := range a.Lines {
		if f.Used && f.FWHMPx != nil && f.ScaleArcsecPx != nil {
			creep := ephem.SiderealRadPerS * g.o.Answer.Planned.Seconds()
			trail := exposure.TrailOf(g.o.Answer.MaxElongation, *f.FWHMPx) * unit.AngleFromSec(*f.ScaleArcsecPx).Rad()
			return unit.Angle(trail / creep / 2), true
		}
	}
	return 0, false
}
