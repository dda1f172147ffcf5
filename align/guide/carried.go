package guide

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// Carried is where the bubbles stood when the last turn was done: the measurement before the turns, carried along by the
// camera. A few untouched pictures know the axis far worse than it does, so they do not take its place; they
// are asked whether they agree, and both are weighed together:
//
//	C⁻¹ = C₁⁻¹ + C₂⁻¹,  a = C (C₁⁻¹ a₁ + C₂⁻¹ a₂)
//
// The two share no picture that says where the axis is: the first measured it before the turns, the second after.
type Carried struct {
	Direction  r3.Vec        `json:"direction"`
	Covariance [2][2]float64 `json:"covariance_rad2"`
}

const (
	// giving is what clamps and holder give between measurement and the last turn without being noticed, besides a
	// share of every turn (common practice, no source); both are added to the carried axis's errors.
	giving      = 0.5 * ephem.Arcmin
	givingShare = 0.05
	// disagreement: χ² of two degrees of freedom exceeds it once in a thousand times. Then something gave way
	// that nobody saw, and the untouched pictures are believed alone.
	disagreement = 13.8
)

// Loss is what the turns of either knob may have cost, radians² as the knob turns.
type Loss struct {
	Altitude float64 `json:"altitude_rad2"`
	Azimuth  float64 `json:"azimuth_rad2"`
}

// after a further motion of the knobs.
func (l Loss) after(moved knobs.Two) Loss {
	a, z := moved.Altitude.Rad()*givingShare, moved.Azimuth.Rad()*givingShare
	return Loss{l.Altitude + a*a, l.Azimuth + z*z}
}

// carried is the axis the last order was given by, less sure for the turns.
func (g *Guide) carried() *Carried {
	o := g.s.Order
	if o == nil {
		return nil
	}
	c := &Carried{Direction: o.Direction, Covariance: o.Covariance}
	flat := 1 - o.Direction.Z*o.Direction.Z // cos² of the axis's height
	c.Covariance[0][0] += giving.Rad()*giving.Rad() + flat*g.s.Loss.Azimuth
	c.Covariance[1][1] += giving.Rad()*giving.Rad() + g.s.Loss.Altitude
	return c
}

// answer answers for some shots and weighs what was known of the axis before.
func (g *Guide) answer(q drift.Sequence) answer.Finding {
	return g.s.Carried.weighed(answer.Find(q, g.o.Answer))
}

// weighed is an answer with its axis weighed together with the carried one; where the two disagree, the answer as it is.
func (c *Carried) weighed(a answer.Finding) answer.Finding {
	if c == nil || a.Measured == nil || len(a.Measured.Axis.Breaks) > 0 || a.Measured.Question.Unsteady {
		return a
	}
	own := a.Measured.Axis
	joint, agrees := c.with(own)
	if !agrees {
		return a
	}
	b := a.Turned(joint, nil)
	b.Advice.Notes = append(b.Advice.Notes, stillSo(a, b)...)
	b.Faults = steadyOnes(a.Faults)
	if alone := own.WorstSigma(); alone > policy.Sureness*joint.WorstSigma() {
		b.Advice.Notes = append(b.Advice.Notes, policy.Note{Says: say.Of("the turns left it there", alone)})
	}
	return b
}

// stillSo are the notes of an answer that hold for the weighed one and are not in it: its forecast is its own.
func stillSo(was, now answer.Finding) (notes []policy.Note) {
	for _, n := range was.Advice.Notes {
		forecast := was.Forecast != nil && n.Says.Same(was.Forecast.Advice)
		again := slices.ContainsFunc(now.Advice.Notes, func(x policy.Note) bool { return x.Says.Same(n.Says) })
		if !forecast && !again {
			notes = append(notes, n)
		}
	}
	return notes
}

// steadyOnes leaves out what a short look alone suffers from.
func steadyOnes(all []align.Situation) []align.Situation {
	return slices.DeleteFunc(slices.Clone(all), func(x align.Situation) bool { return x.Kind.Of() == align.OfMeasure })
}

// with weighs the carried axis together with another; false where they disagree.
func (c *Carried) with(own align.Axis) (align.Axis, bool) {
	at, to := ephem.HorizontalOf(c.Direction), ephem.HorizontalOf(own.Direction)
	flat := math.Cos(at.Altitude.Rad())
	d := [2]float64{math.Remainder((to.Azimuth-at.Azimuth).Rad(), 2*math.Pi) * flat, (to.Altitude - at.Altitude).Rad()}
	both, ok := inverse(plus(c.Covariance, own.Covariance))
	if x := times(both, d); !ok || d[0]*x[0]+d[1]*x[1] > disagreement {
		return own, false
	}
	step := times(c.Covariance, times(both, d)) // C₁ (C₁ + C₂)⁻¹ d
	joint := own
	joint.Direction = ephem.Horizontal{Azimuth: at.Azimuth + unit.Angle(step[0]/flat), Altitude: at.Altitude + unit.Angle(step[1])}.Direction()
	w1, _ := inverse(c.Covariance)
	w2, _ := inverse(own.Covariance)
	joint.Covariance, ok = inverse(plus(w1, w2))
	return joint, ok
}

func plus(a, b [2][2]float64) [2][2]float64 {
	return [2][2]float64{{a[0][0] + b[0][0], a[0][1] + b[0][1]}, {a[1][0] + b[1][0], a[1][1] + b[1][1]}}
}

func times(m [2][2]float64, v [2]float64) [2]float64 {
	return [2]float64{m[0][0]*v[0] + m[0][1]*v[1], m[1][0]*v[0] + m[1][1]*v[1]}
}

func inverse(m [2][2]float64) ([2][2]float64, bool) {
	det := m[0][0]*m[1][1] - m[0][1]*m[1][0]
	return [2][2]float64{{m[1][1] / det, -m[0][1] / det}, {-m[1][0] / det, m[0][0] / det}}, det > 0
}
