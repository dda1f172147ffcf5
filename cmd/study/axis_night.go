package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/cmd/study/scene"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/catalog"
)

// eye is a lens with its sensor, and what is seen through it.
type eye struct {
	name          string
	width, height int
	focalPx       float64
	stars         int // usually found in one picture
}

// The lenses of the studies. A phone has 12 megapixels, 4:3; its equivalent focal length counts over the diagonal,
// 43.27 mm on 36 × 24 mm. A camera has 6000 × 4000 pixels of 3.9 µm.
func phoneEye(equivalentMM float64, stars int) eye {
	return eye{fmt.Sprintf("phone %.0f mm", equivalentMM), 4000, 3000, equivalentMM / 43.2666 * 5000, stars}
}

func cameraEye(focalMM float64, stars int) eye {
	return eye{fmt.Sprintf("camera %.0f mm APS-C", focalMM), 6000, 4000, focalMM * 1000 / 3.9, stars}
}

func axisEyes() []eye {
	return []eye{phoneEye(24, 90), phoneEye(70, 60), phoneEye(115, 50), phoneEye(230, 20),
		cameraEye(50, 150), cameraEye(135, 90), cameraEye(300, 35)}
}

// axisCase is a kind of session.
type axisCase struct {
	eye       eye
	count     int
	every     time.Duration
	swings    []float64 // degrees, of each picture from the first; nil: never touched
	decDeg    float64   // of the picture's middle
	south     bool
	noisePx   float64
	wanderPx  float64
	breathing float64 // creep of the scale over the session, relative
	catalogue float64 // scatter of the catalogue's places, seconds of arc
	airOff    float64 // 1σ of the air's pressure, relative: nobody measures it
}

// How nights are drawn: sites, and the error of mounts set up by eye.
const (
	lowestLatDeg, highestLatDeg = 20, 55
	lowestDeg, highestDeg       = 28, 82 // altitude of the picture's middle, at every picture
	hazeDeg                     = 10     // altitude below which no star is seen
	axisUpMin, axisAsideMin     = 40, 60 // 1σ of the axis' error: altitude, turn of the base
	rateOff                     = 0.002  // of the motor
	lensBend                    = 0.01   // of the lens: radial at the corner, relative
	lensTilt                    = 3e-4   // tangential, half diagonals
	lensOffPx                   = 5      // of the optical axis from the picture's middle
)

// night is one session and the truth of it.
type night struct {
	axisCase
	site   ephem.Site
	air    ephem.Air
	mount  scene.Mount
	camera scene.Camera
	start  scene.Aim
	begin  time.Time // middle of the first exposure
	dice   *rand.Rand
	off    map[int32]r3.Vec // by how much a star's place differs from the catalogue's
	pics   []nightPicture
}

// nightPicture is one exposure of it, at its middle.
type nightPicture struct {
	after  time.Duration
	swung  unit.Angle
	sky    ephem.Sky
	camera scene.Camera // scale and optical axis as they were
	stars  []sighted
}

// sighted is a star in a picture.
type sighted struct {
	star int32  // of the catalogue
	icrs r3.Vec // its true place
	x, y float64
}

// newNight draws a session of a kind. The error is for a place in the sky that stands high enough nowhere.
func newNight(c axisCase, dice *rand.Rand) (*night, error) {
	n := &night{axisCase: c, dice: dice, off: map[int32]r3.Vec{}}
	for range 2000 {
		if err := n.place(); err != nil {
			return nil, err
		}
		if n.highEnough() {
			return n, n.expose()
		}
	}
	return nil, fmt.Errorf("no site sees declination %.0f° high enough for so long", c.decDeg)
}

