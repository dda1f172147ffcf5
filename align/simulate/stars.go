package simulate

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/catalog"
	"trueturn/ephem/turn"
)

// TrueStar is a star in one picture as it was put there.
type TrueStar struct {
	HIP       int32
	Magnitude float64
	Apparent  r3.Vec  // unit vector (east, north, up) as seen at the middle of the exposure
	X, Y      float64 // place at the middle of the exposure, px
	// The centre of the star's light, px: where a measurement should find it.
	// It differs from X, Y by the curvature of the path, far below a hundredth
	// of a pixel for a tracked star.
	MeanX, MeanY   float64
	TrailX, TrailY float64 // path from the start of the exposure to its end, px
	Electrons      float64 // counted in the exposure
	// SigmaPx is the least standard error with which light and noise let the
	// place be measured in x or y (Cramér–Rao), if the star is round and does
	// not saturate.
	SigmaPx float64
}

// moment is sky, camera and lens at one instant of an exposure.
type moment struct {
	sky      ephem.Sky
	attitude turn.Turn
	lens     optics
	when     float64 // 0 at the start of the exposure, 1 at its end
}

// moment works out the instant when (0 to 1) of picture i's exposure. In
// pictures stacked by the phone all light lies where it was at the start.
func (r *Run) moment(i int, when float64) (moment, error) {
	at := r.e.StartOf(i)
	if r.e.Handling.Stacked == NotStacked {
		at = at.Add(time.Duration(when * float64(r.e.Exposure)))
	}
	sky, err := r.e.sky(at)
	if err != nil {
		return moment{}, err
	}
	m := moment{sky, r.Attitude(i, at), r.lens(i, r.e.StartOf(i)), when}
	r.shake(i, &m)
	if r.e.Handling.Stacked == StackedStanding {
		r.hold(&m)
	}
	return m, nil
}

// hold shifts the picture so that the stars of the first one's middle stay
// there.
func (r *Run) hold(m *moment) {
	x, y, ok := m.lens.pixel(m.attitude.Apply(m.sky.Apparent(r.starsKept)))
	if ok {
		m.lens.cx += float64(r.e.Camera.Width-1)/2 - x
		m.lens.cy += float64(r.e.Camera.Height-1)/2 - y
	}
}

// shakeCycles is how often the camera swings to and fro in an exposure.
const shakeCycles = 3

// shake moves the picture along a direction of its own in every exposure.
func (r *Run) shake(i int, m *moment) {
	if r.e.Mount.Shake == 0 || r.e.Handling.Stacked != NotStacked {
		return
	}
	dice := r.e.dice("shake", r.e.First+i)
	sin, cos := math.Sincos(2 * math.Pi * dice.Float64())
	size := r.e.Mount.Shake * math.Sqrt2 * math.Sin(2*math.Pi*shakeCycles*m.when)
	m.lens.cx += size * cos
	m.lens.cy += size * sin
}

// place is where a star of the catalogue stands in the picture.
func (m moment) place(icrs r3.Vec) (x, y float64, ok bool) {
	return m.lens.pixel(m.attitude.Apply(m.sky.Apparent(icrs)))
}

// center is the place in the catalogue's frame of the picture's middle.
func (m moment) center(c Camera) r3.Vec {
	v := m.lens.ray(float64(c.Width-1)/2, float64(c.Height-1)/2)
	return m.sky.ICRS(m.attitude.Inverse().Apply(v))
}

// Stars lists the stars of picture i, brightest first: those whose light has
// its centre on the picture and is above the horizon. It renders nothing and takes a
// millisecond or so.
func (r *Run) Stars(i int) ([]TrueStar, error) {
	if err := r.checkIndex(i); err != nil {
		return nil, err
	}
	var path [3]moment
	for k := range path {
		m, err := r.moment(i, float64(k)/2)
		if err != nil {
			return nil, err
		}
		path[k] = m
	}
	var list []TrueStar
	if r.capped(i) {
		return nil, nil
	}
	for _, s := range r.near(i, path[1], 0) {
		if t, ok := r.star(i, s, path); ok {
			list = append(list, t)
		}
	}
	return list, nil
}

// near lists the catalogue's stars about the picture's middle, widened by extra
// pixels, each where it truly stands.
func (r *Run) near(i int, m moment, extraPx float64) []catalog.Star {
	scale, _, _ := r.e.crop(i)
	radius := r.e.Camera.halfField(scale, extraPx)
	all := catalog.Stars()
	found := catalog.Near(nil, m.center(r.e.Camera), radius, len(all))
	list := make([]catalog.Star, len(found))
	for k, n := range found {
		list[k] = all[n]
		list[k].Direction = r.truly(all[n], r.e.MidOf(i))
	}
	return list
}

