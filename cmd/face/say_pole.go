package face

import (
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/cmd/kit"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/compass"
	"trueturn/ephem/pole"
	"trueturn/ephem/say"
)

// sayPole tells it to somebody who stands by the tripod: where to look, how far up, which side of the star; then how high to
// set the wedge, the drawing, the coming hour, the compass.
func (f *face) sayPole(p found) {
	f.headline(words.Line(p.whereToLook()))
	f.paragraph(words.Line(p.starWords()))
	f.headline(words.Line(p.wedgeWords()))
	for _, n := range p.notes() {
		f.paragraph(n)
	}
	if !f.drawn {
		fmt.Fprintln(f.out)
		f.drawPole(p)
	}
	fmt.Fprintln(f.out)
	f.sayHour(p)
	fmt.Fprintln(f.out)
	f.paragraph(words.Say("compass", p.compassNote()))
	if p.mute == nil && p.field.Trust() != compass.Fails {
		f.paragraph(words.Say("steel and magnets"))
	}
}

// facing is which way one looks.
func (p found) facing() string {
	switch {
	case p.atEarthsPole(): // both ways, north from the one pole and south from the other run on down the far meridian
		return words.Say("longitude", meridian(p.site.Longitude+math.Pi))
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

func (p found) whereToLook() say.Line {
	deg := p.now().Seen.Altitude.Deg()
	switch {
	case p.atEarthsPole():
		return say.Of("pole overhead", opposite[p.now().North], p.facing())
	case deg < 1.5:
		return say.Of("pole on the horizon", p.facing(), say.Tenths(deg))
	case deg > overheadDeg:
		return say.Of("pole almost overhead", p.facing(), say.Tenths(deg))
	}
	return say.Of("where the pole is", p.facing(), say.Tenths(deg), fists(deg))
}

var opposite = map[bool]string{true: "south", false: "north"}

// fists measures a height by a fist at arm's length, about 10° wide (common practice, no source).
func fists(deg float64) say.Line {
	switch halves := int(math.Round(deg / 5)); {
	case halves < 1:
		return say.Of("less than half a fist")
	case halves == 1:
		return say.Of("half a fist")
	case halves == 2:
		return say.Of("one fist")
	case halves%2 == 0:
		return say.Of("fists", halves/2)
	default:
		return say.Of("fists and a half", halves/2)
	}
}

// starWords say where the star stands, and the way from it to the pole.
func (p found) starWords() say.Line {
	v := p.now()
	lines := []say.Line{say.Of("star beside the pole", v.Star.Name, beside(v.Star.Right, v.Star.Up), arc(v), side(-v.Star.Right, -v.Star.Up, "the star"))}
	if p.atEarthsPole() || v.Seen.Altitude.Deg() > overheadDeg {
		lines = append(lines, say.Of("above is over your back"))
	}
	return say.All(append(lines, say.Of("in an inverting finder", side(-v.Star.Right, -v.Star.Up, "the pole")))...)
}

// overheadDeg is the altitude above which people lean back, and may lose which way is up.
const overheadDeg = 80

// arc is from pole to star, as seen.
func arc(v pole.View) unit.Angle {
	return unit.Angle(math.Hypot(v.Star.Right.Rad(), v.Star.Up.Rad()))
}

// beside is an offset in Moon widths and plain words, as "2.0 Moon widths above and left of the pole".
func beside(right, up unit.Angle) say.Line {
	return say.Of("so far beside", say.Moons(unit.Angle(math.Hypot(right.Rad(), up.Rad()))), side(right, up, "the pole"))
}

// sides are eight directions from a thing, clockwise from above it.
var sides = [...]say.Key{say.Key("above it"), say.Key("above and right of it"), say.Key("right of it"), say.Key("below and right of it"),
	say.Key("below it"), say.Key("below and left of it"), say.Key("left of it"), say.Key("above and left of it")}

// side is one of eight directions, each in the middle of its eighth.
func side(right, up unit.Angle, of string) say.Line {
	eighth := int(math.Round(math.Atan2(right.Rad(), up.Rad()) / (math.Pi / 4)))
	return say.Of(sides[(eighth+len(sides))%len(sides)], of)
}

func (p found) wedgeWords() say.Line {
	v := p.now()
	set, lift := say.Tenths(v.Seen.Altitude.Deg()), v.Seen.Altitude-v.True.Altitude
	if lift.Min() < 0.05 {
		return say.Of("set the wedge", set)
	}
	return say.Of("set the wedge, lifted", set, say.Hundredths(v.True.Altitude.Deg()), lift)
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

// height is above the horizon or below it.
func height(deg float64) say.Line {
	if deg < 0 {
		return say.Of("so far below the horizon", whole(deg))
	}
	return say.Of("so high", whole(deg))
}

// whole is an angle to be told in whole degrees.
func whole(deg float64) say.Degrees { return say.Degrees(unit.AngleFromDeg(math.Round(deg))) }

// notes are what should give pause.
func (p found) notes() []string {
	notes := []string{}
	v := p.now()
	add := func(when bool, note say.Line) {
		if when {
			notes = append(notes, words.Line(note))
		}
	}
	add(v.Seen.Altitude.Deg() < murkyDeg, say.Of("low, the air lifts the pole"))
	add(v.Star.Seen.Altitude <= 0, say.Of("star below the horizon", v.Star.Name))
	add(v.Star.Magnitude > 5, say.Of("a faint star", v.Star.Name, say.Tenths(v.Star.Magnitude)))
	add(p.sunDeg() > brightDeg, say.Of("too bright for the star", height(p.sunDeg())))
	add(p.atEarthsPole(), say.Of("azimuths at the Earth's pole", meridian(p.zeroAzimuth())))
	add(len(p.views) < poleSteps, say.Of("steps end early"))
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

// compassNote is what a compass shows, how sure and until when; or why it is of no use.
func (p found) compassNote() string {
	if p.mute != nil {
		return p.noCompass()
	}
	d, nT := p.field.Declination.Deg(), int(math.Round(p.field.HorizontalNT))
	points := say.Of("the needle points", say.Tenths(math.Abs(d)), say.Tenths(p.field.Sigma.Deg()), either(d, "east", "west"), compass.Model, compass.EndYear-1)
	switch p.field.Trust() {
	case compass.Fails:
		return words.Say("no compass near the magnetic pole", nT)
	case compass.Sluggish:
		return words.Say("a weak needle", p.readings(), points, nT)
	}
	return words.Say("a hand compass", p.readings(), points)
}

// readings are what the compass shows toward true north and, in the south, where one faces.
func (p found) readings() say.Line {
	north := bearing(p.field.Reading(0))
	if p.now().North {
		return say.Of("true north is at", north)
	}
	return say.Of("true south and north are at", bearing(p.field.Reading(math.Pi)), north)
}

// bearing is one as compasses are marked, 0–359°.
func bearing(a unit.Angle) say.Degrees { return whole(math.Mod(math.Round(a.Deg()), 360)) }

func (p found) noCompass() string {
	if errors.Is(p.mute, compass.ErrDate) {
		return words.Say("no compass, with a way out", p.mute.Error(), say.Sentence(hint(p.mute)))
	}
	if p.atEarthsPole() {
		return words.Say("no compass", p.mute.Error())
	}
	return words.Say("no compass here", p.mute.Error())
}
