package main

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/soniakeys/unit"

	"trueturn/cmd/kit"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/compass"
	"trueturn/ephem/pole"
)

// sayPole tells it to somebody who stands by the tripod: where to look, how far up, which side of the star; then how high to
// set the wedge, the drawing, the coming hour, the compass.
func (f *face) sayPole(p found) {
	f.headline(p.whereToLook())
	f.paragraph(p.starWords())
	f.headline(p.wedgeWords())
	for _, n := range p.notes() {
		f.paragraph(n)
	}
	fmt.Fprintln(f.out)
	f.drawPole(p)
	fmt.Fprintln(f.out)
	f.sayHour(p)
	fmt.Fprintln(f.out)
	f.paragraph("Compass: " + p.compassNote())
	if p.mute == nil && p.field.Trust() != compass.Fails {
		f.paragraph(steelAndMagnets)
	}
}

// facing is which way one looks.
func (p found) facing() string {
	switch {
	case p.atEarthsPole(): // both ways, north from the one pole and south from the other run on down the far meridian
		return "longitude " + meridian(p.site.Longitude+math.Pi)
	case p.now().North:
		return "north"
	}
	return "south"
}

// zeroAzimuth is where azimuths are counted from at a pole of the Earth: north as it is a step down the meridian of the site.
func (p found) zeroAzimuth() unit.Angle {
	if p.now().North {
		return p.site.Longitude + math.Pi
	}
	return p.site.Longitude
}

func meridian(longitude unit.Angle) string {
	deg := math.Remainder(longitude.Deg(), 360)
	if math.Abs(deg) < 0.05 || math.Abs(deg) > 179.95 {
		return fmt.Sprintf("%.0f°", math.Abs(deg))
	}
	return fmt.Sprintf("%.1f° %s", math.Abs(deg), either(deg, "E", "W"))
}

func (p found) whereToLook() string {
	deg := p.now().Seen.Altitude.Deg()
	switch {
	case p.atEarthsPole():
		return fmt.Sprintf("The pole is right overhead, and every way is %s: face %s and lean back.", opposite[p.now().North], p.facing())
	case deg < 1.5:
		return fmt.Sprintf("Face true %s: the pole is on the horizon, %.1f° up.", p.facing(), deg)
	case deg > overheadDeg:
		return fmt.Sprintf("Face true %s, lean back and look %.1f° up, almost overhead: that is where the pole is.", p.facing(), deg)
	}
	return fmt.Sprintf("Face true %s and look %.1f° up, %s at arm's length: that is where the pole is.", p.facing(), deg, fists(deg))
}

var opposite = map[bool]string{true: "south", false: "north"}

// fists measures a height by a fist at arm's length, about 10° wide (common practice, no source).
func fists(deg float64) string {
	halves := int(math.Round(deg / 5))
	switch {
	case halves < 1:
		return "less than half a fist"
	case halves == 1:
		return "about half a fist"
	case halves == 2:
		return "about one fist"
	case halves%2 == 0:
		return fmt.Sprintf("about %d fists", halves/2)
	}
	return fmt.Sprintf("about %d½ fists", halves/2)
}

// starWords say where the star stands, and the way from it to the pole.
func (p found) starWords() string {
	v := p.now()
	text := fmt.Sprintf("%s is %s (%s), so the pole is %s. ",
		v.Star.Name, beside(v.Star.Right, v.Star.Up), words.Arc(arc(v)), of(sides(-v.Star.Right, -v.Star.Up), "the star"))
	if p.atEarthsPole() || v.Seen.Altitude.Deg() > overheadDeg {
		text += "“Above” is beyond the pole, over your back. "
	}
	return text + fmt.Sprintf("An inverting finder shows the star %s.", of(sides(-v.Star.Right, -v.Star.Up), "the pole"))
}

// overheadDeg is the altitude above which people lean back, and may lose which way is up.
const overheadDeg = 80

// arc is from pole to star, as seen.
func arc(v pole.View) unit.Angle {
	return unit.Angle(math.Hypot(v.Star.Right.Rad(), v.Star.Up.Rad()))
}

// beside is an offset in Moon widths and plain words, as "2.0 Moon widths above and left of the pole".
func beside(right, up unit.Angle) string {
	return words.Moons(unit.Angle(math.Hypot(right.Rad(), up.Rad()))) + " " + of(sides(right, up), "the pole")
}

// sides is one of eight directions, each in the middle of its eighth.
func sides(right, up unit.Angle) string {
	tangent := math.Tan(math.Pi / 8)
	var both []string
	if math.Abs(up.Rad()) >= tangent*math.Abs(right.Rad()) {
		both = append(both, either(up.Rad(), "above", "below"))
	}
	if math.Abs(right.Rad()) > tangent*math.Abs(up.Rad()) {
		both = append(both, either(right.Rad(), "right", "left"))
	}
	return strings.Join(both, " and ")
}

// of is a thing with a direction before it.
func of(sides, thing string) string {
	if strings.HasSuffix(sides, "above") || strings.HasSuffix(sides, "below") {
		return sides + " " + thing
	}
	return sides + " of " + thing
}

func (p found) wedgeWords() string {
	v := p.now()
	set := fmt.Sprintf("Set the wedge to %.1f°", v.Seen.Altitude.Deg())
	lift := (v.Seen.Altitude - v.True.Altitude).Min()
	if lift < 0.05 {
		return set + ", on a level base."
	}
	return set + fmt.Sprintf(", on a level base (latitude %.2f° and the %s by which the air lifts the pole).", v.True.Altitude.Deg(), minutes(lift))
}

