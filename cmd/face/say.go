package face

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/knobs"
	"trueturn/align/policy"
	"trueturn/cmd/kit"
	"trueturn/cmd/legible"
	"trueturn/cmd/words"
	"trueturn/drift/wobble"
	"trueturn/ephem/say"
)

// lineWidth suits the narrow window of a phone's terminal turned sideways.
const lineWidth = 78

// say tells an answer to a cold, tired person in one screen: what becomes of the exposure planned, the one thing to do, how far off the axis is and
// how sure that is, the gear, what is amiss. The table of the pictures, and asides, come where something is wrong with one or where
// they are asked for. Times are those of a zone.
func (f *face) say(a answer.Answer, zone *time.Location, pictures bool) {
	f.sayBrief(a)
	if pictures {
		f.sayAsides(a)
	}
	if pictures || a.Err != nil || slices.ContainsFunc(a.Frames, func(fr answer.FrameJSON) bool { return !fr.Used }) {
		f.sayFrames(a.Frames, zone)
	}
}

// sayBrief is everything but the table of the pictures.
func (f *face) sayBrief(a answer.Answer) {
	if asks(a) { // what follows rests on the answer
		f.sayNext(a)
		f.sayPlanned(a)
	} else {
		f.sayPlanned(a)
		f.sayNext(a)
	}
	f.sayAxis(a)
	f.sayTrouble(a)
}

// asks is whether a question of place or clock comes before all else.
func asks(a answer.Answer) bool { return a.Measured != nil && !a.Measured.Question.Ask.None() }

// sayNext is the next step. A turn is told knob by knob, the larger error first.
func (f *face) sayNext(a answer.Answer) {
	ad := a.Advice
	if ad.Next == nil { // no axis: what to put right, where something stops the work
		if stop, ok := a.Stop(); ok {
			f.headline(stop.Told(a.Voice))
			fmt.Fprintln(f.out)
		}
		return
	}
	if *ad.Next != string(policy.Turn) || ad.TurnAltitudeArcmin == nil || ad.TurnAzimuthArcmin == nil || a.Axis == nil {
		f.headline(ad.NextText)
		fmt.Fprintln(f.out)
		return
	}
	base, tilt := f.baseTurn(a), f.tiltTurn(a)
	if math.Abs(*ad.TurnAltitudeArcmin) > math.Abs(*ad.TurnAzimuthArcmin)*math.Cos(a.Axis.AltitudeDeg*math.Pi/180) {
		base, tilt = tilt, base
	}
	f.headline(words.Say("turn, the larger first"))
	f.ours("  1  ", base)
	f.ours("  2  ", tilt)
	f.headline(words.Say("then tighten and measure"))
	fmt.Fprintln(f.out)
}

// baseTurn is the turn of the azimuth knob, in the words of the advice and in what the hand has to go by.
func (f *face) baseTurn(a answer.Answer) string {
	ad := a.Advice
	if a.Finding.Advice.AzimuthIs != policy.KnobTurns {
		return words.Say("the base is", ad.Azimuth)
	}
	return words.Say("base turn", f.bold(ad.Azimuth), sign(*ad.TurnAzimuthArcmin, "right", "left"), f.measured(knobs.Azimuth, *ad.TurnAzimuthArcmin))
}

// tiltTurn is the turn of the altitude knob. It is to end upward, against
// gravity, so that play does not undo it.
func (f *face) tiltTurn(a answer.Answer) string {
	ad := a.Advice
	if a.Finding.Advice.AltitudeIs != policy.KnobTurns {
		return words.Say("the tilt is", ad.Altitude)
	}
	bold, turn := f.bold(ad.Altitude), f.measured(knobs.Altitude, *ad.TurnAltitudeArcmin)
	switch o := f.gear.knobs(); {
	case *ad.TurnAltitudeArcmin >= 0:
		return words.Say("tilt turn, up", bold, turn)
	case o.Play > 0:
		return words.Say("tilt turn, down, with play", bold, turn, o.Beyond())
	}
	return words.Say("tilt turn, down", bold, turn)
}

