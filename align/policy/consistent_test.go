package policy

import (
	"fmt"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// TestOneComparison: over axes good and bad, known well and badly, for exposures that stand much and little, round and not, nothing that is shown
// contradicts the order. Each line is a contradiction that was once on one screen.
func TestOneComparison(t *testing.T) {
	north, min := horizontalOf(0, 46), unit.AngleFromMin
	cases := 0
	for _, off := range []float64{0, 1, 3, 8.4, 20, 90} {
		for _, sigma := range []float64{0.1, 1, 4, 8.3, 58} {
			for _, stands := range []float64{0, 2, 8, 40} {
				for _, longestS := range []float64{0, 20, 60, 3600} {
					for _, play := range []float64{0, 10} {
						q := Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: north.Direction()}, PlannedS: 30, Stands: min(stands), LongestS: longestS,
							Rounded: longestS >= 30, Play: min(play), Forecast: align.Forecast{MoreSigma: min(sigma / 2), SwingSigma: min(0.1)}}
						for _, ask := range []say.Line{{}, say.Of("a question")} {
							q.Ask = ask
							a := known(north, off*0.6, off*0.8, sigma, sigma/2)
							cases++
							consistent(t, fmt.Sprintf("off %g ± %g, stands %g, longest %g, play %g, asked %v", off, sigma, stands, longestS, play, !ask.None()), a, q)
						}
					}
				}
			}
		}
	}
	if cases < 1000 {
		t.Errorf("%d cases only", cases)
	}
}

func consistent(t *testing.T, name string, a align.Axis, q Question) {
	t.Helper()
	ad, s := Advise(a, q), Stand(a, q)
	turns := ad.AltitudeIs == KnobTurns || ad.AzimuthIs == KnobTurns
	unknown := ad.AltitudeIs == KnobUnknown || ad.AzimuthIs == KnobUnknown
	switch {
	case ad.Next == Shoot && !ad.Trustworthy && !s.Round && !s.ByPlay && s.Worst >= s.Small:
		t.Errorf("%s: told to start by an axis nobody trusts, and the exposure does not stand what it may be off", name)
	case ad.Next == Shoot && turns:
		t.Errorf("%s: told to start, and to turn a knob", name)
	case ad.Next == Turn && !turns:
		t.Errorf("%s: told to turn, and neither knob is to be", name)
	case ad.Next == Turn && !ad.Trustworthy:
		t.Errorf("%s: told to turn by an axis nobody trusts", name)
	case ad.Next == Shoot && s.Worst < s.Small && unknown:
		t.Errorf("%s: good enough, and a knob is not known", name)
	case q.Rounded && q.Stands > 0 && s.Worst > s.Marks:
		t.Errorf("%s: the exposure is round and a bubble outside the marks", name)
	case !q.Ask.None() && (ad.Next == Shoot || ad.Next == Turn || ad.Trustworthy):
		t.Errorf("%s: %s before the question is answered", name, ad.Next)
	case ad.Says.None() || ad.Altitude.None() || ad.Azimuth.None():
		t.Errorf("%s: nothing said", name)
	}
	c := Case{Axis: &a, Question: q, Advice: ad, Pictures: 7, Asked: !q.Ask.None()}
	next, order := Next(State{Phase: Measuring}, c)
	if next.Phase == Done && ad.Next != Shoot || next.Phase == Turning && ad.Next != Turn || (next.Phase == Done || next.Phase == Turning) && c.Asked {
		t.Errorf("%s: align says %s, live is %s", name, ad.Next, next.Phase)
	}
	if order.Step == Shoot != (next.Phase == Done) || order.Step == Turn != (next.Phase == Turning) {
		t.Errorf("%s: %s, and ordered to %s", name, next.Phase, order.Step)
	}
}

// TestNextGoesBackForAReasonOnly: a session that is done is so still where the axis is no worse than by half more than it may be.
func TestNextGoesBackForAReasonOnly(t *testing.T) {
	north := horizontalOf(0, 46)
	q := Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: north.Direction()}, PlannedS: 30, Stands: unit.AngleFromMin(10), LongestS: 60, Rounded: true}
	for _, row := range []struct {
		off      float64
		pictures int
		want     string
	}{{2, 5, Done}, {12, 5, Done}, {14, 5, Done}, {16, 5, Turning}, {60, 5, Turning}, {20 * 60, 7, Measuring}} {
		a := known(north, row.off, 0, 0.2, 0.2)
		c := Case{Axis: &a, Question: q, Advice: Advise(a, q), Pictures: row.pictures}
		if got, _ := Next(State{Phase: Done}, c); got.Phase != row.want || (row.want == Measuring) != got.Afresh {
			t.Errorf("%g′ off: %+v, want %s", row.off, got, row.want)
		}
	}
}

// TestEffort: before the third picture what tracking would leave decides; after it what is missing.
func TestEffort(t *testing.T) {
	north, min := horizontalOf(0, 46), unit.AngleFromMin
	q := Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: north.Direction()}, PlannedS: 30, Stands: min(10), Forecast: align.Forecast{MoreSigma: min(3), SwingSigma: min(0.2)}}
	rough := known(north, 20, 0, 8, 8)
	for _, row := range []struct {
		name string
		c    Case
		t    Tracking
		step Step
		says string
	}{
		{"no picture", Case{}, Tracking{}, Measure, "at least so many more 3"},
		{"tracking does", Case{Pictures: 1}, Tracking{min(3), min(10), true}, Measure, "more pictures, or swing so many more"},
		{"tracking does not", Case{Pictures: 2}, Tracking{min(30), min(10), true}, Swing, "swing now 30.0′ 30s 10.0′"},
		{"some more", Case{Axis: &rough, Question: q, Pictures: 5}, Tracking{}, Measure, "more pictures so many more, hands off"},
	} {
		row.c.Tracking, row.c.Planned, row.c.Pace = row.t, 30*time.Second, UsualPace
		o := row.c.Effort(true)
		if got := short(o.Says); o.Step != row.step || len(got) < len(row.says) || got[:len(row.says)] != row.says {
			t.Errorf("%s: %s: %q, want %s: %q", row.name, o.Step, got, row.step, row.says)
		}
	}
}
