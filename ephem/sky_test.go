package ephem

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/soniakeys/meeus/v3/coord"
	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/amiss"
)

// Tolerances, in seconds of arc, each with its reason.
const (
	// IAU 1976/1980 against 2006/2000A, 1905 to 2095. Precession differs by 0.3″ a
	// century along the ecliptic, but sidereal time counts from the same equinox, so
	// of that an hour angle keeps nothing; what stays is the tilt (0.12″ a century
	// on the equator's pole), nutation as measured (up to 0.07″) and the frame (0.02″).
	theoriesArcsec = 0.2
	// Sidereal time by itself keeps the equinox's 0.3″ cos ε, and the same nutation.
	equinoxArcsec = 0.37
	// The same theory written twice: terms of nutation under 0.0003″ are dropped by
	// the library, and there are sixty of them.
	sameTheoryArcsec = 0.005
	// Since 1994 the equation of the equinoxes has two more terms, 0.00264″ and
	// 0.00006″ (IAU Resolution C7, 1994).
	sidereal1994Arcsec = 0.005
	// The Earth's velocity of Ron and Vondrák against ERFA's epv00: 1e-8 of the
	// speed of light is 0.002″.
	velocityArcsec = 0.002
	// ERFA's atioq solves for the refraction R by one Newton step from the true
	// altitude, which leaves R²/2 times the second derivative of the formula:
	// 0.001″ at 20°, 0.43″ at 5° in the densest air of the file (−35 °C, 1020 hPa).
	// We solve to the end: see TestApparentSolvesTheFormula.
	newtonStepArcsec    = 0.001 // above 20°
	newtonStepLowArcsec = 0.45  // from 5°
	// Ten digits and trigonometry near the pole.
	roundingArcsec = 1e-4
)

// The Sun bends light by 0.02″ at 30° from it (ERFA puts it in, we leave it out):
// stars nearer are no night's business.
const sunBendsDeg = 30

func TestTrueAndSeenDirectionsAgreeWithERFA(t *testing.T) {
	var truly, seen, lifted, liftedLow worst
	for _, r := range reference(t, "ephem_stars.csv") {
		if r.number("sun_elongation") < sunBendsDeg {
			continue
		}
		sky, star := r.sky(), r.star()
		wantTrue := Horizontal{r.angle("true_az"), r.angle("true_alt")}
		truly.see(separation(sky.True(star), wantTrue.Direction()).Sec(), r.place)
		wantSeen := Horizontal{r.angle("seen_az"), r.angle("seen_alt")}
		if wantSeen.Altitude.Deg() < 5 {
			continue // see TestRefractionNearTheHorizon
		}
		seen.see(separation(sky.Apparent(star), wantSeen.Direction()).Sec(), r.place)
		off := (sky.Refraction().Apparent(wantTrue.Altitude) - wantSeen.Altitude).Sec()
		if wantSeen.Altitude.Deg() > 20 {
			lifted.see(off, r.place)
		}
		liftedLow.see(off, r.place)
	}
	truly.under(t, "true direction", theoriesArcsec)
	seen.under(t, "direction seen, above 5°", theoriesArcsec+newtonStepLowArcsec)
	lifted.under(t, "refraction alone, above 20°", newtonStepArcsec)
	liftedLow.under(t, "refraction alone, above 5°", newtonStepLowArcsec)
}

// The whole sky may be turned about the pole by UT1−UTC, 15.04″ for a second, and
// by nothing else.
func TestUTCForUT1TurnsTheSkyAboutThePole(t *testing.T) {
	const arcsecPerSecond = 15.041
	var plain, turned worst
	for _, r := range reference(t, "ephem_ut1.csv") {
		want := Horizontal{r.angle("true_az"), r.angle("true_alt")}.Direction()
		plain.see(separation(r.sky().True(r.star()), want).Sec(), r.place)
		late := time.Duration(r.number("ut1_utc_s") * float64(time.Second))
		sky, err := NewSky(r.sky().Site(), Air{}, r.time().Add(late))
		if err != nil {
			t.Fatal(err)
		}
		turned.see(separation(sky.True(r.star()), want).Sec(), r.place)
	}
	plain.under(t, "UTC used as UT1", 0.9*arcsecPerSecond)
	turned.under(t, "clock set to UT1", theoriesArcsec)
}

