package simulate

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
)

// Limits of a run. They keep time and memory bounded, and angles where the
// words "error" and "fault" make sense.
const (
	maxCount    = 10000
	maxExposure = time.Hour
	maxWait     = 30 * 24 * time.Hour
)

// Validate refuses an evening that cannot be rendered: the error is an
// [ErrInvalid], which names the field and the way out, or one of ephem's for
// the site, the air or the date. Begin calls it.
func (e Evening) Validate() error {
	steps := []func() error{
		e.Camera.validate, e.validateTimes, e.Mount.validate, e.validateHandling,
		e.Conditions.validate, e.validateEvents, e.validateTarget,
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func (e Evening) validateTimes() error {
	if err := check([]bounds{
		{"Count", float64(e.Count), 1, maxCount, ""},
		{"First", float64(e.First), 0, 1e9, ""},
		{"Exposure in seconds", e.Exposure.Seconds(), 1e-4, maxExposure.Seconds(), ""},
		{"Wait in seconds", e.Wait.Seconds(), 0, maxWait.Seconds(), ""},
		{"CatalogScatter in degrees", e.CatalogScatter.Deg(), 0, 1, ""},
	}); err != nil {
		return err
	}
	if e.Count > 1 && (e.Every < e.Exposure || e.Every > maxWait) {
		return invalid("Every", fmt.Sprintf("is %v with exposures of %v", e.Every, e.Exposure),
			"let a picture end before the next one begins")
	}
	return nil
}

func (m Mount) validate() error {
	const turnDeg = 180
	list := []bounds{
		{"Mount.AltitudeError in degrees", m.AltitudeError.Deg(), -89, 89, ""},
		{"Mount.AzimuthError in degrees", m.AzimuthError.Deg(), -turnDeg, turnDeg, ""},
		{"Mount.Counted", float64(m.Counted), 0, 1, "choose RefractedPole or TruePole"},
		{"Mount.Rate", m.Rate, -100, 100, "1 is the sidereal rate"},
		{"Mount.Wobble.PeakToPeak in degrees", m.Wobble.PeakToPeak.Deg(), 0, 10, ""},
		{"Mount.Wobble.Phase in radians", m.Wobble.Phase.Rad(), -1e3, 1e3, ""},
		{"Mount.Wobble.Third", m.Wobble.Third, -10, 10, ""},
		{"Mount.Play in seconds", m.Play.Seconds(), 0, maxWait.Seconds(), ""},
		{"Mount.Slip in degrees", m.Slip.Deg(), -turnDeg, turnDeg, ""},
		{"Mount.BallSlip in degrees", m.BallSlip.Deg(), -turnDeg, turnDeg, ""},
		{"Mount.Flexure in degrees", m.Flexure.Deg(), -10, 10, ""},
		{"Mount.Sag in degrees", m.Sag.Deg(), -10, 10, ""},
		{"Mount.Bend.Friction", m.Bend.Friction, 0, 1, ""},
		{"Mount.Creep.Size in degrees", m.Creep.Size.Deg(), -10, 10, ""},
		{"Mount.Creep.Steps", float64(m.Creep.Steps), 0, 1e5, ""},
		{"Mount.BaseTilt in degrees", m.BaseTilt.Deg(), 0, 45, ""},
		{"Mount.BaseTiltToward in degrees", m.BaseTiltToward.Deg(), -360, 360, ""},
		{"Mount.Shake", m.Shake, 0, 100, ""},
	}
	for i, s := range m.Swings {
		list = append(list, bounds{fmt.Sprintf("Mount.Swings[%d] in degrees", i), s.Deg(), -turnDeg, turnDeg, ""})
	}
	for i, row := range m.Bend.K {
		for k, v := range row {
			list = append(list, bounds{fmt.Sprintf("Mount.Bend.K[%d][%d] in degrees", i, k), v.Deg(), -10, 10, ""})
		}
	}
	for i, x := range m.Relaxing {
		list = append(list, bounds{fmt.Sprintf("Mount.Relaxing[%d].Size in degrees", i), x.Size.Deg(), -10, 10, ""},
			bounds{fmt.Sprintf("Mount.Relaxing[%d].Constant in seconds", i), x.Constant.Seconds(), 1, 1e7, ""})
	}
	if err := check(list); err != nil {
		return err
	}
	if m.Wobble.PeakToPeak != 0 && m.Wobble.Period < time.Second {
		return invalid("Mount.Wobble.Period", fmt.Sprintf("is %v", m.Wobble.Period),
			"give the time the gear's error takes to repeat, a second or more")
	}
	return nil
}

func (e Evening) validateHandling() error {
	h := e.Handling
	return check([]bounds{
		{"Handling.Wander", h.Wander, 0, 1e3, ""},
		{"Handling.Breathing", h.Breathing, -0.2, 0.2, ""},
		{"Handling.BreathingJitter", h.BreathingJitter, 0, 0.02, ""},
		{"Handling.FocusLoss", h.FocusLoss, -0.5, 10, ""},
		{"Handling.Dew", h.Dew, 0, 20, ""},
		{"Handling.StampStep in seconds", h.StampStep.Seconds(), 0, 3600, ""},
		{"Handling.ClockError in seconds", h.ClockError.Seconds(), -86400 * 366, 86400 * 366, ""},
		{"Handling.Stacked", float64(h.Stacked), 0, float64(StackedStanding), ""},
		{"Roll in radians", e.Roll.Rad(), -1e3, 1e3, ""},
	})
}

func (c Conditions) validate() error {
	return check([]bounds{
		{"Conditions.Brightness", c.Brightness, 0, 30, "the darkest sky is 22 magnitudes per square arcsecond, a city's 17"},
		{"Conditions.Gradient", c.Gradient, -1, 1, ""},
		{"Conditions.Extinction", c.Extinction, 0, 3, ""},
	})
}

// validateEvents checks what is tied to the number of a picture.
func (e Evening) validateEvents() error {
	last := float64(e.Count - 1)
	var list []bounds
	at := func(field string, i, frame int, least float64) {
		list = append(list, bounds{fmt.Sprintf("the picture of %s[%d]", field, i), float64(frame), least, last,
			"pictures are counted from 0 to Count − 1"})
	}
	size := func(field string, i int, a unit.Angle) {
		list = append(list, bounds{fmt.Sprintf("%s[%d] in degrees", field, i), a.Deg(), -90, 90, ""})
	}
	for i, k := range e.Mount.Knobs {
		at("Mount.Knobs", i, k.Frame, 0)
		size("Mount.Knobs", i, k.Altitude)
		size("Mount.Knobs", i, k.Azimuth)
	}
	for i, k := range e.Mount.Knocks {
		at("Mount.Knocks", i, k.Frame, 0)
		size("Mount.Knocks", i, k.Size)
	}
	for i, c := range e.Handling.Crops {
		at("Handling.Crops", i, c.Frame, 0)
		list = append(list, bounds{fmt.Sprintf("Handling.Crops[%d].Factor", i), c.Factor, 0.1, 10, ""})
	}
	for i, a := range e.Handling.ReAims {
		at("Handling.ReAims", i, a.Frame, 1)
	}
	for i, g := range e.Conditions.Clouds.Gaps {
		at("Conditions.Clouds.Gaps", i, g, 0)
	}
	for i, g := range e.Handling.Capped {
		at("Handling.Capped", i, g, 0)
	}
	if len(e.Mount.Swings) > e.Count {
		return invalid("Mount.Swings", fmt.Sprintf("has %d turns for %d pictures", len(e.Mount.Swings), e.Count),
			"give at most one turn for each picture")
	}
	if err := check(list); err != nil {
		return err
	}
	return e.validateCrops()
}

// validateCrops keeps the field within what the lens model is good for.
func (e Evening) validateCrops() error {
	for i := range e.Handling.Crops {
		scale, _, _ := e.crop(e.Handling.Crops[i].Frame)
		c := e.Camera
		c.FocalPx *= scale
		if err := c.validateLens(); err != nil {
			return err
		}
	}
	return nil
}

// validateTarget refuses to aim at the ground.
func (e Evening) validateTarget() error {
	if err := e.above("Target", e.Target, e.aimedAt()); err != nil {
		return err
	}
	for i, a := range e.Handling.ReAims {
		if err := e.above(fmt.Sprintf("Handling.ReAims[%d].Target", i), a.Target, e.MidOf(a.Frame)); err != nil {
			return err
		}
	}
	_, err := e.sky(e.StartOf(e.Count - 1).Add(e.Exposure)) // the run may leave the years ephem knows
	return err
}

func (e Evening) above(field string, t Target, at time.Time) error {
	if !(math.Abs(t.Dec.Deg()) <= 90) || math.IsNaN(t.RA.Rad()) || math.IsInf(t.RA.Rad(), 0) {
		return invalid(field, "is no place in the sky", "declinations run from −90° to 90°")
	}
	sky, err := e.sky(at)
	if err != nil {
		return err
	}
	h := ephem.HorizontalOf(sky.Apparent(t.direction())).Altitude
	if h < 0 {
		return invalid(field, fmt.Sprintf("stands %.1f° below the horizon when the camera is aimed", -h.Deg()),
			"choose a target that is up, or another time")
	}
	return nil
}
