package face

import (
	"fmt"
	"math"
	"slices"

	"trueturn/align/exposure"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// sayVerdict tells a verdict: the sentence first, then what is behind it, then the pictures.
func (f *face) sayVerdict(v exposure.Verdict, tolerance float64) {
	if blind(v) { // the error says why
		f.sayJudged(v, tolerance)
		return
	}
	f.headline(words.Line(v.Advice))
	fmt.Fprintln(f.out)
	for _, c := range v.Causes {
		f.item("- ", words.Say("a cause", causeWords(c, len(v.Causes)), c.Says))
	}
	lengths := lengthWords(v)
	if lengths != "" {
		f.item("- ", lengths)
	}
	leave := len(v.LeaveOut) > 0 && len(v.LeaveOut) < v.Of
	if leave {
		f.item("- ", words.Say("leave out", few(v.LeaveOut, 6)))
	}
	if len(v.Causes) > 0 || leave || lengths != "" {
		fmt.Fprintln(f.out)
	}
	f.sayJudged(v, tolerance)
}

// causeWords name a cause with its part of what is amiss, where there are several.
func causeWords(c exposure.Share, of int) string {
	if of == 1 || slices.Contains(c.Behind, exposure.OriginStill) { // whose text tells its part
		return string(c.Cause)
	}
	return fmt.Sprintf("%s, %s", c.Cause, words.Share(c.Share))
}

// lengthWords are how many would have been round at other lengths: from the longest at which most would, upward. Nothing
// where the length does not matter.
func lengthWords(v exposure.Verdict) string {
	from, most, least := 0, -1, v.Of+1
	for i, l := range v.Lengths {
		if l.Round >= most {
			from, most = i, l.Round
		}
		least = min(least, l.Round)
	}
	if most <= least || v.Round == v.Of || v.Still { // of a tripod the forecast tells
		return ""
	}
	var said []string
	for _, l := range v.Lengths[from:] {
		length := say.Of("times the length", say.Number(l.Factor))
		if l.ExposureS > 0 {
			length = say.Of("so long", say.Seconds(l.ExposureS))
		}
		round := say.Of("round at", l.Round, length)
		if len(said) == 0 {
			round = say.Of("round of all at", l.Round, v.Of, length)
		}
		if said = append(said, words.Line(round)); l.Round == 0 {
			break
		}
	}
	return words.Say("would have been round", said)
}

// sayJudged is the table of the pictures.
func (f *face) sayJudged(v exposure.Verdict, tolerance float64) {
	t := f.table()
	fmt.Fprint(t, "picture\tstars\twidth, px\tlength/width\tangle\ttrail, px\t\n")
	for _, fr := range v.Frames {
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%s\n", shorten(fr.File), fr.Stars, orUnknown(fr.FWHM, "%.2f"), orUnknown(fr.Elongation, "%.2f"),
			lies(fr), trail(fr), words.Judged(fr))
	}
	t.Flush()
	f.paragraph(words.Say("what round means", say.Hundredths(tolerance)))
	fmt.Fprintln(f.out)
}

func orUnknown(x float64, format string) string {
	if x <= 0 {
		return "?"
	}
	return fmt.Sprintf(format, x)
}

// vagueAngle is the error of a direction from which on it is not worth printing.
const vagueAngle = 20 * math.Pi / 180

func lies(fr exposure.Judged) string {
	if fr.Elongation <= 0 || fr.AngleErr > vagueAngle || faint(fr) {
		return "–"
	}
	return fmt.Sprintf("%d°", int(math.Round(fr.Angle.Deg()))%180)
}

// faint is whether a trail cannot be told from none.
func faint(fr exposure.Judged) bool { return fr.TrailPx < 2*fr.TrailPxErr }

func trail(fr exposure.Judged) string {
	if fr.Elongation <= 0 {
		return "?"
	}
	if faint(fr) {
		return fmt.Sprintf("below %.1f", fr.TrailPx+2*fr.TrailPxErr)
	}
	return fmt.Sprintf("%.2f ± %.2f", fr.TrailPx, fr.TrailPxErr)
}
