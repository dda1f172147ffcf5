package simulate

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Tolerances of this file.
const (
	// rounding of angles carried through quaternions and Julian dates: the
	// latter resolve 40 µs, in which the sky turns by 0.6 mas.
	roundingArcsec = 0.002
	// diurnal aberration moves with the sky, not with the axis: 0.32″ times the
	// angle turned in ten minutes, plus rounding.
	stillArcsec = 0.02
	// firstOrder is the share by which the formulas of first order may miss for
	// errors of a tenth of a degree over ten minutes.
	firstOrder = 0.025
)

var newYear = time.Date(2026, 1, 10, 20, 0, 0, 0, time.UTC)

// airless is a sound mount under a sky without air, errors counted from the
// true pole: nothing moves but what the test asks for.
func airless(t *testing.T, latDeg float64, h ephem.Horizontal) Evening {
	t.Helper()
	site, err := ephem.NewSite(latDeg, 11.4, 300)
	if err != nil {
		t.Fatal(err)
	}
	e, err := Practice(site, newYear)
	if err != nil {
		t.Fatal(err)
	}
	e.Air = ephem.Air{}
	e.Mount.Counted = TruePole
	e.Every, e.Exposure, e.Count = 10*time.Minute, time.Second, 2
	if e, err = e.Aimed(h); err != nil {
		t.Fatal(err)
	}
	return e
}

func degrees(az, alt float64) ephem.Horizontal {
	return ephem.Horizontal{Azimuth: unit.AngleFromDeg(az), Altitude: unit.AngleFromDeg(alt)}
}

func begin(t *testing.T, e Evening) *Run {
	t.Helper()
	r, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// drift is how the target moves in the picture between the middles of the first
// two pictures, in arcseconds toward north and east of the sky, and how far the
// field turns there, clockwise positive, in arcseconds.
func drift(t *testing.T, r *Run) (north, east, clockwise float64) {
	t.Helper()
	star := r.e.Target.direction()
	n, e := tangents(star)
	nearN := r3.Unit(r3.Add(star, r3.Scale(1e-4, n)))
	nearE := r3.Unit(r3.Add(star, r3.Scale(1e-4, e)))
	seen := func(i int) (s, n, e r3.Vec) {
		m, err := r.moment(i, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		look := func(v r3.Vec) r3.Vec { return m.attitude.Apply(m.sky.Apparent(v)) }
		s = look(star)
		return s, r3.Unit(r3.Sub(look(nearN), s)), r3.Unit(r3.Sub(look(nearE), s))
	}
	s0, n0, e0 := seen(0)
	s1, n1, _ := seen(1)
	moved := r3.Sub(s1, s0)
	// Looking along the star's direction, clockwise is the right-handed sense.
	spin := r3.Dot(r3.Cross(n0, n1), s0)
	return arcsec(r3.Dot(moved, n0)), arcsec(r3.Dot(moved, e0)), arcsec(spin)
}

func arcsec(rad float64) float64 { return unit.Angle(rad).Sec() }

// The signs by which people have adjusted mounts since there are mounts: common
// practice, no source.
func TestStarsDriftToTheKnownSide(t *testing.T) {
	const sixtyArcmin = 60.0
	for _, c := range []struct {
		name              string
		latDeg            float64
		toward            ephem.Horizontal
		altitude, azimuth float64 // arcmin
		south             bool
	}{
		{"north: axis too far east, meridian star drifts south", 47, degrees(180, 45), 0, sixtyArcmin, true},
		{"north: axis too far west, meridian star drifts north", 47, degrees(180, 45), 0, -sixtyArcmin, false},
		{"north: axis too low, eastern star drifts south", 47, degrees(90, 40), -sixtyArcmin, 0, true},
		{"north: axis too high, eastern star drifts north", 47, degrees(90, 40), sixtyArcmin, 0, false},
		{"north: axis too low, western star drifts north", 47, degrees(270, 40), -sixtyArcmin, 0, false},
		{"south: axis too far west, meridian star drifts south", -34, degrees(0, 45), 0, sixtyArcmin, true},
		{"south: axis too far east, meridian star drifts north", -34, degrees(0, 45), 0, -sixtyArcmin, false},
		{"south: axis too high, eastern star drifts south", -34, degrees(90, 40), sixtyArcmin, 0, true},
		{"south: axis too low, eastern star drifts north", -34, degrees(90, 40), -sixtyArcmin, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := airless(t, c.latDeg, c.toward)
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(c.altitude), unit.AngleFromMin(c.azimuth)
			north, _, _ := drift(t, begin(t, e))
			if (north < 0) != c.south || math.Abs(north) < 30 {
				t.Errorf("drifted %.1f″ north in ten minutes", north)
			}
		})
	}
}

// The words "too far east" and "clockwise" of the table above, checked on the
// axis itself.
func TestAxisStandsWhereTheErrorsSay(t *testing.T) {
	for _, c := range []struct {
		name              string
		latDeg            float64
		altitude, azimuth float64 // arcmin
		alt, az           float64 // degrees
	}{
		{"north, high and east", 47, 30, 60, 47.5, 1},
		{"north, low and west", 47, -30, -60, 46.5, 359},
		{"south, high and west", -34, 30, 60, 34.5, 181},
		{"south, low and east", -34, -30, -60, 33.5, 179},
		{"equator: the north end", 0, 60, 0, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := airless(t, c.latDeg, degrees(100, 45))
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(c.altitude), unit.AngleFromMin(c.azimuth)
			got := begin(t, e).Axis(0)
			if d := between(got.Direction(), degrees(c.az, c.alt).Direction()).Sec(); d > roundingArcsec {
				t.Errorf("axis at %.4f° %.4f°, want %.4f° %.4f°", got.Altitude.Deg(), got.Azimuth.Deg(), c.alt, c.az)
			}
		})
	}
}

