package track_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/star"
	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// field is an invented narrow field: stars about a direction, seen by a pinhole camera.
type field struct {
	raDeg, decDeg, rollDeg float64
	focalPx                float64
	stars                  []r3.Vec
	dice                   *rand.Rand
}

const wide, high = 1600, 1200

func newField(n int, seed uint64) *field {
	f := &field{raDeg: 100, decDeg: 35, rollDeg: 70, focalPx: 127000, dice: rand.New(rand.NewPCG(seed, 5))}
	f.scatter(n)
	return f
}

// scatter strews stars over the picture.
func (f *field) scatter(n int) {
	f.stars = nil
	back := f.camera().Inverse()
	for range n { // within the picture, at whatever roll
		d := r3.Vec{X: (f.dice.Float64() - 0.5) * 0.6 * wide, Y: (f.dice.Float64() - 0.5) * 0.6 * high, Z: f.focalPx}
		f.stars = append(f.stars, r3.Unit(back.Apply(d)))
	}
}

// camera is the attitude for a direction and roll, written down apart from the package's: rows right, down, forward.
func (f *field) camera() turn.Turn {
	a, d, r := f.raDeg*math.Pi/180, f.decDeg*math.Pi/180, f.rollDeg*math.Pi/180
	z := r3.Vec{X: math.Cos(d) * math.Cos(a), Y: math.Cos(d) * math.Sin(a), Z: math.Sin(d)}
	n := r3.Vec{X: -math.Sin(d) * math.Cos(a), Y: -math.Sin(d) * math.Sin(a), Z: math.Cos(d)}
	e := r3.Vec{X: -math.Sin(a), Y: math.Cos(a)}
	down := r3.Sub(r3.Scale(-math.Cos(r), n), r3.Scale(math.Sin(r), e))
	right := r3.Sub(r3.Scale(math.Sin(r), n), r3.Scale(math.Cos(r), e))
	return turn.FromRows(right, down, z)
}

// picture shows the field to a camera, its stars off by 0.1 px; while the motor stands stars trail westward from early to
// late (seconds about the picture's instant).
func (f *field) picture(c turn.Turn, mid time.Time, exposureS float64, standing bool) track.Picture {
	p := track.Picture{Mid: mid, Exposure: time.Duration(exposureS * float64(time.Second)), Field: star.Field{Width: wide, Height: high}}
	pole, err := ephem.PoleOfDate(mid)
	if err != nil {
		panic(err)
	}
	at := func(s r3.Vec, seconds float64) (x, y float64) {
		if standing { // the sky turns by −ω about the pole
			s = turn.About(pole, unit.Angle(-ephem.SiderealRadPerS*seconds)).Apply(s)
		}
		d := c.Apply(s)
		return f.focalPx*d.X/d.Z + (wide-1)/2.0, f.focalPx*d.Y/d.Z + (high-1)/2.0
	}
	for i, s := range f.stars {
		x, y := at(s, 0)
		x0, y0 := at(s, -exposureS/2)
		x1, y1 := at(s, exposureS/2)
		if x < 3 || y < 3 || x > wide-4 || y > high-4 {
			continue
		}
		p.Field.Stars = append(p.Field.Stars, star.Star{X: x + 0.1*f.dice.NormFloat64(), Y: y + 0.1*f.dice.NormFloat64(), XErr: 0.1, YErr: 0.1, Flux: 1 / float64(i+1),
			TrailPx: math.Hypot(x1-x0, y1-y0), TrailPxErr: 0.3, Angle: unit.Angle(math.Mod(math.Atan2(y1-y0, x1-x0)+2*math.Pi, math.Pi)), AngleErr: 0.005})
	}
	return p
}

var began = time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)

func after(s float64) time.Time { return began.Add(time.Duration(s * float64(time.Second))) }

// drifted is the camera of a mount that is off, so many seconds after the first picture.
func (f *field) drifted(seconds float64) turn.Turn {
	return f.camera().Then(turn.Exp(r3.Scale(seconds*1e-6, r3.Vec{X: 1, Y: -2, Z: 4})))
}

// run is eight tracked pictures, the camera turning a little about some axis meanwhile.
func (f *field) run() (pics []track.Picture, turns []turn.Turn) {
	for i := range 8 {
		c := f.drifted(float64(30 * i))
		pics, turns = append(pics, f.picture(c, after(float64(30*i)), 5, false)), append(turns, c)
	}
	return pics, turns
}

func (f *field) given() track.Given {
	return track.Given{RA: unit.RAFromDeg(f.raDeg), Dec: unit.AngleFromDeg(f.decDeg), FocalPx: f.focalPx, FocalShare: 0.02}
}

