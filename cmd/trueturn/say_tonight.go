package main

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"trueturn/cmd/kit"
	"trueturn/cmd/words"
	"trueturn/ephem/night"
	"trueturn/ephem/say"
)

// evening is all that tonight found: the night, and what was made of it.
type evening struct {
	night.Night
	tonightReport
	heights heights
	outing  *outing
	moonUp  *night.Span // while pictures are taken; nil if it is not
	next    *later      // nil where pictures are taken tonight
}

// sayNight tells the plan to somebody who stands outside: when, how many, what spoils it, and what to do first.
func (f *face) sayNight(n evening) {
	f.sayWhen(n)
	f.sayMoon(n)
	f.sayFirst(n)
	f.saySkies(n)
	fmt.Fprintln(f.out)
	for _, line := range n.heights.terminal(f.plotColumns()) {
		fmt.Fprintln(f.out, line)
	}
	fmt.Fprintln(f.out)
	f.sayTimes(n)
	notes := slices.DeleteFunc(slices.Clone(n.Night.Notes), func(l say.Line) bool { return slices.Contains(toldByWhyNot, l.Key) })
	if len(notes) > 0 {
		fmt.Fprintln(f.out)
	}
	for _, note := range notes {
		f.item("- ", words.Line(note))
	}
}

// plotColumns is the terminal's width, at most that of the text.
func (f *face) plotColumns() int {
	if f.outScreen {
		return min(lineWidth, columns(os.Stdout))
	}
	return lineWidth
}

// clock is a time of the night as people read it.
func (n evening) clock(u *utc) string { return n.hour(time.Time(*u)) }

func (n evening) hour(t time.Time) string {
	return t.In(n.heights.zone).Round(time.Minute).Format("15:04")
}

// within is a stretch of the night with the clock it is told by, for the first time that is printed.
func (n evening) within(from, to time.Time) string {
	return fmt.Sprintf("from %s to %s (%s)", n.hour(from), n.hour(to), kit.ZoneWords(n.heights.zone, from, to))
}

// sayWhen is the plan in two sentences.
func (f *face) sayWhen(n evening) {
	switch t := n.tonightReport.Target; {
	case t != nil && t.Window != nil && n.tonightReport.Exposures > 0:
		f.headline(fmt.Sprintf("Photograph %s %s: %s of %s, %s of light.", t.Name, n.within(time.Time(t.Window[0]), time.Time(t.Window[1])),
			count(n.tonightReport.Exposures, "exposure"), words.Exposure(n.outing.exposure.Seconds()), span(n.tonightReport.IntegrationS)))
	case t != nil && t.Window != nil:
		f.headline(fmt.Sprintf("%s is high enough in the dark %s, too short for one exposure of %s.", t.Name, n.within(time.Time(t.Window[0]), time.Time(t.Window[1])), words.Exposure(n.outing.exposure.Seconds())))
	case t != nil:
		f.headline(fmt.Sprintf("%s cannot be photographed tonight: %s.", t.Name, n.whyNot()))
	case n.tonightReport.Exposures > 0:
		f.headline(fmt.Sprintf("Dark %s: %s of %s fit, %s of light.", n.within(n.heights.darkFrom, n.heights.darkTo),
			count(n.tonightReport.Exposures, "exposure"), words.Exposure(n.outing.exposure.Seconds()), span(n.tonightReport.IntegrationS)))
	default:
		f.headline("It does not get dark tonight.")
	}
	var said []string
	switch t := n.tonightReport.Target; {
	case n.heights.darkFrom.IsZero() || t == nil:
	case t.Window == nil: // the first times there are
		said = append(said, fmt.Sprintf("It is dark %s.", n.within(n.heights.darkFrom, n.heights.darkTo)))
	default:
		said = append(said, fmt.Sprintf("It is dark from %s to %s.", n.hour(n.heights.darkFrom), n.hour(n.heights.darkTo)))
	}
	if t := n.tonightReport.Target; t != nil && t.BestUTC != nil && t.Window != nil {
		said = append(said, fmt.Sprintf("Best at %s, when it is %.0f° high.", n.clock(t.BestUTC), *t.BestAltitudeDeg))
	}
	if n.tonightReport.Exposures > 0 && n.outing.pause > 0 {
		said = append(said, fmt.Sprintf("The count allows %s between exposures.", words.Exposure(n.outing.pause.Seconds())))
	}
	if next := n.nextWords(); next != "" {
		said = append(said, next)
	}
	if len(said) > 0 {
		f.paragraph(strings.Join(said, " "))
	}
}

