package face

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/soniakeys/unit"

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
	if !f.drawn {
		for _, line := range n.heights.terminal(f.plotColumns()) {
			fmt.Fprintln(f.out, line)
		}
		fmt.Fprintln(f.out)
	}
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

// between is a stretch of the night.
func (n evening) between(from, to time.Time) say.Line {
	return say.Of("from, to", n.hour(from), n.hour(to))
}

// within is one with the clock it is told by, for the first time that is printed.
func (n evening) within(from, to time.Time) say.Line {
	return say.Of("from, to, by the clock", n.hour(from), n.hour(to), kit.ZoneWords(n.heights.zone, from, to))
}

// window is when the target is above the limit in the dark.
func (n evening) window() say.Line {
	w := n.tonightReport.Target.Window
	return n.within(time.Time(w[0]), time.Time(w[1]))
}

// sayWhen is the plan in two sentences.
func (f *face) sayWhen(n evening) {
	f.headline(words.Line(n.plan()))
	var said []say.Line
	switch t := n.tonightReport.Target; {
	case n.heights.darkFrom.IsZero() || t == nil:
	case t.Window == nil: // the first times there are
		said = append(said, say.Of("it is dark", n.within(n.heights.darkFrom, n.heights.darkTo)))
	default:
		said = append(said, say.Of("it is dark", n.between(n.heights.darkFrom, n.heights.darkTo)))
	}
	if t := n.tonightReport.Target; t != nil && t.BestUTC != nil && t.Window != nil {
		said = append(said, say.Of("best at", n.clock(t.BestUTC), whole(*t.BestAltitudeDeg)))
	}
	if n.tonightReport.Exposures > 0 && n.outing.pause > 0 {
		said = append(said, say.Of("pause counted", n.outing.pause))
	}
	if said := say.All(append(said, n.nextNight())...); !said.None() {
		f.paragraph(words.Line(said))
	}
}

// plan is what to photograph, and when.
func (n evening) plan() say.Line {
	switch t, light := n.tonightReport.Target, long(n.tonightReport.IntegrationS); {
	case t != nil && t.Window != nil && n.tonightReport.Exposures > 0:
		return say.Of("photograph", t.Name, n.window(), n.exposures(), light)
	case t != nil && t.Window != nil:
		return say.Of("too short for one", t.Name, n.window(), n.outing.exposure)
	case t != nil:
		return say.Of("not tonight", t.Name, n.whyNot())
	case n.tonightReport.Exposures > 0:
		return say.Of("dark, and so many fit", n.within(n.heights.darkFrom, n.heights.darkTo), n.exposures(), light)
	}
	return say.Of("no dark tonight")
}

func (n evening) exposures() say.Line {
	if n.tonightReport.Exposures == 1 {
		return say.Of("one exposure of", n.outing.exposure)
	}
	return say.Of("exposures of", n.tonightReport.Exposures, n.outing.exposure)
}

// toldByWhyNot are notes of the night that the first line has already.
var toldByWhyNot = []say.Key{"the target never rises", "the target stays under the limit"}

// whyNot is why the target cannot be photographed.
func (n evening) whyNot() say.Line {
	t := n.tonightReport.Target
	switch {
	case n.Night.Target.Highest.Deg() < 0:
		return say.Of("it never rises here")
	case n.neverHigh():
		return say.Of("never that high here", underDegrees(n.Night.Target.Highest.Deg()), n.limit())
	case n.heights.darkFrom.IsZero():
		return say.Of("the Sun stays up too high")
	case t.BestAltitudeDeg == nil:
		return say.Of("below the horizon in the dark")
	}
	return say.Of("too low in the dark", underDegrees(*t.BestAltitudeDeg), n.limit())
}

// limit is the lowest height worth a picture.
func (n evening) limit() say.Degrees { return say.Degrees(unit.AngleFromDeg(n.outing.minAltitudeDeg)) }

// neverHigh is whether the target stays under the limit in every night of the year: how high a star comes is the same each day.
func (n evening) neverHigh() bool {
	return n.Night.Target != nil && n.Night.Target.Highest.Deg() < n.outing.minAltitudeDeg
}

// underDegrees is a height that is under a limit, to the tenth of a degree below it, so that it does not read as the limit.
func underDegrees(deg float64) say.Degrees {
	return say.Degrees(unit.AngleFromDeg(math.Floor(10*deg) / 10))
}

