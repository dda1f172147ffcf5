package night_test

import (
	"fmt"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/night"
)

// An autumn night in the Alps, for the nebula in Orion.
func ExampleOf() {
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		fmt.Println(err)
		return
	}
	orion := ephem.Direction(unit.NewRA(5, 35, 17.3), unit.NewAngle('-', 5, 23, 28))
	n, err := night.Of(site, ephem.StandardAir(site.HeightM), 2026, time.November, 25, night.Options{
		Target: &orion, MinAltitude: unit.AngleFromDeg(25), Exposure: time.Minute, Pause: 3 * time.Second,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("dark from %s to %s\n", n.DarkFrom.Format("15:04"), n.DarkTo.Format("15:04"))
	if w := n.Target.Window; w != nil {
		fmt.Printf("high enough from %s to %s: %d exposures\n", w.From.Format("15:04"), w.To.Format("15:04"), n.Exposures)
	}
	fmt.Printf("the Moon is %.0f %% lit, %.0f° from the target\n", 100*n.Moon.Illuminated, n.Target.MoonSeparation.Deg())
	// Output:
	// dark from 17:34 to 04:57
	// high enough from 21:46 to 03:44: 341 exposures
	// the Moon is 97 % lit, 33° from the target
}

// In midsummer at 60° north it does not get dark: the times are nil, and notes say why.
func ExampleOf_midsummer() {
	site, err := ephem.NewSite(60, 25, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	n, err := night.Of(site, ephem.StandardAir(0), 2026, time.June, 21, night.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n.Sunset.Format("15:04"), n.DarkFrom, n.Sunrise.Format("15:04"))
	fmt.Println(n.Notes[0].Key)
	// Output:
	// 19:47 <nil> 00:55
	// it does not get dark
}
