package wobble_test

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift/wobble"
)

// A picture every 20 seconds for 25 minutes, of a mount whose gear swings by 30″ every 10 minutes.
func ExampleFit() {
	start := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	var points []wobble.Point
	for i := range 75 {
		s := 20 * float64(i)
		noise := 1.5 * math.Sin(float64(i*i)) // stands for the errors of the pictures
		points = append(points, wobble.Point{
			Time:  start.Add(time.Duration(20*i) * time.Second),
			Angle: unit.AngleFromSec(15.041*s + 15*math.Sin(2*math.Pi*s/600) + noise),
			Sigma: unit.AngleFromSec(1),
		})
	}
	r, err := wobble.Fit(points, wobble.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.0f s, %.0f″ from peak to peak\n", r.State, r.PeriodS, r.PeakToPeak.Sec())
	// Output:
	// measured: 601 s, 30″ from peak to peak
}