// nextNight is when it works, where it does not tonight; nothing where it never does, which was said.
func (n evening) nextNight() say.Line {
	l := n.next
	if l == nil || n.neverHigh() {
		return say.Line{}
	}
	least := long(l.least.Seconds())
	switch found, target := !l.on.IsZero(), n.Night.Target != nil; {
	case !found && target:
		return say.Of("no night high enough", n.limit(), least)
	case !found:
		return say.Of("no night dark enough", least)
	case target:
		return say.Of("the next night it can", least, l.on.Format("2 January 2006"), n.within(l.span.From, l.span.To))
	}
	return say.Of("the next dark night", least, l.on.Format("2 January 2006"), n.within(l.span.From, l.span.To))
}

// long is a length of time, from two minutes on to the minute.
func long(s float64) any {
	if s < 120 {
		return say.Seconds(s)
	}
	return say.Span(say.Seconds(s).Round(time.Minute))
}

// Moonlight: from a quarter lit on it is the brightest thing in the sky for faint targets (common practice, no source).
const moonMatters = 0.25

// sayMoon warns of moonlight on the pictures.
func (f *face) sayMoon(n evening) {
	moon := n.tonightReport.Moon
	lit := say.Of("so much lit", say.Share(moon.Illuminated))
	if t := n.tonightReport.Target; t != nil {
		lit = say.Of("so much lit, so far", say.Share(moon.Illuminated), whole(t.MoonDistanceDeg))
	}
	switch {
	case n.tonightReport.Exposures == 0:
	case n.moonUp == nil:
		f.paragraph(words.Say("no Moon", say.Share(moon.Illuminated)))
	case moon.Illuminated < moonMatters:
		f.paragraph(words.Say("a thin Moon", n.between(n.moonUp.From, n.moonUp.To), lit))
	default:
		f.paragraph(words.Say("moonlight", n.between(n.moonUp.From, n.moonUp.To), lit))
	}
}

// sayFirst is where to point for the axis, before anything else.
func (f *face) sayFirst(n evening) {
	if len(n.Axis) == 0 {
		return
	}
	fmt.Fprintln(f.out)
	if n.SunLowest.Deg() > starsDeg {
		f.paragraph(words.Say("no stars for the axis"))
		return
	}
	best := n.Axis[0]
	const fist = 10 // degrees, outstretched (common practice, no source)
	f.headline(words.Say("axis first", wind(best.AzimuthDeg), whole(best.AltitudeDeg), int(best.AltitudeDeg/fist+0.5)))
	f.paragraph(words.Say("what ten pictures tell", unit.AngleFromMin(best.SigmaArcmin), unit.AngleFromMin(best.SwungArcmin), n.elsewhere()))
	if a := n.AimForTarget; a != nil {
		f.paragraph(words.Line(n.aim(*a)))
	}
}

// elsewhere lists the best patches of the other quarters.
func (n evening) elsewhere() string {
	var said []string
	for _, p := range n.Axis[1:] {
		said = append(said, words.Say("another patch", unit.AngleFromMin(p.SigmaArcmin), wind(p.AzimuthDeg), whole(p.AltitudeDeg)))
	}
	return strings.Join(said, "; ")
}

// aim is where the axis best points for the target alone, beside the pole as it is seen.
func (n evening) aim(a fieldReport) say.Line {
	return say.Of("aim for the target", n.tonightReport.Target.Name, unit.AngleFromMin(a.AboveRefractedArcmin), sign(a.AboveRefractedArcmin, say.Key("above"), say.Key("below")),
		unit.AngleFromMin(a.ClockwiseArcmin), sign(a.ClockwiseArcmin, "clockwise", "anticlockwise"))
}

func wind(azimuthDeg float64) say.Wind { return say.Wind(unit.AngleFromDeg(azimuthDeg)) }

// saySkies compares this sky with another, and a bare tripod with the mount.
func (f *face) saySkies(n evening) {
	s := n.Sky
	if s == nil {
		return
	}
	fmt.Fprintln(f.out)
	f.paragraph(words.Say("the sky here", s.Here, between2(s.Longer), s.Other))
	short, mounted := say.Seconds(s.ShortS), n.outing.exposure
	tripod := say.Of("tripod and mount", short, between2(s.ShortLonger), mounted)
	if s.ShortExposures > 0 {
		tripod = say.Of("tripod and mount, counted", short, between2(s.ShortLonger), mounted, rounded(s.ShortExposures), long(float64(s.ShortExposures)*s.ShortS), n.tonightReport.Exposures)
	}
	f.paragraph(words.Line(say.All(tripod, say.Of("long enough", long(s.LongEnoughS)))))
	for _, t := range s.takenAs {
		f.item("- ", words.Say("assumed for the sky", t))
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