func TestSiderealTimeAgreesWithERFA(t *testing.T) {
	var today, then worst
	for _, r := range reference(t, "ephem_theory.csv") {
		got := siderealTime(t, r.time())
		off := func(column string) float64 {
			return unit.Angle(math.Remainder(got.Rad()-r.angle(column).Rad(), 2*math.Pi)).Sec()
		}
		today.see(off("gst06a"), r.place)
		then.see(off("gst94"), r.place)
	}
	today.under(t, "sidereal time against IAU 2006", equinoxArcsec)
	then.under(t, "sidereal time against IAU 1982/1994", sidereal1994Arcsec)
}

func TestPrecessionAndNutationAgreeWithERFA(t *testing.T) {
	var w worst
	for _, r := range reference(t, "ephem_theory.csv") {
		_, tt, err := JulianDates(r.time())
		if err != nil {
			t.Fatal(err)
		}
		x, y, z := precession(tt).Then(nutationTurn(tt)).Rows()
		for i, got := range []r3.Vec{x, y, z} {
			n := string(rune('0' + i))
			want := r3.Vec{X: r.number("m" + n + "0"), Y: r.number("m" + n + "1"), Z: r.number("m" + n + "2")}
			w.see(separation(got, want).Sec(), r.place)
		}
	}
	w.under(t, "axes of date against IAU 1976/1980", sameTheoryArcsec)
}

func TestEarthVelocityAgreesWithERFA(t *testing.T) {
	var w worst
	for _, r := range reference(t, "ephem_theory.csv") {
		_, tt, err := JulianDates(r.time())
		if err != nil {
			t.Fatal(err)
		}
		want := r3.Vec{X: r.number("vx_c"), Y: r.number("vy_c"), Z: r.number("vz_c")}
		w.see(unit.Angle(r3.Norm(r3.Sub(earthVelocity(tt), want))).Sec(), r.place)
	}
	w.under(t, "aberration by the Earth's velocity", velocityArcsec)
}

func TestRefractedPoleAgreesWithERFA(t *testing.T) {
	// ERFA carries the axis through diurnal aberration (0.32″ cos φ toward east)
	// like a star; we do not.
	const diurnalArcsec = 0.33
	var altitude, direction worst
	for _, r := range reference(t, "ephem_pole.csv") {
		got := r.sky().RefractedPole()
		if r.number("seen_alt") < 5 {
			continue // the equator: see TestPoleOnTheEquator
		}
		altitude.see((got.Altitude - r.angle("seen_alt")).Sec(), r.place)
		want := Horizontal{r.angle("seen_az"), r.angle("seen_alt")}.Direction()
		direction.see(separation(got.Direction(), want).Sec(), r.place)
	}
	altitude.under(t, "altitude of the refracted pole", 0.01)
	direction.under(t, "direction of the refracted pole", diurnalArcsec)
}

