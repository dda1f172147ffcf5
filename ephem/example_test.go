package ephem_test

import (
	"errors"
	"fmt"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// Where Polaris and the pole are seen from a meadow in the Alps.
func ExampleNewSky() {
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		fmt.Println(err)
		return
	}
	at := time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC)
	sky, err := ephem.NewSky(site, ephem.Air{TemperatureC: -5, PressureHPa: 835}, at)
	if err != nil {
		fmt.Println(err)
		return
	}
	polaris := ephem.Direction(unit.NewRA(2, 31, 49.09), unit.NewAngle(' ', 89, 15, 50.8))
	seen := ephem.HorizontalOf(sky.Apparent(ephem.Moved(polaris, 11767, at)))
	pole := sky.RefractedPole()
	hour, _ := sky.HourAngle(polaris)
	fmt.Printf("Polaris %.3f° high at azimuth %.3f°, %.1f h from the meridian\n", seen.Altitude.Deg(), seen.Azimuth.Deg(), hour.Hour())
	fmt.Printf("pole    %.3f° high at azimuth %.3f°\n", pole.Altitude.Deg(), pole.Azimuth.Deg())
	// Output:
	// Polaris 46.652° high at azimuth 0.074°, -0.3 h from the meridian
	// pole    46.034° high at azimuth 0.000°
}

func ExampleParseSite() {
	site, err := ephem.ParseSite("-33.45, -70.67, 570")
	fmt.Println(site, err)

	_, err = ephem.ParseSite("151.2,-33.9")
	if errors.Is(err, ephem.ErrSite) {
		fmt.Println("error:", err)
		fmt.Println("hint:", amiss.Ways(err)[0].Act)
	}
	// Output:
	// 33.4500° S, 70.6700° W, 570 m <nil>
	// error: impossible site: latitude 151.2° is not within ±90°
	// hint: latitude comes first: are the two swapped? write LAT,LON[,HEIGHT_M] in decimal degrees, north and east positive, as in 46.02,7.75,1620
}
