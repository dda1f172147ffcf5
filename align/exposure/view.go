package exposure

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// omega is the turning of the Earth against the stars, radians per second.
const omega = ephem.SiderealRadPerS

// View is what a camera looks at, in a frame fixed to the ground.
type View struct {
	Lens     Lens
	Attitude turn.Turn // ground frame → camera at mid-exposure
	Pole     r3.Vec    // end of the Earth's axis toward the north, without refraction
	// Refraction bends the stars toward +z, the zenith; nil where site or air are not known, and
	// z is then what the maker of the view says.
	Refraction *ephem.Refraction
	South      bool // the site's elevated pole is the southern one
}

// Toward is the view of a camera whose site is not known, only the declination it looks at and the hour angle; roll is the position
// angle of the picture's "up", from north through east. The ground frame has z along the pole and x on
// the meridian. There is no refraction in it.
//
// Errors: [ErrLens], [ErrPlace].
func Toward(l Lens, declination unit.Angle, hourAngle unit.HourAngle, roll unit.Angle) (View, error) {
	if err := l.sound(); err != nil {
		return View{}, err
	}
	if err := soundPlace(declination.Deg(), hourAngle.Hour(), roll.Deg()); err != nil {
		return View{}, err
	}
	sd, cd := declination.Sincos()
	sh, ch := math.Sincos(hourAngle.Rad())
	// Hour angle grows westward: seen from the north it runs clockwise.
	look := r3.Vec{X: cd * ch, Y: -cd * sh, Z: sd}
	north := r3.Vec{X: -sd * ch, Y: sd * sh, Z: cd}
	return View{Lens: l, Attitude: facing(look, north, roll), Pole: r3.Vec{Z: 1}, South: declination < 0}, nil
}

func soundPlace(declinationDeg float64, others ...float64) error {
	if !finite(declinationDeg) || math.Abs(declinationDeg) > 90 {
		return amiss.New(ErrPlace, fmt.Sprintf("there is no declination of %g°", declinationDeg), "declination runs from −90° to 90°")
	}
	if !finite(others...) {
		return amiss.New(ErrPlace, "hour angle or roll is no number", "give the hour angle in hours and the roll in degrees, or leave them out")
	}
	return nil
}

// facing is the attitude of a camera that looks along look with north at position angle −roll from its up.
func facing(look, north r3.Vec, roll unit.Angle) turn.Turn {
	east := r3.Cross(north, look)
	s, c := roll.Sincos()
	up := r3.Add(r3.Scale(c, north), r3.Scale(s, east))
	return turn.FromRows(r3.Cross(look, up), r3.Scale(-1, up), look)
}

// Above is the view of a camera at a site, at mid-exposure; roll as for [Toward].
//
// Errors: [ErrLens]; [ErrPlace] where the target is below the horizon; those of ephem.NewSky.
func Above(l Lens, site ephem.Site, air ephem.Air, mid time.Time, target align.Target, roll unit.Angle) (View, error) {
	if err := l.sound(); err != nil {
		return View{}, err
	}
	if err := soundPlace(target.Dec.Deg(), float64(target.RA), roll.Deg()); err != nil {
		return View{}, err
	}
	sky, err := ephem.NewSky(site, air, mid)
	if err != nil {
		return View{}, err
	}
	look := sky.Apparent(ephem.Direction(target.RA, target.Dec))
	if look.Z <= 0 {
		return View{}, amiss.New(ErrPlace, "the target is below the horizon then", "choose another hour or another target")
	}
	pole := northOf(sky)
	north := r3.Sub(pole, r3.Scale(r3.Dot(pole, look), look))
	if r3.Norm(north) < 1e-9 { // at the pole itself any direction is north
		north = r3.Cross(look, r3.Vec{X: 1})
	}
	return Seen(l, sky, facing(look, r3.Unit(north), roll))
}

// Seen is the view of a camera whose attitude (horizon frame → camera, at mid-exposure) was measured.
// The error is [ErrLens].
func Seen(l Lens, sky ephem.Sky, attitude turn.Turn) (View, error) {
	r := sky.Refraction()
	return View{Lens: l, Attitude: attitude, Pole: northOf(sky), Refraction: &r, South: sky.Site().Latitude < 0}, l.sound()
}

