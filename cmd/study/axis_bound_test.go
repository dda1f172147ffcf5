package main

import (
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/cmd/study/scene"
	"trueturn/ephem"
)

// The bound against a closed form, derived here. A camera on the equator, three pictures at −φ, 0 and φ about the axis, four
// stars at (±q, ±q) pixels from the middle of a narrow field, no air, wander, or catalogue error. One picture knows where it
// looks to s = σ/(2F) in each direction and its roll to r = σ/(F'), F' being the root of the sum of the squares of the stars'
// distances, 2√2 q. An axis off by (a, b) changes declination and roll of the picture at θ by
//
//	a cos θ + b sin θ + c        b cos θ − a sin θ + d
//
// with c and d, the camera's seat, free. So the information on b is 2 sin²φ/s² + ⅔(1−cos φ)²/r², that on a the same with s and r
// exchanged, and by symmetry nothing is shared between them.
func TestBoundClosedForm(t *testing.T) {
	const (
		narrow   = 0.01 // terms of the field's squared width left out: (1000/77000)² and less
		noise    = 0.15
		reachPx  = 1000.0
		swingDeg = 15.0
	)
	n := &night{axisCase: axisCase{count: 3, noisePx: noise, swings: []float64{-swingDeg, 0, swingDeg}}}
	n.site, _ = ephem.NewSite(40, 0, 0)
	n.air = ephem.Air{TemperatureC: 10}
	n.mount = scene.Mount{Axis: scene.AxisAt(n.site.Latitude, 0, 0), Rate: 1}
	n.camera = scene.Camera{Width: 6000, Height: 4000, FocalPx: 300 / 0.0039}
	n.start = scene.Facing(scene.Pointing(n.site.Latitude, 0, 0), 0)
	n.begin = time.Date(2026, 11, 26, 20, 0, 0, 0, time.UTC)
	sky, err := ephem.NewSky(n.site, n.air, n.begin)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n.count {
		p := nightPicture{swung: n.swungTo(i), sky: sky, camera: n.camera}
		for k := range 4 {
			x, y := reachPx*float64(2*(k%2)-1), reachPx*float64(2*(k/2)-1)
			p.stars = append(p.stars, sighted{star: int32(4*i + k), icrs: sky.ICRS(n.camera.Look(n.aim(i), 2999.5+x, 1999.5+y))})
		}
		n.pics = append(n.pics, p)
	}
	b, err := newBounder(n)
	if err != nil {
		t.Fatal(err)
	}
	c, err := b.bound(3)
	if err != nil {
		t.Fatal(err)
	}
	s, r := noise/(2*n.camera.FocalPx), noise/(2*math.Sqrt2*reachPx)
	sin, cos := unit.AngleFromDeg(swingDeg).Sincos()
	// Facing south at the meridian: a turn of the axis' end aside (toward azimuth) is b, one up is a.
	aside := 1 / math.Sqrt(2*sin*sin/(s*s)+2./3*(1-cos)*(1-cos)/(r*r))
	up := 1 / math.Sqrt(2*sin*sin/(r*r)+2./3*(1-cos)*(1-cos)/(s*s))
	for k, want := range [2]float64{aside, up} {
		if got := math.Sqrt(c[k][k]); math.Abs(got/want-1) > narrow {
			t.Errorf("direction %d: bound %.5g″, closed form %.5g″", k, got*arcsecPerRad, want*arcsecPerRad)
		}
	}
}
