package solve

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/star"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog"
	"trueturn/ephem/turn"
)

// Every star recognised is the one it was drawn from, nearly every lone star is recognised, and what is no star is let be.
func TestEveryStarIsTheOneItIs(t *testing.T) {
	const (
		rightShare = 0.99 // the rest: pairs closer than their images are wide
		foundShare = 0.90 // the rest: crowded ones, which are left out
		// Of spots anywhere: the chance that one of 100 stars stands within three standard errors, 1.5 px at least.
		takenShare = 0.01
	)
	var right, found, taken, stars, junk, sightings float64
	for _, mirrored := range []bool{false, true} {
		r := rand.New(rand.NewPCG(81, 1))
		for range 15 {
			d := scenery{4032, 3024, 15 + 50*r.Float64(), 100, 0.1, 40, 0.2, 0.3, 0.01, mirrored, 0}.draw(r)
			sol, err := Solve(context.Background(), d.field, Hint{FocalPx: d.focalPx})
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range d.cat {
				if c >= 0 {
					stars++
				} else {
					junk++
				}
			}
			for _, s := range sol.Sightings {
				sightings++
				switch truth := d.cat[s.Star]; {
				case truth == s.Catalog:
					right, found = right+1, found+1
				case truth < 0:
					taken++
				}
				if s.Direction != catalog.Stars()[s.Catalog].Direction {
					t.Fatal("a sighting's direction is not its star's")
				}
				if o := d.field.Stars[s.Star]; s.Y != o.Y || s.X != o.X && s.X != 4031-o.X {
					t.Fatalf("a sighting at %.1f, %.1f is of the spot at %.1f, %.1f", s.X, s.Y, o.X, o.Y)
				}
			}
		}
	}
	if right < rightShare*(sightings-taken) {
		t.Errorf("%g of %g sightings are of the right star", right, sightings-taken)
	}
	if found < foundShare*stars {
		t.Errorf("%g of %g stars were recognised", found, stars)
	}
	if taken > takenShare*junk {
		t.Errorf("%g of %g spots that are no stars were taken for some", taken, junk)
	}
}

// Of two stars expected beside one spot the nearer has it, in whichever order they come; a spot beyond reach is nobody's.
func TestTheNearerStarHasTheSpot(t *testing.T) {
	sc := newScene(star.Field{Width: 1000, Height: 800, Stars: []star.Star{{X: 300, Y: 200, XErr: 1, YErr: 1}, {X: 700, Y: 500, XErr: 1, YErr: 1}}})
	exp := []expected{{302, 200, 11}, {300, 201, 12}, {300, 203, 13}, {700, 506, 14}}
	for range exp {
		exp = append(exp[1:], exp[0])
		ss := sc.grid.match(&sc, exp, 5)
		if len(ss) != 1 || ss[0].Catalog != 12 || ss[0].Star != 0 {
			t.Errorf("from %v: %+v, want star 12 at the first spot alone", exp, ss)
		}
	}
}

// Whitening makes of errors with a covariance independent ones of size one: W·C·Wᵀ = 1. A mirrored picture's covariance has
// the other sign.
func TestWhitening(t *testing.T) {
	const extra, rounding = 0.3, 1e-12
	s := Sighting{VarX: 2, VarY: 0.7, CovXY: -0.9}
	w := s.whitening(extra)
	var cols [2][2]float64
	cols[0][0], cols[0][1] = w.of(1, 0)
	cols[1][0], cols[1][1] = w.of(0, 1)
	c := [2][2]float64{{s.VarX + extra, s.CovXY}, {s.CovXY, s.VarY + extra}}
	for i := range 2 {
		for k := range 2 {
			sum := 0.0
			for a := range 2 {
				for b := range 2 {
					sum += cols[a][i] * c[a][b] * cols[b][k]
				}
			}
			if want := map[bool]float64{true: 1}[i == k]; math.Abs(sum-want) > rounding {
				t.Errorf("whitened covariance %d, %d is %.3g, want %g", i, k, sum, want)
			}
		}
	}
	sc := newScene(star.Field{Width: 100, Height: 80, Stars: []star.Star{{X: 30, Y: 20, XErr: 1, YErr: 1, XYCov: 0.4}}})
	for _, rows := range []bool{false, true} {
		want := spot{x: 69, y: 20, vx: 1, vy: 1, cxy: -0.4, fit: true}
		if rows {
			want.x, want.y = 30, 59
		}
		if got := sc.reversed(rows).spots[0]; got != want {
			t.Errorf("rows %v: reversed to %+v, want %+v", rows, got, want)
		}
	}
}