// truly is where a star of the catalogue stands at an instant.
func (r *Run) truly(s catalog.Star, at time.Time) r3.Vec {
	v := ephem.Moved(s.Direction, s.HIP, at)
	if r.e.CatalogScatter == 0 {
		return v
	}
	north, east := tangents(v)
	dice := r.e.dice("catalog", int(s.HIP))
	k := r.e.CatalogScatter.Rad()
	off := r3.Add(r3.Scale(k*dice.NormFloat64(), north), r3.Scale(k*dice.NormFloat64(), east))
	return r3.Unit(r3.Add(v, off))
}

// star follows one star along the path; ok is false where none is seen.
func (r *Run) star(i int, s catalog.Star, path [3]moment) (TrueStar, bool) {
	var x, y [3]float64
	for k, m := range path {
		var ok bool
		if x[k], y[k], ok = m.place(s.Direction); !ok {
			return TrueStar{}, false
		}
	}
	mid := path[1].sky.Apparent(s.Direction)
	t := TrueStar{
		HIP: s.HIP, Magnitude: float64(s.Magnitude), Apparent: mid,
		X: x[1], Y: y[1],
		// Simpson's rule, exact to the cube of time.
		MeanX: (x[0] + 4*x[1] + x[2]) / 6, MeanY: (y[0] + 4*y[1] + y[2]) / 6,
		TrailX: x[2] - x[0], TrailY: y[2] - y[0],
	}
	c := r.e.Camera
	inside := t.MeanX > -0.5 && t.MeanX < float64(c.Width)-0.5 && t.MeanY > -0.5 && t.MeanY < float64(c.Height)-0.5
	if !inside || mid.Z < 0 {
		return TrueStar{}, false
	}
	passed, _ := r.clouds(i)
	t.Electrons = r.electrons(i, float64(s.Magnitude), mid) * c.brightness(t.MeanX, t.MeanY) * passed
	t.SigmaPx = r.sigma(i, t)
	return t, true
}

// electrons is what a star gives in one exposure in the picture's middle,
// through clear sky.
func (r *Run) electrons(i int, magnitude float64, apparent r3.Vec) float64 {
	e := r.e
	magnitude += e.Conditions.Extinction*airmass(apparent) + e.Handling.Dew*e.through(e.MidOf(i))
	return e.Camera.ZeroPoint * e.Exposure.Seconds() * math.Pow(10, -0.4*magnitude)
}

// brightness is the share of light that vignetting leaves.
func (c Camera) brightness(x, y float64) float64 {
	dx, dy := x-float64(c.Width-1)/2, y-float64(c.Height-1)/2
	half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	return 1 - c.Vignetting*(dx*dx+dy*dy)/(half*half)
}

// sigma is the Cramér–Rao bound of a star's place for a Gaussian of the same
// width: σ²/N from the star's own light plus 8πσ⁴n²/N² from the noise n of a
// pixel without it, which are the inverses of ∫(∂m/∂x)²/m and ∫(∂m/∂x)²/n² over
// a finely sampled star m.
func (r *Run) sigma(i int, t TrueStar) float64 {
	s2 := math.Pow(r.fwhm(i)/fwhmPerSigma, 2) + 1.0/12
	n2 := r.background(i, t.MeanX, t.MeanY) + math.Pow(r.e.Camera.ReadNoise, 2)
	return math.Sqrt(s2/t.Electrons + 8*math.Pi*s2*s2*n2/(t.Electrons*t.Electrons))
}

func (r *Run) capped(i int) bool { return slices.Contains(r.e.Handling.Capped, i) }

// background is the light of sky and dark current on a pixel.
func (r *Run) background(i int, x, y float64) float64 {
	c := r.e.Camera
	g := 1 + r.e.Conditions.Gradient*(x/float64(c.Width)-0.5)
	_, haze := r.clouds(i)
	return r.e.skyElectrons()*g*haze*c.brightness(x, y) + c.DarkCurrent*r.e.Exposure.Seconds()
}

// fwhm is how wide stars are in picture i, before the pixels.
func (r *Run) fwhm(i int) float64 {
	scale, _, _ := r.e.crop(i)
	return r.e.Camera.FWHM * scale * (1 + r.e.Handling.FocusLoss*r.e.through(r.e.MidOf(i)))
}

func (r *Run) checkIndex(i int) error {
	return check([]bounds{{"the picture's number", float64(i), 0, float64(r.e.Count - 1), "pictures are counted from 0 to Count − 1"}})
}
