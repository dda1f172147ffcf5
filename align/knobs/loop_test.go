package knobs

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
)

// hand turns the knobs as it is told, a tenth too far or too short, on screws with play.
type hand struct {
	g     *rig
	r     *rand.Rand
	play  unit.Angle
	taken map[Knob]unit.Angle // how far each knob stands within its play
}

func newHand(g *rig, seed uint64) *hand {
	r := rand.New(rand.NewPCG(seed, 11))
	h := &hand{g: g, r: r, play: unit.AngleFromMin(3), taken: map[Knob]unit.Angle{}}
	for _, k := range []Knob{Altitude, Azimuth} {
		h.taken[k] = h.play.Mul(r.Float64())
	}
	return h
}

// clumsy is a factor within a tenth of one.
func (h *hand) clumsy() float64 { return 0.9 + 0.2*h.r.Float64() }

// move turns one knob and returns what the axis follows.
func (h *hand) move(k Knob, by unit.Angle) unit.Angle {
	to := h.taken[k] + by
	h.taken[k] = max(0, min(h.play, to))
	return to - h.taken[k]
}

// obey does what an instruction says before the next picture.
func (h *hand) obey(i Instruction) {
	past := i.Beyond.Mul(float64(sign(i.Turn)))
	moved := h.move(i.Knob, (i.Turn + past).Mul(h.clumsy()))
	if past != 0 {
		moved += h.move(i.Knob, past.Mul(-h.clumsy()))
	}
	if i.Knob == Altitude {
		h.g.turn(moved, 0)
	} else {
		h.g.turn(0, moved)
	}
}

// off is how far the axis really is from the aim.
func (g *rig) off(s State) unit.Angle {
	a := s.axisAt(s.Now)
	a.Direction = g.truth().Direction()
	return a.Deviation(s.Aim).Total
}

// TestFollowed: whoever follows the instructions is done after six turns at most, whatever the latitude,
// the base, the play and the hand, and every turn brings the axis nearer.
func TestFollowed(t *testing.T) {
	t.Parallel()
	min := unit.AngleFromMin
	seed := uint64(0)
	for _, latitude := range []float64{3, 20, 46, 65, 80, -20, -33, -55, -84} {
		for _, tilt := range []float64{0, 3} {
			for _, off := range [][2]float64{{25, -48}, {-90, 120}} {
				seed++
				t.Run(fmt.Sprintf("latitude %.0f°, base %.0f° off level, %.0f′ and %.0f′", latitude, tilt, off[0], off[1]), func(t *testing.T) {
					g := newRig(t, latitude, seed, tilted(tilt, float64(40*seed%360)), func(e *simulate.Evening) {
						e.Mount.AltitudeError, e.Mount.AzimuthError = min(off[0]), min(off[1])
					})
					s := g.start(Options{Play: min(3), Stands: min(4), PlannedS: 30})
					h, i := newHand(g, seed), s.Instruct()
					turns, last := 0, g.off(s)
					for ; i.Kind != Tighten; turns++ {
						if turns == 6 {
							t.Fatalf("still not done, %.2f′ off: %s", g.off(s).Min(), i.Says)
						}
						if i.Kind == WrongWay || i.Kind == Remeasure || i.Kind == Wait {
							t.Errorf("turn %d: %s", turns, i.Says)
						}
						h.obey(i)
						s, i = s.Next(g.picture())
						now := g.off(s)
						// The play of one knob may swallow a small turn, never more.
						if now > last+min(0.5) {
							t.Errorf("turn %d: from %.2f′ off to %.2f′: %s", turns, last.Min(), now.Min(), i.Says)
						}
						last = now
						t.Logf("%.1f′ off: %s", now.Min(), i.Says)
					}
					limit := max(i.Axis.WorstSigma().Mul(2), min(4))
					if a := g.off(s); a > limit.Mul(1.1) {
						t.Errorf("left %.2f′ off, more than %.2f′", a.Min(), limit.Min())
					}
				})
			}
		}
	}
}

