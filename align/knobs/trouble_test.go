package knobs

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/ephem/turn"
)

// nudged is an attitude of a camera that was pressed, or slipped, by a small turn about its own axes.
type nudged struct {
	align.Attitude
	by r3.Vec
}

func (n nudged) Given(px float64) (turn.Turn, [3][3]float64) {
	c, cov := n.Attitude.Given(px)
	return c.Then(turn.Exp(n.by)), cov
}

func (p Picture) nudged(by r3.Vec) Picture {
	p.Attitude = nudged{p.Attitude, by}
	return p
}

// anyWay is a turn of a size about a direction of chance.
func anyWay(r *rand.Rand, size unit.Angle) r3.Vec {
	v := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
	return r3.Scale(size.Rad(), r3.Unit(v))
}

// TestHands: what the hand did wrong is said at once.
func TestHands(t *testing.T) {
	t.Parallel()
	min := unit.AngleFromMin
	for _, c := range []struct {
		name              string
		altitude, azimuth func(Instruction) unit.Angle // what the hand did, given what was asked
		kind              Kind
		says              string
	}{
		{"as asked, halfway", nil, func(i Instruction) unit.Angle { return i.Turn / 2 }, Turn, "turn the base"},
		{"the wrong way", nil, func(i Instruction) unit.Angle { return -i.Turn / 3 }, WrongWay, "the wrong way [the base turned"},
		{"the wrong way, a little", nil, func(i Instruction) unit.Angle { return min(-2) }, WrongWay, "the wrong way"},
		{"much too far", nil, func(i Instruction) unit.Angle { return i.Turn.Mul(1.5) }, Overshot, "too far ["},
		{"the other knob, to the better", func(i Instruction) unit.Angle { return min(-10) }, nil, Turn, "that was the tilt"},
		{"the other knob, to the worse", func(i Instruction) unit.Angle { return min(10) }, nil, WrongWay, "made it worse"},
		{"nothing", nil, nil, Turn, "turn the base so far [4"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, latitude := range []float64{46, -33} {
				g := newRig(t, latitude, 9, tilted(2, 10), func(e *simulate.Evening) {
					e.Mount.AltitudeError, e.Mount.AzimuthError = min(20), min(-48)
				})
				s := g.start(Options{})
				i := s.Instruct()
				if i.Knob != Azimuth || i.Turn < 0 || !strings.Contains(i.Says.String(), "[clockwise]") {
					t.Fatalf("asked %q", i.Says)
				}
				var altitude, azimuth unit.Angle
				if c.altitude != nil {
					altitude = c.altitude(i)
				}
				if c.azimuth != nil {
					azimuth = c.azimuth(i)
				}
				g.turn(altitude, azimuth)
				_, i = s.Next(g.picture())
				if i.Kind != c.kind || !strings.Contains(i.Says.String(), c.says) {
					t.Errorf("latitude %.0f°: %s: %s", latitude, i.Kind, i.Says)
				}
			}
		})
	}
}

// TestClutch: a hand on the clutch turns the camera about the axis and changes nothing.
func TestClutch(t *testing.T) {
	t.Parallel()
	min := unit.AngleFromMin
	for _, latitude := range []float64{20, 46, 65, -33, -60} {
		for _, c := range []struct {
			name   string
			asked  float64 // share of the turn asked that is made
			clutch unit.Angle
		}{
			{"alone", 0, min(25)},
			{"backward", 0, min(-100)},
			{"with the turn asked", 1, min(12)},
		} {
			g := newRig(t, latitude, 21, tilted(2, 250))
			s := g.start(Options{})
			i := s.Instruct()
			g.obeyShare(i, c.asked)
			g.swing(c.clutch)
			s, i = s.Next(g.picture())
			swung := i.Swung
			if i.Kind == Wait { // near the pole a second picture is asked for
				_, i = s.Next(g.picture())
				swung = c.clutch
			}
			if !i.Used || i.Kind == Remeasure || i.Kind == WrongWay {
				t.Errorf("latitude %.0f°, %s: %s: %s", latitude, c.name, i.Kind, i.Says)
				continue
			}
			if x := chi(i.Axis, g.truth()); x > fourSigma {
				t.Errorf("latitude %.0f°, %s: the axis is off by %.1f of its errors", latitude, c.name, x)
			}
			if d := (swung - c.clutch).Min(); math.Abs(d) > 3 { // a base 2° off level at 100′, the gear's wobble
				t.Errorf("latitude %.0f°, %s: swung by %.1f′, in truth %.1f′", latitude, c.name, swung.Min(), c.clutch.Min())
			}
		}
	}
}

func (g *rig) obeyShare(i Instruction, share float64) {
	if i.Knob == Altitude {
		g.turn(i.Turn.Mul(share), 0)
	} else {
		g.turn(0, i.Turn.Mul(share))
	}
}

