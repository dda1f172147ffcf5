package align

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestKinds is what each kind means for all else.
func TestKinds(t *testing.T) {
	where := func(is func(Kind) bool) string {
		var list []string
		for _, n := range natures {
			if is(n.kind) {
				list = append(list, string(n.kind))
			}
		}
		return strings.Join(list, ", ")
	}
	for _, c := range []struct {
		what, got, want string
	}{
		{"stop the work", where(func(k Kind) bool { return k.Stops(true) }), "not turning, wrong hemisphere, wrong rate, slipping clamp, stacked in phone"},
		{"stop it besides where they leave no axis", where(func(k Kind) bool { return k.Stops(false) && !k.Stops(true) }), "daylight"},
		{"leave an axis that does not last", where(Kind.Unsteady), "wrong hemisphere, slipping clamp, stacked in phone"},
		{"leave no rate", where(Kind.Twists), "slipping clamp, flexure, stacked in phone"},
		{"are the mount's", where(func(k Kind) bool { return k.Of() == OfMount }),
			"turned, not turning, wrong hemisphere, wrong rate, taking up play, knock, slipping clamp, flexure"},
		{"ask for more pictures alone", where(func(k Kind) bool { return k.Of() == OfMeasure }), "too short, weak direction"},
		{"are none", where(func(k Kind) bool { return k.Of() == OfNothing }), ""},
	} {
		if c.got != c.want {
			t.Errorf("%s: %s; want %s", c.what, c.got, c.want)
		}
	}
	if k := Kind("bad luck"); k.Of() != OfNothing || k.Stops(false) || k.Unsteady() || k.Twists() {
		t.Error("what is no kind means something")
	}
}

// TestSizes: what the simulator switched on is the size told, within four of the errors stated.
func TestSizes(t *testing.T) {
	const anySize = -1
	for name, c := range map[string]struct {
		size float64
		unit Unit
		sure bool
	}{
		"motor off":                    {0, SiderealRate, true},
		"motor off, swung by hand":     {0, SiderealRate, true},
		"hemisphere":                   {-1, SiderealRate, true},
		"half rate":                    {0.5, SiderealRate, true},
		"lunar rate, 40 min":           {1 - 13.1764/360.98565, SiderealRate, true}, // Meeus, see namedRates
		"solar rate, 2 h":              {1 / 1.0027379, SiderealRate, true},
		"play at the start":            {anySize, Seconds, true},
		"camera knocked 3′":            {anySize, Radians, true},  // a part of it goes about the axis, and does not count
		"clutch slips 20′":             {anySize, Radians, false}, // in several jumps
		"cloud gap":                    {1, Shares, true},
		"low":                          {18 * math.Pi / 180, Radians, true},
		"holder creeps 6′ with swings": {anySize, Radians, false},
		"stacked, tripod":              {anySize, Pixels, true},
	} {
		i := slices.IndexFunc(faults(), func(f fault) bool { return f.name == name })
		if i < 0 {
			t.Fatalf("no fault is called %q", name)
		}
		f := faults()[i]
		e := restless(practice(t, 46), 1)
		f.set(&e)
		e.Every = e.Every.Truncate(time.Second)
		_, found := judge(t, e, sessionOf(t, e))
		at := slices.IndexFunc(found, func(s Situation) bool { return s.Kind == f.want })
		if at < 0 {
			t.Errorf("%s: not named%s", name, texts(found))
			continue
		}
		s := found[at]
		told := fmt.Sprintf("%.4f ± %.4f %s, sure %v", s.Size.Value, s.Size.Sigma, s.Size.Unit, s.Sure)
		t.Logf("%s: %s", name, told)
		if s.Size.Unit != c.unit || s.Sure != c.sure || s.Stops != s.Kind.Stops(true) {
			t.Errorf("%s: %s, stops %v: %s", name, told, s.Stops, s.Says)
		}
		if f.want == KindPlay { // what of it the first picture leaves
			c.size = e.Mount.Play.Seconds() - e.MidOf(0).Sub(e.Start).Seconds()
		}
		if miss := math.Abs(s.Size.Value - c.size); c.size != anySize && miss > 4*s.Size.Sigma+1e-3 {
			t.Errorf("%s: %s, want %.4f", name, told, c.size)
		}
	}
}
