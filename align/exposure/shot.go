package exposure

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem/turn"
)

// Shot is one exposure as it was taken.
type Shot struct {
	File          string
	Width, Height int
	Stars         []star.Star
	WhyNone       string  // why there are no stars, if so
	Level         float64 // of the sky, where 1 is a full pixel; 0 where not known

	// Attitude (ICRS → camera) and focal length where the stars were recognised; nil and 0 where not.
	Attitude              *turn.Turn
	FocalPx               float64
	Mirrored, RowsFlipped bool        // the attitude counts x from the right edge, y from the bottom
	Optics                *solve.Lens // the lens with its distortion; nil: a pinhole
	Recognised            []int       // which of the stars the catalogue knows

	Mid       time.Time // zero where the clock is not known
	ExposureS float64   // 0 where not known

	Clouded  bool       // as [align.Clouded] finds among the pictures
	Motor    align.Kind // what the motor did wrong meanwhile, as the pictures before and after show; empty: nothing, or they do not
	Followed bool       // they show that the camera followed the sky
}

// Shots are the exposures of a measured sequence.
func Shots(seq drift.Sequence) []Shot {
	var list []Shot
	clouded := align.Clouded(seq.Shots)
	for i, s := range seq.Shots {
		shot := Shot{Clouded: clouded[i], File: s.File, Width: s.Width, Height: s.Height, Stars: s.Field.Stars, Level: s.Field.Background}
		shot.ExposureS = s.Exposure.Seconds()
		if s.Clock != nil {
			shot.Mid, shot.ExposureS = s.Clock.Mid(), s.Clock.Exposure.Seconds()
		}
		if s.Solution != nil {
			a := s.Solution.Facing()
			shot.Attitude, shot.FocalPx = &a, s.Solution.Lens.FocalPx
			shot.Mirrored, shot.RowsFlipped = s.Solution.Mirrored, s.Solution.RowsFlipped
			shot.Optics = &s.Solution.Lens
			for _, g := range s.Solution.Sightings {
				shot.Recognised = append(shot.Recognised, g.Star)
			}
		}
		if len(shot.Stars) == 0 && s.Err != nil {
			shot.WhyNone = s.Err.Error()
		}
		shot.Motor, shot.Followed = motorAt(seq.Shots, i)
		list = append(list, shot)
	}
	return list
}

// motorAt is what the nearest pictures before and after a shot that tell something say of the motor, where they agree.
func motorAt(shots []drift.Shot, i int) (fault align.Kind, followed bool) {
	var said []align.Pace
	for _, step := range [...]int{-1, 1} {
		for k := i + step; k >= 0 && k < len(shots); k += step {
			p, ok := align.PaceBetween(shots[min(i, k)], shots[max(i, k)])
			if ok && (p.Fault() != "" || p.Follows()) {
				said = append(said, p)
				break
			}
		}
	}
	for _, p := range said {
		if p.Fault() != said[0].Fault() {
			return "", false
		}
	}
	if len(said) == 0 {
		return "", false
	}
	return said[0].Fault(), said[0].Fault() == ""
}

// lens is the pinhole of a shot. Where the focal length is not known a long one stands in: the picture is then taken to be flat.
func (s Shot) lens() Lens {
	l := Lens{FocalPx: s.FocalPx, Width: s.Width, Height: s.Height}
	if !(l.FocalPx > 0) || math.IsInf(l.FocalPx, 0) {
		l.FocalPx = 10 * math.Hypot(float64(s.Width), float64(s.Height))
	}
	return l
}

func (s Shot) solved() bool { return s.Attitude != nil && s.FocalPx > 0 }

// compass is east, north and the line of sight in the camera frame, at the picture's middle.
func (s Shot) compass() (east, north r3.Vec) {
	look := r3.Vec{Z: 1}
	pole := s.Attitude.Apply(r3.Vec{Z: 1})
	north = r3.Sub(pole, r3.Scale(r3.Dot(pole, look), look))
	if r3.Norm(north) < 1e-9 {
		north = r3.Vec{Y: -1}
	}
	north = r3.Unit(north)
	return r3.Cross(north, look), north
}