// TestSwing: a swing of the axis asks for a fresh measurement at once.
func TestSwing(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{20, 46, 80, -33} {
		for _, deg := range []float64{4, -30} {
			g := newRig(t, latitude, 2)
			s := g.start(Options{})
			g.swing(unit.AngleFromDeg(deg))
			s, i := s.Next(g.picture())
			if i.Kind != Remeasure || !strings.Contains(i.Says.String(), "swung") {
				t.Errorf("latitude %.0f°, swung by %.0f°: %s: %s", latitude, deg, i.Kind, i.Says)
			}
			if _, i := s.Next(g.picture()); i.Kind != Remeasure {
				t.Errorf("and then: %s: %s", i.Kind, i.Says)
			}
		}
	}
}

// TestTouch: a picture of a camera under a hand is not used, and the next, of the camera let go,
// is.
func TestTouch(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	used, tries := 0, 0
	for seed := range uint64(12) {
		g := newRig(t, 50, seed)
		s := g.start(Options{})
		g.obeyShare(s.Instruct(), 1)
		s, _ = s.Next(g.picture())
		for range 3 {
			tries++
			touched, i := s.Next(g.picture().nudged(anyWay(r, unit.AngleFromMin(20))))
			if i.Used {
				used++
			} else if i.Kind != Wait || i.WhyNot.None() {
				t.Errorf("%s: %s", i.Kind, i.Says)
			}
			s, i = touched.Next(g.picture())
			if i.Kind == Remeasure {
				t.Fatalf("after one touch: %s", i.Says)
			}
			if x := chi(i.Axis, g.truth()); i.Used && x > fourSigma {
				t.Errorf("after the touch the axis is off by %.1f of its errors", x)
			}
		}
	}
	// A press that happens to turn the camera as a knob does cannot be told from it; the next
	// picture puts it right. With chance directions that is one in ten or fewer.
	if used > tries/6 {
		t.Errorf("%d of %d touched pictures were taken for turns of a knob", used, tries)
	}
}

// TestSlip: a camera that slipped on its holder voids the measurement, as soon as a second picture
// confirms it.
func TestSlip(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 8))
	noticed, tries := 0, 0
	for seed := range uint64(12) {
		g := newRig(t, 50, seed)
		begun := g.start(Options{})
		g.obeyShare(begun.Instruct(), 1)
		begun, _ = begun.Next(g.picture())
		one, two := g.picture(), g.picture()
		for range 10 {
			tries++
			by := anyWay(r, unit.AngleFromMin(30))
			s, _ := begun.Next(one.nudged(by))
			if _, i := s.Next(two.nudged(by)); i.Kind == Remeasure {
				noticed++
			}
		}
	}
	// A slip about the axis itself does no harm; about a knob's axis it looks like that knob
	// (package comment). Those within a tenth of a radian or so of either make up a fifth.
	if noticed < tries*7/10 {
		t.Errorf("only %d of %d slips by 30′ were noticed", noticed, tries)
	}
	t.Logf("%d of %d slips by 30′ noticed", noticed, tries)
}

// TestCameraKnocked: the simulator's own knock of the camera on the mount, by which the picture moves.
func TestCameraKnocked(t *testing.T) {
	t.Parallel()
	noticed := 0
	const tries = 12
	for seed := range uint64(tries) {
		g := newRig(t, 35, seed, func(e *simulate.Evening) {
			e.Mount.Knocks = []simulate.Knock{{Frame: measuring + 1, Size: unit.AngleFromMin(20), Camera: true}}
		})
		s := g.start(Options{})
		g.obeyShare(s.Instruct(), 1)
		s, _ = s.Next(g.picture())
		s, i := s.Next(g.picture())
		if i.Used {
			continue
		}
		if _, i = s.Next(g.picture()); i.Kind == Remeasure {
			noticed++
		}
	}
	// The knock turns the camera across its line of sight, which for a camera looking over the
	// meridian lies near the plane of hinge and axis: more of them look like a knob than in TestSlip.
	if noticed < tries/2 {
		t.Errorf("only %d of %d knocks were noticed", noticed, tries)
	}
	t.Logf("%d of %d knocks noticed", noticed, tries)
}

// TestCreep: a holder that gives way a little between any two pictures is noticed before it
// has done harm.
func TestCreep(t *testing.T) {
	t.Parallel()
	g := newRig(t, 50, 6)
	s := g.start(Options{})
	v := s.axisAt(s.Now).Direction
	way := r3.Scale(unit.AngleFromMin(2).Rad(), r3.Unit(r3.Add(v, r3.Vec{X: 0.7, Z: -0.6})))
	for n := 1; ; n++ {
		var i Instruction
		if s, i = s.Next(g.picture().nudged(r3.Scale(float64(n), way))); i.Kind == Remeasure {
			break
		}
		if n == 12 {
			t.Fatalf("after %d pictures and %d′: %s", n, 2*n, i.Says)
		}
	}
}

// TestEmptyState: a state nobody started says so in its own way, and breaks nothing.
func TestEmptyState(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 1)
	var s State
	for range 3 {
		s, _ = s.Next(g.picture())
	}
	if i := s.Instruct(); i.Kind != Remeasure {
		t.Errorf("%s: %s", i.Kind, i.Says)
	}
}