// place draws site, hour, mount and lens.
func (n *night) place() error {
	d := n.dice
	lat := lowestLatDeg + (highestLatDeg-lowestLatDeg)*d.Float64()
	if n.south {
		lat = -lat
	}
	var err error
	if n.site, err = ephem.NewSite(lat, 360*d.Float64()-180, 500+1000*d.Float64()); err != nil {
		return err
	}
	n.air = ephem.StandardAir(n.site.HeightM)
	n.air.PressureHPa *= 1 + n.airOff*max(-3, min(3, d.NormFloat64())) // no more than weather can
	n.begin = time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC).Add(time.Duration(d.Float64() * 24 * float64(time.Hour)))
	n.mount = scene.Mount{
		Axis: scene.AxisAt(n.site.Latitude, unit.AngleFromMin(axisUpMin*d.NormFloat64()), unit.AngleFromMin(axisAsideMin*d.NormFloat64())),
		Rate: 1 + rateOff*d.NormFloat64(),
		Wobble: scene.Wobble{PeakToPeak: unit.AngleFromSec(44), Period: 8 * time.Minute,
			Phase: unit.AngleFromDeg(360 * d.Float64())},
	}
	e := n.eye
	n.camera = scene.Camera{Width: e.width, Height: e.height, FocalPx: e.focalPx, OffX: lensOffPx * d.NormFloat64(), OffY: lensOffPx * d.NormFloat64(),
		K1: lensBend * d.NormFloat64(), K2: lensBend / 3 * d.NormFloat64(), T1: lensTilt * d.NormFloat64(), T2: lensTilt * d.NormFloat64()}
	n.start = scene.Facing(scene.Pointing(n.site.Latitude, unit.AngleFromDeg(n.decDeg), unit.AngleFromDeg(360*d.Float64()-180)),
		unit.AngleFromDeg(360*d.Float64()))
	return nil
}

// swungTo is the hand's part of picture i's turn.
func (n *night) swungTo(i int) unit.Angle {
	if i < len(n.swings) {
		return unit.AngleFromDeg(n.swings[i])
	}
	return 0
}

func (n *night) aim(i int) scene.Aim {
	return n.mount.Carried(n.start, time.Duration(i)*n.every, n.swungTo(i))
}

// highEnough is whether every picture looks where people look.
func (n *night) highEnough() bool {
	for i := range n.count {
		h := ephem.HorizontalOf(n.aim(i).Forward).Altitude.Deg()
		if h < lowestDeg || h > highestDeg {
			return false
		}
	}
	return true
}

// expose draws every picture's scale, optical axis and stars.
func (n *night) expose() error {
	for i := range n.count {
		p := nightPicture{after: time.Duration(i) * n.every, swung: n.swungTo(i), camera: n.camera}
		p.camera.OffX += n.wanderPx * n.dice.NormFloat64()
		p.camera.OffY += n.wanderPx * n.dice.NormFloat64()
		if n.breathing > 0 {
			const jitter = 2e-5 // from picture to picture, relative
			share := float64(i)/float64(max(1, n.count-1)) - 0.5
			p.camera.FocalPx *= 1 + n.breathing*share + jitter*n.dice.NormFloat64()
		}
		var err error
		if p.sky, err = ephem.NewSky(n.site, n.air, n.begin.Add(p.after)); err != nil {
			return err
		}
		p.stars = n.lit(p, n.aim(i))
		n.pics = append(n.pics, p)
	}
	return nil
}

// lit are the brightest stars of a picture above the haze, as many as its lens usually shows or the catalogue holds.
func (n *night) lit(p nightPicture, a scene.Aim) []sighted {
	middle := p.sky.ICRS(p.camera.Middle(a))
	reach := math.Atan(math.Hypot(float64(n.eye.width), float64(n.eye.height)) / 2 / p.camera.FocalPx)
	const deeper = 4 // times as many are looked at: the field's circle is larger than the picture
	var all []sighted
	for _, k := range catalog.Near(nil, middle, unit.Angle(1.05*reach), deeper*n.eye.stars+40) {
		s := sighted{star: k, icrs: n.trulyAt(k)}
		enu := p.sky.Apparent(s.icrs)
		var in bool
		if s.x, s.y, in = p.camera.Pixel(a, enu); in && enu.Z > math.Sin(hazeDeg*math.Pi/180) {
			all = append(all, s)
		}
	}
	return axisAlone(all, n.eye.stars)
}