func skyAt(t testing.TB, latDeg, lonDeg float64) Sky {
	t.Helper()
	site, err := NewSite(latDeg, lonDeg, 300)
	if err != nil {
		t.Fatal(err)
	}
	sky, err := NewSky(site, Air{8, 980}, time.Date(2026, 11, 25, 22, 13, 5, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	return sky
}

// By definition of geodetic latitude (any handbook): the pole is as high as the
// latitude is large.
func TestTruePoleIsAsHighAsTheLatitude(t *testing.T) {
	for _, lat := range []float64{-90, -89.9, -33, -1e-9, 0, math.Copysign(0, -1), 1e-9, 46, 89.9, 90} {
		sky := skyAt(t, lat, -123)
		pole := sky.TruePole()
		if d := math.Abs(pole.Altitude.Deg() - math.Abs(lat)); d > 1e-12 {
			t.Errorf("latitude %g: the true pole is %g° high", lat, pole.Altitude.Deg())
		}
		// What the frame itself says: the axis of the date, turned into the horizon.
		axis := horizonTurn(sky.Site(), 0).Apply(r3.Vec{Z: 1})
		if lat < 0 {
			axis = r3.Scale(-1, axis)
		}
		if d := separation(axis, pole.Direction()).Sec(); d > roundingArcsec {
			t.Errorf("latitude %g: pole %v is %g″ from the axis", lat, pole, d)
		}
		if seen := sky.RefractedPole(); seen.Azimuth != pole.Azimuth || seen.Altitude < pole.Altitude || seen.Altitude > math.Pi/2+1e-12 {
			t.Errorf("latitude %g: refraction takes the pole from %v to %v", lat, pole, seen)
		}
	}
}

// On the equator the north pole lies on the horizon, where refraction is 34′
// (Meeus, Astronomical Algorithms, 2nd ed., p. 107, in standard air).
func TestPoleOnTheEquator(t *testing.T) {
	site, err := NewSite(0, 37, 0)
	if err != nil {
		t.Fatal(err)
	}
	sky, err := NewSky(site, Air{10, 1010}, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	// The pole is seen at the altitude h with h = R(h), not at R(0): 34.5′ less
	// the fall of refraction over the first half degree, 5.6′.
	if got := sky.RefractedPole(); got.Azimuth != 0 || math.Abs(got.Altitude.Min()-28.9) > 0.5 {
		t.Errorf("pole seen %.2f′ high at azimuth %g, want 28.9′ north", got.Altitude.Min(), got.Azimuth.Deg())
	}
}

// Near the pole stars seen turn about the refracted pole: the mean of a small
// circle over a day, with refraction, is where RefractedPole says.
func TestStarsTurnAboutTheRefractedPole(t *testing.T) {
	for _, lat := range []float64{-60, -33, 33, 60} {
		site, err := NewSite(lat, 20, 0)
		if err != nil {
			t.Fatal(err)
		}
		var sum r3.Vec
		var pole Horizontal
		const steps = 24
		start := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
		for i := range steps {
			day := 86164.0905 / steps * float64(i) // seconds of a turn of the Earth
			sky, err := NewSky(site, Air{10, 1010}, start.Add(time.Duration(day*float64(time.Second))))
			if err != nil {
				t.Fatal(err)
			}
			// The star at J2000.0's pole stays within 0.15° of the pole of 2026.
			sum = r3.Add(sum, sky.Apparent(r3.Vec{Z: math.Copysign(1, lat)}))
			pole = sky.RefractedPole()
		}
		// 20.5″ of annual aberration do not move the centre; diurnal does, 0.3″.
		const diurnalArcsec = 0.33
		if d := separation(sum, pole.Direction()).Sec(); d > diurnalArcsec {
			t.Errorf("latitude %g: the star turns about a point %.2f″ from the refracted pole", lat, d)
		}
	}
}

// The library's own horizontal coordinates, west-positive and from the south,
// in all four quarters of the globe: our one conversion against theirs.
func TestHorizonAgreesWithLibraryWestAndSouth(t *testing.T) {
	greenwich := unit.TimeFromHour(8.5825)
	star := struct {
		ra  unit.RA
		dec unit.Angle
	}{unit.RAFromHour(5.3), unit.AngleFromDeg(-17)}
	for _, c := range []struct {
		name     string
		lat, lon float64
	}{
		{"north east", 46, 7.75}, {"north west", 46, -77}, {"south east", -33, 151}, {"south west", -33, -70.8},
		{"date line", 60, 180}, {"polar south", -85, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, err := NewSite(c.lat, c.lon, 0)
			if err != nil {
				t.Fatal(err)
			}
			fromSouth, altitude := coord.EqToHz(star.ra, star.dec, site.Latitude, -site.Longitude, greenwich)
			want := Horizontal{fromSouth + math.Pi, altitude}
			got := horizonTurn(site, greenwich).Apply(Direction(star.ra, star.dec))
			if d := separation(got, want.Direction()).Sec(); d > roundingArcsec {
				t.Errorf("got %v, the library says %v", HorizontalOf(got), want)
			}
		})
	}
}

// Signs anyone can check outdoors (common practice, no source): stars rise in
// the east and set in the west in both hemispheres; on the meridian toward the
// equator they move to the right in the north, to the left in the south.
func TestStarsRiseInTheEast(t *testing.T) {
	for _, lat := range []float64{46, -33} {
		site, err := NewSite(lat, 7.75, 0)
		if err != nil {
			t.Fatal(err)
		}
		start := time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC)
		before, _ := NewSky(site, Air{10, 1010}, start)
		after, _ := NewSky(site, Air{10, 1010}, start.Add(time.Minute))
		for _, h := range []Horizontal{{unit.AngleFromDeg(90), unit.AngleFromDeg(30)}, {unit.AngleFromDeg(270), unit.AngleFromDeg(30)}} {
			moved := HorizontalOf(after.Apparent(before.ICRS(h.Direction())))
			if rises, east := moved.Altitude > h.Altitude, h.Azimuth < math.Pi; rises != east {
				t.Errorf("latitude %g: a star at %v rises %v", lat, h, rises)
			}
		}
		toEquator := r3.Vec{Y: -math.Copysign(math.Sqrt2/2, lat), Z: math.Sqrt2 / 2}
		if moved := after.Apparent(before.ICRS(toEquator)); moved.X >= 0 {
			t.Errorf("latitude %g: the meridian star moves east", lat)
		}
	}
}

func TestICRSUndoesApparent(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var w worst
	for _, lat := range []float64{-90, -33, 0, 46, 85} {
		sky := skyAt(t, lat, 12)
		for range 4000 {
			star := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
			seen := sky.Apparent(star)
			if d := math.Abs(r3.Norm(seen) - 1); d > 1e-14 {
				t.Fatalf("Apparent(%v) has length 1%+g", star, d)
			}
			w.see(separation(sky.ICRS(seen), star).Sec(), altitudeOf(seen))
		}
		for _, enu := range []r3.Vec{{Z: 1}, {Z: -1}, {X: 1}, {Y: -1}} {
			w.see(separation(sky.Apparent(sky.ICRS(enu)), enu).Sec(), altitudeOf(enu))
		}
	}
	w.under(t, "there and back, everywhere", roundingArcsec)
}

// altitudeOf names a direction in a message.
func altitudeOf(v r3.Vec) string {
	return fmt.Sprintf("altitude %.3f°", HorizontalOf(v).Altitude.Deg())
}

// The vector form against the scalar one, where the first divides by the distance
// from the zenith: 0.0001 rad, 20″, is still refracted by 0.006″.
func TestApparentNearZenithAndNadir(t *testing.T) {
	const squaresArcsec = 1e-9
	sky := skyAt(t, 46, 12)
	sky.aberration = aberration{slowness: 1} // none, so that a direction over the site can be set exactly
	for _, z := range []float64{0, 1e-14, 1e-12, 1e-9, 1e-6, 1e-4, 1e-3, 0.1} {
		for _, end := range []float64{1, -1} {
			enu := r3.Vec{X: 0.6 * math.Sin(z), Y: -0.8 * math.Sin(z), Z: end * math.Cos(z)}
			icrs := r3.Add(r3.Scale(enu.X, sky.east), r3.Add(r3.Scale(enu.Y, sky.north), r3.Scale(enu.Z, sky.up)))
			want := HorizontalOf(enu)
			want.Altitude = sky.Refraction().Apparent(want.Altitude)
			if d := separation(sky.Apparent(icrs), want.Direction()).Sec(); !(d < squaresArcsec) {
				t.Errorf("%g rad from the vertical, end %g: off by %g″", z, end, d)
			}
		}
	}
}

func TestAberrationIsATurnTowardTheVelocity(t *testing.T) {
	v := r3.Vec{X: 6e-5, Y: -7e-5, Z: 3e-5}
	a := newAberration(v)
	r := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		u := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		got := a.apply(u)
		// The angle from the velocity shrinks as tan(θ′/2) = √((1−v)/(1+v)) tan(θ/2)
		// (any textbook of special relativity).
		n := r3.Norm(v)
		before, after := separation(u, v), separation(got, v)
		want := 2 * math.Atan(math.Sqrt((1-n)/(1+n))*math.Tan(before.Rad()/2))
		if math.Abs(after.Rad()-want) > 1e-14 || math.Abs(r3.Norm(got)-1) > 1e-14 {
			t.Fatalf("from %v to %v, want %v", before, after, want)
		}
		if d := r3.Norm(r3.Sub(a.undo(got), u)); d > 1e-14 {
			t.Fatalf("undone to %g", d)
		}
	}
}

