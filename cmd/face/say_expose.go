package face

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trueturn/align/exposure"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// sayForecast is the answer: how long, what ends it, what would help.
func (f *face) sayForecast(a asked, x exposure.Forecast) {
	f.headline(words.Line(x.Says()))
	said := []say.Line{x.LongSays()}
	if len(x.Gains) > 0 || x.LongestS == 0 { // where nothing helps, the advice names the limit
		said = append(said, say.Of("the limit is", x.LimitedBy.Says()))
	}
	if !x.Endless && x.LongestS > 0 {
		said = append(said, x.Advice)
	}
	if x.LowS < x.HighS && x.Gear != exposure.GearUsual { // else the first line says it
		said = append(said, say.Of("the truth lies between", say.Seconds(x.LowS), say.LongestOf(x.HighS)))
	}
	if x.AgainS > 0 {
		said = append(said, say.Of("round again", say.Seconds(x.AgainS), say.LongestOf(x.AgainToS)))
	}
	if said := say.All(append(said, a.plan.Mount.Wobble.Says())...); !said.None() {
		f.paragraph(words.Line(said))
	}
	fmt.Fprintln(f.out)
	if len(a.taken) > 0 {
		f.paragraph(words.Say("assumed", strings.Join(a.assumed(!f.drawn), "; ")))
		fmt.Fprintln(f.out)
	}
}

// sayCurve is the table by exposure.
func (f *face) sayCurve(a asked, x exposure.Forecast) {
	if x.Endless {
		return
	}
	t := f.table()
	fmt.Fprint(t, "exposure\ttrail, px\tlength/width\tround, of 100\n")
	for _, p := range around(x.Curve, x.LongestS) {
		fmt.Fprintf(t, "%s\t%.1f\t%.2f\t%.0f\n", words.Exposure(p.ExposureS), p.TrailPx, p.Elongation, 100*p.ShareRound)
	}
	t.Flush()
	tolerance, of := say.Hundredths(a.plan.MaxElongation), int(math.Round(100*a.plan.Share))
	if x.Worst == exposure.Middle {
		f.paragraph(words.Say("what round means, by length", tolerance, of))
	} else {
		f.paragraph(words.Say("what round means, by length, and where", tolerance, say.Of(x.Worst), of))
	}
	fmt.Fprintln(f.out)
}

// around are the points of a curve at the longest exposure and next to it: all of them are in the JSON.
func around(curve []exposure.Point, longestS float64) []exposure.Point {
	at := slices.IndexFunc(curve, func(p exposure.Point) bool { return p.ExposureS >= longestS })
	if at < 0 {
		at = len(curve) - 1
	}
	const beside = 2
	return curve[max(0, at-beside):min(len(curve), at+beside+1)]
}

// sayLenses is how long other lenses may be exposed.
func (f *face) sayLenses(a asked, r exposeReport) {
	var each []string
	for _, z := range r.Lenses {
		if z.Factor != 1 {
			each = append(each, words.Longest(z.LongestS)+" at "+lensWords(a.optics, z.Factor))
		}
	}
	if len(each) > 0 {
		f.paragraph("Other lenses: " + strings.Join(each, ", ") + equivalent(a.optics) + ".")
	}
}

func lensWords(o exposure.Optics, factor float64) string {
	switch {
	case o.FocalLengthMM > 0:
		return fmt.Sprintf("%.4g mm", factor*o.FocalLengthMM)
	case o.EquivalentMM > 0:
		return fmt.Sprintf("%.4g mm", factor*o.EquivalentMM)
	}
	return fmt.Sprintf("%.3g″/px", o.ScaleArcsecPerPx/factor)
}

// equivalent says what kind of focal length lensWords gives, where it is not the real one.
func equivalent(o exposure.Optics) string {
	if o.FocalLengthMM == 0 && o.EquivalentMM > 0 {
		return " (35 mm equivalent)"
	}
	return ""
}

// sayRules lays the trade's rules of thumb beside our figure for the same tripod.
func (f *face) sayRules(r exposeReport) {
	five, npf := say.Of("needs the size"), say.Of("needs the lens")
	if s := r.RulesOfThumb.Rule500S; s != nil {
		five = say.Of("so long", say.Seconds(*s))
	}
	if s := r.RulesOfThumb.NPFS; s != nil {
		npf = say.Of("from sharp to trails", say.Seconds(*s), say.Seconds(3**s))
	}
	f.paragraph(words.Say("on a bare tripod", say.LongestOf(r.TripodLongestS), five, npf))
}