// alonePx is how near stars may stand: closer ones are one blur in pictures, and star finders flag them.
const alonePx = 8

// axisAlone keeps the first few that have no neighbour.
func axisAlone(all []sighted, most int) []sighted {
	var kept []sighted
	for i, s := range all {
		clear := true
		for k, o := range all {
			clear = clear && (k == i || math.Hypot(o.x-s.x, o.y-s.y) > alonePx)
		}
		if clear && len(kept) < most {
			kept = append(kept, s)
		}
	}
	return kept
}

// trulyAt is a star's true place, the same in all pictures: off the catalogue's by the catalogue's error.
func (n *night) trulyAt(k int32) r3.Vec {
	d := catalog.Stars()[k].Direction
	off, known := n.off[k]
	if !known {
		a, b := squareTo(d)
		s := n.catalogue / arcsecPerRad
		off = r3.Add(r3.Scale(s*n.dice.NormFloat64(), a), r3.Scale(s*n.dice.NormFloat64(), b))
		n.off[k] = off
	}
	return r3.Unit(r3.Add(d, off))
}

const arcsecPerRad = 206264.806

// squareTo are two unit vectors at right angles to d and to each other.
func squareTo(d r3.Vec) (a, b r3.Vec) {
	a = r3.Unit(r3.Cross(d, r3.Vec{X: 0.3, Y: 0.5, Z: 0.8}))
	return a, r3.Cross(d, a)
}

// measured hands the night's star lists to the project as pictures measured before: recognised by drift/solve, the
// first from its stars alone with a scale said to be 3 % wrong, the others from the one before where that helps.
func (n *night) measured(ctx context.Context) (drift.Sequence, error) {
	known := map[string]drift.Shot{}
	var sources []drift.Source
	hint := solve.Hint{FocalPx: n.eye.focalPx * 1.03, NearWithin: unit.AngleFromDeg(0.5)}
	for i, p := range n.pics {
		s := n.shot(i, p)
		sol, err := solve.Solve(ctx, s.Field, hint)
		if err != nil {
			return drift.Sequence{}, fmt.Errorf("picture %d: %w", i, err)
		}
		s.Solution, hint.Near = &sol, []solve.Pose{sol.Pose}
		known[s.File] = s
		sources = append(sources, drift.Source{Name: s.File})
	}
	return drift.Measure(ctx, sources, drift.Options{Known: known})
}

// shot is a picture's list of stars, each place off by the noise.
func (n *night) shot(i int, p nightPicture) drift.Shot {
	const exposure = 15 * time.Second
	e := n.eye
	s := drift.Shot{File: fmt.Sprintf("picture-%03d", i), Width: e.width, Height: e.height,
		Clock: &frame.Clock{Start: n.begin.Add(p.after - exposure/2), Exposure: exposure, Step: time.Millisecond},
		Field: star.Field{Width: e.width, Height: e.height, FWHM: 2.5, Elongation: 1}}
	for _, g := range p.stars {
		s.Field.Stars = append(s.Field.Stars, star.Star{X: g.x + n.noisePx*n.dice.NormFloat64(), Y: g.y + n.noisePx*n.dice.NormFloat64(),
			XErr: n.noisePx, YErr: n.noisePx, FWHM: 2.5, Elongation: 1,
			Flux: math.Pow(10, -0.4*float64(catalog.Stars()[g.star].Magnitude))})
	}
	return s
}

// elevated is the axis' end above the horizon, and the directions of growing azimuth and altitude there.
func (n *night) elevated() (end, across, up r3.Vec) {
	end = n.mount.Axis
	if n.site.Latitude < 0 {
		end = r3.Scale(-1, end)
	}
	across = r3.Unit(r3.Vec{X: end.Y, Y: -end.X})
	return end, across, r3.Cross(across, end)
}

// miss is how far a direction lies from the truth, across and up, radians on the sky.
func (n *night) miss(found r3.Vec) [2]float64 {
	end, across, up := n.elevated()
	d := r3.Sub(found, end)
	return [2]float64{r3.Dot(d, across), r3.Dot(d, up)}
}
