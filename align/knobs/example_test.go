package knobs_test

import (
	"fmt"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/knobs"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// exact is an attitude known to three seconds of arc.
type exact struct{ turn.Turn }

func (e exact) Given(float64) (turn.Turn, [3][3]float64) {
	const v = 1.5e-5 * 1.5e-5
	return e.Turn, [3][3]float64{{v, 0, 0}, {0, v, 0}, {0, 0, v}}
}

func Example() {
	// A mount at 46° north whose axis is 20′ too low, measured with two swings by hand.
	site := ephem.Site{Latitude: unit.AngleFromDeg(46)}
	aim := align.Aim{Kind: align.AimTrue, Direction: ephem.Horizontal{Altitude: site.Latitude}.Direction()}
	axis := ephem.Horizontal{Altitude: site.Latitude - unit.AngleFromMin(20)}.Direction()
	start := time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)
	camera := turn.About(r3.Vec{X: 1}, unit.AngleFromDeg(-140))
	in := align.Input{Site: site}
	for i, deg := range []float64{0, 25, 50, 10} {
		c := turn.About(axis, unit.AngleFromDeg(deg)).Then(camera)
		in.Samples = append(in.Samples, align.Sample{Mid: start.Add(time.Duration(i) * time.Minute), Attitude: exact{c}})
	}
	measured, err := align.Estimate(in)
	if err != nil {
		fmt.Println(err)
		return
	}
	state, err := knobs.Start(knobs.Measurement{Input: in, Axis: measured, Aim: aim}, knobs.Options{ArcminPerTurnAltitude: 40})
	if err != nil {
		fmt.Println(err)
		return
	}
	i := state.Instruct()
	fmt.Printf("%s %+.1f′\n", i.Knob, i.Turn.Min())

	// The hand raises the axis by 12′ only, while the motor runs on for a minute.
	head := turn.About(r3.Vec{X: 1}, unit.AngleFromMin(12))
	tracked := unit.Angle(7.292115e-5 * 60)
	c := head.Inverse().Then(turn.About(axis, unit.AngleFromDeg(10)+tracked)).Then(camera)
	_, next := state.Next(knobs.Picture{Mid: start.Add(4 * time.Minute), Attitude: exact{c}})
	fmt.Printf("%s %+.1f′\n", next.Knob, next.Turn.Min())
	// Output:
	// altitude +20.0′
	// altitude +8.0′
}