// Where the picture looks and which way is up, worked out by hand: a camera at right ascension 5h, declination +20°, rolled so that
// the position angle of up is 30° (north through east). Rows stored from the bottom change neither.
func TestCentreAndRoll(t *testing.T) {
	const raDeg, decDeg, rollDeg = 75, 20, 30
	sa, ca := math.Sincos(raDeg * math.Pi / 180)
	sd, cd := math.Sincos(decDeg * math.Pi / 180)
	sr, cr := math.Sincos(rollDeg * math.Pi / 180)
	z, east, north := r3.Vec{X: cd * ca, Y: cd * sa, Z: sd}, r3.Vec{X: -sa, Y: ca}, r3.Vec{X: -sd * ca, Y: -sd * sa, Z: cd}
	up := r3.Add(r3.Scale(cr, north), r3.Scale(sr, east))
	a := turn.FromRows(r3.Cross(r3.Scale(-1, up), z), r3.Scale(-1, up), z)
	for _, flipped := range []bool{false, true} {
		d := lookingAlong(a, 4032, 3024, 8000, 60)
		if flipped {
			for i := range d.field.Stars {
				d.field.Stars[i].Y = 3023 - d.field.Stars[i].Y
			}
		}
		sol, err := Solve(context.Background(), d.field, Hint{FocalPx: 8000, RowOrderFree: true})
		if err != nil {
			t.Fatal(err)
		}
		ra, dec := sol.RADec()
		const leftDeg = 0.001 // places to 0.01 px of 26″, sixty of them
		if math.Abs(ra.Deg()-raDeg) > leftDeg || math.Abs(dec.Deg()-decDeg) > leftDeg || math.Abs(sol.Roll().Deg()-rollDeg) > leftDeg {
			t.Errorf("flipped %v: at %.4f° %.4f°, roll %.4f°", flipped, ra.Deg(), dec.Deg(), sol.Roll().Deg())
		}
		if sol.RowsFlipped != flipped || sol.Mirrored {
			t.Errorf("flipped %v: found to be %v, mirrored %v", flipped, sol.RowsFlipped, sol.Mirrored)
		}
		if scale := sol.Lens.Scale().Sec(); math.Abs(scale-25.783) > 0.001 { // atan(1/8000)
			t.Errorf("%.4f″ a pixel, want 25.783", scale)
		}
	}
}

// lookingAlong is a clear, exact picture of so many stars.
func lookingAlong(a turn.Turn, width, height int, focalPx float64, stars int) drawn {
	d := drawn{attitude: a, focalPx: focalPx, field: star.Field{Width: width, Height: height}}
	for i, c := range catalog.Stars() {
		v := a.Apply(c.Direction)
		x, y := focalPx*v.X/v.Z+float64(width-1)/2, focalPx*v.Y/v.Z+float64(height-1)/2
		if v.Z > 0.2 && x > 0 && y > 0 && x < float64(width-1) && y < float64(height-1) && len(d.cat) < stars {
			d.field.Stars, d.cat = append(d.field.Stars, star.Star{X: x, Y: y, XErr: 0.01, YErr: 0.01}), append(d.cat, int32(i))
		}
	}
	return d
}

