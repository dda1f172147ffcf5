package main

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/exposure"
	"trueturn/cmd/study/scene"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/catalog"
)

// tripodScene is a camera that stands while the sky turns, and its lens's own faults. Star widths are before the pixels.
type tripodScene struct {
	name            string
	camera          scene.Camera
	decDeg, rollDeg float64
	exposure        time.Duration
	every           time.Duration
	count           int
	fwhm, beta      float64
	rate            float64                             // of a motor under the camera, its axis on the pole
	smear           func(x, y float64) (lx, ly float64) // a straight path the lens draws every star out by, by the place in half diagonals
	curve           float64                             // exponent a camera's picture style puts on the light: 1 none
	brightest       int                                 // stars drawn
	dimmer          float64                             // magnitudes by which a small aperture dims them
	seed            uint64
}

// sample is every how many pixels of its path a star is drawn.
const sample = 0.4

// path of a star during an exposure: the sky turns by less than the motor, east to west about the pole.
func (s tripodScene) path(aim scene.Aim, d r3.Vec) (scene.Path, bool) {
	x, y, in := s.camera.Pixel(aim, d)
	if !in {
		return nil, false
	}
	half := unit.Angle(scene.EarthRadPerS * (1 - s.rate) * s.exposure.Seconds() / 2)
	at := func(k float64) (float64, float64) {
		u, v, _ := s.camera.Pixel(aim.Turned(r3.Vec{Z: 1}, unit.Angle(k*half.Rad())), d)
		return u, v
	}
	ax, ay := at(-1)
	bx, by := at(1)
	n := int(math.Ceil(math.Hypot(bx-ax, by-ay)/sample)) + 1
	lx, ly := 0.0, 0.0
	if s.smear != nil {
		h := math.Hypot(float64(s.camera.Width), float64(s.camera.Height)) / 2
		lx, ly = s.smear((x-float64(s.camera.Width-1)/2)/h, (y-float64(s.camera.Height-1)/2)/h)
	}
	m := int(math.Ceil(math.Hypot(lx, ly)/sample)) + 1
	var p scene.Path
	for i := range n {
		u, v := at(2*(float64(i)+0.5)/float64(n) - 1)
		for k := range m {
			f := (float64(k)+0.5)/float64(m) - 0.5
			p = append(p, scene.Step{X: u + f*lx, Y: v + f*ly, Share: 1 / float64(n*m)})
		}
	}
	return p, !math.IsNaN(ax + bx)
}

// aim of the i-th picture: the camera is carried with the Earth, less what the motor turns it back.
func (s tripodScene) aim(i int) scene.Aim {
	t := float64(i) * s.every.Seconds()
	a := scene.At(unit.RAFromHour(4), unit.AngleFromDeg(s.decDeg), unit.AngleFromDeg(s.rollDeg))
	return a.Turned(r3.Vec{Z: 1}, unit.Angle(scene.EarthRadPerS*(1-s.rate)*t))
}