func told(g track.Given, rollDeg float64) track.Given {
	roll := unit.AngleFromDeg(rollDeg)
	g.Roll = &roll
	return g
}

// TestFollowTurns: the turns among the stars come out within their stated errors, whatever the number of stars.
func TestFollowTurns(t *testing.T) {
	for _, n := range []int{8, 20, 100} {
		f := newField(n, uint64(n))
		pics, turns := f.run()
		out, err := track.Follow(context.Background(), pics, told(f.given(), f.rollDeg))
		if err != nil {
			t.Fatal(n, err)
		}
		var chi2 float64
		for i, s := range out.Solutions {
			if s == nil {
				t.Fatalf("%d stars, picture %d: %v", n, i, out.Errs[i])
			}
			ref := out.Reference
			d := turns[ref].Inverse().Then(turns[i]).Inverse().Then(out.Solutions[ref].Attitude.Inverse().Then(s.Attitude)).Log()
			// The difference of two attitudes is compared: twice one's variance.
			chi2 += (d.X*d.X/s.Covariance.At(0, 0) + d.Y*d.Y/s.Covariance.At(1, 1) + d.Z*d.Z/s.Covariance.At(2, 2)) / 2 / 3 / 7
		}
		// Mean of 21 squared pulls; few stars make the stated errors cautious.
		const least, most = 0.15, 2.2
		if chi2 < least || chi2 > most {
			t.Errorf("%d stars: mean squared pull %.2f", n, chi2)
		}
	}
}

// TestRollShown: trails with what came before or after them, or two stands without trails, tell the roll all round.
func TestRollShown(t *testing.T) {
	for _, rollDeg := range []float64{0, 70, 179, 250, 359} {
		for _, c := range []struct {
			name string
			add  func(f *field, pics []track.Picture) []track.Picture
		}{
			{"a trail at the end", func(f *field, pics []track.Picture) []track.Picture {
				return append(pics, f.stood(215, 5, 8))
			}},
			{"a trail at the beginning", func(f *field, pics []track.Picture) []track.Picture {
				return append([]track.Picture{f.stood(-20, 5, -8)}, pics...)
			}},
			{"two whose trails nobody measured", func(f *field, pics []track.Picture) []track.Picture {
				return untold(append(pics, f.stood(225, 5, 10), f.stood(235, 5, 20)))
			}},
			{"two short ones", func(f *field, pics []track.Picture) []track.Picture {
				return append(pics, f.stood(225, 0.1, 10), f.stood(235, 0.1, 20))
			}},
		} {
			f := newField(40, 3)
			f.rollDeg = rollDeg
			pics, _ := f.run()
			out, err := track.Follow(context.Background(), c.add(f, pics), f.given())
			if err != nil {
				t.Errorf("%s, roll %g°: %v", c.name, rollDeg, err)
				continue
			}
			off := math.Abs(math.Remainder(out.Roll.Deg()-rollDeg, 360))
			if off > 3*out.RollSigma.Deg() || out.RollSigma.Deg() > 1 || !out.RollShown || len(out.Untracked) == 0 || out.Untracked[len(out.Untracked)-1] != stoodLast(c.name) {
				t.Errorf("%s: roll %.2f° ± %.2f°, want %g°; with the motor off: %v", c.name, out.Roll.Deg(), out.RollSigma.Deg(), rollDeg, out.Untracked)
			}
		}
	}
}

// stoodLast is the last picture that the motor stood in.
func stoodLast(name string) int {
	switch name {
	case "a trail at the beginning":
		return 0
	case "a trail at the end":
		return 8
	}
	return 9
}

// untold takes away what tables of positions do not tell.
func untold(pics []track.Picture) []track.Picture {
	for _, p := range pics {
		for k := range p.Field.Stars {
			s := &p.Field.Stars[k]
			s.TrailPx, s.TrailPxErr, s.Angle, s.AngleErr = 0, 0, 0, 0
		}
	}
	return pics
}