// measured is a turn in what the hand has to go by.
func (f *face) measured(k knobs.Knob, arcmin float64) say.Line {
	return f.gear.knobs().Measure(k, unit.AngleFromMin(arcmin))
}

// sayAxis is how far off the axis is and how sure that is, and the gear.
func (f *face) sayAxis(a answer.Answer) {
	stop, stops := a.Stop()
	if a.Error != nil && a.Axis != nil && a.Aim != nil && !(stops && stop.Kind.Unsteady()) {
		e := a.Error
		text := say.Of("off the aim", aims[a.Aim.Kind], words.TiltOff(e.AltitudeArcmin, words.OffBy(e.AltitudeArcmin, a.Axis.AltitudeSigmaArcmin)), words.BaseOff(e.AzimuthArcmin, words.OffBy(e.AzimuthArcmin, a.Axis.AzimuthSigmaArcmin)),
			words.OffBy(e.TotalArcmin, a.Measured.Axis.WorstSigma().Min())) // as the order says it
		if !a.Advice.Trustworthy && a.Finding.Advice.Next != policy.Shoot && !stops {
			text = say.All(text, say.Of("do not rely on this"))
		}
		f.paragraph(words.Line(text))
	}
	gear := gearWords(a)
	if stops {
		gear = ""
	}
	if gear != "" {
		f.paragraph(gear)
	}
	if a.Error != nil && !(stops && stop.Kind.Unsteady()) || gear != "" {
		fmt.Fprintln(f.out)
	}
}

// aims are what the axis is measured against.
var aims = map[string]say.Line{
	"refracted": say.Of("the pole as seen"),
	"true":      say.Of("the true pole"),
	"field":     say.Of("the axis for the target"),
}

// sign is one of two keys.
func sign(x float64, positive, negative say.Key) say.Line {
	if x < 0 {
		return say.Of(negative)
	}
	return say.Of(positive)
}

func either(x float64, positive, negative string) string {
	if x < 0 {
		return negative
	}
	return positive
}

// sayPlanned is what axis and gear will do to the exposure planned, and what a turn is for when they do it no harm.
func (f *face) sayPlanned(a answer.Answer) {
	x, next := a.Exposure, a.Advice.Next
	if _, stops := a.Stop(); stops || x == nil || x.LongestS == nil || next != nil && *next == string(policy.Shoot) { // whose text says it
		return
	}
	f.headline(words.Planned(x))
	if next != nil && *next == string(policy.Turn) && x.PlannedStaysRound != nil && *x.PlannedStaysRound {
		f.headline(words.Say("what a turn is for"))
	}
	fmt.Fprintln(f.out)
}

// gearWords say how evenly the gear runs, in a line; nothing where an answer has nothing of it.
func gearWords(a answer.Answer) string {
	p := a.PeriodicError
	switch {
	case p == nil:
		return ""
	case p.State == string(wobble.Measured) && p.PeakToPeakArcsec != nil && p.PeriodS != nil && p.MaxRateArcsecPerSec != nil:
		return words.Say("the gear wobbles by", arcsec(*p.PeakToPeakArcsec), say.Period{Seconds: *p.PeriodS}, arcsec(*p.MaxRateArcsecPerSec))
	case p.State == string(wobble.Bounded) && a.Gear != nil:
		return words.Say("the gear wobbles by no more", arcsec(a.Gear.PeakToPeakLimits.High))
	}
	return words.Say("the gear was not measured")
}

func arcsec(v float64) say.Arcsec { return say.Arcsec{Value: unit.AngleFromSec(v)} }

// vague is the error from which on a rate of the motor is not worth a line.
const vague = 0.02

