package guide

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/drift"
)

// setClock sets the camera's clock before the next picture.
func (g *rig) setClock(by time.Duration) { g.e.Handling.ClockError += by }

// unnumbered takes the number out of a file's name.
func unnumbered(s drift.Shot) drift.Shot {
	s.File = "of " + strings.Map(func(r rune) rune { return 'a' + r - '0' }, strings.Trim(s.File, "sky-.jpg")) + ".jpg"
	return s
}

// clocks are what the situations say of the clock.
func clocks(v View) (list []string) {
	for _, x := range v.Situations {
		if x.Kind == string(align.KindClock) {
			list = append(list, x.Text)
		}
	}
	return list
}

// TestClockSet: a clock set in mid-session is told once and changes nothing else: whoever obeys the page comes to the same end, by the
// same orders, as with a clock that was left alone.
func TestClockSet(t *testing.T) {
	t.Parallel()
	for i, c := range []struct {
		name    string
		by      time.Duration
		at      int // pictures before it
		numbers bool
		arrive  bool
	}{
		{"back while measuring", -time.Hour, 2, true, false},
		{"back while turning", -time.Hour, 5, true, false},
		{"back by half an hour while turning", -30 * time.Minute, 6, true, false},
		{"back once tightened", -time.Hour, 8, true, false},
		{"back by twelve hours", -12 * time.Hour, 5, true, false},
		{"back, no numbers, no arrivals", -time.Hour, 5, false, false},
		{"back, no numbers", -time.Hour, 5, false, true},
		{"forward while measuring", time.Hour, 3, true, false},
		{"forward while turning", time.Hour, 5, true, true},
		{"forward while turning, by the interval alone", time.Hour, 5, true, false},
		{"forward once tightened, no numbers", 2 * time.Hour, 8, false, true},
	} {
		latitude := []float64{46, -33}[i%2]
		t.Run(fmt.Sprintf("%s, latitude %.0f°", c.name, latitude), func(t *testing.T) {
			g := newRig(t, latitude, 14, tilted(2, 120))
			arrivals := map[string]time.Time{}
			o := g.options()
			if c.arrive {
				o.Arrived = func(file string) (time.Time, bool) { at, ok := arrivals[file]; return at, ok }
			}
			left, set := New(g.options()), New(o)
			for i := range c.at + 4 {
				if i < len(swings) {
					g.swing(swings[i])
				}
				if left.View().Live.Phase == Turning {
					g.obey(left, 0.95)
				}
				s := g.shoot()
				late := s
				if !c.numbers {
					late = unnumbered(s)
				}
				if i >= c.at {
					late = later(late, late.File, c.by)
				}
				arrivals[late.File] = s.Clock.Start.Add(20*time.Second + time.Duration(i%3)*time.Second)
				left.Add(context.Background(), s)
				set.Add(context.Background(), late)
				a, b := left.View(), set.View()
				told := strings.Contains(b.Live.Instruction, "clock set")
				if told != (i == c.at) || !strings.Contains(b.Live.Instruction, a.Live.Instruction) || text(t, a.Live.Level) != text(t, b.Live.Level) || a.Live.Phase != b.Live.Phase {
					t.Fatalf("picture %d: %s: %s\nleft alone %s: %s", i, b.Live.Phase, b.Live.Instruction, a.Live.Phase, a.Live.Instruction)
				}
				if n := len(clocks(b)); i >= c.at && n != 1 || i < c.at && n != 0 {
					t.Errorf("picture %d: told %d times", i, n)
				}
			}
		})
	}
}

// TestClockLeftAlone: pauses, pictures that come late and folders copied at once are no clock that was set.
func TestClockLeftAlone(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		pause  time.Duration // after the third picture
		late   int           // this picture comes after all others; 0: none
		arrive func(taken time.Time, i int) time.Time
	}{
		{"a pause of forty minutes", 40 * time.Minute, 0, nil},
		{"a pause of an hour, live", time.Hour, 0, func(taken time.Time, i int) time.Time { return taken.Add(30 * time.Second) }},
		{"a pause of 47 minutes, copied at once", 47 * time.Minute, 0, func(taken time.Time, i int) time.Time { return evening.Add(time.Duration(i) * time.Second) }},
		{"one comes late after a pause", 50 * time.Minute, 2, nil},
		{"one comes late, live", 50 * time.Minute, 2, func(taken time.Time, i int) time.Time { return taken.Add(10 * time.Second) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, 46, 5)
			arrivals := map[string]time.Time{}
			o := g.options()
			if c.arrive != nil {
				o.Arrived = func(file string) (time.Time, bool) { at, ok := arrivals[file]; return at, ok }
			}
			var shots []drift.Shot
			for i := range 7 {
				if i == 3 {
					g.e.Start = g.e.Start.Add(c.pause)
				}
				shots = append(shots, g.shoot())
			}
			if c.late > 0 {
				shots = append(append(shots[:c.late:c.late], shots[c.late+1:]...), shots[c.late])
			}
			guide := New(o)
			for i, s := range shots {
				if c.arrive != nil {
					arrivals[s.File] = c.arrive(s.Clock.Start, i)
				}
				if c.late > 0 && i == len(shots)-1 {
					arrivals[s.File] = arrivals[shots[i-1].File].Add(20 * time.Second)
				}
				guide.Add(context.Background(), s)
				if v := guide.View(); len(clocks(v)) > 0 {
					t.Fatalf("picture %d: %s", i, v.Live.Instruction)
				}
			}
		})
	}
}