// brightDeg is the Sun's height above which the pole's star is not to be seen by eye: at the end of civil twilight the
// brightest stars are (common practice, no source).
const brightDeg = -6

// sunDeg is how high the Sun stands, without air.
func (p found) sunDeg() float64 {
	sky, err := ephem.NewSky(p.site, ephem.StandardAir(p.site.HeightM), p.now().At)
	if err != nil {
		return -90
	}
	return sky.Sun().Altitude().Deg()
}

func heightWords(deg float64) string {
	if deg < 0 {
		return fmt.Sprintf("%.0f° below the horizon", -deg)
	}
	return fmt.Sprintf("%.0f° high", deg)
}

// notes are what should give pause.
func (p found) notes() []string {
	notes := []string{}
	v := p.now()
	add := func(when bool, format string, args ...any) {
		if when {
			notes = append(notes, fmt.Sprintf(format, args...))
		}
	}
	add(v.Seen.Altitude.Deg() < murkyDeg, "This low, the air lifts the pole by minutes of arc more or less from night to night, and haze and trees hide it: let align measure the axis on stars higher up.")
	add(v.Star.Seen.Altitude <= 0, "%s is below the horizon now.", v.Star.Name)
	add(v.Star.Magnitude > 5, "%s is faint (magnitude %.1f): from a dark place, an eye used to the dark can just see it; use binoculars.", v.Star.Name, v.Star.Magnitude)
	add(p.sunDeg() > brightDeg, "It is too bright to see it now: the Sun is %s. Never point optics near the Sun.", heightWords(p.sunDeg()))
	add(p.atEarthsPole(), "Here azimuth_deg 0 in the JSON is toward longitude %s.", meridian(p.zeroAzimuth()))
	add(len(p.views) < poleSteps, "The steps end early, with the year 2100, where the theories do.")
	return notes
}

// sayHour is the table of the coming hour.
func (f *face) sayHour(p found) {
	t := f.table()
	clock := kit.Offset(p.zone, p.now().At, p.views[len(p.views)-1].At)
	fmt.Fprintf(t, "from now\t%s\thour angle\t%s, Moon widths from the pole\n", clock, p.now().Star.Name)
	for i, v := range p.views {
		from := "now"
		if i > 0 {
			from = minutesLater(v.At.Sub(p.now().At))
		}
		fmt.Fprintf(t, "%s\t%s\t%.2f h\t%s\n", from, in(v.At, p.zone).Format("15:04"), v.Star.HourAngle.Hour(), moonsApart(v))
	}
	t.Flush()
}

func moonsApart(v pole.View) string {
	return offBy(v.Star.Up, "above", "below", "level") + ", " + offBy(v.Star.Right, "right", "left", "on the line")
}

// offBy is a part of the offset, in tenths of a Moon width.
func offBy(a unit.Angle, positive, negative, none string) string {
	tenths := math.Round(a.Min() / moonWidthArcmin * 10)
	if tenths == 0 {
		return none
	}
	return fmt.Sprintf("%.1f %s", math.Abs(tenths)/10, either(tenths, positive, negative))
}

func minutesLater(d time.Duration) string {
	if d == time.Hour {
		return "an hour"
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}

const steelAndMagnets = "Steel and magnets spoil it: take the bearing a few steps away from tripod, car, railing, phone and loudspeaker, toward a far mark."

// compassNote is what a compass shows, how sure and until when; or why it is of no use.
func (p found) compassNote() string {
	if p.mute != nil {
		return p.noCompass()
	}
	east, d := "east", p.field.Declination.Deg()
	if d < 0 {
		east = "west"
	}
	points := fmt.Sprintf("the needle points %.1f° ± %.1f° %s of true north (%s, which holds to the end of %d; one standard error, without steel)",
		math.Abs(d), p.field.Sigma.Deg(), east, compass.Model, compass.EndYear-1)
	switch p.field.Trust() {
	case compass.Fails:
		return fmt.Sprintf("too close to the magnetic pole for one. Only %.0f nT pull at the needle, and it shows no direction to rely on: use a star, the Sun's shadow or a map.", p.field.HorizontalNT)
	case compass.Sluggish:
		return p.readings() + "; " + points + fmt.Sprintf(". The needle is weak so near the magnetic pole (%.0f nT): let it settle, and trust it little.", p.field.HorizontalNT)
	}
	return p.readings() + "; " + points + ". A hand compass reads to a degree or two."
}

// readings are what the compass shows toward true north and, in the south, where one faces.
func (p found) readings() string {
	north := whole(p.field.Reading(0))
	if p.now().North {
		return "true north is at " + north
	}
	return fmt.Sprintf("true south, which you face, is at %s and true north at %s", whole(p.field.Reading(math.Pi)), north)
}

// whole is a bearing as compasses are marked, 0–359°.
func whole(a unit.Angle) string { return fmt.Sprintf("%.0f°", math.Mod(math.Round(a.Deg()), 360)) }

func (p found) noCompass() string {
	if errors.Is(p.mute, compass.ErrDate) {
		return p.mute.Error() + ". " + sentence(hint(p.mute))
	}
	if p.atEarthsPole() {
		return p.mute.Error() + "."
	}
	return "not known here: " + p.mute.Error() + "."
}

// sentence begins with a capital letter and ends with a full stop.
func sentence(text string) string {
	first, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[n:] + "."
}
