package knobs

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/policy"
	"trueturn/ephem/turn"
)

// Knob is one of the two.
type Knob string

// The knobs. Altitude positive is up, azimuth positive clockwise seen from above.
const (
	Altitude Knob = "altitude"
	Azimuth  Knob = "azimuth"
)

func (k Knob) index() int {
	if k == Azimuth {
		return atAzimuth
	}
	return atAltitude
}

func (k Knob) other() Knob {
	if k == Azimuth {
		return Altitude
	}
	return Azimuth
}

// Two is a number for each knob, as the knobs turn: altitude up, azimuth clockwise seen from above.
type Two struct {
	Altitude, Azimuth           unit.Angle
	AltitudeSigma, AzimuthSigma unit.Angle
}

func (t Two) of(k Knob) (value, sigma unit.Angle) {
	if k == Azimuth {
		return t.Azimuth, t.AzimuthSigma
	}
	return t.Altitude, t.AltitudeSigma
}

func (o Options) play() unit.Angle {
	if o.Play > 0 {
		return o.Play
	}
	return policy.UsualPlay
}

// Beyond is how far a knob is turned past its goal to come back from the right side: more than the
// play, with a clumsy hand too.
func (o Options) Beyond() unit.Angle { return max(o.play().Mul(1.5), unit.AngleFromMin(3)) }

// needed is how far the knobs are to be turned to bring an axis to the aim, about the
// axes they really have, and the errors that the axis's own leave.
func (s State) needed(a align.Axis) Two {
	var q [2]float64
	reach := func(q [2]float64) r3.Vec {
		k, _ := head(s.Axes.Vertical, s.Axes.Hinge, q[0], q[1])
		return k.Apply(a.Direction)
	}
	across, up := turn.Tangent(s.Aim.Direction)
	var j [2][2]float64
	for range 20 {
		miss := r3.Sub(s.Aim.Direction, reach(q))
		j = slopes(reach, q, across, up)
		step := damped(j, [2]float64{r3.Dot(miss, across), r3.Dot(miss, up)})
		q[0], q[1] = q[0]+step[0], q[1]+step[1]
		if math.Hypot(step[0], step[1]) < 1e-10 {
			break
		}
	}
	t := Two{Altitude: unit.Angle(q[0]), Azimuth: unit.Angle(math.Remainder(q[1], 2*math.Pi))}
	c := a.Covariance
	sigma := func(e [2]float64) unit.Angle {
		return unit.Angle(math.Sqrt(e[0]*e[0]*c[0][0] + 2*e[0]*e[1]*c[0][1] + e[1]*e[1]*c[1][1]))
	}
	toAcross, toUp := damped(j, [2]float64{1, 0}), damped(j, [2]float64{0, 1})
	t.AltitudeSigma, t.AzimuthSigma = sigma([2]float64{toAcross[0], toUp[0]}), sigma([2]float64{toAcross[1], toUp[1]})
	return t
}

// slopes are how the place reached moves, across and up, with either knob.
func slopes(reach func([2]float64) r3.Vec, q [2]float64, across, up r3.Vec) (j [2][2]float64) {
	const h = 1e-6
	for k := range 2 {
		more, less := q, q
		more[k], less[k] = more[k]+h, less[k]-h
		d := r3.Scale(1/(2*h), r3.Sub(reach(more), reach(less)))
		j[0][k], j[1][k] = r3.Dot(d, across), r3.Dot(d, up)
	}
	return j
}

// damped solves j·x = b. Where the azimuth knob moves nothing, beneath the pole of its own
// turn, it is left alone.
func damped(j [2][2]float64, b [2]float64) [2]float64 {
	const least = 1e-6
	n00 := j[0][0]*j[0][0] + j[1][0]*j[1][0] + least*least
	n11 := j[0][1]*j[0][1] + j[1][1]*j[1][1] + least*least
	n01 := j[0][0]*j[0][1] + j[1][0]*j[1][1]
	g0, g1 := j[0][0]*b[0]+j[1][0]*b[1], j[0][1]*b[0]+j[1][1]*b[1]
	det := n00*n11 - n01*n01
	return [2]float64{(n11*g0 - n01*g1) / det, (n00*g1 - n01*g0) / det}
}

// outstanding is whether a knob still has something to do, given the total error.
func (s State) outstanding(k Knob, need Two, total unit.Angle) bool {
	value, sigma := need.of(k)
	return policy.Outstanding(value, sigma, s.Options.play(), total, s.Options.Stands, s.Tightening)
}

// choose picks the knob to turn: the larger error on the sky, the one begun before the other.
func (s State) choose(need Two, a align.Axis, total unit.Angle) (Knob, bool) {
	alt, az := s.outstanding(Altitude, need, total), s.outstanding(Azimuth, need, total)
	if alt != az {
		if alt {
			return Altitude, true
		}
		return Azimuth, true
	}
	lift := math.Abs(need.Altitude.Rad())
	side := math.Abs(need.Azimuth.Rad()) * math.Hypot(a.Direction.X, a.Direction.Y)
	if s.Asked != nil {
		switch s.Asked.Knob {
		case Altitude:
			lift *= policy.Steadiness
		case Azimuth:
			side *= policy.Steadiness
		}
	}
	if lift >= side {
		return Altitude, alt
	}
	return Azimuth, alt
}

// request is the turn of one knob, finished from the right side: altitude upward, against
// gravity; azimuth always as it was first turned.
func (s *State) request(k Knob, need Two) Request {
	value, _ := need.of(k)
	r := Request{Knob: k, Turn: value}
	side := 1
	if k == Azimuth {
		if s.AzimuthSide == 0 {
			s.AzimuthSide = sign(value)
		}
		side = s.AzimuthSide
	}
	if sign(value) != side {
		r.Beyond = s.Options.Beyond()
	}
	return r
}

func sign(a unit.Angle) int {
	if a < 0 {
		return -1
	}
	return 1
}

// ask works out the next request from where the axis is.
func (s State) ask() State {
	a := s.axisAt(s.Now)
	need := s.needed(a)
	total := a.Deviation(s.Aim).Total
	k, more := s.choose(need, a, total)
	if !more {
		s.Asked, s.Tightening = nil, true
		return s
	}
	r := s.request(k, need)
	s.Asked, s.Tightening = &r, false
	return s
}
