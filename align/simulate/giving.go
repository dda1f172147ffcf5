package simulate

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Bend is a holder that gives under gravity: besides all else the camera turns by K·g, with g the direction of gravity
// in its own frame (x right, y down, z along the view).
type Bend struct {
	K [3][3]unit.Angle // turn about row's axis for a whole unit of gravity along the column's
	// Friction is the share of the largest bend at which the holder sticks: it follows gravity only when it lags behind
	// by more, and so does not come back where it was.
	Friction float64
}

// Relaxing is a part that gives way more and more slowly: Size·(1 − exp(−t/Constant)) after t since the first picture, about an
// axis chosen by the seed – a horizontal one for the tripod, which takes the mount's axis along, any for the camera.
type Relaxing struct {
	Size     unit.Angle
	Constant time.Duration
	Camera   bool
}

// Creep is a camera that gives in steps, all the same way, at times and of sizes chosen by the seed.
type Creep struct {
	Size  unit.Angle // all together
	Steps int
}

// relaxed is how far along a relaxing part is.
func (x Relaxing) relaxed(since time.Duration) unit.Angle {
	return x.Size.Mul(-math.Expm1(-since.Seconds() / x.Constant.Seconds()))
}

// relaxing is what parts that give way have turned: the tripod with the mount (horizon frame) and the camera.
func (r *Run) relaxing(at time.Time) (tripod, camera turn.Turn) {
	tripod, camera = turn.Identity(), turn.Identity()
	for n, x := range r.e.Mount.Relaxing {
		by := x.relaxed(max(at.Sub(r.e.StartOf(0)), 0))
		if dice := r.e.dice("relaxing", n); x.Camera {
			camera = camera.Then(turn.About(onSphere(dice), by))
		} else {
			sin, cos := math.Sincos(2 * math.Pi * dice.Float64())
			tripod = tripod.Then(turn.About(r3.Vec{X: sin, Y: cos}, by))
		}
	}
	return tripod, camera
}

// crept is the camera's creeping in steps.
func (r *Run) crept(at time.Time) turn.Turn {
	c := r.e.Mount.Creep
	if c.Steps == 0 {
		return turn.Identity()
	}
	dice, u := r.e.dice("creep", 0), r.e.through(at)
	axis := onSphere(dice)
	var done, sum float64
	for range c.Steps {
		when, share := dice.Float64(), 0.3+dice.ExpFloat64()
		if sum += share; u > when {
			done += share
		}
	}
	return turn.About(axis, c.Size.Mul(done/sum))
}

// bend is the turn of the camera's frame in attitude c, friction left out.
func (m Mount) bend(c turn.Turn) r3.Vec {
	g := c.Apply(r3.Vec{Z: -1})
	row := func(k int) float64 {
		w := m.Bend.K[k]
		return w[0].Rad()*g.X + w[1].Rad()*g.Y + w[2].Rad()*g.Z
	}
	return r3.Vec{X: row(0), Y: row(1), Z: row(2)}
}

// stick works out, picture by picture, by how much friction keeps the holder from following gravity.
func (r *Run) stick() {
	m := r.e.Mount
	r.lag = make([]r3.Vec, r.e.Count)
	if m.Bend.Friction == 0 {
		return
	}
	bends := make([]r3.Vec, r.e.Count)
	var largest float64
	for i := range bends {
		bends[i] = m.bend(r.stiff(i, r.e.MidOf(i)))
		largest = max(largest, r3.Norm(r3.Sub(bends[i], bends[0])))
	}
	slack, at := m.Bend.Friction*largest, bends[0]
	for i, want := range bends {
		if d := r3.Sub(want, at); r3.Norm(d) > slack && r3.Norm(d) > 0 {
			at = r3.Add(at, r3.Scale(1-slack/r3.Norm(d), d))
		}
		r.lag[i] = r3.Sub(at, want)
	}
	r.learn()
}

// learn is the elastic law nearest to how the sticking holder bent: K with the smallest change that follows the lag as
// far as a law linear in gravity can.
func (r *Run) learn() {
	var gg, lg, d r3.Mat
	first := r.stiff(0, r.e.MidOf(0)).Apply(r3.Vec{Z: -1})
	for i, l := range r.lag {
		g := r3.Sub(r.stiff(i, r.e.MidOf(i)).Apply(r3.Vec{Z: -1}), first)
		d.Outer(1, g, g)
		gg.Add(&gg, &d)
		d.Outer(1, r3.Sub(l, r.lag[0]), g)
		lg.Add(&lg, &d)
	}
	const ridge = 1e-6 // of the square of a change of gravity's direction by 3′: no law is learned from less
	d.Scale(ridge, r3.Eye())
	gg.Add(&gg, &d)
	if inverse, det := turn.Invert(&gg); det > 0 {
		r.learned.Mul(&lg, inverse)
	}
}

// TurnsAbout is the elevated end of the axis about which the camera turns at the middle of picture i while the
// holder bends under gravity, by the law linear in gravity nearest to how it really did: from two attitudes a little before and after on the mount's own axis, everything else
// standing still.
func (r *Run) TurnsAbout(i int) ephem.Horizontal {
	i = r.index(i)
	at := r.e.MidOf(i)
	axis := r.axisNow(i, at)
	bent := func(by float64) turn.Turn {
		c := turn.About(axis, unit.Angle(by)).Then(r.stiff(i, at))
		g := c.Apply(r3.Vec{Z: -1})
		return c.Then(turn.Exp(r3.Add(r.e.Mount.bend(c), r.learned.MulVec(g)))).Then(r.sag(c))
	}
	const step = 1e-3
	// C₋ ⁻¹ after C₊, in the horizon frame.
	v := r3.Unit(bent(step).Then(bent(-step).Inverse()).Log())
	return ephem.HorizontalOf(r3.Scale(r.e.elevatedSign(), v))
}

// axisNow is the mount's own axis, its end toward the north pole, as the tripod stands at an instant.
func (r *Run) axisNow(i int, at time.Time) r3.Vec {
	tripod, _ := r.relaxing(at)
	return tripod.Apply(r.axisOf(r.heads[r.index(i)]))
}
