package report

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/ephem"
)

// arcsec is a radian in seconds of arc.
const arcsec = 180 / math.Pi * 3600

// omega is the turning of the Earth against the stars, radians per second of UT1.
// IERS Conventions (2010), Technical Note 36, table 1.1.
const omega = ephem.SiderealRadPerS

// DriftOf reads off what an axis leaves over, from the samples it was estimated from.
//
// # Model
//
// C = exp(r)·C_model carries the horizon frame into the camera's, whose z looks along ŝ = Cᵀz. To first order the
// residual r moves where the camera looks by −(Cᵀr) × ŝ, of which the parts up and across (toward growing azimuth)
// are given. Samples that fitted nothing are left out. Where the angles about the axis follow no common rate
// they are unknown.
func DriftOf(in align.Input, a align.Axis) *Drift {
	n := min(len(in.Samples), len(a.Theta), len(a.Residual))
	d := &Drift{}
	turns := turnsOf(in, a)
	for i := range n {
		if i < len(a.Stray) && a.Stray[i] {
			continue
		}
		s := in.Samples[i]
		forth, _ := s.Attitude.Given(a.WanderPx)
		back := forth.Inverse()
		up, across := moved(back.Apply(r3.Vec{Z: 1}), back.Apply(a.Residual[i]))
		d.Mid = append(d.Mid, s.Mid)
		d.AltitudeArcsec = append(d.AltitudeArcsec, up*arcsec)
		d.SidewaysArcsec = append(d.SidewaysArcsec, across*arcsec)
		t := turns[i]
		d.TurnArcsec = append(d.TurnArcsec, t.arcsec)
		d.TurnSigmaArcsec = append(d.TurnSigmaArcsec, t.sigma)
		d.Stretch = append(d.Stretch, t.stretch)
	}
	return d
}

// turned is a sample's angle about the axis less the steady rate, about the mean of its stretch.
type turned struct {
	arcsec, sigma float64
	stretch       int
}

// turnsOf are the angles of all samples. A sample outside of all stretches has one of its own.
func turnsOf(in align.Input, a align.Axis) map[int]turned {
	ts := map[int]turned{}
	for i := range in.Samples {
		ts[i] = turned{math.NaN(), math.NaN(), -1 - i}
	}
	m := len(in.Samples)
	if m < 2 || min(len(a.Theta), len(a.ThetaSigma), len(a.Group), len(a.Stray)) != m { // no axis of these samples
		for i := range in.Samples {
			ts[i] = turned{math.NaN(), math.NaN(), 0}
		}
		return ts
	}
	rate, known := align.TrackingRate(in, a)
	for k, members := range align.Stretches(in, a) {
		mean := 0.0
		for _, i := range members {
			t := math.NaN()
			if known {
				t = (a.Theta[i].Rad() - omega*rate.SiderealRatio*in.Samples[i].Mid.Sub(in.Samples[0].Mid).Seconds()) * arcsec
			}
			ts[i] = turned{t, a.ThetaSigma[i].Sec(), k}
			mean += t / float64(len(members))
		}
		for _, i := range members {
			t := ts[i]
			t.arcsec -= mean
			ts[i] = t
		}
	}
	return ts
}

// moved is how far up and across a small turn of the camera by r moves the look ŝ, both in the horizon frame.
func moved(look, r r3.Vec) (up, across float64) {
	move := r3.Scale(-1, r3.Cross(r, look))
	east := r3.Cross(look, r3.Vec{Z: 1}) // toward growing azimuth: north × up = east
	if r3.Norm(east) < 1e-9 {
		return math.NaN(), math.NaN() // at the zenith there is no up
	}
	east = r3.Unit(east)
	return r3.Dot(move, r3.Cross(east, look)), r3.Dot(move, east)
}

// crept is how far pictures crept over the sky since the first of their stretch, from their own figures.
type crept struct {
	mid               []time.Time
	north, east, roll []float64 // seconds of arc on the sky; minutes of roll
	northSigma        []float64
	stretch           []int
}

// reAimed in degrees between two pictures is no creeping: the camera was pointed elsewhere (design §6).
const reAimed = 1

// creptOf follows the pictures that were used.
func creptOf(frames []answer.FrameJSON) crept {
	var c crept
	var first, last answer.FrameJSON
	stretch := -1
	for _, f := range frames {
		mid, err := time.Parse(time.RFC3339Nano, deref(f.MidUTC))
		if err != nil || !f.Used || f.RADeg == nil || f.DecDeg == nil || f.RollDeg == nil {
			continue
		}
		if stretch < 0 || apart(last, f) > reAimed {
			stretch++
			first = f
		}
		last = f
		north, east := offset(first, f)
		c.mid, c.stretch = append(c.mid, mid), append(c.stretch, stretch)
		c.north, c.east = append(c.north, north*3600), append(c.east, east*3600)
		c.roll = append(c.roll, 60*wrap(*f.RollDeg-*first.RollDeg))
		c.northSigma = append(c.northSigma, centreSigma(f))
	}
	return c
}

// offset of a picture's middle from another's, degrees on the sky; good for small ones.
func offset(from, to answer.FrameJSON) (north, east float64) {
	cos := math.Cos((*from.DecDeg + *to.DecDeg) / 2 * math.Pi / 180)
	return *to.DecDeg - *from.DecDeg, wrap(*to.RADeg-*from.RADeg) * cos
}

func apart(a, b answer.FrameJSON) float64 { return math.Hypot(offset(a, b)) }

// wrap brings an angle in degrees between −180 and 180.
func wrap(deg float64) float64 { return math.Remainder(deg, 360) }

// centreSigma is how well a picture's middle is known: the scatter of its stars over the root of their number.
func centreSigma(f answer.FrameJSON) float64 {
	if f.RMSPx == nil || f.ScaleArcsecPx == nil || f.Matched < 1 {
		return math.NaN()
	}
	return *f.RMSPx * *f.ScaleArcsecPx / math.Sqrt(float64(f.Matched))
}

// alone is whether most pictures follow no other: nothing that crept could be seen then.
func alone(stretch []int) bool {
	count := map[int]int{}
	for _, s := range stretch {
		count[s]++
	}
	followed := 0
	for _, n := range count {
		if n > 1 {
			followed += n
		}
	}
	return 2*followed <= len(stretch)
}

// broken puts NaN between stretches, so that lines break there.
func broken(x, y []float64, stretch []int) (bx, by []float64) {
	for i := range x {
		if i > 0 && stretch[i] != stretch[i-1] {
			bx, by = append(bx, math.NaN()), append(by, math.NaN())
		}
		bx, by = append(bx, x[i]), append(by, y[i])
	}
	return bx, by
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