// file is the i-th picture as a camera stores it.
func (s tripodScene) file(t testing.TB, i int) []byte {
	t.Helper()
	dice := rand.New(rand.NewPCG(s.seed, uint64(i)))
	const sky, full, noise = 300, 9000, 4
	canvas := scene.NewCanvas(s.camera.Width, s.camera.Height, sky)
	profile := scene.Gaussian(s.fwhm)
	if s.beta > 0 {
		profile = scene.Moffat(s.fwhm, s.beta)
	}
	aim, drawn := s.aim(i), 0
	for _, star := range catalog.Stars() {
		if drawn == s.brightest {
			break
		}
		p, in := s.path(aim, star.Direction)
		if !in {
			continue
		}
		drawn++
		canvas.Star(profile, p, 3e4*math.Pow(10, -0.4*(float64(star.Magnitude)+s.dimmer-5)))
	}
	plane := canvas.Develop(scene.Sensor{ReadNoise: noise, FullScale: full}, dice)
	g := image.NewGray(image.Rect(0, 0, plane.Width, plane.Height))
	for k, v := range plane.Pix {
		x := math.Pow(min(max(float64(v), 0), 1), s.curve)
		if x <= 0.0031308 { // IEC 61966-2-1
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		g.SetGray(k%plane.Width, k/plane.Width, color.Gray{Y: uint8(math.Round(255 * x))})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, g, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// tripodBegin is when the first picture of every scene begins.
var tripodBegin = time.Date(2026, 11, 20, 22, 0, 0, 0, time.UTC)

// shots are the pictures measured as from files.
func (s tripodScene) shots(t testing.TB) []exposure.Shot {
	t.Helper()
	var srcs []drift.Source
	for i := range s.count {
		file := s.file(t, i)
		name := "sky-" + string(rune('1'+i)) + ".jpg"
		srcs = append(srcs, drift.Source{Name: name, Open: func() (io.ReadSeekCloser, error) { return solveFile{bytes.NewReader(file)}, nil }})
	}
	seq, err := drift.Measure(context.Background(), srcs, drift.Options{Lens: drift.LensFlags{ScaleArcsecPerPx: 206264.806 / s.camera.FocalPx}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range seq.Shots {
		n := int(seq.Shots[i].File[4] - '1')
		seq.Shots[i].Clock = &frame.Clock{Start: tripodBegin.Add(time.Duration(n) * s.every), Exposure: s.exposure}
	}
	return exposure.Shots(seq)
}

// apsc is a camera of the usual small sensor, 23.6 mm wide, with few pixels.
func apsc(focalMM float64, width, height int) scene.Camera {
	return scene.Camera{Width: width, Height: height, FocalPx: focalMM / 23.6 * float64(width)}
}

// Lenses that draw stars out along circles (as wide ones do, wide open) or from the middle, by so many pixels in the corner.
func alongCircles(px float64) func(x, y float64) (float64, float64) {
	return func(x, y float64) (float64, float64) { r := math.Hypot(x, y); return -px * y * r, px * x * r }
}

func fromMiddle(px float64) func(x, y float64) (float64, float64) {
	return func(x, y float64) (float64, float64) { r := math.Hypot(x, y); return px * x * r, px * y * r }
}

// oneSided is a lens out of centre: stars are drawn out on one side only.
func oneSided(px float64) func(x, y float64) (float64, float64) {
	return func(x, y float64) (float64, float64) { return px * max(0, x) * max(0, x), 0 }
}

func tripodScenes() []tripodScene {
	wide, fifty := apsc(18, 1800, 1200), apsc(50, 1800, 1200)
	bent := wide
	bent.K1, bent.K2 = -0.04, 0.01
	return []tripodScene{
		{name: "18 mm, pole in the field", camera: wide, decDeg: 65, exposure: 40 * time.Second},
		{name: "18 mm, pole in the field, stars drawn along circles", camera: bent, decDeg: 65, exposure: 40 * time.Second, smear: alongCircles(6)},
		{name: "18 mm, pole in the field, shorter, stars drawn along circles", camera: bent, decDeg: 70, exposure: 30 * time.Second, smear: alongCircles(5), curve: 0.8},
		{name: "18 mm, pole in the middle", camera: wide, decDeg: 89.9, exposure: 60 * time.Second, smear: fromMiddle(3), count: 2},
		{name: "18 mm, southern pole in the field, stars drawn outward", camera: bent, decDeg: -65, exposure: 40 * time.Second, smear: fromMiddle(6)},
		{name: "18 mm, equator, few stars", camera: wide, decDeg: 5, exposure: 25 * time.Second, brightest: 30, dimmer: 3},
		{name: "50 mm, tone curve, lens out of centre", camera: fifty, decDeg: 33, exposure: 15 * time.Second, curve: 0.8, smear: oneSided(6)},
		{name: "50 mm, two pictures", camera: fifty, decDeg: -40, exposure: 15 * time.Second, count: 2},
		// A motor under it: these do not stand.
		{name: "18 mm, tracked, stars drawn along circles", camera: bent, decDeg: 65, exposure: 40 * time.Second, smear: alongCircles(6), rate: 1},
		{name: "18 mm, tracked, stars drawn outward", camera: bent, decDeg: 65, exposure: 40 * time.Second, smear: fromMiddle(6), rate: 1, count: 2},
		{name: "50 mm, half the rate", camera: fifty, decDeg: 33, exposure: 30 * time.Second, rate: 0.5},
		{name: "50 mm, lens draws one way", camera: fifty, decDeg: 33, exposure: 15 * time.Second, smear: oneSided(8), rate: 1},
		{name: "50 mm, wrong hemisphere", camera: fifty, decDeg: 33, exposure: 8 * time.Second, rate: -1},
	}
}

func (s tripodScene) filled() tripodScene {
	s.rollDeg, s.fwhm, s.beta, s.seed, s.every = 20, 2.2, 3, 3, time.Minute
	if s.curve == 0 {
		s.curve = 1
	}
	s.count = max(s.count, 1)
	if s.brightest == 0 {
		s.brightest = 300
	}
	return s
}

// trueTrail is the middle length of the paths of the stars recognised, by this package's own projection.
func (s tripodScene) trueTrail(aim scene.Aim, shot exposure.Shot) float64 {
	half := unit.Angle(scene.EarthRadPerS * (1 - s.rate) * s.exposure.Seconds() / 2)
	var list []float64
	for _, k := range shot.Recognised {
		d := s.camera.Look(aim, shot.Stars[k].X, shot.Stars[k].Y)
		ax, ay, _ := s.camera.Pixel(aim.Turned(r3.Vec{Z: 1}, -half), d)
		bx, by, _ := s.camera.Pixel(aim.Turned(r3.Vec{Z: 1}, half), d)
		if l := math.Hypot(bx-ax, by-ay); !math.IsNaN(l) {
			list = append(list, l)
		}
	}
	slices.Sort(list)
	return list[len(list)/2]
}

// trailWithin: what the fitted lens and the choice of stars leave of the middle path of a wide field.
const trailWithin = 0.03

// TestStillScenes: a standing camera is known from its stars, whatever its lens adds; the trail is the sky's own. What stands not
// is not said to.
func TestStillScenes(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures fifteen pictures")
	}
	for _, s := range tripodScenes() {
		t.Run(s.name, func(t *testing.T) {
			s = s.filled()
			shots := s.shots(t)
			v, err := exposure.Judge(shots, exposure.Question{})
			if err != nil {
				t.Fatal(err)
			}
			t.Log(v.Advice)
			for _, c := range v.Causes {
				t.Logf("%s %.2f %v %s", c.Cause, c.Share, c.Behind, c.Says)
			}
			if v.Still != (s.rate == 0) {
				t.Fatalf("stood still: %v", v.Still)
			}
			if s.rate != 0 {
				return
			}
			s.holds(t, v, shots)
		})
	}
}

// holds a verdict on a standing camera to the truth.
func (s tripodScene) holds(t *testing.T, v exposure.Verdict, shots []exposure.Shot) {
	t.Helper()
	stood := slices.ContainsFunc(v.Causes, func(c exposure.Share) bool {
		return c.Cause == exposure.CauseRA && slices.Equal(c.Behind, []exposure.Origin{exposure.OriginStill})
	})
	if !stood || v.Forecast == nil || v.Forecast.LimitedBy != exposure.LimitSky {
		t.Errorf("causes %+v, forecast %+v", v.Causes, v.Forecast)
	}
	for _, c := range v.Causes {
		if c.Cause != exposure.CauseRA && c.Cause != exposure.CauseLens {
			t.Errorf("%s, %.2f: %s", c.Cause, c.Share, c.Says)
		}
	}
	for i, f := range v.Frames {
		want := s.trueTrail(s.aim(i), shots[i])
		if math.Abs(f.TrailPx/want-1) > trailWithin || f.Round {
			t.Errorf("%s: trail %.3f ± %.3f px, the sky's %.3f; round %v", f.File, f.TrailPx, f.TrailPxErr, want, f.Round)
		}
	}
}

// TestTrailClosedForm: in a field of 27° trails are 15.041″·cos δ·t over the scale (Meeus, Astronomical Algorithms, 2nd ed., ch. 12:
// 1.00273790935 turns a day), longer off the axis by the gnomonic projection, whose scale grows by 1/cos²θ outward and 1/cos θ
// across: between nothing and 6 % where the stars are, 3 % in the middle of them.
func TestTrailClosedForm(t *testing.T) {
	for _, dec := range []float64{0, 33, -50} {
		s := tripodScene{camera: apsc(50, 1800, 1200), decDeg: dec, exposure: 15 * time.Second}.filled()
		v, err := exposure.Judge(s.shots(t), exposure.Question{})
		if err != nil {
			t.Fatal(err)
		}
		arcsec := 15.041 * math.Cos(dec*math.Pi/180) * 15
		want := arcsec / 206264.806 * s.camera.FocalPx
		if got := v.Frames[0].TrailPx; got < want*0.98 || got > want*1.06 {
			t.Errorf("δ %g°: %.3f px, want %.3f and up to 6 %% more", dec, got, want)
		}
	}
}
