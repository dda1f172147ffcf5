package align

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/ephem"
)

// TestClassicSigns holds the estimator to the rules by which mounts are set up by watching a
// star drift (common practice, no source): the star's drift is read off the simulated places
// alone, the axis off the estimator, and both must tell the same story.
func TestClassicSigns(t *testing.T) {
	const north, south = 46, -33
	for _, c := range []struct {
		rule              string
		latitude          float64
		azimuth, height   float64 // of the star
		altitude, turning float64 // arcminutes put in: too high, too far clockwise seen from above
	}{
		{"north, star on the meridian drifting south: axis too far east", north, 180, 48, 0, 30},
		{"north, star in the east drifting south: axis too low", north, 90, 35, -30, 0},
		{"south, star on the meridian drifting south: axis too far west", south, 0, 48, 0, 30},
		{"south, star in the east drifting south: axis too high", south, 90, 35, 30, 0},
	} {
		t.Run(c.rule, func(t *testing.T) {
			e := lone(t, c.latitude, c.azimuth, c.height)
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(c.altitude), unit.AngleFromMin(c.turning)
			got, want := northDrift(t, e), firstOrderDrift(e)
			if got >= 0 {
				t.Errorf("the star drifts north by %.2f″ a minute, want south", got)
			}
			// First order in the error: half a degree leaves 1–2 %, and the change of hour angle over
			// the session as much again.
			if math.Abs(got-want) > 0.05*math.Abs(want) {
				t.Errorf("declination drift %.3f″ a minute, first-order formula %.3f″", got, want)
			}
			estimated(t, e)
		})
	}
}

// lone is an evening without any other fault, the camera upright on the star.
func lone(t *testing.T, latitude, azimuth, height float64) simulate.Evening {
	e := practice(t, latitude)
	e, err := e.Aimed(horizontal(azimuth, height))
	if err != nil {
		t.Fatal(err)
	}
	return e.Clean()
}

// northDrift is how fast the star nearest to the picture's middle moves toward
// growing declination in the picture, arcseconds per minute.
func northDrift(t *testing.T, e simulate.Evening) float64 {
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	first, errFirst := run.Stars(0)
	last, errLast := run.Stars(e.Count - 1)
	if errFirst != nil || errLast != nil {
		t.Fatal(errFirst, errLast)
	}
	star := first[0]
	off := func(s simulate.TrueStar) float64 {
		return math.Hypot(s.X-float64(e.Camera.Width)/2, s.Y-float64(e.Camera.Height)/2)
	}
	for _, s := range first {
		if off(s) < off(star) {
			star = s
		}
	}
	for _, s := range last {
		if s.HIP == star.HIP {
			// "Up" lies at position angle Roll; east is left of north on the sky.
			sin, cos := e.Roll.Sincos()
			px := -(s.Y-star.Y)*cos + (s.X-star.X)*sin
			return unit.Angle(px/e.Camera.FocalPx).Sec() / e.MidOf(e.Count-1).Sub(e.MidOf(0)).Minutes()
		}
	}
	t.Fatal("the star left the picture")
	return 0
}

// firstOrderDrift is how a star's declination changes in first order: with φ the latitude, H the hour angle, δ the declination,
// Δh and Δa the altitude and azimuth error, at a northern site (in the south Δh changes its sign),
//
//	dδ/dt          =  −ω (Δh sin H + Δa cos φ cos H)
//	cos δ · dα/dt  =  −ω sin δ (Δh cos H − Δa cos φ sin H)
//	field rotation =   ω cos δ (Δh cos H − Δa cos φ sin H)
//
// all from one line: held in the camera of a mount turning at (1+ρ) times the sidereal rate about â, the sky turns with
// Ω = ω(â − p̂) + ωρâ.
func firstOrderDrift(e simulate.Evening) float64 {
	phi := e.Site.Latitude.Rad()
	h := hourAngle(e)
	sign := 1.0
	if phi < 0 {
		sign = -1
	}
	sum := sign*e.Mount.AltitudeError.Rad()*math.Sin(h) + e.Mount.AzimuthError.Rad()*math.Cos(phi)*math.Cos(h)
	return -15.041 * 60 * sum
}

// hourAngle of the target in the middle of the session, radians, west positive.
func hourAngle(e simulate.Evening) float64 {
	sky, err := ephem.NewSky(e.Site, e.Air, e.MidOf(e.Count/2))
	if err != nil {
		return math.NaN()
	}
	enu := sky.True(ephem.Direction(e.Target.RA, e.Target.Dec))
	sin, cos := e.Site.Latitude.Sincos()
	// Components along west and along the point of the equator on the meridian.
	return math.Atan2(-enu.X, cos*enu.Z-sin*enu.Y)
}

// estimated holds the axis found to what was put in.
func estimated(t *testing.T, e simulate.Evening) {
	h, err := sessionOf(t, e).Horizon(e.Site, e.Air)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Estimate(FromHorizon(h))
	if err != nil {
		t.Fatal(err)
	}
	sky, err := ephem.NewSky(e.Site, e.Air, e.MidOf(0))
	if err != nil {
		t.Fatal(err)
	}
	pole := sky.RefractedPole()
	altitude := a.Altitude() - pole.Altitude
	azimuth := unit.Angle(math.Remainder((a.Azimuth() - pole.Azimuth).Rad(), 2*math.Pi))
	const sure = 4 // standard errors: one test in ten thousand misses it by chance
	if d := altitude - e.Mount.AltitudeError; math.Abs(d.Rad()) > sure*a.AltitudeSigma().Rad() {
		t.Errorf("altitude error %.2f′ ± %.2f′, put in %.2f′", altitude.Min(), a.AltitudeSigma().Min(), e.Mount.AltitudeError.Min())
	}
	if d := azimuth - e.Mount.AzimuthError; math.Abs(d.Rad()) > sure*a.AzimuthSigma().Rad() {
		t.Errorf("azimuth error %.2f′ ± %.2f′, put in %.2f′", azimuth.Min(), a.AzimuthSigma().Min(), e.Mount.AzimuthError.Min())
	}
	if s := max(a.AltitudeSigma(), a.AzimuthSigma()).Min(); s > 5 {
		t.Errorf("standard error %.1f′ leaves the sign open", s)
	}
}
