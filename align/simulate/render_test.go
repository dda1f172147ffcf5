package simulate

import (
	"bytes"
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift/frame"
	"trueturn/ephem"
)

// small is a cheap evening to render: three megapixels, a sound mount.
func small(t testing.TB) Evening {
	t.Helper()
	site, err := ephem.NewSite(47.2, 11.4, 600)
	if err != nil {
		t.Fatal(err)
	}
	e, err := Practice(site, newYear)
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = Phone(115, 3)
	e.Camera.HotPixels = 0
	return e
}

func render(t testing.TB, e Evening, i int) frame.Plane {
	t.Helper()
	r, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := r.Frame(context.Background(), i)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// noiseless is an evening whose pictures hold nothing but stars.
func noiseless(e Evening) Evening {
	e.Camera.Noiseless, e.Camera.Pedestal, e.Camera.DarkCurrent = true, 0, 0
	e.Camera.FullScale = 1e7 // nothing saturates
	e.Conditions = Conditions{}
	return e
}

// centroid is the plain centre of light in a box about a place, its second
// moments and its sum.
type centroid struct{ x, y, xx, yy, xy, sum float64 }

func measure(p frame.Plane, x, y float64, half int) centroid {
	cx, cy := int(math.Round(x)), int(math.Round(y))
	var c centroid
	for j := cy - half; j <= cy+half; j++ {
		for i := cx - half; i <= cx+half; i++ {
			v, dx, dy := float64(p.Row(j)[i]), float64(i-cx), float64(j-cy)
			c.sum += v
			c.x, c.y = c.x+v*dx, c.y+v*dy
			c.xx, c.yy, c.xy = c.xx+v*dx*dx, c.yy+v*dy*dy, c.xy+v*dx*dy
		}
	}
	c.x, c.y = c.x/c.sum, c.y/c.sum
	c.xx, c.yy, c.xy = c.xx/c.sum-c.x*c.x, c.yy/c.sum-c.y*c.y, c.xy/c.sum-c.x*c.y
	c.x, c.y = c.x+float64(cx), c.y+float64(cy)
	return c
}

// lonely picks the stars that have no other within reach.
func lonely(stars []TrueStar, c Camera, reach float64) []TrueStar {
	var list []TrueStar
	for _, s := range stars {
		inside := s.MeanX > reach && s.MeanY > reach && s.MeanX < float64(c.Width)-reach && s.MeanY < float64(c.Height)-reach
		alone := !slices.ContainsFunc(stars, func(o TrueStar) bool {
			return o.HIP != s.HIP && math.Hypot(o.MeanX-s.MeanX, o.MeanY-s.MeanY) < 2*reach
		})
		if inside && alone && s.Electrons > 3000 {
			list = append(list, s)
		}
	}
	return list
}

// A rendered star's centre of light is where Stars says, whatever the way it
// goes in the exposure.
func TestRenderedStarsStandWhereTheyShould(t *testing.T) {
	const (
		centrePx = 0.01 // what the estimators' own tests need
		fluxPart = 0.02 // the wings outside the box, and the float32 sums
	)
	for _, c := range []struct {
		name   string
		change func(*Evening)
	}{
		{"round", func(e *Evening) {}},
		{"gaussian", func(e *Evening) { e.Camera.Moffat = 0 }},
		{"narrow", func(e *Evening) { e.Camera.FWHM = 1.2; e.Camera.Moffat = 0; e.Camera.CornerStretch = 0 }},
		{"trailed", func(e *Evening) { e.Mount.Tripod = true; e.Exposure = 20 * time.Second }},
		{"wobbling, axis far off", func(e *Evening) {
			e.Mount.Wobble = Wobble{PeakToPeak: unit.AngleFromMin(3), Period: 4 * time.Minute}
			e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromDeg(3), unit.AngleFromDeg(-4)
		}},
		{"vignetted, distorted", func(e *Evening) { e.Camera.K1, e.Camera.P1, e.Camera.Vignetting = -0.05, 0.003, 0.7 }},
		{"shaken", func(e *Evening) { e.Mount.Shake = 1.5 }},
		{"stacked", func(e *Evening) { e.Mount.Tripod = true; e.Handling.Stacked = StackedStanding }},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := noiseless(small(t))
			c.change(&e)
			r := begin(t, e)
			stars, err := r.Stars(3)
			if err != nil {
				t.Fatal(err)
			}
			p := render(t, e, 3)
			list := lonely(stars, e.Camera, 16)
			if len(list) < 10 {
				t.Fatalf("only %d stars to compare", len(list))
			}
			for _, s := range list {
				m := measure(p, s.MeanX, s.MeanY, 14)
				if d := math.Hypot(m.x-s.MeanX, m.y-s.MeanY); d > centrePx {
					t.Errorf("HIP %d at %.3f, %.3f, should be %.3f, %.3f", s.HIP, m.x, m.y, s.MeanX, s.MeanY)
				}
				if flux := m.sum * e.Camera.FullScale; math.Abs(flux/s.Electrons-1) > fluxPart {
					t.Errorf("HIP %d gives %.0f electrons, should be %.0f", s.HIP, flux, s.Electrons)
				}
			}
		})
	}
}