// Design §4: with Δh, Δa the errors, φ latitude, H hour angle, δ declination,
//
//	dδ/dt = −ω (Δh sin H + Δa cos φ cos H)
//	cos δ dα/dt = −ω sin δ (Δh cos H − Δa cos φ sin H)
//	rotation = ω cos δ (Δh cos H − Δa cos φ sin H)
//
// and in the south the terms with Δh change sign.
func TestDriftFollowsTheFormulas(t *testing.T) {
	const errArcmin = 6.0
	for _, latDeg := range []float64{62, 35, 8, -8, -35, -62} {
		for _, azDeg := range []float64{20, 75, 130, 190, 250, 310} {
			for _, err := range [][2]float64{{errArcmin, 0}, {0, errArcmin}, {-errArcmin, errArcmin}} {
				name := fmt.Sprintf("latitude %g azimuth %g error %v", latDeg, azDeg, err)
				t.Run(name, func(t *testing.T) {
					e := airless(t, latDeg, degrees(azDeg, 50))
					e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(err[0]), unit.AngleFromMin(err[1])
					compareDrift(t, e)
				})
			}
		}
	}
}

func compareDrift(t *testing.T, e Evening) {
	r := begin(t, e)
	mid, err := e.sky(e.MidOf(0).Add(e.Every / 2)) // drift is taken in the middle
	if err != nil {
		t.Fatal(err)
	}
	hour, dec := mid.HourAngle(e.Target.direction())
	dh := e.Mount.AltitudeError.Rad() * e.elevatedSign()
	da := e.Mount.AzimuthError.Rad() * math.Cos(e.Site.Latitude.Rad())
	sin, cos := hour.Sincos()
	turned := arcsec(ephem.SiderealRadPerS * e.Every.Seconds())
	wantNorth := -turned * (dh*sin + da*cos)
	wantEast := -turned * math.Sin(dec.Rad()) * (dh*cos - da*sin)
	wantSpin := turned * math.Cos(dec.Rad()) * (dh*cos - da*sin)
	north, east, spin := drift(t, r)
	tolerance := firstOrder * turned * math.Hypot(dh, da)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"north", north, wantNorth}, {"east", east, wantEast}, {"clockwise", spin, wantSpin}} {
		if math.Abs(c.got-c.want) > tolerance {
			t.Errorf("%s: %.2f″ in ten minutes, the formula gives %.2f″", c.what, c.got, c.want)
		}
	}
}

