package words

import (
	"math"
	"regexp"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/exposure"
	"trueturn/drift/wobble"
	"trueturn/ephem/say"
)

// TestExposures: how long exposures may be, in whole sentences: what nobody has seen is never promised, and of an hour nobody says how
// much more.
func TestExposures(t *testing.T) {
	usual := exposure.Forecast{LongestS: 41, LowS: 30, HighS: 95, Gear: exposure.GearUsual}
	for _, row := range []struct {
		says say.Line
		want string
	}{
		{exposure.Forecast{LongestS: 3600, Gear: exposure.GearTold}.Says(), "Stars stay round for an hour and more."},
		{exposure.Forecast{}.Says(), "No exposure keeps stars round: even a hundredth of a second is too long."},
		{usual.Says(), "Stars stay round for 41 s on most gears (30 s to 95 s from gear to gear; yours unknown)."},
		{exposure.RestsOn(exposure.GearUsual, 30, exposure.FaithS), " on most gears (30 s to 480 s and more from gear to gear; yours unknown)"},
		{exposure.RestsOn(exposure.GearUsual, 30, 30), " on most gears (yours unknown)"},
		{exposure.RestsOn(exposure.GearMeasured, 30, 95), ""},
		{exposure.Headline(3600, exposure.GearMeasured), "Round for an hour and more"},
		{exposure.Headline(4.2, exposure.GearUsual), "Round for 4.2 s on most gears"},
		{exposure.Headline(0, ""), "Not round at any length"},
		{exposure.Forecast{Long: 1.4}.LongSays(), "Even before the mount moves them, stars are 1.4 times as long as wide, too long to count as round: fix focus, lens or shake first. What is said of exposures is about the mount alone."},
		{exposure.DoubtBlack.Says(), "The pictures are black: the lens was capped, or the exposure far too short."},
		{exposure.DoubtFew.Says(), "Nothing says that the spots in these pictures are stars, so nothing is judged: none was recognised, and fewer than 5 clear spots could be anything."},
	} {
		if got := Line(row.says); got != row.want {
			t.Errorf("%v: %q, want %q", row.says, got, row.want)
		}
	}
}

// TestGears: a gear as it is reckoned with, and what pictures show of one.
func TestGears(t *testing.T) {
	few, err := wobble.Fit(make([]wobble.Point, 3), wobble.Options{})
	if err != nil {
		t.Fatal(err)
	}
	same, err := wobble.Fit(make([]wobble.Point, 9), wobble.Options{})
	if err != nil {
		t.Fatal(err)
	}
	size := unit.AngleFromSec(44)
	for _, row := range []struct {
		says say.Line
		want string
	}{
		{exposure.Reckoned(nil).Says(), "The gear is not known and is taken to be like those of most small mounts: a wobble of 30″ in 480 s, give or take a factor of 2.5. Half an hour of pictures without a swing shows it."},
		{(&exposure.Wobble{PeriodS: 480, PeakToPeak: size, Sigma: size / 10, Source: exposure.GearMeasured}).Says(), "The gear is taken as measured: a wobble of 44.0 ± 4.4″ in 480 s."},
		{(&exposure.Wobble{PeriodS: 480, Source: exposure.GearTold}).Says(), "The gear is taken to run evenly, as given."},
		{few.Note, "Too few pictures could be used to see the gear's wobble (3): take 8 or more over a quarter of an hour."},
		{same.Note, "All pictures have the same time: nothing can be said of the gear's wobble."},
	} {
		if got := Line(row.says); got != row.want {
			t.Errorf("%v: %q, want %q", row.says, got, row.want)
		}
	}
	const measured = `^The gear wobbles: 3\.1 periods of 480\.[0-9]+ ± 0\.0[0-9]+ s were seen, 4[34]\.[0-9]+ ± 0\.0[0-9]+″ from peak to peak, at its fastest 0\.28[78][0-9]* ± 0\.000[0-9]+″ a second\.$`
	if got := Line(wobbleNote(t)); !regexp.MustCompile(measured).MatchString(got) {
		t.Errorf("%q", got)
	}
}

// wobbleNote is of a sine of 44″ in 480 s, at its fastest 44/2 · 2π/480 = 0.288″ a second, seen for 25 minutes with a ripple of 0.1″.
func wobbleNote(t *testing.T) say.Line {
	var points []wobble.Point
	for i := range 100 {
		s := 15 * float64(i)
		angle := 15.041*s + 22*math.Sin(2*math.Pi*s/480) + 0.1*math.Cos(3*float64(i*i))
		points = append(points, wobble.Point{Time: time.Unix(0, 0).Add(time.Duration(s * 1e9)), Angle: unit.AngleFromSec(angle), Sigma: unit.AngleFromSec(0.1)})
	}
	r, err := wobble.Fit(points, wobble.Options{})
	if err != nil || r.State != wobble.Measured {
		t.Fatal(r.State, err)
	}
	return r.Note
}