func TestHourAngleAgreesWithHorizon(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, lat := range []float64{-33, 0, 46} {
		sky := skyAt(t, lat, -70)
		for range 200 {
			star := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
			h, dec := sky.HourAngle(star)
			// At hour angle H the star's right ascension is the site's sidereal time less H;
			// measured from the meridian, the local sidereal time is 0 here.
			got := horizonTurn(Site{Latitude: sky.Site().Latitude}, 0).Apply(Direction(unit.RA(-h), dec))
			if d := separation(got, sky.True(star)).Sec(); d > roundingArcsec {
				t.Fatalf("latitude %g: off by %g″", lat, d)
			}
		}
	}
	if h, _ := skyAt(t, 46, 0).HourAngle(skyAt(t, 46, 0).ICRS(r3.Vec{X: -1})); h <= 0 {
		t.Errorf("a star in the west has hour angle %g h, want positive", h.Hour())
	}
}

func TestNewSkyRefuses(t *testing.T) {
	good := Site{unit.AngleFromDeg(46), unit.AngleFromDeg(7), 0}
	nan := unit.Angle(math.NaN())
	day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		site Site
		air  Air
		time time.Time
		want error
	}{
		{"latitude NaN", Site{nan, 0, 0}, Air{}, day, ErrSite},
		{"longitude NaN", Site{0, nan, 0}, Air{}, day, ErrSite},
		{"height infinite", Site{0, 0, math.Inf(1)}, Air{}, day, ErrSite},
		{"beyond the pole", Site{unit.AngleFromDeg(90.001), 0, 0}, Air{}, day, ErrSite},
		{"temperature NaN", good, Air{math.NaN(), 1000}, day, ErrAir},
		{"below absolute zero", good, Air{-300, 1000}, day, ErrAir},
		{"pressure infinite", good, Air{0, math.Inf(1)}, day, ErrAir},
		{"negative pressure", good, Air{0, -1}, day, ErrAir},
		{"no time", good, Air{}, time.Time{}, ErrDate},
		{"before 1900", good, Air{}, time.Date(1899, 12, 31, 23, 59, 59, 0, time.UTC), ErrDate},
		{"after 2100", good, Air{}, time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC), ErrDate},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := NewSky(c.site, c.air, c.time)
			if err == nil || !errors.Is(err, c.want) {
				t.Fatalf("got %v, want %v", err, c.want)
			}
			if amiss.Ways(err) == nil {
				t.Errorf("%v has no hint", err)
			}
		})
	}
}

