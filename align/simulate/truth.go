package simulate

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// Truth is everything that was put into a run, in the words of the project's
// truth.json. Axis and pole are the elevated ends; the axis at the top is that
// of the first picture.
type Truth struct {
	AxisAltitudeDeg float64 `json:"axis_altitude_deg"`
	AxisAzimuthDeg  float64 `json:"axis_azimuth_deg"`
	RefractedPole   Place   `json:"refracted_pole"`
	TruePole        Place   `json:"true_pole"`
	// Error is axis less refracted pole: azimuth as a turn about the vertical,
	// the total as the angle between the two.
	Error struct {
		AltitudeArcmin float64 `json:"altitude_arcmin"`
		AzimuthArcmin  float64 `json:"azimuth_arcmin"`
		TotalArcmin    float64 `json:"total_arcmin"`
	} `json:"error"`
	SiderealRatio float64      `json:"sidereal_ratio"` // 0 on a tripod
	PeriodicError TruthWobble  `json:"periodic_error"`
	ScaleArcsec   float64      `json:"scale_arcsec_px"` // in the middle, first picture
	Seed          uint64       `json:"seed"`
	Frames        []TruthFrame `json:"frames"`
}

// Place is an altitude and azimuth.
type Place struct {
	AltitudeDeg float64 `json:"altitude_deg"`
	AzimuthDeg  float64 `json:"azimuth_deg"`
}

// TruthWobble is the periodic error as the axis shows it, third harmonic
// included; all 0 when the mount has none.
type TruthWobble struct {
	PeriodS             float64 `json:"period_s"`
	PeakToPeakArcsec    float64 `json:"peak_to_peak_arcsec"`
	MaxRateArcsecPerSec float64 `json:"max_rate_arcsec_per_s"`
}

// TruthFrame is one picture. StartUTC is the true start of the exposure,
// StampUTC what the camera's clock wrote.
type TruthFrame struct {
	File            string  `json:"file"`
	StartUTC        string  `json:"start_utc"`
	MidUTC          string  `json:"mid_utc"`
	StampUTC        string  `json:"stamp_utc"`
	ExposureS       float64 `json:"exposure_s"`
	RADeg           float64 `json:"ra_deg"`   // ICRS, of the picture's centre at mid-exposure
	DecDeg          float64 `json:"dec_deg"`  // same
	RollDeg         float64 `json:"roll_deg"` // position angle of "up"
	ScaleArcsec     float64 `json:"scale_arcsec_px"`
	AngleDeg        float64 `json:"angle_deg"` // θ about the axis since the start
	AxisAltitudeDeg float64 `json:"axis_altitude_deg"`
	AxisAzimuthDeg  float64 `json:"axis_azimuth_deg"`
	Group           int     `json:"group"` // pictures between two aimings of the camera share it
}

// Truth gathers what was put in.
func (r *Run) Truth() (Truth, error) {
	sky, err := r.e.sky(r.e.MidOf(0))
	if err != nil {
		return Truth{}, err
	}
	axis, pole := r.Axis(0), sky.RefractedPole()
	t := Truth{
		AxisAltitudeDeg: axis.Altitude.Deg(), AxisAzimuthDeg: axis.Azimuth.Deg(),
		RefractedPole: placeOf(pole), TruePole: placeOf(sky.TruePole()),
		PeriodicError: r.e.Mount.Wobble.truth(),
		Seed:          r.e.Seed,
	}
	if !r.e.Mount.Tripod {
		t.SiderealRatio = r.e.Mount.Rate
	} else {
		t.PeriodicError = TruthWobble{}
	}
	t.Error.AltitudeArcmin = (axis.Altitude - pole.Altitude).Min()
	t.Error.AzimuthArcmin = unit.Angle(math.Remainder((axis.Azimuth - pole.Azimuth).Rad(), 2*math.Pi)).Min()
	t.Error.TotalArcmin = between(axis.Direction(), pole.Direction()).Min()
	for i := range r.e.Count {
		f, err := r.truthFrame(i)
		if err != nil {
			return Truth{}, err
		}
		t.Frames = append(t.Frames, f)
	}
	t.ScaleArcsec = t.Frames[0].ScaleArcsec
	return t, nil
}

func placeOf(h ephem.Horizontal) Place { return Place{h.Altitude.Deg(), h.Azimuth.Deg()} }

// between is the angle between two unit vectors, exact for small ones too.
func between(a, b r3.Vec) unit.Angle {
	return unit.Angle(math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)))
}

func (r *Run) truthFrame(i int) (TruthFrame, error) {
	e := r.e
	m, err := r.moment(i, 0.5)
	if err != nil {
		return TruthFrame{}, err
	}
	x, y := float64(e.Camera.Width-1)/2, float64(e.Camera.Height-1)/2
	back := m.attitude.Inverse()
	center := m.sky.ICRS(back.Apply(m.lens.ray(x, y)))
	above := m.sky.ICRS(back.Apply(m.lens.ray(x, y-1)))
	ra, dec := ephem.RADec(center)
	axis := r.Axis(i)
	f := TruthFrame{
		File:     e.File(i),
		StartUTC: e.StartOf(i).Format(time.RFC3339Nano), MidUTC: e.MidOf(i).Format(time.RFC3339Nano),
		StampUTC:  r.Clock(i).Start.Format(time.RFC3339Nano),
		ExposureS: e.Exposure.Seconds(),
		RADeg:     ra.Deg(), DecDeg: dec.Deg(), RollDeg: positionAngle(center, above).Deg(),
		ScaleArcsec: unit.Angle(1 / m.lens.focal).Sec(),
		AngleDeg:    r.Angle(i, e.MidOf(i)).Deg(), AxisAltitudeDeg: axis.Altitude.Deg(),
		AxisAzimuthDeg: axis.Azimuth.Deg(),
	}
	for k, g := range r.groups {
		if g.first <= i {
			f.Group = k
		}
	}
	return f, nil
}

// truth works out size and steepness of the wobble from the curve itself.
func (w Wobble) truth() TruthWobble {
	if w.PeakToPeak == 0 || w.Period <= 0 {
		return TruthWobble{}
	}
	const steps = 7200
	period := w.Period.Seconds()
	low, high, steep := math.Inf(1), math.Inf(-1), 0.0
	last := w.angle(0).Sec()
	for k := 1; k <= steps; k++ {
		a := w.angle(period * float64(k) / steps).Sec()
		low, high = math.Min(low, a), math.Max(high, a)
		steep = math.Max(steep, math.Abs(a-last)*steps/period)
		last = a
	}
	return TruthWobble{PeriodS: period, PeakToPeakArcsec: high - low, MaxRateArcsecPerSec: steep}
}