// 1° of error makes at most 15.75″ a minute: common practice, no single source.
func TestOneDegreeDrifts(t *testing.T) {
	const perMinute = 15.75
	e := airless(t, 40, degrees(180, 50))
	e.Every, e.Start = time.Minute, e.Start.Add(-30*time.Second)
	e.Mount.AzimuthError = unit.AngleFromDeg(1 / math.Cos(40*math.Pi/180))
	north, _, _ := drift(t, begin(t, e))
	if math.Abs(north+perMinute) > 0.02 {
		t.Errorf("drift of %.3f″ in a minute, want −15.75″", north)
	}
}

func TestStarsStandStillAboutThePole(t *testing.T) {
	for _, latDeg := range []float64{78, 47, 3, -3, -34, -78} {
		for _, azDeg := range []float64{15, 120, 260} {
			north, east, spin := drift(t, begin(t, airless(t, latDeg, degrees(azDeg, 45))))
			if math.Hypot(north, east) > stillArcsec || math.Abs(spin) > 10*stillArcsec {
				t.Errorf("latitude %g azimuth %g: drift %.4f″ %.4f″, rotation %.4f″", latDeg, azDeg, north, east, spin)
			}
		}
	}
}

// A star on a tripod runs at 15.04″·cos δ a second, westward: common practice,
// no source. At rate −1 it runs twice as fast, at the solar rate hardly.
func TestRates(t *testing.T) {
	for _, c := range []struct {
		name   string
		rate   float64
		tripod bool
		speed  float64 // ″/s on the equator, westward
	}{
		{"tripod", 1, true, 15.041},
		{"motor off", RateOff, false, 15.041},
		{"wrong hemisphere", RateWrongHemisphere, false, 30.082},
		{"half", RateHalf, false, 7.5205},
		{"solar", RateSolar, false, 15.041 - 15}, // the mean Sun runs 15″ a second
		{"lunar", RateLunar, false, 0.549},       // 13.176° a day
	} {
		for _, latDeg := range []float64{47, -34} {
			t.Run(fmt.Sprint(c.name, latDeg), func(t *testing.T) {
				e := airless(t, latDeg, degrees(110, 40))
				e.Mount.Rate, e.Mount.Tripod = c.rate, c.tripod
				e.Every = 10 * time.Second
				_, east, _ := drift(t, begin(t, e))
				sky, err := e.sky(e.MidOf(0))
				if err != nil {
					t.Fatal(err)
				}
				_, dec := sky.HourAngle(e.Target.direction()) // of the date
				want := -10 * c.speed * math.Cos(dec.Rad())
				if math.Abs(east-want) > 0.02 {
					t.Errorf("ran %.3f″ east in 10 s, want %.3f″", east, want)
				}
			})
		}
	}
}

// What is a turn about the axis shows in θ and nowhere else; what is not, moves
// the camera by its size and leaves θ alone.
func TestFaults(t *testing.T) {
	minute := time.Minute
	deg := unit.AngleFromDeg
	for _, c := range []struct {
		name   string
		change func(*Evening)
		angle  float64 // degrees added to θ of the second picture against the first
		camera float64 // degrees the camera turned on its head between the two
	}{
		{"sound", func(e *Evening) {}, 0, 0},
		{"swing", func(e *Evening) { e.Mount.Swings = []unit.Angle{0, deg(25)} }, 25, 0},
		{"swing before the first picture", func(e *Evening) { e.Mount.Swings = []unit.Angle{deg(25)} }, 0, 0},
		{"play", func(e *Evening) { e.Mount.Play = 2 * minute }, -119.5 * 15.041067 / 3600, 0},
		{"slipping clutch", func(e *Evening) { e.Mount.Slip = deg(1) }, -1, 0},
		{"slipping ball", func(e *Evening) { e.Mount.BallSlip = deg(1) }, 0, 1},
		{"flexure", func(e *Evening) { e.Mount.Flexure = deg(0.5) }, 0, 0.5 * 600 / 601},
		{"camera knock", func(e *Evening) { e.Mount.Knocks = []Knock{{1, deg(0.2), true}} }, 0, 0.2},
		{"half a wobble", func(e *Evening) {
			e.Mount.Wobble = Wobble{PeakToPeak: deg(0.1), Period: 20 * minute, Phase: math.Pi / 2}
		}, -0.1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := airless(t, 47, degrees(150, 45))
			plain := begin(t, e)
			c.change(&e)
			r := begin(t, e)
			angle := func(r *Run) float64 { return (r.Angle(1, e.MidOf(1)) - r.Angle(0, e.MidOf(0))).Deg() }
			// The run's first and last hundredths lie outside the two middles.
			tolerance := 0.001*(math.Abs(c.angle)+math.Abs(c.camera)) + 1e-6
			if got := angle(r) - angle(plain); math.Abs(got-c.angle) > tolerance {
				t.Errorf("θ changed by %.5f°, want %.5f°", got, c.angle)
			}
			if got := onHead(r).Deg(); math.Abs(got-c.camera) > tolerance {
				t.Errorf("the camera turned on its head by %.5f°, want %.5f°", got, c.camera)
			}
		})
	}
}