func TestNewSkyTakesTheFirstAndLastDay(t *testing.T) {
	zone := time.FixedZone("", 5*3600)
	for _, at := range []time.Time{
		time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC),
		time.Date(1900, 1, 1, 5, 0, 0, 0, zone),
		time.Date(2100, 12, 31, 23, 59, 59, 0, time.UTC),
	} {
		sky, err := NewSky(Site{Latitude: math.Pi / 2, Longitude: math.Pi}, Air{}, at)
		if err != nil {
			t.Fatal(err)
		}
		if n := r3.Norm(sky.Apparent(r3.Vec{X: 1})); math.Abs(n-1) > 1e-14 {
			t.Errorf("%v: a direction of length %g", at, n)
		}
	}
}

// A zone is only another way of writing an instant.
func TestZoneDoesNotMatter(t *testing.T) {
	at := time.Date(2026, 3, 1, 1, 30, 0, 0, time.FixedZone("", 3*3600))
	a, err1 := NewSky(Site{}, Air{}, at)
	b, err2 := NewSky(Site{}, Air{}, at.UTC())
	if err1 != nil || err2 != nil || a != b {
		t.Errorf("%v %v: the sky depends on the zone", err1, err2)
	}
}

func BenchmarkSkyApparent(b *testing.B) {
	sky := skyAt(b, 46, 7.75)
	var stars []r3.Vec
	r := rand.New(rand.NewPCG(7, 8))
	for len(stars) < 1024 {
		star := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		if sky.True(star).Z > 0.1 {
			stars = append(stars, star)
		}
	}
	for i := 0; b.Loop(); i++ {
		sink = sky.Apparent(stars[i%len(stars)])
	}
}

func BenchmarkSkyApparentBelowHorizon(b *testing.B) {
	sky := skyAt(b, 46, 7.75)
	star := sky.ICRS(Horizontal{1, -0.3}.Direction())
	for b.Loop() {
		sink = sky.Apparent(star)
	}
}

func BenchmarkSkyICRS(b *testing.B) {
	sky := skyAt(b, 46, 7.75)
	enu := Horizontal{1, 0.7}.Direction()
	for b.Loop() {
		sink = sky.ICRS(enu)
	}
}

func BenchmarkNewSky(b *testing.B) {
	site, at := Site{Latitude: 0.8}, time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	for b.Loop() {
		if _, err := NewSky(site, Air{}, at); err != nil {
			b.Fatal(err)
		}
	}
}

var sink r3.Vec