// oblong is one star's departure from roundness: E = (Q₁₁−Q₂₂, 2Q₁₂), the difference of the second moments of its light,
// pixels². A straight path of extent V adds (V_x²−V_y², 2V_xV_y)/12 to it, whatever the star's own shape.
type oblong struct {
	at     vec // from the picture's middle
	e      vec // the vector E, of the path: what the fit kept of it is made up for (halo.go)
	sigma  float64
	mean   float64 // (λ₁+λ₂)/2 as measured, into which noise of the shape does not enter to first order
	sweeps [3]vec  // motion of this place for turns of the sky about the camera's axes, px/rad
	lit    float64 // radius, half diagonals
	away   vec     // ρ²(cos 2φ, sin 2φ): what a lens that draws stars out from the middle adds, but for its size
}

const (
	// faintest S/N of a star whose shape is believed: below it star.Find leans on the picture's own.
	faintest = 12
	// shapeFloor, as a share of λ₂: pixels, companions and a lens's small faults keep any single star's shape from being known
	// better. It weighs the stars; it is no noise to be taken off.
	shapeFloor = 0.03
	// plenty of stars for a pattern of five numbers; more only take time. star.Find has the brightest first.
	plenty = 300
)

// telling are the stars whose shape tells something.
func telling(stars []star.Star) []star.Star { return clearOf(stars, plenty) }

// clearOf are the first stars, at most so many, whose shape is clear.
func clearOf(stars []star.Star, most int) (list []star.Star) {
	for _, st := range stars {
		if len(list) == most {
			break
		}
		if st.Flags&(star.Edge|star.Saturated|star.Hot|star.Blend) != 0 || !finite(st.X, st.Y, st.FWHM, st.Elongation, st.ElongationErr, st.Angle.Rad()) ||
			st.FWHM <= 0 || st.Elongation < 1 || st.FluxErr > 0 && st.Flux < faintest*st.FluxErr {
			continue
		}
		list = append(list, st)
	}
	return list
}

// oblongs are the stars of a shot whose shape tells something, in the frame of its attitude.
func (s Shot) oblongs() (list []oblong, h halo) {
	hx, hy := s.lens().half()
	stars := telling(s.known())
	h = haloOf(stars)
	for _, st := range stars {
		at, angle := vec{st.X - hx, st.Y - hy}, st.Angle.Rad()
		if s.Mirrored {
			at.x, angle = -at.x, -angle
		}
		if s.RowsFlipped {
			at.y, angle = -at.y, -angle
		}
		o := newOblong(at, angle, st)
		o.sweeps, o.lit = s.sweeps(at), at.length()/(math.Hypot(float64(s.Width), float64(s.Height))/2)
		o.away = outward(at, o.lit)
		o.e, o.sigma = o.e.times(1/h.kept), math.Hypot(o.sigma, h.doubt(st, o.e.length()))/h.kept
		list = append(list, o)
	}
	return list, h
}

func newOblong(at vec, angle float64, st star.Star) oblong {
	sigma := sigmaOf(st.FWHM)
	q := st.Elongation
	size := sigma * sigma * (q - 1/q)
	sn, cs := math.Sincos(2 * angle)
	o := oblong{at: at, e: vec{size * cs, size * sn}, mean: sigma * sigma * (q + 1/q) / 2}
	ofShape := sigma * sigma * (1 + 1/(q*q)) * st.ElongationErr
	ofWidth := 2 * size * st.FWHMErr / st.FWHM
	o.sigma = math.Sqrt(ofShape*ofShape + ofWidth*ofWidth + shapeFloor*shapeFloor*sigma*sigma*sigma*sigma/(q*q))
	return o
}

