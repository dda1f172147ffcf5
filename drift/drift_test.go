package drift

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/catalog"
	"trueturn/ephem/turn"
)

type memory struct{ *bytes.Reader }

func (memory) Close() error { return nil }

func inMemory(name string, data []byte) Source {
	return Source{name, func() (io.ReadSeekCloser, error) { return memory{bytes.NewReader(data)}, nil }}
}

type panicking struct{ memory }

func (panicking) Seek(int64, int) (int64, error) { panic("a fault in a decoder") }

// What cannot be used must not keep the rest from being measured.
func TestUselessPicturesAreShotsWithACause(t *testing.T) {
	errMissing := errors.New("no such file")
	sources := []Source{
		inMemory("empty.jpg", nil),
		inMemory("text.png", []byte("this is a letter, not a picture")),
		{"missing.jpg", func() (io.ReadSeekCloser, error) { return nil, errMissing }},
		{"hostile.jpg", func() (io.ReadSeekCloser, error) { return panicking{}, nil }},
		inMemory("black.fits", encoded(t, frame.Plane{Width: 64, Height: 48, Pix: make([]float32, 64*48)})),
	}
	var told []string
	q, err := Measure(context.Background(), sources, Options{Progress: func(s Shot) { told = append(told, s.File) }})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]func(error) bool{
		"empty.jpg":   func(err error) bool { return errors.Is(err, frame.ErrBroken) },
		"text.png":    func(err error) bool { return errors.Is(err, frame.ErrNotPicture) },
		"missing.jpg": func(err error) bool { return errors.Is(err, errMissing) },
		"hostile.jpg": func(err error) bool { return errors.Is(err, ErrFault) },
		"black.fits":  func(err error) bool { return errors.Is(err, ErrNoStars) && err.Error() == starless(star.Dark).Error() },
	}
	for _, s := range q.Shots {
		if !want[s.File](s.Err) {
			t.Errorf("%s: %v", s.File, s.Err)
		}
		if s.Unread() != (s.File != "black.fits") {
			t.Errorf("%s: unread = %v", s.File, s.Unread())
		}
	}
	if len(told) != len(sources) {
		t.Errorf("progress told of %v", told)
	}
}

func encoded(t *testing.T, p frame.Plane) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := frame.Encode(&buf, p, frame.Metadata{}, frame.FITS); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func TestMeasureStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Measure(ctx, []Source{inMemory("a", nil)}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
}

// view is a picture of the sky made without a lens's faults or any code under test.
type view struct {
	attitude turn.Turn
	at       time.Time
	stars    int    // how many, brightest first
	hot      []spot // pixels that shine in every picture
	noisePx  float64
	seed     uint64
}

const (
	viewWidth, viewHeight = 4032, 3024
	viewFocalPx           = 13400.0
)

func (v view) shot() Shot {
	r := rand.New(rand.NewPCG(v.seed, 9))
	s := Shot{File: v.at.Format("150405"), Clock: &frame.Clock{Start: v.at}, Width: viewWidth, Height: viewHeight,
		Field: star.Field{Width: viewWidth, Height: viewHeight}}
	add := func(x, y, flux float64) {
		s.Field.Stars = append(s.Field.Stars, star.Star{X: x + v.noisePx*r.NormFloat64(), Y: y + v.noisePx*r.NormFloat64(),
			XErr: v.noisePx, YErr: v.noisePx, Flux: flux, FWHM: 3, Elongation: 1})
	}
	for _, c := range catalog.Stars() {
		d := v.attitude.Apply(c.Direction)
		if len(s.Field.Stars) == v.stars {
			break
		}
		x, y := viewFocalPx*d.X/d.Z+(viewWidth-1)/2., viewFocalPx*d.Y/d.Z+(viewHeight-1)/2.
		if d.Z > 0.5 && x > 0 && y > 0 && x < viewWidth-1 && y < viewHeight-1 {
			add(x, y, math.Pow(10, -0.4*float64(c.Magnitude)))
		}
	}
	for _, h := range v.hot {
		add(h.x, h.y, 1)
	}
	return s
}

func looking(raDeg, decDeg float64) turn.Turn {
	z := ephem.Direction(unit.RAFromDeg(raDeg), unit.AngleFromDeg(decDeg))
	x := r3.Unit(r3.Cross(r3.Vec{Z: 1}, z))
	return turn.FromRows(x, r3.Cross(z, x), z)
}

