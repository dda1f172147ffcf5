package policy

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// known is an axis off its aim by so many minutes of arc (azimuth as a turn about the
// vertical), with the given standard errors on the sky.
func known(aim ephem.Horizontal, altitude, azimuth, sigmaAlt, sigmaAz float64) align.Axis {
	h := ephem.Horizontal{Altitude: aim.Altitude + unit.AngleFromMin(altitude), Azimuth: aim.Azimuth + unit.AngleFromMin(azimuth)}
	const min = math.Pi / 180 / 60
	return align.Axis{Direction: h.Direction(), DOF: 16, Chi2: 16,
		Covariance: [2][2]float64{{sq(sigmaAz * min), 0}, {0, sq(sigmaAlt * min)}}}
}

// short is a line as these tests read it: keys, minutes of arc, seconds.
func short(l say.Line) string {
	parts := []string{string(l.Key)}
	for _, w := range l.With {
		switch w := w.(type) {
		case say.Line:
			if !w.None() {
				parts = append(parts, short(w))
			}
		case unit.Angle:
			parts = append(parts, fmt.Sprintf("%.1f′", math.Abs(w.Min())))
		case say.Off:
			parts = append(parts, fmt.Sprintf("%.1f′ ± %.1f′", math.Abs(w.Value.Min()), w.Sigma.Min()))
		case say.Longest:
			parts = append(parts, time.Duration(w).String())
		default:
			parts = append(parts, fmt.Sprint(w))
		}
	}
	return strings.Join(parts, " ")
}

// horizontalOf is a direction in degrees.
func horizontalOf(azimuth, altitude float64) ephem.Horizontal {
	return ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuth), Altitude: unit.AngleFromDeg(altitude)}
}

func sq(x float64) float64 { return x * x }

// TestAdvise: the step, and the hand's directions as anyone can check them at the mount: facing the
// elevated pole, clockwise seen from above is to the right, which is east in the north and west in the south.
func TestAdvise(t *testing.T) {
	north, south := horizontalOf(0, 46), horizontalOf(180, 33)
	good := align.Forecast{MoreSigma: unit.AngleFromMin(1.5), SwingSigma: unit.AngleFromMin(0.1)}
	poor := align.Forecast{MoreSigma: unit.AngleFromMin(5), SwingSigma: unit.AngleFromMin(0.1)}
	more := align.Forecast{MoreSigma: unit.AngleFromMin(0.5)}
	cases := []struct {
		name        string
		a           align.Axis
		south       bool
		stands      float64 // minutes
		f           align.Forecast
		next        Step
		says, says2 string // of the altitude and the azimuth knob
		order       []string
	}{
		{"far off, north: too high and too far west", known(north, 50, -85, 3, 2), false, 10, good, Turn,
			"lower 50.0′", "turn the base 85.0′ clockwise east", []string{"turn the base 85.0′", "lower 50.0′"}},
		{"far off, south: too low and too far west", known(south, -80, 30, 3, 2), true, 10, good, Turn,
			"raise 80.0′", "turn the base 30.0′ anticlockwise east", []string{"raise 80.0′", "turn the base 30.0′"}},
		{"far off, south: too far east", known(south, 0, -40, 1, 1), true, 10, good, Turn,
			"knob right 0.0′ ± 1.0′", "turn the base 40.0′ clockwise west", []string{"turn the base 40.0′"}},
		{"good enough", known(north, 0.3, -0.2, 0.2, 0.2), false, 30, good, Shoot, "knob right 0.3′", "knob right 0.2′", nil},
		{"an error the exposure stands", known(north, 8, 0, 1, 1), false, 40, good, Shoot, "knob right 8.0′ ± 1.0′", "knob right 0.0′", nil},
		{"doubt larger than the error", known(north, 8, 0, 10, 4), false, 6, poor, Swing, "knob not known, a swing shows 10.0′", "knob not known, a swing shows 5.8′", nil},
		{"doubt larger than the error, and the exposure stands both", known(north, 8.4, 0, 8.3, 4), false, 40, poor, Shoot, "knob not known, a swing shows 8.3′", "knob right", nil},
		{"doubt, and no swing on offer", known(north, 3, 0, 5, 4), false, 5, more, Measure, "knob not known, pictures show 5.0′", "knob not known, pictures show", nil},
		{"a knob known far worse than the other", known(north, 30, 96, 2, 40), false, 10, poor, Turn, "lower 30.0′", "knob not known, a swing shows 58.1′", []string{"lower 30.0′"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			aim := north
			if c.south {
				aim = south
			}
			ad := Advise(c.a, Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: aim.Direction()}, PlannedS: 30,
				Stands: unit.AngleFromMin(c.stands), Forecast: c.f, South: c.south})
			if ad.Next != c.next {
				t.Errorf("next step %q (%s), want %q", ad.Next, short(ad.Says), c.next)
			}
			if !strings.HasPrefix(short(ad.Altitude), c.says) || !strings.HasPrefix(short(ad.Azimuth), c.says2) {
				t.Errorf("knobs %q and %q, want %q and %q", short(ad.Altitude), short(ad.Azimuth), c.says, c.says2)
			}
			at := -1
			for _, part := range c.order { // the larger first
				i := strings.Index(short(ad.Says), part)
				if i <= at {
					t.Errorf("%q does not name %v in this order", short(ad.Says), c.order)
				}
				at = i
			}
			if lowers := strings.Contains(short(ad.Says), "lower "); c.next == Turn && lowers != strings.Contains(short(ad.Says), "finish upward") {
				t.Errorf("%q: a lowering is to finish upward", short(ad.Says))
			}
			if ad.Next == Shoot && !ad.Trustworthy && !strings.Contains(short(ad.Says), "whatever the error") {
				t.Errorf("%q is not trusted, and does not say why that does no harm", short(ad.Says))
			}
		})
	}
}

