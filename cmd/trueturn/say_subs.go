package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trueturn/align/exposure"
	"trueturn/cmd/words"
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
		f.item("- ", fmt.Sprintf("%s: %s", causeWords(c, len(v.Causes)), words.Line(c.Says)))
	}
	lengths := lengthWords(v)
	if lengths != "" {
		f.item("- ", lengths)
	}
	leave := len(v.LeaveOut) > 0 && len(v.LeaveOut) < v.Of
	if leave {
		f.item("- ", "leave out: "+few(v.LeaveOut, 6))
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
		length := fmt.Sprintf("%g times the length", l.Factor)
		if l.ExposureS > 0 {
			length = words.Exposure(l.ExposureS)
		}
		of := ""
		if len(said) == 0 {
			of = fmt.Sprintf(" of %d", v.Of)
		}
		said = append(said, fmt.Sprintf("%d%s at %s", l.Round, of, length))
		if l.Round == 0 {
			break
		}
	}
	return "would have been round: " + strings.Join(said, ", ")
}

// sayJudged is the table of the pictures.
func (f *face) sayJudged(v exposure.Verdict, tolerance float64) {
	t := f.table()
	fmt.Fprint(t, "picture\tstars\twidth, px\tlength/width\tangle\ttrail, px\t\n")
	for _, fr := range v.Frames {
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%s\n", shorten(fr.File), fr.Stars, orUnknown(fr.FWHM, "%.2f"), orUnknown(fr.Elongation, "%.2f"),
			lies(fr), trail(fr), verdictWords(fr))
	}
	t.Flush()
	f.paragraph(fmt.Sprintf("Round means at most %g times as long as wide, typically and over nine tenths of the picture. Angles are clockwise from horizontal.", tolerance))
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

func verdictWords(fr exposure.Judged) string {
	switch {
	case fr.Round && fr.Cause == exposure.CauseNone:
		return "round"
	case fr.Round:
		return "round, but " + string(fr.Cause)
	case fr.Elongation <= 0:
		return "cannot be judged"
	}
	return "not round: " + string(fr.Cause)
}
