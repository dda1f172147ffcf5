package exposure

import (
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// Defaults of a [Plan].
const (
	DefaultElongation = 1.25
	DefaultShare      = 0.9
)

// Plan is a question: how long do stars stay round?
type Plan struct {
	View  View
	Mount Mount
	// FWHM of a round star as measured in a picture, in pixels, the pixel's own width included.
	FWHM          float64
	MaxElongation float64 // tolerance; 0 = 1.25
	Share         float64 // of the exposures that shall stay below it; 0 = 0.9
	PlannedS      float64 // exposure planned, for [Forecast].Planned; 0: none
	Elongation    float64 // of a star before the mount moves it, as lens and focus draw it; 0: not known, and taken to be round

	toward   unit.Angle // in which direction an axis error of known size goes, from across toward up
	unturned bool       // all places move as the middle does
	form     []sine     // of the wobble, for a size of 1
	size     float64    // of the wobble, radians
}

// Mount is what holds the camera. The zero value is a perfect mount.
type Mount struct {
	Tripod    bool // no motor at all: nothing below counts
	Axis      Axis
	RateError float64 // sidereal ratio of the motor less 1
	RateSigma float64 // its standard error
	Wobble    *Wobble // nil: none
}

// Axis is where the axis points, or how far it is off.
type Axis struct {
	// Direction of the end toward the elevated pole, in the view's ground frame; zero where only Size is known.
	Direction r3.Vec
	// Covariance of Direction across (toward growing azimuth) and up, radians² on the sky, as align.Axis has it.
	Covariance [2][2]float64
	// Size of the axis error where its direction is not known: the worst direction is taken.
	Size, SizeSigma unit.Angle
}

func (a Axis) known() bool { return a.Direction != r3.Vec{} }

// Off is an axis that misses the pole as it is seen from the view by a height (positive: too high) and an azimuth
// (positive: too far clockwise seen from above, counted as a turn about the vertical).
func (v View) Off(altitude, azimuth unit.Angle) Axis {
	pole := v.aim()
	if v.South {
		pole = r3.Scale(-1, pole)
	}
	across, _ := level(pole)
	up := turn.About(across, altitude) // across × toward the zenith: a right-handed turn about it lifts
	return Axis{Direction: turn.About(r3.Vec{Z: 1}, -azimuth).Apply(up.Apply(pole))}
}

func (p Plan) sound() error {
	if err := p.View.Lens.sound(); err != nil {
		return err
	}
	if !finite(p.FWHM) || p.FWHM <= 0 || p.FWHM > 1000 {
		return amiss.New(ErrWidth, fmt.Sprintf("a star %g pixels wide is none", p.FWHM), "give the full width at half height of a round star in pixels, as 2.5; subs shows it for your pictures")
	}
	if !finite(p.MaxElongation) || p.MaxElongation != 0 && p.MaxElongation <= 1 {
		return amiss.New(ErrAsked, fmt.Sprintf("a largest elongation of %g leaves no room", p.MaxElongation), "a round star has elongation 1: give a little more, as 1.25")
	}
	if !finite(p.Elongation) || p.Elongation < 0 {
		return amiss.New(ErrWidth, fmt.Sprintf("a star %g times longer than wide is none", p.Elongation), "a round star has elongation 1; leave it out where it is not known")
	}
	if !finite(p.Share) || p.Share < 0 || p.Share > 1 {
		return amiss.New(ErrAsked, fmt.Sprintf("a share of %g is none", p.Share), "give the share of exposures that shall stay round, from 0 to 1, as 0.9")
	}
	if !finite(p.PlannedS) || p.PlannedS < 0 {
		return amiss.New(ErrAsked, fmt.Sprintf("an exposure of %g s is none", p.PlannedS), "give the exposure in seconds, as 30")
	}
	return p.Mount.sound()
}

func (m Mount) sound() error {
	bad := func(text string) error {
		return amiss.New(ErrMount, text, "give the axis error in arcminutes, zero or more, and the rate as a share of the sidereal one")
	}
	if !finite(m.RateError, m.RateSigma) || math.Abs(m.RateError) > 100 || m.RateSigma < 0 {
		return bad("the mount's rate is out of range")
	}
	a := m.Axis
	if !finite(a.Size.Rad(), a.SizeSigma.Rad(), r3.Norm(a.Direction)) || a.Size < 0 || a.Size > math.Pi || a.SizeSigma < 0 {
		return bad("the axis error is out of range")
	}
	if c := a.Covariance; !finite(c[0][0], c[0][1], c[1][1]) || c[0][0] < 0 || c[1][1] < 0 {
		return bad("the axis's covariance is none")
	}
	if m.Wobble == nil {
		return nil
	}
	return m.Wobble.sound()
}

func (p Plan) filled() Plan {
	if p.MaxElongation == 0 {
		p.MaxElongation = DefaultElongation
	}
	if p.Share == 0 {
		p.Share = DefaultShare
	}
	if p.Mount.Tripod {
		p.Mount = Mount{Tripod: true}
	}
	if p.Mount.Axis.known() {
		p.Mount.Axis.Direction = r3.Unit(p.Mount.Axis.Direction)
	}
	if p.Mount.Wobble != nil {
		p.form, p.size = p.Mount.Wobble.shape()
	}
	return p
}

// mountings is one way the mount may be, within what is known of it.
type mounting struct {
	axis   r3.Vec  // northern end
	rate   float64 // share of the sidereal rate
	wobble float64 // size, radians
	// periodS of the wobble; 0 where there is none.
	periodS float64
}

// draws are standard normal numbers for axis across, axis up, rate, and size and period of the wobble.
type draws [5]float64

// drawSeed fixes the drawing: the same question has the same answer.
const drawSeed = 20261125

// newDraws draws n times, in pairs of opposite sign so that means come out exactly.
func newDraws(n int) []draws {
	r := rand.New(rand.NewPCG(drawSeed, drawSeed))
	list := make([]draws, n)
	for i := 0; i+1 < n; i += 2 {
		for k := range list[i] {
			list[i][k] = r.NormFloat64()
			list[i+1][k] = -list[i][k]
		}
	}
	return list
}

// way is the mounting for one draw; toward is the direction an axis of unknown direction errs in.
func (p Plan) way(d draws, toward unit.Angle) mounting {
	m := p.Mount
	if m.Tripod {
		return mounting{axis: p.View.Pole}
	}
	out := mounting{axis: p.northEnd(d, toward), rate: 1 + m.RateError + m.RateSigma*d[2]}
	if m.Wobble != nil {
		out.wobble = math.Abs(p.size+m.Wobble.Sigma.Rad()*d[3]) * power(m.Wobble.SizeFactor, d[3])
		out.periodS = m.Wobble.PeriodS * power(m.Wobble.PeriodFactor, d[4])
	}
	return out
}

// power of a factor; 1 where there is none.
func power(factor, exponent float64) float64 {
	if factor == 0 {
		return 1
	}
	return math.Pow(factor, exponent)
}

func (p Plan) northEnd(d draws, toward unit.Angle) r3.Vec {
	a := p.Mount.Axis
	if !a.known() {
		aim := p.View.aim()
		across, up := level(aim)
		s, c := toward.Sincos()
		size := a.Size.Rad() + a.SizeSigma.Rad()*d[0]
		w := r3.Add(r3.Scale(c*size, across), r3.Scale(s*size, up))
		return turn.Exp(r3.Cross(aim, w)).Apply(aim)
	}
	across, up := level(a.Direction)
	x, y := a.drawn(d)
	dir := turn.Exp(r3.Cross(a.Direction, r3.Add(r3.Scale(x, across), r3.Scale(y, up)))).Apply(a.Direction)
	if r3.Dot(dir, p.View.Pole) < 0 {
		return r3.Scale(-1, dir)
	}
	return dir
}

// drawn is an axis error drawn from its covariance (Cholesky's root).
func (a Axis) drawn(d draws) (across, up float64) {
	c := a.Covariance
	l11 := math.Sqrt(c[0][0])
	l21 := 0.0
	if l11 > 0 {
		l21 = c[0][1] / l11
	}
	return l11 * d[0], l21*d[0] + math.Sqrt(math.Max(0, c[1][1]-l21*l21))*d[1]
}

// unsure is whether anything about the mount is known with an error only.
func (m Mount) unsure() bool {
	return m.RateSigma > 0 || m.Axis.SizeSigma > 0 || m.Axis.Covariance[0][0] > 0 || m.Axis.Covariance[1][1] > 0 ||
		m.Wobble != nil && (m.Wobble.Sigma > 0 || m.Wobble.SizeFactor > 1 || m.Wobble.PeriodFactor > 1)
}