// TestMirrored: left and right exchanged are noticed by the way the field turns while the motor stands, in both
// hemispheres, and upright pictures are not taken for mirrored.
func TestMirrored(t *testing.T) {
	for _, decDeg := range []float64{-50, -20, 35, 70} {
		for _, mirrored := range []bool{false, true} {
			f := newField(40, 3)
			f.decDeg = decDeg
			f.scatter(40)
			pics, turns := f.run()
			pics = append(pics, f.stood(230, 5, 20)) // so long that the turn shows at 20° too
			if mirrored {
				for _, p := range pics {
					for k := range p.Field.Stars {
						s := &p.Field.Stars[k]
						s.X, s.Angle = wide-1-s.X, unit.Angle(math.Mod(2*math.Pi-s.Angle.Rad(), math.Pi))
					}
				}
			}
			out, err := track.Follow(context.Background(), pics, f.given())
			if err != nil {
				t.Fatal(decDeg, err)
			}
			first, last := out.Solutions[0], out.Solutions[7]
			if !out.HandKnown {
				t.Errorf("declination %g°: the hand is not known", decDeg)
			}
			if first.Mirrored != mirrored {
				t.Errorf("declination %g°: mirrored %v, want %v", decDeg, first.Mirrored, mirrored)
			}
			moved := first.Attitude.Inverse().Then(last.Attitude).Log()
			want := turns[0].Inverse().Then(turns[7]).Log()
			if off := r3.Sub(moved, want); math.Hypot(off.X, off.Y) > 0.1*math.Hypot(want.X, want.Y) {
				t.Errorf("declination %g°, mirrored %v: the camera turned by %.0f, want %.0f µrad", decDeg, mirrored, r3.Scale(1e6, moved), r3.Scale(1e6, want))
			}
		}
	}
}

// TestHandUnknown: near the equator a standing camera's field hardly turns, and that is told, not guessed.
func TestHandUnknown(t *testing.T) {
	f := newField(40, 3)
	f.decDeg = 1
	f.scatter(40)
	pics, _ := f.run()
	out, err := track.Follow(context.Background(), append(pics, f.stood(230, 5, 20)), f.given())
	if err != nil || out.HandKnown || !out.RollShown {
		t.Errorf("hand known %v, roll shown %v: %v", out.HandKnown, out.RollShown, err)
	}
}

// stood is a picture in whose middle the motor has stood for so many seconds, or stands for as many more.
func (f *field) stood(atS, exposureS, stoodS float64) track.Picture {
	pole, _ := ephem.PoleOfDate(after(atS))
	// A standing camera falls behind the stars: seen from them it turns eastward about the pole.
	c := turn.About(pole, unit.Angle(-ephem.SiderealRadPerS*stoodS)).Then(f.drifted(atS - stoodS))
	return f.picture(c, after(atS), exposureS, true)
}

// TestFollowRefuses: another field among the pictures is told, and chance agreements are none.
func TestFollowRefuses(t *testing.T) {
	f, other := newField(30, 1), newField(60, 2) // the odd one shows the most stars
	pics, _ := f.run()
	pics[3] = other.picture(other.camera(), pics[3].Mid, 5, false)
	out, err := track.Follow(context.Background(), pics, told(f.given(), f.rollDeg))
	if err != nil || !errors.Is(out.Errs[3], track.ErrNotShared) || out.Errs[4] != nil {
		t.Errorf("the picture of another field: %v, %v; the next: %v", err, out.Errs[3], out.Errs[4])
	}
	linked := 0
	for seed := range uint64(200) {
		a, b := newField(12, 1000+2*seed), newField(12, 1001+2*seed)
		two := []track.Picture{a.picture(a.camera(), after(0), 5, false), b.picture(b.camera(), after(30), 5, false)}
		if out, err := track.Follow(context.Background(), two, told(a.given(), 0)); err == nil && out.Errs[0] == nil && out.Errs[1] == nil {
			linked++
		}
	}
	if linked > 0 { // at 1e-5 each
		t.Errorf("%d of 200 pairs of different fields were taken for one", linked)
	}
}

// TestFollowAsks: what is missing is asked for.
func TestFollowAsks(t *testing.T) {
	f := newField(30, 1)
	pics, _ := f.run()
	noScale := f.given()
	noScale.FocalPx = 0
	beside := f.given()
	beside.Dec = unit.AngleFromDeg(89.9)
	for _, c := range []struct {
		name  string
		pics  []track.Picture
		given track.Given
		is    error
		hint  string
	}{
		{"no scale", pics, noScale, track.ErrNoScale, string(amiss.Scale)},
		{"no roll", pics, f.given(), track.ErrNoRoll, "exposed for about 4 s"},
		{"no roll beside the pole", pics, beside, track.ErrNoRoll, string(amiss.Roll)},
		{"no stars", []track.Picture{{Mid: began, Field: star.Field{Width: wide, Height: high}}}, f.given(), track.ErrNoField, "richer field"},
		{"no pictures", nil, f.given(), track.ErrNoField, "richer field"},
	} {
		_, err := track.Follow(context.Background(), c.pics, c.given)
		if !errors.Is(err, c.is) || !strings.Contains(fmt.Sprint(amiss.Ways(err)), c.hint) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := track.Follow(ctx, pics, f.given()); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}
