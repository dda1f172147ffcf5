package report

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// held is an attitude without error.
type held struct{ turn.Turn }

func (h held) Given(float64) (turn.Turn, [3][3]float64) { return h.Turn, [3][3]float64{} }

// toward is a camera upright over the horizon that looks at azimuth and altitude.
func toward(azimuth, altitude unit.Angle) turn.Turn {
	look := ephem.Horizontal{Azimuth: azimuth, Altitude: altitude}.Direction()
	right := r3.Unit(r3.Cross(look, r3.Vec{Z: 1}))
	return turn.FromRows(right, r3.Cross(look, right), look)
}

// A camera that looks so much higher and so much farther right than the model must be said to: the two
// directions are compared by their azimuths and altitudes, not by residuals.
func TestLeftOverHasTheRightSigns(t *testing.T) {
	const arcsecond = 1e-3 // of agreement: second order in 30″
	for _, c := range []struct{ azimuth, altitude, up, right float64 }{
		{0, 40, 10, 0}, {0, 40, 0, 10}, {120, 30, 20, -7}, {250, 70, -3, 30}, {359, 5, -1, -1},
	} {
		az, alt := unit.AngleFromDeg(c.azimuth), unit.AngleFromDeg(c.altitude)
		model := toward(az, alt)
		real := toward(az+unit.AngleFromSec(c.right/math.Cos(alt.Rad())), alt+unit.AngleFromSec(c.up))
		in := align.Input{Samples: []align.Sample{{Mid: evening, Attitude: held{real}}}}
		// r = log(C·model⁻¹): first model⁻¹, then C.
		a := align.Axis{Theta: []unit.Angle{0}, Residual: []r3.Vec{model.Inverse().Then(real).Log()}}
		d := DriftOf(in, a)
		if !(math.Abs(d.AltitudeArcsec[0]-c.up) < 5*arcsecond && math.Abs(d.SidewaysArcsec[0]-c.right) < 5*arcsecond) {
			t.Errorf("%+v: %.4f″ up, %.4f″ right", c, d.AltitudeArcsec[0], d.SidewaysArcsec[0])
		}
	}
}

// A motor with the stars, a swing by 20° after the third picture: each stretch about its own mean, nothing left over.
func TestTurnsAboutTheirStretch(t *testing.T) {
	var in align.Input
	a := align.Axis{Stray: make([]bool, 6), Group: make([]int, 6)}
	const sidereal = 15.0410672 // ″ per second: 360° in 86164.0905 s (IERS Conventions 2010, table 1.1)
	for i := range 6 {
		in.Samples = append(in.Samples, align.Sample{Mid: evening.Add(time.Duration(20*i) * time.Second), Attitude: held{toward(1, 1)}})
		swing := 0.0
		if i > 2 {
			swing = 20 * 3600
		}
		a.Theta = append(a.Theta, unit.AngleFromSec(sidereal*20*float64(i)+swing))
		a.ThetaSigma = append(a.ThetaSigma, unit.AngleFromSec(1))
		a.Residual = append(a.Residual, r3.Vec{})
	}
	d := DriftOf(in, a)
	for i := range in.Samples {
		if d.Stretch[i] != i/3 || !(math.Abs(d.TurnArcsec[i]) < 1e-3) || math.Abs(d.TurnSigmaArcsec[i]-1) > 1e-9 {
			t.Errorf("picture %d: stretch %d, %.4f″ ± %.4f″", i, d.Stretch[i], d.TurnArcsec[i], d.TurnSigmaArcsec[i])
		}
	}
}

func TestStrayPicturesAreLeftOut(t *testing.T) {
	c := held{toward(1, 1)}
	in := align.Input{Samples: []align.Sample{{Mid: evening, Attitude: c}, {Mid: evening.Add(time.Minute), Attitude: c}}}
	d := DriftOf(in, align.Axis{Theta: make([]unit.Angle, 2), Residual: make([]r3.Vec, 2), Stray: []bool{false, true}})
	if len(d.Mid) != 1 || len(d.Stretch) != 1 || len(d.TurnArcsec) != 1 {
		t.Errorf("%+v", d)
	}
	if DriftOf(align.Input{}, align.Axis{}) == nil {
		t.Error("nothing in, nothing out, but not nil")
	}
}

// A picture's place from one to the next: over 0 h of right ascension, at a declination where a degree is half as wide.
func TestCreeping(t *testing.T) {
	frame := func(s int, ra, dec, roll float64) answer.FrameJSON {
		return answer.FrameJSON{Used: true, MidUTC: to(evening.Add(time.Duration(s) * time.Second).Format(time.RFC3339Nano)),
			RADeg: &ra, DecDeg: &dec, RollDeg: &roll, RMSPx: to(0.1), ScaleArcsecPx: to(10.0), Matched: 100}
	}
	left := frame(50, 80, 0, 0)
	left.Used = false
	c := creptOf([]answer.FrameJSON{frame(0, 359.99, 60, 359.9), {Used: true}, left, frame(20, 0.01, 60.01, 0.1), frame(40, 40, 10, 5), frame(60, 40, 10.001, 5)})
	want := crept{north: []float64{0, 36, 0, 3.6}, east: []float64{0, 36, 0, 0}, roll: []float64{0, 12, 0, 0}, stretch: []int{0, 0, 1, 1}}
	if len(c.mid) != 4 {
		t.Fatalf("%d pictures, want 4", len(c.mid))
	}
	const arcsecond = 0.01 // cos δ is taken between the two declinations
	for i := range want.north {
		if math.Abs(c.north[i]-want.north[i]) > arcsecond || math.Abs(c.east[i]-want.east[i]) > arcsecond || math.Abs(c.roll[i]-want.roll[i]) > arcsecond || c.stretch[i] != want.stretch[i] {
			t.Errorf("picture %d: %.3f″ north, %.3f″ east, %.3f′ roll, stretch %d", i, c.north[i], c.east[i], c.roll[i], c.stretch[i])
		}
		if math.Abs(c.northSigma[i]-0.1) > 1e-12 { // 0.1 px of 10″ over √100
			t.Errorf("picture %d: ± %.3f″, want 0.1″", i, c.northSigma[i])
		}
	}
}

func TestSwungSessionsDrawNoCreeping(t *testing.T) {
	for _, c := range []struct {
		stretch []int
		want    bool
	}{{[]int{0, 1, 2, 3}, true}, {[]int{0, 0, 0, 1, 2}, false}, {[]int{0, 0, 1, 2, 3}, true}, {[]int{0, 0}, false}, {nil, true}} {
		if got := alone(c.stretch); got != c.want {
			t.Errorf("%v: %v", c.stretch, got)
		}
	}
}