// toldByWhyNot are notes of the night that the first line has already.
var toldByWhyNot = []say.Key{"the target never rises", "the target stays under the limit"}

// whyNot is why the target cannot be photographed.
func (n evening) whyNot() string {
	t, limit := n.tonightReport.Target, n.outing.minAltitudeDeg
	switch {
	case n.Night.Target.Highest.Deg() < 0:
		return "it never rises here"
	case n.neverHigh():
		return fmt.Sprintf("it is never higher than %s here, under your limit of %g°", underDegrees(n.Night.Target.Highest.Deg()), limit)
	case n.heights.darkFrom.IsZero():
		return "it does not get dark"
	case t.BestAltitudeDeg == nil:
		return "while it is dark it stays below the horizon"
	}
	return fmt.Sprintf("while it is dark it is no higher than %s, under your limit of %g°", underDegrees(*t.BestAltitudeDeg), limit)
}

// neverHigh is whether the target stays under the limit in every night of the year: how high a star comes is the same each day.
func (n evening) neverHigh() bool {
	return n.Night.Target != nil && n.Night.Target.Highest.Deg() < n.outing.minAltitudeDeg
}

// underDegrees is a height that is under a limit, to the tenth of a degree below it, so that it does not read as the limit.
func underDegrees(deg float64) string {
	return strconv.FormatFloat(math.Floor(10*deg)/10, 'f', -1, 64) + "°"
}

