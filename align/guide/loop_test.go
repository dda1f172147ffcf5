package guide

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/knobs"
	"trueturn/align/simulate"
	"trueturn/ephem"
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

// swings of a quick measurement: there, past the start, and back near it.
var swings = []float64{0, 30, -50, 18}

// measured is a guide that asks for the first turn.
func (g *rig) measured() *Guide {
	g.t.Helper()
	guide := New(g.options())
	for i := 0; guide.View().Live.Phase != Turning; i++ {
		if i == len(swings) {
			g.t.Fatalf("no axis after %d swung pictures: %s", i, guide.View().Live.Instruction)
		}
		g.swing(swings[i])
		g.add(guide)
	}
	return guide
}

// obey does a share of what is asked.
func (g *rig) obey(guide *Guide, share float64) {
	g.t.Helper()
	o := guide.State().Order
	switch {
	case o == nil:
		g.t.Fatal("nothing is asked of the hand")
	case o.Knob == knobs.Altitude:
		g.turn(o.Turn.Mul(share), 0)
	case o.Knob == knobs.Azimuth:
		g.turn(0, o.Turn.Mul(share))
	}
}

// truth is how far the axis really is from the refracted pole, and its place.
func (g *rig) truth() (off unit.Angle, at ephem.Horizontal) {
	at = g.run().Axis(g.taken - 1)
	aim, err := align.NewAim(align.AimRefracted, g.e.Site, ephem.StandardAir(500), evening, nil)
	if err != nil {
		g.t.Fatal(err)
	}
	return angleBetween(at.Direction(), aim.Direction), at
}

// fourSigma: √χ² with two degrees of freedom exceeds four once in three thousand times.
const fourSigma = 4

// missedBy is how far a view's axis lies from the truth in its own errors.
func (g *rig) missedBy(v View) float64 {
	_, at := g.truth()
	x := math.Remainder(v.Axis.AzimuthDeg-at.Azimuth.Deg(), 360) * 60 / v.Axis.AzimuthSigmaArcmin
	y := (v.Axis.AltitudeDeg - at.Altitude.Deg()) * 60 / v.Axis.AltitudeSigmaArcmin
	r := v.Axis.Correlation
	return math.Sqrt((x*x - 2*r*x*y + y*y) / (1 - r*r))
}

func tilted(deg, toward float64) func(*simulate.Evening) {
	return func(e *simulate.Evening) {
		e.Mount.BaseTilt, e.Mount.BaseTiltToward = unit.AngleFromDeg(deg), unit.AngleFromDeg(toward)
	}
}

// TestFollowed: whoever does what the page says comes to the end of it, the axis where the page says, on either half
// of the Earth, with swings or without, on a base that is level or is not.
func TestFollowed(t *testing.T) {
	t.Parallel()
	const most = 30 // pictures: two measurements by tracking, and turns between
	seed := uint64(0)
	for _, latitude := range []float64{46, 62, -20, -33} {
		for _, swung := range []bool{false, true} {
			seed++
			t.Run(fmt.Sprintf("latitude %.0f°, swung %v", latitude, swung), func(t *testing.T) {
				g := newRig(t, latitude, seed, tilted(float64(seed%3), float64(40*seed)))
				guide := New(g.options())
				v := guide.View()
				var before View // of the untouched measurement
				for v.Live.Phase != Done && g.taken < most {
					if before = v; v.Live.Phase != Untouched {
						before = View{}
					}
					if n := usedIn(guide.base); swung && v.Live.Phase == Measuring && n < len(swings) {
						g.swing(swings[n])
					}
					if swung && v.Live.Phase == Untouched && len(guide.fresh.shots) < len(swings) {
						g.swing(swings[len(guide.fresh.shots)])
					}
					if v = g.add(guide); v.Live.Phase == Turning {
						g.obey(guide, 0.95)
					}
					if v.Live.Level != nil && g.missedBy(v) > fourSigma {
						t.Errorf("picture %d: the axis is off by %.1f of its errors", g.taken, g.missedBy(v))
					}
				}
				if before.Axis != nil && v.Axis.AltitudeSigmaArcmin > before.Axis.AltitudeSigmaArcmin+giving.Min() {
					t.Errorf("the untouched pictures cost knowledge: ± %.2f′ in altitude after ± %.2f′", v.Axis.AltitudeSigmaArcmin, before.Axis.AltitudeSigmaArcmin)
				}
				off, _ := g.truth()
				if v.Live.Phase != Done || off > fineLimit+unit.AngleFromMin(2*v.Axis.AltitudeSigmaArcmin) {
					t.Errorf("after %d pictures %s, %.1f′ off: %s", g.taken, v.Live.Phase, off.Min(), v.Live.Instruction)
				}
			})
		}
	}
}