// onHead is how far the camera turned against the head between two pictures.
func onHead(r *Run) unit.Angle {
	at := func(i int) turn.Turn {
		when := r.e.MidOf(i)
		return r.mounted(i, when, r.heads[i]).Inverse().Then(r.Attitude(i, when))
	}
	return at(0).Inverse().Then(at(1)).Angle()
}

func TestKnobs(t *testing.T) {
	min := unit.AngleFromMin
	for _, c := range []struct {
		name              string
		latDeg            float64
		tilt, toward      float64 // degrees
		altitude, azimuth float64 // arcmin turned
		wantAlt, wantAz   float64 // arcmin moved
		tolerance         float64 // arcmin: what is left to second order
	}{
		{"level, azimuth", 47, 0, 0, 0, 60, 0, 60, 0.001},
		{"level, altitude", 47, 0, 0, 30, 0, 30, 0, 0.001},
		{"level, both, south", -34, 0, 0, -30, 60, -30, 60, 0.001},
		// Design §4: 2° off level makes 60′ of azimuth move altitude by 2.1′.
		{"base leans east", 47, 2, 90, 0, 60, -2.1, 60, 0.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := airless(t, c.latDeg, degrees(150, 45))
			e.Mount.AltitudeError, e.Mount.AzimuthError = min(12), min(-20)
			e.Mount.BaseTilt, e.Mount.BaseTiltToward = unit.AngleFromDeg(c.tilt), unit.AngleFromDeg(c.toward)
			before := begin(t, e)
			after := begin(t, e.Turned(min(c.altitude), min(c.azimuth), time.Minute))
			a, b := before.Axis(1), after.Axis(0)
			alt := (b.Altitude - a.Altitude).Min()
			az := unit.Angle(math.Remainder((b.Azimuth - a.Azimuth).Rad(), 2*math.Pi)).Min()
			if math.Abs(alt-c.wantAlt) > 0.05 || math.Abs(az-c.wantAz) > c.tolerance {
				t.Errorf("moved %.3f′ up and %.3f′ clockwise, want %.3f′ and %.3f′", alt, az, c.wantAlt, c.wantAz)
			}
		})
	}
}

// A swing in the tracking sense carries the camera west: on the equator its
// right ascension falls by the swing, in both hemispheres.
func TestSwingsGoWest(t *testing.T) {
	for _, latDeg := range []float64{47, -34} {
		e := airless(t, latDeg, degrees(90, 50))
		e.Target.Dec = 0
		e.Mount.Swings = []unit.Angle{0, unit.AngleFromDeg(20)}
		truth, err := begin(t, e).Truth()
		if err != nil {
			t.Fatal(err)
		}
		a, b := truth.Frames[0], truth.Frames[1]
		moved := math.Remainder(b.RADeg-a.RADeg, 360)
		// Precession since 2000 lets a turn along the equator of the date change
		// the declination of 2000 by 0.15° · 20°, and aberration by seconds.
		if math.Abs(moved+20) > 0.02 || math.Abs(b.DecDeg-a.DecDeg) > 0.06 {
			t.Errorf("latitude %g: moved by %.3f° in right ascension and %.3f° in declination", latDeg, moved, b.DecDeg-a.DecDeg)
		}
	}
}