// The second moments of a trail of length L are those of the star plus L²/12
// along it.
func TestTrailsHaveTheirLength(t *testing.T) {
	const part = 0.01 // of L²/12
	e := noiseless(small(t))
	e.Camera.Moffat, e.Camera.CornerStretch = 0, 0
	round, err := meanMoments(t, e)
	if err != nil {
		t.Fatal(err)
	}
	for _, seconds := range []int{5, 10, 20} {
		e.Exposure = time.Duration(seconds) * time.Second
		e.Mount.Tripod = true
		trailed, err := meanMoments(t, e)
		if err != nil {
			t.Fatal(err)
		}
		if got := (trailed.trace - round.trace) / trailed.path; math.Abs(got-1) > part {
			t.Errorf("%d s: moments grew by %.4f of what the trail's length gives", seconds, got)
		}
	}
}

type moments struct{ trace, path float64 }

func meanMoments(t *testing.T, e Evening) (moments, error) {
	stars, err := begin(t, e).Stars(0)
	if err != nil {
		return moments{}, err
	}
	p := render(t, e, 0)
	var m moments
	list := lonely(stars, e.Camera, 16)
	for _, s := range list {
		c := measure(p, s.MeanX, s.MeanY, 15)
		m.trace += (c.xx + c.yy) / float64(len(list))
		m.path += (s.TrailX*s.TrailX + s.TrailY*s.TrailY) / 12 / float64(len(list))
	}
	return m, nil
}

// The profile is as wide as asked, and the noise has the size it should.
func TestProfile(t *testing.T) {
	for _, beta := range []float64{0, 2, 3, 4.5} {
		b := spread(3.2, beta)
		sum := 0.0
		for _, x := range b {
			sum += x.weight
		}
		if w := 2 * halfWidth(b); math.Abs(w-3.2) > 1e-9 || math.Abs(sum-1) > 1e-12 {
			t.Errorf("β %g: width %.6f, light %.6f", beta, w, sum)
		}
	}
}

func TestNoise(t *testing.T) {
	e := small(t)
	e.Conditions = Conditions{}
	e.Camera.ZeroPoint, e.Camera.Vignetting = 1, 0 // no stars to speak of
	e.Camera.FullScale, e.Camera.Pedestal = 4000, 100
	for _, c := range []struct{ dark, read float64 }{{0, 5}, {2, 3}, {20, 0}} {
		e.Camera.DarkCurrent, e.Camera.ReadNoise = c.dark, c.read
		p := render(t, e, 0)
		want := c.dark * e.Exposure.Seconds()
		mean, variance, third := statistics(p, e.Camera.FullScale)
		n := float64(len(p.Pix))
		σ2 := want + c.read*c.read
		if d := math.Abs(mean - want - 100); d > 5*math.Sqrt(σ2/n) {
			t.Errorf("%+v: mean %.4f, want %.4f", c, mean-100, want)
		}
		if math.Abs(variance/σ2-1) > 5*math.Sqrt(2/n)+1/(18*σ2) { // the skewed tail adds λ²/(18σ⁴)
			t.Errorf("%+v: variance %.4f, want %.4f", c, variance, σ2)
		}
		// The third moment of a Poisson law is its mean; its error is √15 σ³/√n.
		if math.Abs(third-want) > 5*math.Sqrt(15*σ2*σ2*σ2/n)+0.05*want {
			t.Errorf("%+v: third moment %.2f, want %.2f", c, third, want)
		}
	}
}

func statistics(p frame.Plane, fullScale float64) (mean, variance, third float64) {
	n := float64(len(p.Pix))
	for _, v := range p.Pix {
		mean += float64(v) * fullScale / n
	}
	for _, v := range p.Pix {
		d := float64(v)*fullScale - mean
		variance += d * d / n
		third += d * d * d / n
	}
	return
}

