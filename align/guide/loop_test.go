package guide

import (
	"context"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align/knobs"
	"trueturn/align/simulate"
)

// turn turns the knobs before the next picture.
func (g *rig) turn(altitude, azimuth unit.Angle) {
	g.e.Mount.Knobs = append(g.e.Mount.Knobs, simulate.Knob{Frame: g.taken, Altitude: altitude, Azimuth: azimuth})
}

// swing turns the axis about itself before the next picture.
func (g *rig) swing(deg float64) {
	for len(g.e.Mount.Swings) <= g.taken {
		g.e.Mount.Swings = append(g.e.Mount.Swings, 0)
	}
	g.e.Mount.Swings[g.taken] = unit.AngleFromDeg(deg)
}

// add takes a picture and shows it to the guide.
func (g *rig) add(guide *Guide) View {
	g.t.Helper()
	if err := guide.Add(context.Background(), g.shoot()); err != nil {
		g.t.Fatal(err)
	}
	v := guide.View()
	f := v.Frames[len(v.Frames)-1]
	g.t.Logf("%2d %-9s %-10s %s | %s (used %v %s)", g.taken, v.Live.Phase, v.Live.Kind, v.Live.Headline, v.Live.Instruction, f.Used, f.WhyNot)
	return v
}

// obey does what is asked, too far or too short by a share.
func (g *rig) obey(guide *Guide, share float64) {
	o := guide.s.Order
	if o == nil {
		return
	}
	if o.Knob == knobs.Altitude {
		g.turn(o.Turn.Mul(share), 0)
	} else if o.Knob == knobs.Azimuth {
		g.turn(0, o.Turn.Mul(share))
	}
}

func TestLoop(t *testing.T) {
	for _, lat := range []float64{46, -33} {
		for _, swings := range []bool{false, true} {
			g := newRig(t, lat, 1)
			guide := New(g.options())
			t.Log(guide.View().Live.Instruction)
			for range 16 {
				if swings && (g.taken == 1 || g.taken == 2) {
					g.swing([]float64{0, 30, -50}[g.taken])
				}
				v := g.add(guide)
				switch v.Live.Kind {
				case "turn", "wrong way", "overshot":
					g.obey(guide, 0.95)
				}
			}
		}
	}
}
