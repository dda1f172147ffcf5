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
	for _, latitude := range []float64{20, 46, 65, 80, -20, -33, -55} {
		for _, tilt := range []float64{0, 2, 3} {
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
							t.Fatalf("still not done, %.2f′ off: %s", g.off(s).Min(), i.Text)
						}
						if i.Kind == WrongWay || i.Kind == Remeasure || i.Kind == Wait {
							t.Errorf("turn %d: %s", turns, i.Text)
						}
						h.obey(i)
						s, i = s.Next(g.picture())
						now := g.off(s)
						// The play of one knob may swallow a small turn, never more.
						if now > last+min(0.5) {
							t.Errorf("turn %d: from %.2f′ off to %.2f′: %s", turns, last.Min(), now.Min(), i.Text)
						}
						last = now
						t.Logf("%.1f′ off: %s", now.Min(), i.Text)
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
		if got := again.Instruct(); !reflect.DeepEqual(got, i) && got.Text != s.Instruct().Text {
			t.Errorf("after a restart: %q, before: %q", got.Text, i.Text)
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