func solved(t *testing.T, s Shot) Shot {
	t.Helper()
	s.solve(context.Background(), solve.Hint{FocalPx: viewFocalPx})
	if s.Solution == nil {
		t.Fatalf("%s: %v", s.File, s.Err)
	}
	return s
}

var evening = time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)

// A thin cloud leaves a handful of stars: too few for the whole sky, enough beside
// a solved neighbour. The standing camera moved against the stars meanwhile.
func TestAFewStarsAreSolvedFromANeighbour(t *testing.T) {
	const rightArcsec = 60 // 4 px of this lens: another star pattern would be off by degrees
	for _, stars := range []int{3, 4, 6, 11} {
		first := solved(t, view{attitude: looking(80, 10), at: evening, stars: 60, noisePx: 0.15}.shot())
		at := evening.Add(90 * time.Second)
		later := looking(80+90*360/86164.1, 10)
		clouded := view{attitude: later, at: at, stars: stars, noisePx: 0.15, seed: 2}.shot()
		clouded.Err = solve.ErrFewStars
		q, err := arrange(context.Background(), []Shot{clouded, first})
		if err != nil {
			t.Fatal(err)
		}
		s := q.Shots[1]
		if s.Solution == nil || s.Err != nil {
			t.Errorf("%d stars: not solved: %v", stars, s.Err)
			continue
		}
		if off := later.Inverse().Then(s.Solution.Attitude).Angle(); off.Sec() > rightArcsec*float64(viewWidth)/100 {
			t.Errorf("%d stars: off by %.0f″", stars, off.Sec())
		}
		if ra, dec := s.Solution.RADec(); math.Abs(ra.Deg()-80-90*360/86164.1)*3600 > rightArcsec || math.Abs(dec.Deg()-10)*3600 > rightArcsec {
			t.Errorf("%d stars: centre %.4f %.4f", stars, ra.Deg(), dec.Deg())
		}
	}
}

// A handful of spots that are no stars must not be taken for some.
func TestAFewSpotsAreNotForcedOntoANeighbour(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	first := solved(t, view{attitude: looking(80, 10), at: evening, stars: 60, noisePx: 0.15}.shot())
	for range 100 {
		var junk []spot
		for range 3 + r.IntN(8) {
			junk = append(junk, spot{r.Float64() * viewWidth, r.Float64() * viewHeight})
		}
		s := view{attitude: looking(80, 10), at: evening.Add(20 * time.Second), hot: junk, noisePx: 0.15}.shot()
		s.Err = solve.ErrFewStars
		q, err := arrange(context.Background(), []Shot{first, s})
		if err != nil {
			t.Fatal(err)
		}
		if q.Shots[1].Solution != nil {
			t.Fatalf("%d random spots were recognised, log odds %.1f", len(junk), q.Shots[1].Solution.LogOdds)
		}
	}
}

