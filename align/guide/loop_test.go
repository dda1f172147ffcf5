package guide

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/knobs"
	"trueturn/align/policy"
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
	if v.Live.Act == "" || v.Live.Stage == "" {
		g.t.Errorf("%s: no act %q or stage %q: %s", v.Live.Phase, v.Live.Act, v.Live.Stage, v.Live.Instruction)
	}
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
				for v.Live.Phase != Done && g.taken < most {
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
				off, _ := g.truth()
				if v.Live.Phase != Done || off > policy.FineLimit+unit.AngleFromMin(2*v.Axis.AltitudeSigmaArcmin) {
					t.Errorf("after %d pictures %s, %.1f′ off: %s", g.taken, v.Live.Phase, off.Min(), v.Live.Instruction)
				}
			})
		}
	}
}

// TestConfirmed: three untouched pictures confirm what a measurement by swings and the turns since have shown; they
// know the axis far worse alone, and cost no knowledge.
func TestConfirmed(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{46, -33} {
		g := newRig(t, latitude, 21, tilted(2, 120))
		guide := g.measured()
		for i := 0; guide.View().Live.Phase == Turning && i < 6; i++ {
			g.obey(guide, 0.95)
			g.add(guide)
		}
		before := guide.View()
		most := giving.Min() + givingShare*60 // the knobs were turned by less than a degree
		for range policy.LeastPictures {
			g.add(guide)
		}
		v := guide.View()
		if before.Live.Phase != Untouched || v.Live.Phase != Done {
			t.Errorf("%s, then %s: %s", before.Live.Phase, v.Live.Phase, v.Live.Instruction)
		}
		for _, x := range []struct{ before, after float64 }{
			{before.Axis.AltitudeSigmaArcmin, v.Axis.AltitudeSigmaArcmin}, {before.Axis.AzimuthSigmaArcmin, v.Axis.AzimuthSigmaArcmin},
		} {
			if x.after > x.before+most { // an azimuth's error is larger than it is on the sky
				t.Errorf("± %.2f′ after ± %.2f′", x.after, x.before)
			}
		}
		if m := g.missedBy(v); m > fourSigma {
			t.Errorf("the axis is off by %.1f of its errors", m)
		}
		for range 3 { // the night's own pictures
			g.add(guide)
		}
		if v := guide.View(); v.Live.Phase != Done || g.missedBy(v) > fourSigma || v.Axis.AltitudeSigmaArcmin > before.Axis.AltitudeSigmaArcmin+most {
			t.Errorf("later %s, ± %.2f′, off by %.1f of it", v.Live.Phase, v.Axis.AltitudeSigmaArcmin, g.missedBy(v))
		}
	}
}

// TestMotorStopsMidway: a motor that stands or runs wrongly once the knobs are being turned is told as at the start.
func TestMotorStopsMidway(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		lag  float64 // share of the sky's turn
		late bool    // only once the clamps were tightened
		says string
	}{
		{"off while turning", 1, false, "motor"},
		{"off once tightened", 1, true, "motor"},
		{"backward while turning", 2, false, "backward"},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, 46, 5, tilted(2, 120))
			guide := g.measured()
			for c.late && guide.View().Live.Phase == Turning {
				g.obey(guide, 1)
				g.add(guide)
			}
			every := g.e.Every.Seconds()
			v, told := guide.View(), 0
			for n := range 7 {
				if v.Live.Phase == Turning && n < 2 {
					g.obey(guide, 0.5)
				}
				g.swing(-c.lag * 15.041 / 3600 * every)
				if v = g.add(guide); strings.Contains(v.Live.Instruction, c.says) {
					told++
				}
			}
			if told == 0 || v.Live.Phase != Measuring || len(v.Situations) == 0 {
				t.Errorf("%s: %s; %d situations", v.Live.Phase, v.Live.Instruction, len(v.Situations))
			}
		})
	}
}