// sweeps is how a place of the picture moves for small turns of the sky about the camera's x, y and z, pixels per radian.
func (s Shot) sweeps(at vec) (out [3]vec) {
	axes := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	l := s.lens()
	if s.Optics == nil {
		for k, w := range axes {
			out[k] = l.sweep(w, l.looks(at))
		}
		return out
	}
	const step = 1e-3 // radians either way: pixels enough for a lens that is undone to 1e-6 px
	hx, hy := l.half()
	d := s.Optics.Direction(at.x+hx, at.y+hy)
	for k, w := range axes {
		ax, ay, _ := s.Optics.Pixel(turn.Exp(r3.Scale(-step, w)).Apply(d))
		bx, by, _ := s.Optics.Pixel(turn.Exp(r3.Scale(step, w)).Apply(d))
		if out[k] = (vec{bx - ax, by - ay}).times(1 / (2 * step)); !finite(out[k].x, out[k].y) { // beyond what the lens draws
			out[k] = l.sweep(w, l.looks(at))
		}
	}
	return out
}

// enoughKnown recognised stars tell a picture's pattern without the others, among which lamps and leaves may be.
const enoughKnown = 12

// known are the stars sure to be stars, where there are enough of them.
func (s Shot) known() []star.Star {
	if len(s.Recognised) < enoughKnown {
		return s.Stars
	}
	return s.recognised()
}

// recognised are the stars that the catalogue knows, brightest first.
func (s Shot) recognised() (list []star.Star) {
	for _, i := range slices.Sorted(slices.Values(s.Recognised)) {
		if i >= 0 && i < len(s.Stars) {
			list = append(list, s.Stars[i])
		}
	}
	return list
}

// drawn is what a turn of the sky by w during the exposure adds to E here.
func (o *oblong) drawn(w [3]float64) vec {
	v := o.swept(w)
	return vec{v.x*v.x - v.y*v.y, 2 * v.x * v.y}.times(1. / 12)
}

func (o *oblong) swept(w [3]float64) vec {
	return o.sweeps[0].times(w[0]).plus(o.sweeps[1].times(w[1])).plus(o.sweeps[2].times(w[2]))
}

// radial is what a lens adds that draws stars out from the middle: c₁ρ² + c₂ρ⁴ in half diagonals.
func (o *oblong) radial(c [2]float64) vec { return o.away.times(c[0] + c[1]*o.lit*o.lit) }

// outward is ρ²(cos 2φ, sin 2φ) at a place.
func outward(at vec, rho float64) vec {
	r := at.length()
	if r == 0 {
		return vec{}
	}
	ux, uy := at.x/r, at.y/r
	return vec{ux*ux - uy*uy, 2 * ux * uy}.times(rho * rho)
}

// Form is the shape of a picture's stars as [Judge] counts it, for one picture by itself, taken to be flat. What the stars do
// not tell is 0.
type Form struct {
	// RoundPx is the width (FWHM, pixels) a round star has in the picture: that of the stars' short axes, which a trail leaves
	// alone. It is what [Plan].FWHM wants. Noise does not narrow it (the short axis of a single star reads too
	// short by its noise), wings are allowed for.
	RoundPx float64
	// FWHM is the median width (pixels, √(λ₁λ₂) of each star) of those that have one.
	FWHM float64
	// Elongation is the typical one with the stars' noise averaged out. star.Field has the median of single stars' elongations,
	// which noise makes read 1.05 to 1.1 for round ones; here these read 1.00.
	Elongation float64
}

// FormOf reads the form of a picture off its stars.
func FormOf(stars []star.Star) Form {
	f := lone(stars)
	return Form{RoundPx: 2 * math.Sqrt(2*math.Ln2*f.narrow), FWHM: f.judged.FWHM, Elongation: f.judged.Elongation}
}

// lone is the frame of a picture of which only the stars are known, measured.
func lone(stars []star.Star) *taken {
	s := Shot{Width: 2, Height: 2, Stars: stars}
	for _, st := range telling(stars) {
		s.Width, s.Height = max(s.Width, int(math.Min(st.X, mostPixels))+2), max(s.Height, int(math.Min(st.Y, mostPixels))+2)
	}
	f := newFrame(s, &Judged{})
	var lens [2]float64
	if f.told() {
		lens = patterns([]*pattern{&f.p})
	}
	f.measure(lens, DefaultElongation)
	return f
}