// sayAsides are what nothing need be done about tonight.
func (f *face) sayAsides(a answer.Answer) {
	if r := a.Rate; r != nil && r.Sigma < vague {
		f.item("- ", words.Say("the motor turns at", say.Ratio{Value: r.SiderealRatio, Sigma: max(r.Sigma, 1e-5)}))
	}
	if p := a.PeriodicError; p != nil && p.Note != "" {
		f.item("- ", p.Note)
	}
	for _, n := range a.Finding.Advice.Notes {
		if n.Aside {
			f.item("- ", words.Line(n.Says))
		}
	}
	fmt.Fprintln(f.out)
}

// sayTrouble names what was amiss but for what the order says already, and doubts.
func (f *face) sayTrouble(a answer.Answer) {
	said := 0
	item := func(mark, text string) {
		f.item(mark, text)
		said++
	}
	stop, stops := a.Stop()
	for _, s := range a.Situations {
		if stops && s.Kind == string(stop.Kind) {
			continue
		}
		if len(s.Files) > 0 && s.Files[0] != a.Frames[0].File {
			item("! ", words.Say("a situation, from", words.Kind(s.Kind), s.Files[0], s.Text))
		} else {
			item("! ", words.Say("a situation", words.Kind(s.Kind), s.Text))
		}
	}
	for i, n := range a.Finding.Advice.Notes {
		if !n.Aside && !(i == 0 && a.Err != nil) { // which repeats the error that stderr tells
			item("- ", words.Line(n.Says))
		}
	}
	if said > 0 {
		fmt.Fprintln(f.out)
	}
}

// sayFrames is the table of the pictures, and why some were not used.
func (f *face) sayFrames(frames []answer.FrameJSON, zone *time.Location) {
	if solvedElsewhere(frames) {
		f.sayDirections(frames, zone)
		return
	}
	t := f.table()
	fmt.Fprintf(t, "picture\tmiddle, %s\tstars\tknown\tmiss, px\twidth, px\tlength/width\t\n", offsetOf(frames, zone))
	for _, fr := range frames {
		note := ""
		switch {
		case !fr.Used:
			note = "not used"
		case fr.Mirrored:
			note = "mirrored"
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s\t%s\t%s\t%s\n", shorten(fr.File), clockOf(fr, zone), fr.Stars, fr.Matched,
			decimals(fr.RMSPx), decimals(fr.FWHMPx), decimals(fr.Elongation), note)
	}
	t.Flush()
	fmt.Fprintln(f.out)
	f.sayUnused(frames)
}

// solvedElsewhere is whether directions stood for the pictures: none has a star.
func solvedElsewhere(frames []answer.FrameJSON) bool {
	for _, fr := range frames {
		if fr.Stars > 0 || fr.RADeg == nil || fr.ScaleArcsecPx != nil {
			return false
		}
	}
	return len(frames) > 0
}

// sayDirections is the table of pictures that were solved elsewhere.
func (f *face) sayDirections(frames []answer.FrameJSON, zone *time.Location) {
	t := f.table()
	fmt.Fprintf(t, "picture\tmiddle, %s\tra, °\tdec, °\troll, °\t\n", offsetOf(frames, zone))
	for _, fr := range frames {
		note := ""
		if !fr.Used {
			note = "not used"
		}
		fmt.Fprintf(t, "%s\t%s\t%.4f\t%+.4f\t%s\t%s\n", shorten(fr.File), clockOf(fr, zone), *fr.RADeg, *fr.DecDeg, decimals(fr.RollDeg), note)
	}
	t.Flush()
	fmt.Fprintln(f.out)
	f.sayUnused(frames)
}

// sayUnused gives each reason once, with the pictures it holds for.
func (f *face) sayUnused(frames []answer.FrameJSON) {
	var reasons []string
	files := map[string][]string{}
	for _, fr := range frames {
		if fr.Used {
			continue
		}
		if files[fr.WhyNot] == nil {
			reasons = append(reasons, fr.WhyNot)
		}
		files[fr.WhyNot] = append(files[fr.WhyNot], fr.File)
	}
	for i, why := range reasons {
		if i == mostReasons {
			f.item("- ", words.Say("more reasons", len(reasons)-i))
			break
		}
		f.item("- ", words.Say("not used, why", few(files[why], 3), why))
	}
	if len(reasons) > 0 {
		fmt.Fprintln(f.out)
	}
}

