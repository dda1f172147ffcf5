//go:build !js

package main

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
)

// icons are the two tubes, red on black, small and large; all of it lies within the middle four fifths, which no system
// cuts off (W3C Web Application Manifest, maskable icons).
func icons() (small, large []byte, err error) {
	if small, err = icon(192); err == nil {
		large, err = icon(512)
	}
	return small, large, err
}

func icon(size int) ([]byte, error) {
	m := image.NewPaletted(image.Rect(0, 0, size, size), reds())
	for y := range size {
		for x := range size {
			m.SetColorIndex(x, y, uint8(math.Round(255*lit((float64(x)+0.5)/float64(size), (float64(y)+0.5)/float64(size), 1.5/float64(size)))))
		}
	}
	var b bytes.Buffer
	err := png.Encode(&b, m)
	return b.Bytes(), err
}

// reds go from black to the page's ink.
func reds() color.Palette {
	p := make(color.Palette, 256)
	for i := range p {
		v := float64(i) / 255
		p[i] = color.RGBA{uint8(255 * v), uint8(56 * v), uint8(32 * v), 255}
	}
	return p
}

// lit is how bright a point of the unit square is: a lying tube with its bubble at rest, a standing one with its bubble on
// the way; edges are soft over so much.
func lit(x, y, soft float64) float64 {
	const thick = 0.018
	ink := func(distance float64) float64 { return max(0, min(1, 0.5-distance/soft)) }
	outline := func(cx, cy, w, h float64) float64 { return ink(math.Abs(capsule(x-cx, y-cy, w, h)) - thick) }
	filled := func(cx, cy, w, h float64) float64 { return ink(capsule(x-cx, y-cy, w, h)) }
	return max(outline(0.5, 0.28, 0.3, 0.075), filled(0.5, 0.28, 0.055, 0.035), outline(0.5, 0.63, 0.075, 0.2), filled(0.5, 0.56, 0.035, 0.05))
}

// capsule is the distance from the edge of a box with round ends of half sizes w and h.
func capsule(x, y, w, h float64) float64 {
	r := min(w, h)
	return math.Hypot(max(math.Abs(x)-(w-r), 0), max(math.Abs(y)-(h-r), 0)) - r
}
