package simulate

import (
	"math"
	"sort"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Run is an evening under way. It is read-only after [Evening.Begin] and may be
// used by several goroutines.
type Run struct {
	e       Evening
	axis    r3.Vec // end toward the north pole as first set up, ENU
	heads   []head // by picture
	knocked []turn.Turn
	groups  []group
	stands  []float64 // s after Start at which the motor begins to take up play
	slips   []slip
	lag     []r3.Vec // by picture: what friction keeps the holder from bending, camera frame
	learned r3.Mat   // what the lag adds to the holder's elastic law

	flexAxis, ballAxis r3.Vec // camera frame
	starsKept          r3.Vec // ICRS direction that StackedStanding keeps in the middle
}

// head is where the mount's head stands during a picture.
type head struct {
	carried turn.Turn // all it was turned by since it was set up, K
	base    r3.Vec    // direction of the azimuth knob's axis, ENU
}

// group is a stretch of pictures between two aimings of the camera.
type group struct {
	first int
	aim   turn.Turn // C₀
}

// slip is one give of a clamp.
type slip struct{ at, share float64 }

// Begin checks the evening and sets everything up. The error is an
// [ErrInvalid], or one of ephem's for an impossible site, air or date.
func (e Evening) Begin() (*Run, error) {
	if err := e.Validate(); err != nil {
		return nil, err
	}
	start, err := e.sky(e.aimedAt())
	if err != nil {
		return nil, err
	}
	r := &Run{e: e, axis: e.firstAxis(start)}
	r.stands = e.playTimes()
	r.slips = e.slipTimes()
	r.turnHead()
	if err := r.aimCamera(start); err != nil {
		return nil, err
	}
	return r, nil
}

// Evening is what the run was begun with.
func (r *Run) Evening() Evening { return r.e }

func (e Evening) sky(at time.Time) (ephem.Sky, error) { return ephem.NewSky(e.Site, e.Air, at) }

// firstAxis is the axis' end toward the north pole as first set up.
func (e Evening) firstAxis(sky ephem.Sky) r3.Vec {
	p := sky.RefractedPole()
	if e.Mount.Counted == TruePole {
		p = sky.TruePole()
	}
	p.Altitude += e.Mount.AltitudeError
	p.Azimuth += e.Mount.AzimuthError
	return r3.Scale(e.elevatedSign(), p.Direction())
}

// elevatedSign is +1 where the elevated end points north, −1 in the south.
func (e Evening) elevatedSign() float64 {
	if e.Site.Latitude < 0 {
		return -1
	}
	return 1
}

// playTimes lists when the motor has play to take up.
func (e Evening) playTimes() []float64 {
	if e.Mount.Play <= 0 {
		return nil
	}
	times := []float64{0}
	for i, s := range e.Mount.Swings {
		if s != 0 && i > 0 {
			times = append(times, e.eventTime(i))
		}
	}
	return times
}

// eventTime is when a hand does something before picture i, s after Start: the
// middle of the pause, or two seconds before the picture where that is shorter.
func (e Evening) eventTime(i int) float64 {
	pause := math.Min((e.Every-e.Exposure).Seconds()/2, 2)
	return e.StartOf(i).Sub(e.Start).Seconds() - pause
}

// slipTimes deals the gives of a clamp: some three in two minutes, of unequal
// size, at unequal times.
func (e Evening) slipTimes() []slip {
	dice := e.dice("slip", 0)
	n := max(3, int(e.span().Seconds()/40))
	list := make([]slip, n)
	sum := 0.0
	for i := range list {
		list[i] = slip{dice.Float64(), 0.2 + dice.ExpFloat64()}
		sum += list[i].share
	}
	sort.Slice(list, func(i, j int) bool { return list[i].at < list[j].at })
	for i := range list {
		list[i].share /= sum
	}
	return list
}

// slipped is the share of the clamp's slipping done at an instant. Each give
// takes a fiftieth of the run.
func (r *Run) slipped(at time.Time) float64 {
	u, sum := r.e.through(at), 0.0
	for _, s := range r.slips {
		sum += s.share * math.Min(math.Max((u-s.at)*50, 0), 1)
	}
	return sum
}

// turnHead works out the head's place and the camera's knocks for every
// picture.
func (r *Run) turnHead() {
	m, h, k := r.e.Mount, r.e.Mount.setUp(), turn.Identity()
	for i := range r.e.Count {
		for n, x := range m.Knocks {
			if x.Frame == i && x.Camera {
				k = k.Then(turn.About(across(r.e.dice("camera knock", n), r3.Vec{Z: 1}), x.Size))
			} else if x.Frame == i {
				h = h.knock(turn.About(across(r.e.dice("tripod knock", n), r.axisOf(h)), x.Size))
			}
		}
		for _, x := range m.Knobs {
			if x.Frame == i {
				h = r.knob(h, x)
			}
		}
		r.heads = append(r.heads, h)
		r.knocked = append(r.knocked, k)
	}
}

// setUp is the head before anything turned it.
func (m Mount) setUp() head {
	lean := ephem.Horizontal{Azimuth: m.BaseTiltToward, Altitude: math.Pi/2 - m.BaseTilt}
	return head{turn.Identity(), lean.Direction()}
}

// axisOf is the end toward the north pole with the head as it stands.
func (r *Run) axisOf(h head) r3.Vec { return h.carried.Apply(r.axis) }

// knock turns tripod and all.
func (h head) knock(t turn.Turn) head { return head{h.carried.Then(t), t.Apply(h.base)} }

// knob turns the knobs: azimuth about the base's axis, then altitude about the
// hinge square to that axis and to the mount's.
func (r *Run) knob(h head, k Knob) head {
	// Clockwise seen from above is the left-handed turn about up.
	h.carried = h.carried.Then(turn.About(h.base, -k.Azimuth))
	elevated := r3.Scale(r.e.elevatedSign(), r.axisOf(h))
	// For an axis toward north and a level base the hinge points east, and the
	// right-handed turn about it raises the end.
	h.carried = h.carried.Then(turn.About(r3.Cross(elevated, h.base), k.Altitude))
	return h
}

// Axis is the direction of the axis' elevated end during picture i.
func (r *Run) Axis(i int) ephem.Horizontal {
	return ephem.HorizontalOf(r3.Scale(r.e.elevatedSign(), r.axisNow(i, r.e.MidOf(r.index(i)))))
}

// index keeps a picture's number within the run.
func (r *Run) index(i int) int { return min(max(i, 0), r.e.Count-1) }

// Angle is θ of the design: how far the mount has turned about its axis at an
// instant of picture i, in the tracking sense, from where it stood at Start.
func (r *Run) Angle(i int, at time.Time) unit.Angle {
	m := r.e.Mount
	if m.Tripod {
		return 0
	}
	t := r.gear(i, at) * m.Rate
	a := unit.Angle(ephem.SiderealRadPerS*t) + m.Wobble.angle(t) - m.Slip.Mul(r.slipped(at))
	for k := 0; k < len(m.Swings) && k <= i; k++ {
		a += m.Swings[k]
	}
	return a
}

// gear is how long the axis has followed the motor, in seconds: the time since
// Start less the times of taking up play.
func (r *Run) gear(i int, at time.Time) float64 {
	t := at.Sub(r.e.Start).Seconds()
	follows := t
	for k, from := range r.stands {
		until := from + r.e.Mount.Play.Seconds()
		if k+1 < len(r.stands) {
			until = math.Min(until, r.stands[k+1])
		}
		follows -= math.Max(math.Min(until, t)-from, 0)
	}
	return follows
}

// angle is the periodic error after t seconds of the gear's running.
func (w Wobble) angle(t float64) unit.Angle {
	if w.Period <= 0 {
		return 0
	}
	x := 2*math.Pi*t/w.Period.Seconds() + w.Phase.Rad()
	return w.PeakToPeak.Mul((math.Sin(x) + w.Third*math.Sin(3*x)) / 2)
}

// mounted is Rot(â, θ)·K⁻¹: horizon frame to the frame of the turning head.
func (r *Run) mounted(i int, at time.Time, h head) turn.Turn {
	tripod, _ := r.relaxing(at)
	return h.carried.Then(tripod).Inverse().Then(turn.About(r.axis, r.Angle(i, at)))
}

// loose is F without sagging: how the camera has moved on the head.
func (r *Run) loose(i int, at time.Time) turn.Turn { return r.given(at).Then(r.knocked[i]) }

// given is how far the camera has moved on the head by itself: the ball slips,
// the holder bends.
func (r *Run) given(at time.Time) turn.Turn {
	m := r.e.Mount
	slipped := turn.About(r.ballAxis, m.BallSlip.Mul(r.slipped(at)))
	_, relaxed := r.relaxing(at)
	return slipped.Then(turn.About(r.flexAxis, m.Flexure.Mul(r.e.through(at)))).Then(r.crept(at)).Then(relaxed)
}

// sag is the turn of the camera's frame when it hangs down in attitude c.
func (r *Run) sag(c turn.Turn) turn.Turn {
	down := c.Apply(r3.Vec{Z: -1})
	// The body turns forward toward down; directions seen in it turn the other
	// way.
	return turn.Exp(r3.Scale(-r.e.Mount.Sag.Rad(), r3.Cross(r3.Vec{Z: 1}, down)))
}

// Attitude takes horizon directions to the camera's frame at an instant of
// picture i; what happens between pictures has happened up to picture i.
func (r *Run) Attitude(i int, at time.Time) turn.Turn {
	i = r.index(i)
	c := r.stiff(i, at)
	bent := r.e.Mount.bend(c)
	if len(r.lag) > i {
		bent = r3.Add(bent, r.lag[i])
	}
	return c.Then(turn.Exp(bent)).Then(r.sag(c))
}

// stiff is the attitude with a holder that gravity does not bend.
func (r *Run) stiff(i int, at time.Time) turn.Turn {
	return r.mounted(i, at, r.heads[i]).Then(r.groupOf(i).aim).Then(r.loose(i, at))
}

func (r *Run) groupOf(i int) group {
	g := r.groups[0]
	for _, next := range r.groups[1:] {
		if next.first <= i {
			g = next
		}
	}
	return g
}

// aimCamera works out C₀ of every group.
func (r *Run) aimCamera(start ephem.Sky) error {
	e := r.e
	first := aim(start, e.Target, e.Roll, e.Camera, r.steady(0))
	// The first aiming comes before any turn of the knobs and any knock.
	set := r.mounted(0, e.aimedAt(), e.Mount.setUp())
	inCamera := first.Apply(r.axis)
	r.flexAxis = across(e.dice("flexure", 0), inCamera)
	r.ballAxis = across(e.dice("ball", 0), inCamera)
	r.groups = []group{{0, r.c0(first, set, r.given(e.aimedAt()))}}
	for _, a := range e.Handling.ReAims {
		at := e.MidOf(a.Frame)
		sky, err := e.sky(at)
		if err != nil {
			return err
		}
		view := aim(sky, a.Target, a.Roll, e.Camera, r.steady(a.Frame))
		r.groups = append(r.groups, group{a.Frame,
			r.c0(view, r.mounted(a.Frame, at, r.heads[a.Frame]), r.loose(a.Frame, at))})
	}
	sort.SliceStable(r.groups, func(i, j int) bool { return r.groups[i].first < r.groups[j].first })
	r.stick()
	return r.keepStars()
}

// c0 solves view = sag·bend·loose·C₀·mounted for C₀. Bending is taken at the view
// itself, which is right to the square of its size.
func (r *Run) c0(view, mounted, loose turn.Turn) turn.Turn {
	return mounted.Inverse().Then(view).Then(r.sag(view).Inverse()).Then(turn.Exp(r.e.Mount.bend(view)).Inverse()).Then(loose.Inverse())
}

// aim is the attitude that brings the target to the picture's centre, with the
// picture's "up" at position angle roll.
func aim(sky ephem.Sky, t Target, roll unit.Angle, c Camera, o optics) turn.Turn {
	v := t.direction()
	north, east := tangents(v)
	sin, cos := roll.Sincos()
	above := r3.Unit(r3.Add(v, r3.Scale(nearby.Rad(), r3.Add(r3.Scale(cos, north), r3.Scale(sin, east)))))
	inSky := triad(sky.Apparent(v), sky.Apparent(above))
	x, y := float64(c.Width-1)/2, float64(c.Height-1)/2
	inCamera := triad(o.ray(x, y), o.ray(x, y-1))
	return inSky.Then(inCamera.Inverse())
}

// triad is the frame whose z axis is forward, its y axis away from above.
func triad(forward, above r3.Vec) turn.Turn {
	z := r3.Unit(forward)
	x := r3.Unit(r3.Cross(z, above)) // forward × up = right
	return turn.FromRows(x, r3.Cross(z, x), z)
}

// steady is the lens of picture i without its restlessness.
func (r *Run) steady(i int) optics {
	scale, dx, dy := r.e.crop(i)
	return r.e.Camera.optics(scale, dx, dy)
}

// crop is the scale and the shift of the centre that crops have brought.
func (e Evening) crop(i int) (scale, dx, dy float64) {
	scale = 1
	for n, c := range e.Handling.Crops {
		if c.Frame <= i {
			scale *= c.Factor
			dice := e.dice("crop", n)
			dx, dy = dx+20*(dice.Float64()-0.5), dy+20*(dice.Float64()-0.5)
		}
	}
	return scale, dx, dy
}

// lens is the lens of picture i at an instant, with everything that is restless
// about it.
func (r *Run) lens(i int, at time.Time) optics {
	e, u := r.e, r.e.through(at)
	scale, dx, dy := e.crop(i)
	dice := e.dice("wander", e.First+i)
	dx += e.Handling.Wander * dice.NormFloat64()
	dy += e.Handling.Wander * dice.NormFloat64()
	scale *= 1 + e.Handling.Breathing*u + e.Handling.BreathingJitter*dice.NormFloat64()
	return e.Camera.optics(scale, dx, dy)
}

// keepStars notes which stars StackedStanding keeps in the middle.
func (r *Run) keepStars() error {
	at := r.e.StartOf(0)
	sky, err := r.e.sky(at)
	if err != nil {
		return err
	}
	x, y := float64(r.e.Camera.Width-1)/2, float64(r.e.Camera.Height-1)/2
	r.starsKept = sky.ICRS(r.Attitude(0, at).Inverse().Apply(r.lens(0, at).ray(x, y)))
	return nil
}

// Clock is what the camera's clock says of picture i.
func (r *Run) Clock(i int) frame.Clock {
	step := r.e.Handling.StampStep
	stamp := r.e.StartOf(i).Add(r.e.Handling.ClockError)
	if step > 0 {
		stamp = stamp.Truncate(step)
	}
	return frame.Clock{Start: stamp, Exposure: r.e.Exposure, Step: step, Source: "simulated"}
}

// Metadata is what the camera writes beside picture i.
func (r *Run) Metadata(i int) frame.Metadata {
	c := r.e.Camera
	m := frame.Metadata{
		Clock: r.Clock(i), Zone: r.e.Zone,
		Lens: frame.Lens{FocalLengthMM: c.FocalLengthMM, EquivalentMM: c.EquivalentMM,
			PixelPitchUM: c.PixelPitchUM, FNumber: c.FNumber, Make: c.Make, Model: c.Model},
	}
	if r.e.Geotag {
		site := r.e.Site
		m.Place = &site
	}
	return m
}
