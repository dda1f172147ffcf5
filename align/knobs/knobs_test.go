package knobs

import (
	"fmt"
	"math"
	"testing"

	"github.com/soniakeys/unit"
)

// fourSigma: √χ² of two degrees of freedom that chance exceeds once in three thousand.
const fourSigma = 4

// TestOneTurn: a single picture after a turn shows where the axis is and which knob was
// turned by how much, on bases that lean, at all latitudes.
func TestOneTurn(t *testing.T) {
	t.Parallel()
	min := unit.AngleFromMin
	for _, latitude := range []float64{20, 46, 70, 80, -33, -60} {
		for _, tilt := range []float64{0, 3} {
			for _, c := range []struct {
				name              string
				altitude, azimuth unit.Angle
				kind              hypothesis
			}{
				{"untouched", 0, 0, nothing},
				{"lowered by 25′", min(-25), 0, altitudeOnly},
				{"raised by 4′", min(4), 0, altitudeOnly},
				{"60′ clockwise", 0, min(60), azimuthOnly},
				{"8′ anticlockwise", 0, min(-8), azimuthOnly},
			} {
				t.Run(fmt.Sprintf("latitude %.0f°, base %.0f° off level, %s", latitude, tilt, c.name), func(t *testing.T) {
					g := newRig(t, latitude, 3, tilted(tilt, 70))
					s := g.start(Options{})
					g.turn(c.altitude, c.azimuth)
					p := g.picture()
					pose, _ := s.take(p)
					if m := s.judge(pose, s.Stand); m.kind != c.kind {
						t.Errorf("taken for %d, want %d: altitude %.2f′, azimuth %.2f′, clutch %.2f′", m.kind, c.kind, m.altitude().Min(), m.azimuth().Min(), m.clutch().Min())
					}
					_, i := s.Next(p)
					if !i.Used {
						t.Fatalf("not used: %s", i.WhyNot)
					}
					if x := chi(i.Axis, g.truth()); x > fourSigma {
						t.Errorf("the axis is off by %.1f of its errors", x)
					}
					for _, k := range []struct {
						name             string
						got, want, sigma unit.Angle
					}{{"altitude", i.Moved.Altitude, c.altitude, i.Moved.AltitudeSigma}, {"azimuth", i.Moved.Azimuth, c.azimuth, i.Moved.AzimuthSigma}} {
						if d := math.Abs((k.got - k.want).Rad()); d > fourSigma*k.sigma.Rad() {
							t.Errorf("%s knob moved %.2f′ ± %.2f′, in truth %.2f′", k.name, k.got.Min(), k.sigma.Min(), k.want.Min())
						}
					}
				})
			}
		}
	}
}