// After a swing the motor takes up its play before the stars stand still.
func TestPlayAfterSwing(t *testing.T) {
	e := airless(t, 47, degrees(150, 45))
	e.Every, e.Exposure, e.Count = 20*time.Second, 10*time.Second, 6
	e.Mount.Swings = []unit.Angle{0, 0, 0, 0.1}
	e.Mount.Play = 25 * time.Second
	r := begin(t, e)
	seconds := func(i int) float64 { // of tracking between the middles of i−1 and i
		a := r.Angle(i, e.MidOf(i)) - r.Angle(i-1, e.MidOf(i-1))
		if i == 3 {
			a -= 0.1
		}
		return a.Rad() / ephem.SiderealRadPerS
	}
	// Middles at 5, 25, 45, 65, 85, 105 s; play until 25 s, and from 58 s, two
	// seconds before the fourth picture, until 83 s.
	for i, want := range []float64{0, 0, 20, 13, 2, 20} {
		if i > 0 && math.Abs(seconds(i)-want) > 1e-6 {
			t.Errorf("picture %d: %.3f s of tracking, want %.3f s", i, seconds(i), want)
		}
	}
}

// A knocked tripod takes the axis along, a knocked camera does not; both move
// the view.
func TestKnocks(t *testing.T) {
	size := unit.AngleFromMin(10)
	for _, c := range []struct {
		name   string
		camera bool
		axis   unit.Angle
	}{{"tripod", false, size}, {"camera", true, 0}} {
		e := airless(t, 47, degrees(150, 45))
		e.Mount.Knocks = []Knock{{1, size, c.camera}}
		r := begin(t, e)
		if d := between(r.Axis(0).Direction(), r.Axis(1).Direction()); math.Abs((d - c.axis).Sec()) > roundingArcsec {
			t.Errorf("%s: the axis moved by %.3f′, want %.3f′", c.name, d.Min(), c.axis.Min())
		}
		at := e.MidOf(1)
		if d := r.Attitude(0, at).Inverse().Then(r.Attitude(1, at)).Angle(); math.Abs((d - size).Sec()) > roundingArcsec {
			t.Errorf("%s: the view turned by %.3f′", c.name, d.Min())
		}
	}
}

// Gravity pulls the camera down: with the sag its view comes to lie lower by
// sag·cos(altitude) than without – and a camera that looks at the zenith, down
// along gravity, does not sag.
func TestSag(t *testing.T) {
	for _, altDeg := range []float64{20, 60, 89.9} {
		e := airless(t, 47, degrees(150, altDeg))
		r := begin(t, e)
		plain := r.Attitude(0, e.MidOf(0))
		r.e.Mount.Sag = unit.AngleFromMin(10)
		hangs := plain.Then(r.sag(plain))
		up := func(c turn.Turn) unit.Angle { return ephem.HorizontalOf(c.Inverse().Apply(r3.Vec{Z: 1})).Altitude }
		want := 10 * math.Cos(up(plain).Rad())
		if got := (up(plain) - up(hangs)).Min(); math.Abs(got-want) > 0.03 {
			t.Errorf("at %g° the view hangs by %.3f′, want %.3f′", altDeg, got, want)
		}
	}
}

// Aimed anew, the camera looks at the new target; the axis stays.
func TestReAim(t *testing.T) {
	e := airless(t, 47, degrees(150, 45))
	e.Count = 4
	target, roll, err := e.Seen(degrees(260, 40), e.MidOf(2))
	if err != nil {
		t.Fatal(err)
	}
	e.Handling.ReAims = []ReAim{{2, target, roll}}
	r := begin(t, e)
	truth, err := r.Truth()
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int{0, 0, 1, 1} {
		f := truth.Frames[i]
		at := e.Target
		if want == 1 {
			at = target
		}
		d := between(ephem.Direction(unit.RAFromDeg(f.RADeg), unit.AngleFromDeg(f.DecDeg)), at.direction())
		if f.Group != want || d.Sec() > 1 { // tracking holds it to aberration's change
			t.Errorf("picture %d: group %d, %.2f″ from its target", i, f.Group, d.Sec())
		}
	}
	if r.Axis(0) != r.Axis(3) {
		t.Error("the axis moved")
	}
}