func TestShotsAreInTheOrderOfTime(t *testing.T) {
	noClock := Shot{File: "a"}
	late, early := Shot{File: "b", Clock: &frame.Clock{Start: evening.Add(time.Minute)}}, Shot{File: "c", Clock: &frame.Clock{Start: evening}}
	q, err := arrange(context.Background(), []Shot{noClock, late, early})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range q.Shots {
		got = append(got, s.File)
	}
	if want := []string{"c", "b", "a"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Hot pixels stand while the sky moves; stars of a tracking mount stand with the
// sky, and must stay stars.
func TestStandingSpots(t *testing.T) {
	hot := []spot{{500.3, 700.1}, {2000.9, 1500.2}, {3500, 2800}}
	for _, c := range []struct {
		name     string
		degrees  float64 // between pictures
		wantStay bool
	}{{"standing camera", 0.5, false}, {"tracked", 0, true}} {
		var shots []Shot
		for i := range 4 {
			at := evening.Add(time.Duration(i) * 2 * time.Minute)
			shots = append(shots, solved(t, view{attitude: looking(80+c.degrees*float64(i), 10), at: at, stars: 50, hot: hot, noisePx: 0.1, seed: uint64(i)}.shot()))
		}
		q, err := arrange(context.Background(), shots)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range q.Shots {
			left := 0
			for _, o := range s.Field.Stars {
				if stands(hot, o.X, o.Y) {
					left++
				}
			}
			if c.wantStay && (left != len(hot) || len(s.Field.Stars) != 53) {
				t.Errorf("%s: %d of %d spots left, %d stars", c.name, left, len(hot), len(s.Field.Stars))
			}
			if !c.wantStay && (left > 0 || len(s.Field.Suspects) != len(hot) || len(s.Field.Stars) != 50) {
				t.Errorf("%s: %d hot pixels pass for stars, %d stars", c.name, left, len(s.Field.Stars))
			}
			for _, g := range s.Solution.Sightings {
				if o := s.Field.Stars[g.Star]; o.X != g.X || o.Y != g.Y {
					t.Fatalf("%s: a sighting points at another star", c.name)
				}
			}
		}
	}
}

func TestCopiesAreLeftOut(t *testing.T) {
	a := solved(t, view{attitude: looking(80, 10), at: evening, stars: 50, noisePx: 0.1}.shot())
	b := a
	b.File = "copy"
	c := solved(t, view{attitude: looking(80, 10), at: evening, stars: 50, noisePx: 0.1, seed: 5}.shot()) // another picture within the same second
	c.File = "second"
	q, err := arrange(context.Background(), []Shot{a, b, c})
	if err != nil {
		t.Fatal(err)
	}
	left := 0
	for _, s := range q.Shots {
		if s.LeftOut != "" {
			left++
		}
	}
	if left != 1 {
		t.Errorf("%d pictures left out, want the copy alone", left)
	}
}

func TestFocalLengthFromFlags(t *testing.T) {
	for _, c := range []struct {
		name  string
		flags LensFlags
		want  float64
	}{
		{"scale", LensFlags{ScaleArcsecPerPx: 20.626480625}, 10000},
		{"focal length and pitch", LensFlags{FocalLengthMM: 50, PixelPitchUM: 5}, 10000},
		{"equivalent", LensFlags{EquivalentMM: 43.2666}, 5000}, // 4000 × 3000: a diagonal of 5000 px
		{"focal length alone tells nothing", LensFlags{FocalLengthMM: 50}, 0},
	} {
		if px, _ := c.flags.focalPx(4000, 3000); math.Abs(px-c.want) > 1e-4*c.want {
			t.Errorf("%s: %.3f px, want %.3f", c.name, px, c.want)
		}
	}
}

// The horizon frame's attitudes must agree with a camera laid out in it: no code of
// the fit takes part in the truth.
func TestHorizonFrame(t *testing.T) {
	const noiseArcsec = 3 // 0.1 px of 15″ over √50 stars, some thirty times that about the line of sight
	site, _ := ephem.NewSite(-33.9, 18.4, 100)
	air := ephem.StandardAir(100)
	var shots []Shot
	var truth []turn.Turn
	for i := range 3 {
		at := evening.Add(time.Duration(i) * 5 * time.Minute)
		sky, err := ephem.NewSky(site, air, at)
		if err != nil {
			t.Fatal(err)
		}
		icrs := looking(20, -40)
		// The camera stands so that the catalogue places at and beside the middle are
		// where icrs has them; a camera of a few degrees hardly feels refraction's stretch.
		z := icrs.Inverse().Apply(r3.Vec{Z: 1})
		s := view{attitude: icrs, at: at, stars: 50, noisePx: 0.1, seed: uint64(i)}.shot()
		shots = append(shots, solved(t, s))
		truth = append(truth, holdingOf(sky.Apparent(z), sky.Apparent(icrs.Inverse().Apply(r3.Unit(r3.Vec{X: 0.02, Z: 1})))))
	}
	q, err := arrange(context.Background(), shots)
	if err != nil {
		t.Fatal(err)
	}
	h, err := q.Horizon(site, air)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range h.Sights {
		middle := truth[i].Inverse().Apply(r3.Vec{Z: 1})
		if off := r3.Norm(r3.Sub(middle, s.Attitude.Pose.Centre())) * 206265; off > 5*noiseArcsec {
			t.Errorf("picture %d: pointing off by %.1f″", i, off)
		}
	}
}

// holdingOf is the attitude with the line of sight z and b on its x axis.
func holdingOf(z, b r3.Vec) turn.Turn {
	y := r3.Unit(r3.Cross(z, b))
	return turn.FromRows(r3.Cross(y, z), y, z)
}