// nextWords are when it works, where it does not tonight; "" where it never does, which was said.
func (n evening) nextWords() string {
	l := n.next
	if l == nil || n.neverHigh() {
		return ""
	}
	least := span(l.least.Seconds())
	what, none := fmt.Sprintf("on which it can, for %s or more,", least), fmt.Sprintf("On no night of the coming year is it above %g° in the dark for %s.", n.outing.minAltitudeDeg, least)
	if n.Night.Target == nil {
		what, none = fmt.Sprintf("that is dark for %s or more", least), fmt.Sprintf("No night of the coming year is dark for %s.", least)
	}
	if l.on.IsZero() {
		return none
	}
	return fmt.Sprintf("The next night %s is that of %s: %s.", what, l.on.Format("2 January 2006"), n.within(l.span.From, l.span.To))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// span is a long time in hours and minutes.
func span(s float64) string {
	n := int(s/60 + 0.5)
	switch {
	case s < 120:
		return words.Exposure(s)
	case n < 60:
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %02d min", n/60, n%60)
}

// Moonlight: from a quarter lit on it is the brightest thing in the sky for faint targets (common practice, no source).
const moonMatters = 0.25

// sayMoon warns of moonlight on the pictures.
func (f *face) sayMoon(n evening) {
	lit := 100 * n.tonightReport.Moon.Illuminated
	near := ""
	if n.tonightReport.Target != nil {
		near = fmt.Sprintf(", %.0f° from the target", n.tonightReport.Target.MoonDistanceDeg)
	}
	switch {
	case n.tonightReport.Exposures == 0:
	case n.moonUp == nil:
		f.paragraph(fmt.Sprintf("The Moon (%.0f %% lit) does not interfere.", lit))
	case n.tonightReport.Moon.Illuminated < moonMatters:
		f.paragraph(fmt.Sprintf("The Moon is up from %s to %s, but thin (%.0f %% lit%s): it hardly matters.", n.hour(n.moonUp.From), n.hour(n.moonUp.To), lit, near))
	default:
		f.paragraph(fmt.Sprintf("Moonlight from %s to %s: the Moon is %.0f %% lit%s. Faint nebulae and galaxies drown in it; choose clusters and stars, or the hours without it.", n.hour(n.moonUp.From), n.hour(n.moonUp.To), lit, near))
	}
}

// sayFirst is where to point for the axis, before anything else.
func (f *face) sayFirst(n evening) {
	if len(n.Axis) == 0 {
		return
	}
	fmt.Fprintln(f.out)
	if n.SunLowest.Deg() > starsDeg {
		f.paragraph("No stars will show, so the axis cannot be measured.")
		return
	}
	best := n.Axis[0]
	f.headline(fmt.Sprintf("Axis first: point the camera %s, %s up.", toward(best.AzimuthDeg), inFists(best.AltitudeDeg)))
	f.paragraph(fmt.Sprintf("Ten pictures in three minutes there tell the axis to %s; three pictures with the axis swung by hand between them, by +30° and −20°, to %s (a phone's long lens, 50 stars). If that sky is hidden, three minutes give %s.",
		minutes(best.SigmaArcmin), minutes(best.SwungArcmin), n.elsewhere()))
	if a := n.AimForTarget; a != nil {
		f.paragraph(n.aimWords(*a))
	}
}

// elsewhere lists the best patches of the other quarters.
func (n evening) elsewhere() string {
	var said []string
	for _, p := range n.Axis[1:] {
		said = append(said, fmt.Sprintf("%s in the %s, %.0f° up", minutes(p.SigmaArcmin), toward(p.AzimuthDeg), p.AltitudeDeg))
	}
	return strings.Join(said, "; ")
}

// aimWords is where the axis best points for the target alone, beside the pole as it is seen.
func (n evening) aimWords(a fieldReport) string {
	updown, side := "above", "clockwise"
	if a.AboveRefractedArcmin < 0 {
		updown = "below"
	}
	if a.ClockwiseArcmin < 0 {
		side = "anticlockwise"
	}
	return fmt.Sprintf("For %s alone, the axis is best aimed %s %s the pole as seen, and %s %s of it (seen from above): align does that with --aim field and --target.",
		n.tonightReport.Target.Name, minutes(a.AboveRefractedArcmin), updown, minutes(a.ClockwiseArcmin), side)
}

var winds = [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}

func toward(azimuthDeg float64) string {
	return winds[int(math.Floor(azimuthDeg/45+0.5))%len(winds)]
}

// inFists is a height for somebody without an instrument: an outstretched fist is about 10° wide (common
// practice, no source).
func inFists(deg float64) string {
	fists := int(deg/10 + 0.5)
	return fmt.Sprintf("%.0f° (%d fists at arm's length)", deg, fists)
}

// saySkies compares this sky with another, and a bare tripod with the mount.
func (f *face) saySkies(n evening) {
	s := n.Sky
	if s == nil {
		return
	}
	fmt.Fprintln(f.out)
	longer := fmt.Sprintf("%s as long", between2(s.Longer))
	f.paragraph(fmt.Sprintf("Sky here: %s. The same signal-to-noise on something faint takes %s as under %s.", s.Here, longer, s.Other))
	tripod := fmt.Sprintf("On a bare tripod, exposures of %s take %s as long in all as those of %s, because the sensor is read so much more often",
		words.Exposure(s.ShortS), between2(s.ShortLonger), words.Exposure(n.outing.exposure.Seconds()))
	if s.ShortExposures > 0 {
		tripod += fmt.Sprintf(": some %d of them, %s of light, equal the %d above", rounded(s.ShortExposures), span(float64(s.ShortExposures)*s.ShortS), n.tonightReport.Exposures)
	}
	f.paragraph(fmt.Sprintf("%s. Under this sky, exposures longer than %s gain little more. The Moon is left out of this.", tripod, span(s.LongEnoughS)))
	for _, t := range s.takenAs {
		f.item("- ", "assumed: "+t)
	}
}

// rounded is a count of which two figures are known.
func rounded(n int) int {
	step := 1
	for n/step >= 100 {
		step *= 10
	}
	return (n + step/2) / step * step
}

// between2 prints a ratio with its range.
func between2(t times3) string {
	if t.High/t.Low < 1.02 {
		return ratio(t.Is) + " times"
	}
	return fmt.Sprintf("%s times (%s to %s)", ratio(t.Is), ratio(t.Low), ratio(t.High))
}

func ratio(x float64) string {
	switch {
	case x >= 10:
		return fmt.Sprintf("%.0f", x)
	case x >= 2:
		return fmt.Sprintf("%.1f", x)
	}
	return fmt.Sprintf("%.2f", x)
}

// sayTimes is the table of the night.
func (f *face) sayTimes(n evening) {
	t := f.table()
	row := func(what string, u *utc, ifNot string) {
		if u == nil {
			fmt.Fprintf(t, "%s\t%s\n", what, ifNot)
			return
		}
		fmt.Fprintf(t, "%s\t%s\n", what, n.clock(u))
	}
	fmt.Fprintf(t, "night of %s\t%s\n", n.Date, n.heights.zoneWords())
	row("sunset", n.SunsetUTC, "none")
	row("civil twilight ends", n.CivilUTC, "none")
	row("nautical twilight ends", n.NauticalUTC, "none")
	row("dark from", n.DarkFromUTC, "none")
	if n.tonightReport.Target != nil {
		row("target crosses the meridian", n.tonightReport.Target.MeridianUTC, "not in this night")
	}
	row("moonrise", n.tonightReport.Moon.RiseUTC, "none")
	row("moonset", n.tonightReport.Moon.SetUTC, "none")
	row("dark to", n.DarkToUTC, "none")
	row("sunrise", n.SunriseUTC, "none")
	t.Flush()
}