// mostReasons keeps a folder full of bad pictures from filling the screen.
const mostReasons = 5

// shorten keeps a long file name from breaking the table: what tells pictures
// apart stands mostly at the end.
func shorten(name string) string {
	const longest = 24
	name = legible.Line(name)
	if r := []rune(name); len(r) > longest {
		return "…" + string(r[len(r)-longest+1:])
	}
	return name
}

// clockOf is the time of day in the middle of a picture, as a zone's clock shows it.
func clockOf(fr answer.FrameJSON, zone *time.Location) string {
	t, ok := midOf(fr)
	if !ok {
		return "?"
	}
	return in(t, zone).Format("15:04:05.0")
}

// midOf is the middle of a picture, if it is known.
func midOf(fr answer.FrameJSON) (time.Time, bool) {
	if fr.MidUTC == nil {
		return time.Time{}, false
	}
	t, err := time.Parse(time.RFC3339Nano, *fr.MidUTC)
	return t, err == nil
}

// in is an instant in a zone; nil is UTC.
func in(t time.Time, zone *time.Location) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone)
}

// offsetOf names the clock the pictures' times are told by.
func offsetOf(frames []answer.FrameJSON, zone *time.Location) string {
	var first, last time.Time
	for _, fr := range frames {
		if t, ok := midOf(fr); ok {
			if first.IsZero() {
				first = t
			}
			last = t
		}
	}
	return kit.Offset(zone, first, last)
}

func decimals(x *float64) string {
	if x == nil || math.IsNaN(*x) {
		return "?"
	}
	return fmt.Sprintf("%.2f", *x)
}

func (f *face) table() *tabwriter.Writer {
	return tabwriter.NewWriter(&trimmed{w: f.out}, 0, 0, 2, ' ', 0)
}

// trimmed passes lines on without the spaces at their ends.
type trimmed struct {
	w    io.Writer
	line []byte
}

func (t *trimmed) Write(p []byte) (int, error) {
	for _, b := range p {
		if b != '\n' {
			t.line = append(t.line, b)
			continue
		}
		if _, err := t.w.Write(append(bytes.TrimRight(t.line, " "), '\n')); err != nil {
			return 0, err
		}
		t.line = t.line[:0]
	}
	return len(p), nil
}

// headline is a paragraph that stands out.
func (f *face) headline(text string) {
	for _, line := range wrap(legible.Line(text), f.width) {
		fmt.Fprintln(f.out, f.bold(line))
	}
}

func (f *face) paragraph(text string) { f.item("", text) }

// item is a paragraph with a mark before it.
func (f *face) item(mark, text string) { f.ours(mark, legible.Line(text)) }

// ours is an item with not a word from elsewhere: some may be bold.
func (f *face) ours(mark, text string) {
	lead := mark
	for _, line := range wrap(text, f.width-len(mark)) {
		fmt.Fprintln(f.out, lead+line)
		lead = strings.Repeat(" ", len(mark))
	}
}

// wrap breaks a text into lines between words.
func wrap(text string, width int) []string {
	var lines []string
	line, n := "", 0
	for _, word := range strings.Fields(text) {
		w := seen(word)
		if n > 0 && n+1+w > width {
			lines = append(lines, line)
			line, n = "", 0
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+word, n+w
	}
	return append(lines, line)
}

// seen is how many columns a word takes on a terminal.
func seen(word string) int {
	word = strings.ReplaceAll(strings.ReplaceAll(word, paintBold, ""), paintThin, "")
	return len([]rune(word))
}

// cautions are those of "trueturn help care", in full.
func cautions() string {
	text, _ := chapter("care")
	_, body, _ := strings.Cut(text, "\n\n")
	return body
}

// mind is the line of them under every answer.
const mind = "Mind ledges and drops, the cold, and the Sun by day: trueturn help care."