// TestPlay: what the knobs cannot do is not asked for, and said to be why; knobs better than usual are trusted with less.
func TestPlay(t *testing.T) {
	north := horizontalOf(0, 46)
	for _, row := range []struct {
		name             string
		off, sigma       float64 // minutes
		play             float64
		longestS         float64 // with 30 s planned
		next             Step
		says, doesNotSay string
	}{
		{"usual knobs", 8, 0.3, 0, 20, Turn, "lower 8.0′", "play"},
		{"the same with 10′ of play", 8, 0.3, 10, 20, Shoot, "start, play and a shorter exposure 8.0′ ± 0.3′ 10.0′ 20s 30s", "start, a shorter"},
		{"more than the play", 14, 0.3, 10, 20, Turn, "lower 14.0′", "play"},
		{"the doubt may be more than the play", 8, 2, 10, 20, Measure, "more pictures", "play"},
		{"small whatever the play", 1, 0.2, 10, 20, Shoot, "start, a shorter exposure 20s", "play"},
		{"what the exposure stands, whatever the play", 8, 0.3, 10, 60, Shoot, "room 1m0s", "play"},
		{"play beyond what the exposure stands", 18, 0.3, 20, 60, Shoot, "start, play 18.0′ ± 0.3′ 20.0′", "round"},
		{"fine knobs", 1, 0.2, 0.5, 20, Turn, "lower 1.0′", "play"},
	} {
		t.Run(row.name, func(t *testing.T) {
			stands := unit.AngleFromMin(15)
			if row.longestS < 30 {
				stands = unit.AngleFromMin(1)
			}
			ad := Advise(known(north, row.off, 0, row.sigma, row.sigma), Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: north.Direction()}, PlannedS: 30,
				Stands: stands, Play: unit.AngleFromMin(row.play), LongestS: row.longestS, Rounded: row.longestS >= 30, Forecast: align.Forecast{MoreSigma: unit.AngleFromMin(0.1)}})
			if ad.Next != row.next || !strings.Contains(short(ad.Says), row.says) || strings.Contains(short(ad.Says), row.doesNotSay) {
				t.Errorf("%s: %q; want %s with %q and without %q", ad.Next, short(ad.Says), row.next, row.says, row.doesNotSay)
			}
		})
	}
}

// TestPlayOnAGearNobodyHasSeen: a figure that is shown says what it rests on, here too.
func TestPlayOnAGearNobodyHasSeen(t *testing.T) {
	north := horizontalOf(0, 46)
	ad := Advise(known(north, 8, 0, 0.3, 0.3), Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: north.Direction()}, PlannedS: 30, Stands: unit.AngleFromMin(1),
		Play: unit.AngleFromMin(10), LongestS: 20, Rests: say.Of("on most"), Forecast: align.Forecast{MoreSigma: unit.AngleFromMin(0.1)}})
	if !strings.Contains(short(ad.Says), "20s on most 30s") {
		t.Errorf("%q", short(ad.Says))
	}
}

// TestUnsound: pictures that fit no axis give no correction to trust.
func TestUnsound(t *testing.T) {
	a := known(horizontalOf(0, 46), 60, 0, 1, 1)
	a.Chi2 = 900
	ad := Advise(a, Question{Aim: align.Aim{Kind: align.AimRefracted, Direction: horizontalOf(0, 46).Direction()}, Stands: unit.AngleFromMin(10)})
	if ad.Next != Measure || ad.Trustworthy {
		t.Errorf("next step %q, trustworthy %v", ad.Next, ad.Trustworthy)
	}
}

// Errors of the two knobs that hang together can make the whole sure and neither
// knob: then nothing is turned, and no sentence says so.
func TestTurnOnlyWhereAKnobTurns(t *testing.T) {
	const arcmin = math.Pi / 180 / 60
	aim := align.Aim{Kind: align.AimRefracted, Direction: ephem.Horizontal{Altitude: unit.AngleFromDeg(46)}.Direction()}
	a := align.Axis{Direction: ephem.Horizontal{Altitude: unit.AngleFromDeg(46) + unit.AngleFromMin(12), Azimuth: unit.AngleFromMin(29)}.Direction(), DOF: 4, Chi2: 4}
	a.Covariance[0][0], a.Covariance[1][1] = sq(12*arcmin), sq(6.8*arcmin)
	a.Covariance[0][1] = -0.99 * 12 * 6.8 * arcmin * arcmin
	a.Covariance[1][0] = a.Covariance[0][1]
	ad := Advise(a, Question{Aim: aim, PlannedS: 30, Stands: unit.AngleFromMin(5)})
	if ad.Next == Turn {
		t.Errorf("next %q: %s", ad.Next, short(ad.Says))
	}
	if strings.Contains(short(ad.Says), "leave it") {
		t.Errorf("the sentence turns a knob that is to be left: %s", short(ad.Says))
	}
}
