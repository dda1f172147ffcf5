package simulate

import (
	"math"
	"slices"
)

// closedMag is what a closed sky takes from a star.
const closedMag = 9

// cloudDeck is the run's clouds: waves of three sizes that drift together.
type cloudDeck struct {
	Clouds
	widthPx float64
	phase   [3]float64
	drift   float64 // share of the picture's width from one picture to the next
	first   int
}

func (e Evening) cloudDeck() cloudDeck {
	dice := e.dice("clouds", 0)
	d := cloudDeck{Clouds: e.Conditions.Clouds, widthPx: float64(e.Camera.Width), first: e.First}
	for i := range d.phase {
		d.phase[i] = 2 * math.Pi * dice.Float64()
	}
	d.drift = 0.1 + 0.2*dice.Float64()
	return d
}

// cloudLayer is the clouds over one picture.
type cloudLayer struct {
	cloudDeck
	closed bool
	moved  float64
}

func (d cloudDeck) at(i int) cloudLayer {
	return cloudLayer{d, slices.Contains(d.Gaps, i), d.drift * float64(d.first+i)}
}

func (l cloudLayer) clear() bool { return l.Thickness == 0 && !l.closed }

// magnitudes is what is lost at a pixel.
func (l cloudLayer) magnitudes(x, y float64) float64 {
	if l.clear() {
		return 0
	}
	u, v := x/l.widthPx+l.moved, y/l.widthPx
	w := math.Sin(5*u+3*v+l.phase[0]) + 0.5*math.Sin(7*v-11*u+l.phase[1]) + 0.25*math.Sin(23*u+19*v+l.phase[2])
	m := l.Thickness * (w + 1.75) / 3.5
	if l.closed {
		m += closedMag
	}
	return m
}

// transmission is the share of starlight that passes.
func (l cloudLayer) transmission(x, y float64) float64 {
	return math.Pow(10, -0.4*l.magnitudes(x, y))
}

// glow is how much brighter the sky is for the clouds, which send back the
// ground's light.
func (l cloudLayer) glow(x, y float64) float64 {
	if l.clear() {
		return 1
	}
	return 1 + 1.5*(1-l.transmission(x, y))
}