// TestClockSetAndBack: each setting is told, a restart knows of them, and a picture of before that comes late counts by the clock of its time.
func TestClockSetAndBack(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 6)
	guide, shots := New(g.options()), map[string]drift.Shot{}
	var held drift.Shot
	for i := range 9 {
		if i < len(swings) {
			g.swing(swings[i])
		}
		switch i {
		case 4:
			g.setClock(-time.Hour)
		case 7:
			g.setClock(time.Hour)
		}
		s := g.shoot()
		shots[s.File] = s
		if i == 2 {
			held = s
			continue
		}
		guide.Add(context.Background(), s)
	}
	guide.Add(context.Background(), held)
	v := guide.View()
	if n := len(clocks(v)); n != 2 {
		t.Errorf("told %d times: %v", n, clocks(v))
	}
	for i := 1; i < len(v.Frames); i++ {
		if v.Frames[i].File < v.Frames[i-1].File {
			t.Errorf("%s listed after %s", v.Frames[i].File, v.Frames[i-1].File)
		}
	}
	var state State
	if err := json.Unmarshal([]byte(text(t, guide.State())), &state); err != nil {
		t.Fatal(err)
	}
	again, err := Resume(g.options(), state, func(name string) (drift.Shot, bool) { s, ok := shots[name]; return s, ok })
	if err != nil {
		t.Fatal(err)
	}
	if a, b := text(t, v), text(t, again.View()); a != b {
		t.Errorf("restarted\n%s\nbefore\n%s", b, a)
	}
}

// TestClockSetTogether: pictures of before and after given at once are parted by their numbers.
func TestClockSetTogether(t *testing.T) {
	t.Parallel()
	left, set := newRig(t, 46, 6), newRig(t, 46, 6)
	var a, b []drift.Shot
	for i := range 6 {
		if i == 3 {
			set.setClock(-time.Hour)
		}
		a, b = append(a, left.shoot()), append(b, set.shoot())
	}
	one, two := New(left.options()), New(set.options())
	one.Add(context.Background(), a...)
	two.Add(context.Background(), b[4], b[1], b[5], b[0], b[2], b[3])
	if v, w := one.View(), two.View(); v.Axis == nil || text(t, v.Axis) != text(t, w.Axis) || len(clocks(w)) != 1 {
		t.Errorf("%s\nleft alone %s", text(t, w.Live), text(t, v.Live))
	}
}

// TestClockSetOddly: where the shift is not plain measuring begins afresh, and says why.
func TestClockSetOddly(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 6)
	guide := g.measured()
	g.setClock(-47 * time.Minute)
	v := g.add(guide)
	if v.Live.Phase != Measuring || !strings.Contains(v.Live.Instruction, "clock set back") || usedIn(v.Finding) != 1 || len(clocks(v)) != 1 {
		t.Errorf("%s: %s", v.Live.Phase, v.Live.Instruction)
	}
	for i := 1; guide.View().Live.Phase != Turning && i < 2*len(swings); i++ {
		g.swing(swings[i%len(swings)])
		v = g.add(guide)
	}
	if v.Live.Phase != Turning || v.Error == nil || unit.AngleFromMin(v.Error.TotalArcmin) > unit.AngleFromMin(70) {
		t.Errorf("%s: %s", v.Live.Phase, v.Live.Instruction)
	}
}

// TestClockAnHourOff: with a clock that is an hour off all the time the knobs tell, in the first line and before another order; nothing is
// blamed on the mount, and the axis comes to the pole.
func TestClockAnHourOff(t *testing.T) {
	t.Parallel()
	for _, by := range []time.Duration{time.Hour, -time.Hour} {
		for _, latitude := range []float64{46, -33} {
			g := newRig(t, latitude, 23, tilted(1, 90), func(e *simulate.Evening) { e.Handling.ClockError = by })
			guide := g.measured()
			first := ""
			for i := 0; guide.View().Live.Phase == Turning && i < 10; i++ {
				if v := guide.View(); v.Live.Kind != string(knobs.Wait) {
					g.obey(guide, 1)
				}
				v := g.add(guide)
				if first == "" && len(clocks(v)) > 0 {
					first = v.Live.Instruction
				}
				if len(mechanical(v)) > 0 || strings.Contains(v.Live.Instruction, "slipped") {
					t.Errorf("%v, latitude %.0f°: %v %s", by, latitude, mechanical(v), v.Live.Instruction)
				}
			}
			v := guide.View()
			if off, _ := g.truth(); v.Live.Phase != Untouched || off > policy.FineLimit || len(clocks(v)) != 1 || !strings.Contains(first, clocks(v)[0]) {
				t.Errorf("%v, latitude %.0f°: %s, %.1f′ off, told %v, first %q", by, latitude, v.Live.Phase, off.Min(), clocks(v), first)
			}
		}
	}
}

// TestNumbers: what a camera counts is told from times of day and from numbers given later.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		a, b string
		step int
		ok   bool
	}{
		{"IMG_0041.JPG", "IMG_0042.JPG", 1, true},
		{"IMG_0041.DNG", "IMG_0041.JPG", 0, true},
		{"sky-009.jpg", "sky-012.jpg", 3, true},
		{"7.jpg", "3.jpg", -4, true},
		{"IMG_9999.JPG", "IMG_0001.JPG", 0, false},
		{"20261120_200012.jpg", "20261120_190032.jpg", 0, false},
		{"image (2).jpg", "image (3).jpg", 0, false},
		{"image.jpg", "image (2).jpg", 0, false},
		{"a1.jpg", "b2.jpg", 0, false},
		{"", "1.jpg", 0, false},
		{"9999999999999999999999.jpg", "1.jpg", 0, false},
	} {
		if step, ok := numbersBetween(c.a, c.b); step != c.step || ok != c.ok {
			t.Errorf("%s to %s: %d, %v", c.a, c.b, step, ok)
		}
	}
}
