package ephem

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/meeus/v3/julian"
	"github.com/soniakeys/meeus/v3/moonposition"
	"github.com/soniakeys/meeus/v3/nutation"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// ERFA's places of Sun and Moon by astropy, without air, with the site's parallax.
func TestSunAndMoonAgreeWithAstropy(t *testing.T) {
	const (
		// 0.3″ each for the terms left out, diurnal aberration and astropy's digits, and 3″ by the
		// same ΔT. The contract is 6″, and 60″ for the Moon.
		sunArcsec = 4
		// 10″ by the theory, and 72 s of ΔT in 2050 (the polynomial's 141 s against today's
		// leap seconds, which is what astropy has), in which the Moon moves by 40″.
		moonArcsec = 55
	)
	var sun, moon worst
	for _, r := range reference(t, "night_bodies.csv") {
		site, err := NewSite(r.number("lat"), r.number("lon"), r.number("height_m"))
		if err != nil {
			t.Fatal(err)
		}
		sky, err := NewSky(site, Air{}, r.time())
		if err != nil {
			t.Fatal(err)
		}
		want := Horizontal{Azimuth: r.angle("azimuth_deg"), Altitude: r.angle("altitude_deg")}.Direction()
		if r.value["body"] == "sun" {
			sun.see(separation(sky.Sun().Direction, want).Sec(), r.place)
		} else {
			moon.see(separation(sky.Moon().Direction, want).Sec(), r.place)
		}
	}
	sun.under(t, "the Sun", sunArcsec)
	moon.under(t, "the Moon", moonArcsec)
}

// ofDate is the right ascension and declination of a direction in the mean ecliptic.
func ofDate(lon, lat unit.Angle, tt float64) (unit.RA, unit.Angle) {
	return RADec(turn.About(r3.Vec{X: 1}, nutation.MeanObliquity(tt)).Then(nutationTurn(tt)).Apply(Direction(unit.RA(lon), lat)))
}

// Meeus, examples 25.a and 25.b, p. 165 and 169: 1992 October 13, 0h TD; the values of the
// complete VSOP87, p. 165.
func TestMeeusSun(t *testing.T) {
	const (
		lastDigitsArcsec = 0.3  // some fifty terms under 0.04″ each are left out here
		lastDigitsAU     = 4e-6 // the terms left out
		bookAU           = 0.99760853
	)
	tt := julian.CalendarGregorianToJD(1992, 10, 13)
	lon, lat, au := sunEcliptic(tt)
	got := Direction(ofDate(lon, lat, tt))
	want := Direction(unit.NewRA(13, 13, 30.749), unit.NewAngle('-', 7, 47, 1.74))
	if d := separation(got, want).Sec(); d > lastDigitsArcsec {
		t.Errorf("%.3f″ beside the book's", d)
	}
	if d := math.Abs(au - bookAU); d > lastDigitsAU {
		t.Errorf("distance %.8f, %.2g beside the book's", au, d)
	}
}

// Meeus, example 47.a, p. 342–343: 1992 April 12, 0h TD. Right ascension and declination
// are apparent there, to six decimals of a degree (0.004″) as the steps before.
func TestMeeusMoon(t *testing.T) {
	const lastDigitsArcsec, lastDigitKM = 0.01, 0.06
	tt := julian.CalendarGregorianToJD(1992, 4, 12)
	lon, lat, km := moonposition.Position(tt)
	got := Direction(ofDate(lon, lat, tt))
	want := Direction(unit.RAFromDeg(134.688470), unit.AngleFromDeg(13.768368))
	if d := separation(got, want).Sec(); d > lastDigitsArcsec {
		t.Errorf("%.4f″ beside the book's", d)
	}
	if math.Abs(km-368409.7) > lastDigitKM {
		t.Errorf("%.2f km", km)
	}
}

// Meeus, example 48.a, p. 347: the same instant, k = 0.6786. (A site's UTC, 59 s before TD.)
func TestMeeusIlluminated(t *testing.T) {
	const lastDigit = 0.00006
	sky, err := NewSky(Site{}, Air{}, time.Date(1992, 4, 11, 23, 59, 1, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if k := sky.MoonIlluminated(); math.Abs(k-0.6786) > lastDigit {
		t.Errorf("%.5f", k)
	}
}

// What may be known of Sun and Moon without a table.
func TestBodiesAreOfTheirSize(t *testing.T) {
	for day := range 800 {
		at := time.Date(1901, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(day*2190) * time.Hour)
		sky, err := NewSky(Site{Latitude: unit.AngleFromDeg(float64(day%181) - 90)}, Air{}, at)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name      string
			b         Body
			low, high float64 // semidiameter in minutes of arc; the Moon's from 356 371 to 406 720 km (Meeus, ch. 50), a radius of the Earth nearer or farther
		}{{"Sun", sky.Sun(), 15.70, 16.32}, {"Moon", sky.Moon(), 14.45, 17.08}} {
			if m := c.b.Semidiameter.Min(); !(m > c.low && m < c.high) {
				t.Errorf("%s on %v: %.3f′", c.name, at, m)
			}
			if math.Abs(r3.Norm(c.b.Direction)-1) > 1e-12 {
				t.Errorf("%s on %v: not of unit length", c.name, at)
			}
		}
		if k := sky.MoonIlluminated(); !(k >= 0 && k <= 1) {
			t.Errorf("%v: %g lit", at, k)
		}
	}
}

// The zenith of a site on a sphere is where it stands from the middle; on the Earth it is
// off by the difference of geodetic and geocentric latitude, 11.5′ at 45° (Meeus, p. 83: 692.73″
// sin 2φ), toward the pole.
func TestSiteFromTheMiddleOfTheEarth(t *testing.T) {
	const secondOrderArcsec = 1.5 // − 1.16″ sin 4φ, p. 83
	for lat := -90.0; lat <= 90; lat += 15 {
		v := Site{Latitude: unit.AngleFromDeg(lat)}.fromCentre()
		south := -math.Atan2(v.Y, v.Z) * 180 / math.Pi * 3600
		want := 692.73 * math.Sin(2*lat*math.Pi/180)
		if math.Abs(south-want) > secondOrderArcsec {
			t.Errorf("at %g°: %.2f″, want %.2f″", lat, south, want)
		}
	}
	// A cross-check of the unit of length: an astronomical unit's parallax is 8.794″.
	if p := math.Asin(r3.Norm(Site{}.fromCentre())/base.AU) * 180 / math.Pi * 3600; math.Abs(p-8.794) > 0.001 {
		t.Errorf("parallax of the Sun %.4f″", p)
	}
}

func BenchmarkSunAndMoon(b *testing.B) {
	sky, err := NewSky(Site{}, Air{}, time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		sky.Sun()
		sky.Moon()
	}
}
