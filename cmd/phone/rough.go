package main

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// A phone as a level and a needle: how far it is to be trusted, one standard error (common practice, no source; a phone's
// sensors are graduated for games).
var (
	tiltOnce  = unit.AngleFromDeg(1)   // its camera's bump, and the zero of its sensor
	tiltTwice = unit.AngleFromDeg(0.3) // turned end for end, both are out
	needle    = unit.AngleFromDeg(6)   // magnetised parts of the phone and the mount
)

// laid is how a phone lies along the axis: elevation of its top edge, degrees, and the same turned end for end; bearing from
// magnetic north.
type laid struct {
	tiltDeg            float64
	turnedDeg, bearing *float64
	poleDeg            float64  // height of the pole as seen
	poleBearing        *float64 // toward it, as a needle shows it; nil: no needle can
}

// off is how far the axis points too high, and too far clockwise; the second is nil where nothing tells.
func (l laid) off() (tilt, tiltSigma unit.Angle, base *unit.Angle) {
	at, sigma := l.tiltDeg, tiltOnce
	if l.turnedDeg != nil {
		at, sigma = (l.tiltDeg-*l.turnedDeg)/2, tiltTwice
	}
	if l.bearing != nil && l.poleBearing != nil {
		b := unit.AngleFromDeg(math.Remainder(*l.bearing-*l.poleBearing, 360))
		base = &b
	}
	return unit.AngleFromDeg(at - l.poleDeg), sigma, base
}

// says is what to do, and the two tubes.
func (l laid) says() (text, html string) {
	tilt, sigma, base := l.off()
	text = words.Say(highOrLow(tilt), say.Off{Value: tilt, Sigma: sigma})
	if math.Abs(tilt.Rad()) <= sigma.Rad() {
		text = words.Say("rough: tilt is right", sigma)
	}
	html = string(plot.Tube{Name: "Tilt, by the phone", Standing: true, Value: tilt, Sigma: sigma, Low: "too low", High: "too high"}.SVG())
	if base == nil {
		return text + " " + words.Say("rough: no bearing"), html
	}
	if math.Abs(base.Rad()) <= needle.Rad() {
		text += " " + words.Say("rough: base is right", needle)
	} else {
		text += " " + words.Say(leftOrRight(*base), say.Off{Value: *base, Sigma: needle})
	}
	html += string(plot.Tube{Name: "Base, by the phone", Value: *base, Sigma: needle, Low: "too far left", High: "too far right"}.SVG())
	if l.turnedDeg == nil {
		text += " " + words.Say("rough: turn it end for end")
	}
	return text, html
}

func highOrLow(tilt unit.Angle) say.Key {
	if tilt > 0 {
		return say.Key("rough: too high")
	}
	return say.Key("rough: too low")
}

func leftOrRight(base unit.Angle) say.Key {
	if base > 0 {
		return say.Key("rough: too far right")
	}
	return say.Key("rough: too far left")
}