// A few stars are enough beside a neighbour, within the reach stated and not beyond; spots that are no stars are not forced onto it.
func TestSolveBesideANeighbour(t *testing.T) {
	r := rand.New(rand.NewPCG(82, 2))
	for _, stars := range []int{3, 5, 10, 30} {
		a := randomTurn(r)
		d := lookingAlong(a, 4032, 3024, 8000, stars)
		lens := Lens{Width: 4032, Height: 3024, FocalPx: 8000}
		aside := a.Then(turn.Exp(r3.Vec{X: 0.006, Y: -0.0045})) // 0.43°, 60 px
		h := Hint{Near: []Pose{{randomTurn(r), lens}, {aside, lens}}, NearWithin: unit.AngleFromDeg(0.5), NeighbourOnly: true}
		sol, err := Solve(context.Background(), d.field, h)
		if err != nil {
			t.Errorf("%d stars: %v", stars, err)
			continue
		}
		if sol.Blind {
			t.Errorf("%d stars: found without the neighbour", stars)
		}
		for _, s := range sol.Sightings {
			if d.cat[s.Star] != s.Catalog {
				t.Errorf("%d stars: one is taken for another", stars)
			}
		}
		const leftRad = 1e-5 // a third of the 0.01 px of error, over few stars of whatever baseline
		if off := r3.Norm(r3.Sub(a.Inverse().Apply(r3.Vec{Z: 1}), sol.Centre())); off > leftRad {
			t.Errorf("%d stars: %.2g rad off", stars, off)
		}
		h.Near = []Pose{{a.Then(turn.Exp(r3.Vec{X: 0.04})), lens}} // 2.3°
		if _, err := Solve(context.Background(), d.field, h); err == nil {
			t.Errorf("%d stars: recognised 2.3° off, where 0.5° was the reach", stars)
		}
	}
}

// Followed by their own stars: Refit recovers three small turns and a scale that breathes, keeps the lens, and drops what fits nothing.
func TestRefitRecoversWhatWentIn(t *testing.T) {
	r := rand.New(rand.NewPCG(83, 3))
	g := rig{lens: tele(), attitudes: around(1, 5, r), statedPx: 1e-4, sky: turn.Identity()}
	g.stars = skyOver(Lens{Width: 4032, Height: 3024, FocalPx: 12000}, 80, r)
	v := g.views(r)[0].Solution
	ss := v.Sightings
	ss[0].X += 40
	from := v.Pose
	from.Lens.FocalPx = 24000 * 1.0005
	sol, err := Refit(from, ss)
	if err != nil {
		t.Fatal(err)
	}
	// The prior of the scale (10⁻³) weighs little beside 80 stars to 10⁻⁴ px.
	const leftRad, leftShare = 1e-9, 1e-8
	if off := turnBy(g.attitudes[0], sol.Attitude); r3.Norm(off) > leftRad {
		t.Errorf("attitude off by %.2g", off)
	}
	if share := sol.Lens.FocalPx/24000 - 1; math.Abs(share) > leftShare {
		t.Errorf("scale off by %.2g", share)
	}
	if len(sol.Sightings) != len(ss)-1 {
		t.Errorf("%d of %d stars kept, want all but the wrong one", len(sol.Sightings), len(ss))
	}
	for name, few := range map[string][]Sighting{"none": nil, "two": ss[1:3]} {
		if _, err := Refit(from, few); !errors.Is(err, ErrFewStars) || amiss.Ways(err) == nil || err.Error() == "" {
			t.Errorf("%s: %v, want ErrFewStars with a way out", name, err)
		}
	}
}

