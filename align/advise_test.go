package align

import (
	"math"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// known is an axis off its aim by so many minutes of arc (azimuth as a turn about the
// vertical), with the given standard errors on the sky.
func known(aim ephem.Horizontal, altitude, azimuth, sigmaAlt, sigmaAz float64) Axis {
	h := ephem.Horizontal{Altitude: aim.Altitude + unit.AngleFromMin(altitude), Azimuth: aim.Azimuth + unit.AngleFromMin(azimuth)}
	const min = math.Pi / 180 / 60
	return Axis{Direction: h.Direction(), DOF: 16, Chi2: 16,
		Covariance: [2][2]float64{{sq(sigmaAz * min), 0}, {0, sq(sigmaAlt * min)}}}
}

// TestAdvise: the step, and the hand's directions as anyone can check them at the mount: facing the
// elevated pole, clockwise seen from above is to the right, which is east in the north and west in the south.
func TestAdvise(t *testing.T) {
	north, south := horizontalOf(0, 46), horizontalOf(180, 33)
	good := Forecast{MoreSigma: unit.AngleFromMin(1.5), SwingSigma: unit.AngleFromMin(0.1)}
	poor := Forecast{MoreSigma: unit.AngleFromMin(5), SwingSigma: unit.AngleFromMin(0.1)}
	more := Forecast{MoreSigma: unit.AngleFromMin(0.5)}
	cases := []struct {
		name        string
		a           Axis
		south       bool
		stands      float64 // minutes
		f           Forecast
		next        Next
		says, says2 string // of the altitude and the azimuth knob
		order       []string
	}{
		{"far off, north: too high and too far west", known(north, 50, -85, 3, 2), false, 10, good, Turn,
			"lower 50′", "turn 85′ clockwise seen from above (toward east)", []string{"turn 85′", "lower 50′"}},
		{"far off, south: too low and too far west", known(south, -80, 30, 3, 2), true, 10, good, Turn,
			"raise 80′", "turn 30′ anticlockwise seen from above (toward east)", []string{"raise 80′", "turn 30′"}},
		{"far off, south: too far east", known(south, 0, -40, 1, 1), true, 10, good, Turn,
			"right (0″ ± 1.0′)", "turn 40′ clockwise seen from above (toward west)", []string{"turn 40′"}},
		{"good enough", known(north, 0.3, -0.2, 0.2, 0.2), false, 30, good, Shoot, "right (0.3′", "right (0.2′", nil},
		{"an error the exposure stands", known(north, 8, 0, 1, 1), false, 40, good, Shoot, "right (8.0′ ± 1.0′)", "right (0″", nil},
		{"doubt larger than the error", known(north, 8, 0, 10, 4), false, 6, poor, Swing, "not known yet (± 10′): a swing shows it", "not known yet (± 5.8′): a swing", nil},
		{"doubt larger than the error, and the exposure stands both", known(north, 8.4, 0, 8.3, 4), false, 40, poor, Shoot, "not known yet (± 8.3′)", "right", nil},
		{"doubt, and no swing on offer", known(north, 3, 0, 5, 4), false, 5, more, Measure, "not known yet (± 5.0′): more pictures show it", "not known yet", nil},
		{"a knob known far worse than the other", known(north, 30, 96, 2, 40), false, 10, poor, Turn, "lower 30′", "not known yet (± 58′)", []string{"lower 30′"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			aim := north
			if c.south {
				aim = south
			}
			ad := Advise(c.a, Question{Aim: Aim{AimRefracted, aim.Direction()}, PlannedS: 30,
				Stands: unit.AngleFromMin(c.stands), Forecast: c.f, South: c.south})
			if ad.Next != c.next {
				t.Errorf("next step %q (%s), want %q", ad.Next, ad.NextText, c.next)
			}
			if !strings.HasPrefix(ad.Altitude, c.says) || !strings.HasPrefix(ad.Azimuth, c.says2) {
				t.Errorf("knobs %q and %q, want %q and %q", ad.Altitude, ad.Azimuth, c.says, c.says2)
			}
			at := -1
			for _, part := range c.order { // the larger first
				i := strings.Index(ad.NextText, part)
				if i <= at {
					t.Errorf("%q does not name %v in this order", ad.NextText, c.order)
				}
				at = i
			}
			if lowers := strings.Contains(ad.NextText, "lower "); c.next == Turn && lowers != strings.Contains(ad.NextText, "finish upward") {
				t.Errorf("%q: a lowering is to finish upward", ad.NextText)
			}
			if ad.Next == Shoot && !ad.Trustworthy && !strings.Contains(ad.NextText, "stay round even with") {
				t.Errorf("%q is not trusted, and does not say why that does no harm", ad.NextText)
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
		next             Next
		says, doesNotSay string
	}{
		{"usual knobs", 8, 0.3, 0, 20, Turn, "lower 8.0′", "play"},
		{"the same with 10′ of play", 8, 0.3, 10, 20, Shoot, "the knobs have 10′ of play, so turning them gains nothing more; stars stay round for 20 s, not for 30 s", "would not help"},
		{"more than the play", 14, 0.3, 10, 20, Turn, "lower 14′", "play"},
		{"the doubt may be more than the play", 8, 2, 10, 20, Measure, "Take more pictures", "play"},
		{"small whatever the play", 1, 0.2, 10, 20, Shoot, "turning the axis would not help", "play"},
		{"what the exposure stands, whatever the play", 8, 0.3, 10, 60, Shoot, "room to 60 s", "play"},
		{"play beyond what the exposure stands", 18, 0.3, 20, 60, Shoot, "the knobs have 20′ of play", "stars stay round"},
		{"fine knobs", 1, 0.2, 0.5, 20, Turn, "lower 1.0′", "play"},
	} {
		t.Run(row.name, func(t *testing.T) {
			stands := unit.AngleFromMin(15)
			if row.longestS < 30 {
				stands = unit.AngleFromMin(1)
			}
			ad := Advise(known(north, row.off, 0, row.sigma, row.sigma), Question{Aim: Aim{AimRefracted, north.Direction()}, PlannedS: 30,
				Stands: stands, Play: unit.AngleFromMin(row.play), LongestS: row.longestS, Rounded: row.longestS >= 30, Forecast: Forecast{MoreSigma: unit.AngleFromMin(0.1)}})
			if ad.Next != row.next || !strings.Contains(ad.NextText, row.says) || strings.Contains(ad.NextText, row.doesNotSay) {
				t.Errorf("%s: %q; want %s with %q and without %q", ad.Next, ad.NextText, row.next, row.says, row.doesNotSay)
			}
		})
	}
}

// TestPlayOnAGearNobodyHasSeen: a figure that is shown says what it rests on, here too.
func TestPlayOnAGearNobodyHasSeen(t *testing.T) {
	north := horizontalOf(0, 46)
	ad := Advise(known(north, 8, 0, 0.3, 0.3), Question{Aim: Aim{AimRefracted, north.Direction()}, PlannedS: 30, Stands: unit.AngleFromMin(1),
		Play: unit.AngleFromMin(10), LongestS: 20, Rests: " on most gears", Forecast: Forecast{MoreSigma: unit.AngleFromMin(0.1)}})
	if !strings.Contains(ad.NextText, "stars stay round for 20 s on most gears, not for 30 s") {
		t.Errorf("%q", ad.NextText)
	}
}

// TestUnsound: pictures that fit no axis give no correction to trust.
func TestUnsound(t *testing.T) {
	a := known(horizontalOf(0, 46), 60, 0, 1, 1)
	a.Chi2 = 900
	ad := Advise(a, Question{Aim: Aim{AimRefracted, horizontalOf(0, 46).Direction()}, Stands: unit.AngleFromMin(10)})
	if ad.Next != Measure || ad.Trustworthy {
		t.Errorf("next step %q, trustworthy %v", ad.Next, ad.Trustworthy)
	}
}

func TestArc(t *testing.T) {
	for _, c := range []struct {
		minutes float64
		want    string
	}{
		{0, "0″"}, {0.05, "3″"}, {0.09, "5″"}, {0.1, "0.1′"}, {1, "1.0′"}, {-1, "1.0′"}, {9.94, "9.9′"}, {9.96, "10′"},
		{45.4, "45′"}, {89.9, "90′"}, {90, "1.5°"}, {1200, "20.0°"}, {math.NaN(), "?"}, {math.Inf(1), "?"},
	} {
		if got := Arc(unit.AngleFromMin(c.minutes)); got != c.want {
			t.Errorf("%v′ prints as %q, want %q", c.minutes, got, c.want)
		}
	}
}

// TestMoonWidths: the Moon is 31.1′ wide in the mean.
func TestMoonWidths(t *testing.T) {
	for _, c := range []struct {
		minutes float64
		want    string
	}{
		{1, "less than a sixth of the Moon's width"}, {10, "a third of the Moon's width"}, {-15, "half the Moon's width"},
		{31, "one Moon width"}, {62.2, "2.0 Moon widths"}, {311, "10.0 Moon widths"},
	} {
		if got := MoonWidths(unit.AngleFromMin(c.minutes)); got != c.want {
			t.Errorf("%v′ prints as %q, want %q", c.minutes, got, c.want)
		}
	}
}

// Errors of the two knobs that hang together can make the whole sure and neither
// knob: then nothing is turned, and no sentence says so.
func TestTurnOnlyWhereAKnobTurns(t *testing.T) {
	const arcmin = math.Pi / 180 / 60
	aim := Aim{AimRefracted, ephem.Horizontal{Altitude: unit.AngleFromDeg(46)}.Direction()}
	a := Axis{Direction: ephem.Horizontal{Altitude: unit.AngleFromDeg(46) + unit.AngleFromMin(12), Azimuth: unit.AngleFromMin(29)}.Direction(), DOF: 4, Chi2: 4}
	a.Covariance[0][0], a.Covariance[1][1] = sq(12*arcmin), sq(6.8*arcmin)
	a.Covariance[0][1] = -0.99 * 12 * 6.8 * arcmin * arcmin
	a.Covariance[1][0] = a.Covariance[0][1]
	ad := Advise(a, Question{Aim: aim, PlannedS: 30, Stands: unit.AngleFromMin(5)})
	if ad.Next == Turn {
		t.Errorf("next %q: %s", ad.Next, ad.NextText)
	}
	if strings.Contains(ad.NextText, "leave it") {
		t.Errorf("the sentence turns a knob that is to be left: %s", ad.NextText)
	}
}
