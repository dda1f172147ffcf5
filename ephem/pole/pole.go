// Package pole tells where the celestial pole stands over a site and where, beside it, the star it is found by.
//
// Start with [Look], or with [Series] for the hours to come. The star is Polaris (α Ursae Minoris) at northern sites and on the
// equator, σ Octantis at southern ones: of the stars that an eye sees, the nearest to the pole from 1900 to 2100.
//
// Directions are those of package ephem: azimuth from true north through east, altitudes as seen but where a name says true. A
// star's place beside the pole is told as somebody sees it who faces the pole: to the right, and up. How it is split so is derived
// here; the tests hold it to spherical trigonometry on ERFA's directions.
package pole

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/catalog"
)

// A View is the pole and its star at one instant.
type View struct {
	At    time.Time
	North bool             // which of the poles
	True  ephem.Horizontal // the pole without air
	Seen  ephem.Horizontal // the pole as stars are seen to turn about it
	Star  Star
}

// A Star is where the pole's star stands.
type Star struct {
	HIP         int32
	Name        string // as people say it: "Polaris", "σ Octantis"
	Designation string // as the catalogue has it
	Magnitude   float64
	HourAngle   unit.HourAngle   // 0–24 h, positive west of the meridian, without air
	Distance    unit.Angle       // from the true pole, without air
	Seen        ephem.Horizontal // as seen; below the horizon it is not
	Right, Up   unit.Angle       // from the pole as seen: the arc between them, split along its direction
}

// guides are the stars by which poles are found.
var guides = map[bool]struct {
	hip  int32
	name string
}{true: {11767, "Polaris"}, false: {104382, "σ Octantis"}}

// Look is the pole above the site's horizon and its star. Without air it agrees with ERFA to 0.01′ from 1900 to
// 2100 (see the tests); what the air adds is as uncertain as [ephem.Refraction] says, 5 % of it as a rule and minutes of arc under 5° of
// altitude. Errors are those of [ephem.NewSky].
func Look(site ephem.Site, air ephem.Air, t time.Time) (View, error) {
	sky, err := ephem.NewSky(site, air, t)
	if err != nil {
		return View{}, err
	}
	v := View{At: t.UTC(), North: site.Latitude >= 0, True: sky.TruePole(), Seen: sky.RefractedPole()}
	guide := guides[v.North]
	i, ok := catalog.Index(guide.hip)
	if !ok {
		return View{}, fmt.Errorf("the catalogue has no HIP %d", guide.hip)
	}
	entry := catalog.Stars()[i]
	v.Star = Star{HIP: guide.hip, Name: guide.name, Designation: catalog.Designation(guide.hip),
		Magnitude: math.Round(float64(entry.Magnitude)*100) / 100}
	v.place(sky, ephem.Moved(entry.Direction, guide.hip, t))
	return v, nil
}

// place fills in where the star stands.
func (v *View) place(sky ephem.Sky, icrs r3.Vec) {
	hour, declination := sky.HourAngle(icrs)
	v.Star.HourAngle = unit.HourAngle(unit.Angle(hour).Mod1())
	v.Star.Distance = math.Pi/2 - unit.Angle(math.Abs(declination.Rad()))
	seen := sky.Apparent(icrs)
	v.Star.Seen = ephem.HorizontalOf(seen)
	v.Star.Right, v.Star.Up = v.beside(seen)
}

// beside splits the arc from the pole to a direction into its part to the right and its part upward, for somebody who faces
// the pole, tilting the head back as far as it takes.
func (v View) beside(seen r3.Vec) (right, up unit.Angle) {
	pole := v.Seen.Direction()
	sin, cos := v.Seen.Azimuth.Sincos()
	toRight := r3.Vec{X: cos, Y: -sin}
	x, y := r3.Dot(seen, toRight), r3.Dot(seen, r3.Cross(toRight, pole))
	across := math.Hypot(x, y)
	if across == 0 {
		return 0, 0
	}
	arc := math.Atan2(across, r3.Dot(seen, pole))
	return unit.Angle(arc * x / across), unit.Angle(arc * y / across)
}

// Series is the view now and every step after it, count of them in all; it ends early where the theories of package ephem do
// (with the year 2100), which is no error but for the first.
func Series(site ephem.Site, air ephem.Air, from time.Time, step time.Duration, count int) ([]View, error) {
	var all []View
	for i := range count {
		v, err := Look(site, air, from.Add(time.Duration(i)*step))
		if err != nil {
			if i == 0 {
				return nil, err
			}
			break
		}
		all = append(all, v)
	}
	return all, nil
}
