package align_test

import (
	"fmt"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/policy"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// seen is an attitude measured to half a second of arc across the view and three about it.
type seen struct{ attitude turn.Turn }

func (s seen) Given(float64) (turn.Turn, [3][3]float64) {
	const sec = 1 / 206265.0
	return s.attitude, [3][3]float64{{0.25 * sec * sec, 0, 0}, {0, 0.25 * sec * sec, 0}, {0, 0, 9 * sec * sec}}
}

// From attitudes to two corrections: a mount at 46° north whose axis stands 40′ too high and 30′ too far
// east, its axis swung by hand to 25° and −20° between three pictures.
func ExampleEstimate() {
	site, _ := ephem.NewSite(46, 7, 500)
	air := ephem.StandardAir(500)
	start := time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)
	aim, _ := align.NewAim(align.AimRefracted, site, air, start, nil)

	axis := ephem.Horizontal{Altitude: aim.Altitude() + unit.AngleFromMin(40), Azimuth: aim.Azimuth() + unit.AngleFromMin(30)}.Direction()
	camera := turn.About(r3.Vec{X: 1}, unit.AngleFromDeg(-140)) // looks south, 50° high
	in := align.Input{Site: site, Air: air}
	for i, deg := range []float64{0, 25, -20} {
		c := turn.About(axis, unit.AngleFromDeg(deg)).Then(camera)
		in.Samples = append(in.Samples, align.Sample{Mid: start.Add(time.Duration(i) * time.Minute), Attitude: seen{c}})
	}

	a, err := align.Estimate(in)
	if err != nil {
		fmt.Println(err)
		return
	}
	advice := policy.Advise(a, policy.Question{Aim: aim, PlannedS: 60, Stands: unit.AngleFromMin(10)})
	fmt.Printf("tilt: %s, up by %.0f′\n", advice.AltitudeIs, advice.TurnAltitude.Min())
	fmt.Printf("base: %s, clockwise by %.0f′\n", advice.AzimuthIs, advice.TurnAzimuth.Min())
	fmt.Println("next:", advice.Next)
	// Output:
	// tilt: turn, up by -40′
	// base: turn, clockwise by -30′
	// next: turn
}