// The same evening gives the same picture: again, after another one, and on one
// processor.
func TestDeterminism(t *testing.T) {
	e := small(t)
	e.Camera.HotPixels = 50
	e.Handling.Wander = 0.5
	first := render(t, e, 2)
	if again := render(t, e, 2); !slices.Equal(first.Pix, again.Pix) {
		t.Error("a second rendering differs")
	}
	procs := runtime.GOMAXPROCS(1)
	alone := render(t, e, 2)
	runtime.GOMAXPROCS(procs)
	if !slices.Equal(first.Pix, alone.Pix) {
		t.Error("one processor renders something else")
	}
	if other := render(t, e, 3); slices.Equal(first.Pix, other.Pix) {
		t.Error("two pictures are the same")
	}
	e.Seed++
	if other := render(t, e, 2); slices.Equal(first.Pix, other.Pix) {
		t.Error("another seed gives the same picture")
	}
}

// Hot pixels stay where they are while the stars move.
func TestHotPixelsStay(t *testing.T) {
	e := small(t)
	e.Camera.HotPixels = 40
	e.Mount.Tripod = true
	e.Camera.Noiseless = true
	e.Camera.ZeroPoint = 1
	a, b := render(t, e, 0), render(t, e, 9)
	bright, full := 0, 0
	for i, v := range a.Pix {
		if v > 2*float32(e.Camera.Pedestal/e.Camera.FullScale) {
			bright++
			if v > 0.2 {
				full++
			}
			if math.Abs(float64(b.Pix[i]/v)-1) > 1e-4 { // a star of a millionth of its light may lie there
				t.Fatalf("pixel %d shines with %g, then %g", i, v, b.Pix[i])
			}
		}
	}
	if bright < 20 || full < 2 || full > bright/2 {
		t.Errorf("%d hot pixels shine, %d brightly: want many faint and a few bright ones", bright, full)
	}
}

// Shaking widens stars along one direction by its mean square, and by that
// alone: three whole swings leave the centre where it was.
func TestShake(t *testing.T) {
	const rms = 1.3
	e := noiseless(small(t))
	e.Camera.Moffat, e.Camera.CornerStretch = 0, 0
	still, err := meanMoments(t, e)
	if err != nil {
		t.Fatal(err)
	}
	e.Mount.Shake = rms
	shaken, err := meanMoments(t, e)
	if err != nil {
		t.Fatal(err)
	}
	if got := shaken.trace - still.trace; math.Abs(got/(rms*rms)-1) > 0.02 {
		t.Errorf("second moments grew by %.3f px², want %.3f", got, rms*rms)
	}
}

// What is written to a file comes back with the clock the camera had.
func TestFileAndBack(t *testing.T) {
	e := small(t)
	e.Handling.StampStep, e.Handling.ClockError = time.Second, 2300*time.Millisecond
	e.Wait = 700 * time.Millisecond
	r := begin(t, e)
	for _, f := range []frame.Format{frame.JPEG, frame.TIFF, frame.PNG, frame.FITS} {
		p, meta, err := r.Frame(context.Background(), 1)
		if err != nil {
			t.Fatal(err)
		}
		var file bytes.Buffer
		if err := frame.Encode(&file, p, meta, f); err != nil {
			t.Fatal(err)
		}
		got, err := frame.Decode(bytes.NewReader(file.Bytes()), frame.Options{Name: e.File(1)})
		if err != nil || got.ClockErr != nil {
			t.Fatal(f, err, got.ClockErr)
		}
		// 20:00:20.7 UTC, the clock 2.3 s fast: 20:00:23, the fraction cut off.
		if want := newYear.Add(23 * time.Second); !got.Clock.Start.Equal(want) || got.Clock.Exposure != e.Exposure {
			t.Errorf("%v: clock %v for %v, want %v", f, got.Clock.Start, got.Clock.Exposure, want)
		}
		if got.Plane.Width != p.Width || got.Plane.Height != p.Height {
			t.Errorf("%v: %d×%d", f, got.Plane.Width, got.Plane.Height)
		}
	}
}

func TestFrameEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := begin(t, small(t)).Frame(ctx, 0); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

func BenchmarkFrame12Megapixels(b *testing.B) {
	e := small(b)
	e.Camera = Phone(115, 12)
	r, err := e.Begin()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := r.Frame(context.Background(), 0); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkStars(b *testing.B) {
	e := small(b)
	e.Camera = Phone(115, 12)
	r, err := e.Begin()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := r.Stars(0); err != nil {
			b.Fatal(err)
		}
	}
}