// TestRestart: a state goes through JSON without a difference.
func TestRestart(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 5, tilted(2, 200))
	s := g.start(Options{ArcminPerTurnAzimuth: 60, RimMM: 80})
	h, i := newHand(g, 5), s.Instruct()
	for range 3 {
		data, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var again State
		if err := json.Unmarshal(data, &again); err != nil {
			t.Fatal(err)
		}
		if got := again.Instruct(); !reflect.DeepEqual(got, i) && !got.Says.Same(s.Instruct().Says) {
			t.Errorf("after a restart: %q, before: %q", got.Says, i.Says)
		}
		h.obey(s.Instruct())
		p := g.picture()
		s1, i1 := s.Next(p)
		s2, i2 := again.Next(p)
		if !reflect.DeepEqual(i1, i2) {
			t.Errorf("restarted: %+v, else %+v", i2, i1)
		}
		a, _ := json.Marshal(s1)
		b, _ := json.Marshal(s2)
		if string(a) != string(b) {
			t.Errorf("states part:\n%s\n%s", a, b)
		}
		s, i = s1, i1
	}
}

// TestManyEvenings: on evenings of chance – poor lenses, coarse gears, axes measured by tracking
// alone, off by several degrees – nobody who follows is called back without a reason, and the axis ends where
// its stated error says.
func TestManyEvenings(t *testing.T) {
	t.Parallel()
	evenings := 40
	if testing.Short() {
		evenings = 10
	}
	r := rand.New(rand.NewPCG(1, 77))
	far := 0
	for seed := range evenings {
		f := follow(t, chanceEvening(t, r, uint64(seed)), seed%3 == 0, uint64(seed))
		if f.turns > 6 || f.alarms > 0 {
			t.Errorf("evening %d: %d turns, %d false alarms: %s", seed, f.turns, f.alarms, f.last.Says)
		}
		if f.chi > fourSigma {
			t.Errorf("evening %d: the axis is off by %.1f of its errors", seed, f.chi)
		}
		if f.off > max(f.last.Axis.WorstSigma().Mul(2), unit.AngleFromMin(4)) {
			far++
		}
	}
	// Two standard errors leave out one in twenty along each direction, and what is left to turn adds to it.
	if far > evenings/8 {
		t.Errorf("%d of %d evenings end farther off than said", far, evenings)
	}
}

// chanceEvening is a mount nobody chose.
func chanceEvening(t *testing.T, r *rand.Rand, seed uint64) *rig {
	latitude := 20 + 62*r.Float64()
	if seed%2 == 1 {
		latitude = -0.9 * latitude
	}
	return newRig(t, latitude, seed, tilted(3*r.Float64(), 359*r.Float64()), func(e *simulate.Evening) {
		e.Mount.AltitudeError = unit.AngleFromMin(360*r.Float64() - 180)
		e.Mount.AzimuthError = unit.AngleFromMin(480*r.Float64() - 240)
		if seed%4 == 0 {
			*e = e.Realistic()
		}
		if seed%5 == 0 {
			e.Mount.Wobble.PeakToPeak = unit.AngleFromSec(100)
		}
	})
}

// followed is what came of an evening.
type followed struct {
	turns, alarms int
	off           unit.Angle
	chi           float64
	last          Instruction
}

// follow measures, by tracking alone or with swings, and obeys to the end.
func follow(t *testing.T, g *rig, tracked bool, seed uint64) (f followed) {
	t.Helper()
	pictures := measuring
	if tracked {
		g.e.Mount.Swings, pictures = nil, 10
	}
	s, err := Start(g.measure(pictures), Options{Play: unit.AngleFromMin(3), Stands: unit.AngleFromMin(4), PlannedS: 30})
	if err != nil {
		t.Fatal(err)
	}
	g.reference = s.Reference.Mid
	h := newHand(g, seed)
	f.last = s.Instruct()
	for f.last.Kind != Tighten && f.last.Kind != Done && f.turns <= 6 {
		h.obey(f.last)
		f.turns++
		s, f.last = s.Next(g.picture())
		if k := f.last.Kind; k == WrongWay || k == Remeasure || k == Wait {
			f.alarms++
		}
	}
	f.off, f.chi = g.off(s), chi(f.last.Axis, g.truth())
	return f
}