// northOf is the true pole's northern end.
func northOf(sky ephem.Sky) r3.Vec {
	p := sky.TruePole().Direction()
	if sky.Site().Latitude < 0 {
		return r3.Scale(-1, p)
	}
	return p
}

// Declination the middle of the picture looks at, refraction aside.
func (v View) Declination() unit.Angle {
	return unit.Angle(math.Asin(clamp(r3.Dot(v.Pole, v.Attitude.Inverse().Apply(r3.Vec{Z: 1})))))
}

// LeastDeclination is the smallest |δ| in the picture, where stars run fastest.
func (v View) LeastDeclination() unit.Angle {
	back := v.Attitude.Inverse()
	least := math.Inf(1)
	sign := 0.0
	hx, hy := v.Lens.half()
	const cuts = 16 // along each side; the declination is smooth between
	for i := range cuts + 1 {
		for k := range cuts + 1 {
			at := vec{hx * (2*float64(i)/cuts - 1), hy * (2*float64(k)/cuts - 1)}
			z := r3.Dot(v.Pole, back.Apply(v.Lens.looks(at)))
			if sign*z < 0 { // the equator runs through the picture
				return 0
			}
			sign, least = z, math.Min(least, math.Abs(math.Asin(clamp(z))))
		}
	}
	return unit.Angle(least)
}

func clamp(x float64) float64 { return math.Max(-1, math.Min(1, x)) }

// looks is the camera direction of a place, of unit length.
func (l Lens) looks(at vec) r3.Vec { return r3.Unit(r3.Vec{X: at.x, Y: at.y, Z: l.FocalPx}) }

// falls is the place of a camera direction.
func (l Lens) falls(d r3.Vec) vec { return vec{l.FocalPx * d.X / d.Z, l.FocalPx * d.Y / d.Z} }

// sweep is how the place of direction d moves for a small turn w of the sky in the camera (per unit of w).
func (l Lens) sweep(w, d r3.Vec) vec {
	m := r3.Cross(w, d)
	return vec{l.FocalPx * (m.X*d.Z - d.X*m.Z) / (d.Z * d.Z), l.FocalPx * (m.Y*d.Z - d.Y*m.Z) / (d.Z * d.Z)}
}

// lowest altitude to which refraction is followed: below, its formula means nothing and nobody photographs there; it stays as there.
const lowest = 3 * ephem.Degree

// bend is where a true direction is seen, lift the reverse.
func (v View) bend(d r3.Vec) r3.Vec {
	return v.raised(d, func(h unit.Angle) unit.Angle { return v.Refraction.Apparent(h) })
}

func (v View) lift(d r3.Vec) r3.Vec {
	return v.raised(d, func(h unit.Angle) unit.Angle { return v.Refraction.True(h) })
}

func (v View) raised(d r3.Vec, to func(unit.Angle) unit.Angle) r3.Vec {
	if v.Refraction == nil {
		return d
	}
	h := math.Asin(clamp(d.Z))
	level := math.Hypot(d.X, d.Y)
	if level < 1e-12 {
		return d
	}
	from := math.Max(h, lowest.Rad())
	s, c := math.Sincos(h + to(unit.Angle(from)).Rad() - from)
	return r3.Vec{X: d.X * c / level, Y: d.Y * c / level, Z: s}
}

// aim is the northern end of an axis that points at the pole as it is seen.
func (v View) aim() r3.Vec {
	if v.South {
		return r3.Scale(-1, v.bend(r3.Scale(-1, v.Pole)))
	}
	return v.bend(v.Pole)
}

// level is two unit vectors square to d: across (toward growing azimuth) and up.
func level(d r3.Vec) (across, up r3.Vec) {
	h := math.Hypot(d.X, d.Y)
	if h < 1e-9 {
		return r3.Vec{X: 1}, r3.Vec{Y: 1}
	}
	across = r3.Vec{X: d.Y / h, Y: -d.X / h}
	return across, r3.Cross(across, d)
}