// A star list that makes no sense is refused or its sound part used, and ends; it is never recognised as something.
func TestBrokenFields(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	sound := func() star.Field {
		return lookingAlong(turn.Identity(), 4032, 3024, 8000, 40).field
	}
	for _, c := range []struct {
		name   string
		field  star.Field
		hint   Hint
		solved bool
	}{
		{"nothing", star.Field{}, Hint{}, false},
		{"no size", star.Field{Stars: sound().Stars}, Hint{}, false},
		{"no errors", with(sound(), func(s *star.Star) { s.XErr, s.YErr = 0, 0 }), Hint{}, false},
		{"errors not numbers", with(sound(), func(s *star.Star) { s.XErr = nan }), Hint{}, false},
		{"errors without end", with(sound(), func(s *star.Star) { s.YErr = inf }), Hint{}, false},
		{"places not numbers", with(sound(), func(s *star.Star) { s.X = nan }), Hint{}, false},
		{"places without end", with(sound(), func(s *star.Star) { s.Y = -inf }), Hint{}, false},
		{"all at one place", with(sound(), func(s *star.Star) { s.X, s.Y = 2000, 1500 }), Hint{}, false},
		{"all in one row", with(sound(), func(s *star.Star) { s.Y = 1500 }), Hint{}, false},
		{"hot pixels all", with(sound(), func(s *star.Star) { s.Flags |= star.Hot }), Hint{}, false},
		{"hint not a number", sound(), Hint{FocalPx: nan}, true},
		{"hint without end", sound(), Hint{FocalPx: inf}, true},
		{"a star not a number", withOne(sound(), func(s *star.Star) { s.X = nan }), Hint{}, true},
		{"a star far outside", withOne(sound(), func(s *star.Star) { s.X = 1e9 }), Hint{}, true},
		{"a star's errors correlated beyond reason", withOne(sound(), func(s *star.Star) { s.XYCov = 1 }), Hint{}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			sol, err := Solve(context.Background(), c.field, c.hint)
			if solved := err == nil; solved != c.solved {
				t.Fatalf("solved: %v (%v), want %v", solved, err, c.solved)
			}
			if err != nil && !errors.Is(err, ErrFewStars) && !errors.Is(err, ErrNoMatch) {
				t.Errorf("unexpected cause: %v", err)
			}
			if c.solved && !(sol.Covariance.At(0, 0) > 0 && sol.Lens.FocalPx > 7900 && sol.Lens.FocalPx < 8100) {
				t.Errorf("a poor solution: %+v", sol.Pose)
			}
		})
	}
}

func with(f star.Field, spoil func(*star.Star)) star.Field {
	for i := range f.Stars {
		spoil(&f.Stars[i])
	}
	return f
}

func withOne(f star.Field, spoil func(*star.Star)) star.Field {
	spoil(&f.Stars[len(f.Stars)/2])
	return f
}

// A search that is told to stop stops, with the context's error.
func TestSolveStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	d := scenery{4032, 3024, 30, 0, 0, 100, 0.2, 0.3, 0, false, 0}.draw(rand.New(rand.NewPCG(84, 4)))
	if _, err := Solve(ctx, d.field, Hint{}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want context.Canceled", err)
	}
}

// What keeps a picture from being recognised is said with the way out, which of a field too narrow to hold known stars is another one.
func TestNoMatchNamesTheWayOut(t *testing.T) {
	d := scenery{4032, 3024, 30, 0, 0, 20, 0.2, 0.3, 0, false, 0}.draw(rand.New(rand.NewPCG(85, 5)))
	hints := map[float64]string{}
	for _, focalPx := range []float64{9000, 90000} { // 31°, 3.2°
		_, err := Solve(context.Background(), d.field, Hint{FocalPx: focalPx})
		if !errors.Is(err, ErrNoMatch) {
			t.Fatalf("%v, want ErrNoMatch with a way out", err)
		}
		hints[focalPx] = fmt.Sprint(amiss.Ways(err))
	}
	if hints[9000] == hints[90000] || hints[9000] == "[]" {
		t.Errorf("the way out is %q for a usual field and %q for a narrow one", hints[9000], hints[90000])
	}
}
