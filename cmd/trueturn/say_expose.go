package main

import (
	"fmt"
	"strings"

	"trueturn/align/exposure"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// ends says what ends an exposure.
var ends = map[exposure.Limit]string{
	exposure.LimitAxis:       "The axis ends it, which is off the pole.",
	exposure.LimitWobble:     "The gear ends it, which runs unevenly.",
	exposure.LimitRate:       "The motor ends it, which does not keep pace with the sky.",
	exposure.LimitRotation:   "The picture turning ends it, because the axis is off the pole.",
	exposure.LimitRefraction: "The air ends it: it lifts low stars more than high ones.",
	exposure.LimitSky:        "The sky ends it, which turns.",
}

// sayForecast is the answer: how long, what ends it, what would help.
func (f *face) sayForecast(a asked, x exposure.Forecast) {
	f.headline(words.Line(x.Says()))
	var said []string
	if !x.LongSays().None() {
		said = append(said, words.Line(x.LongSays()))
	}
	if len(x.Gains) > 0 || x.LongestS == 0 { // where nothing helps, the advice names the limit
		said = append(said, ends[x.LimitedBy])
	}
	if !x.Endless && x.LongestS > 0 {
		said = append(said, words.Line(x.Advice))
	}
	if x.LowS < x.HighS && x.Gear != exposure.GearUsual { // else the first line says it
		said = append(said, fmt.Sprintf("That counts in what is not known of the mount: two times in three the truth lies between %s and %s.", words.Exposure(x.LowS), words.Longest(x.HighS)))
	}
	if x.AgainS > 0 {
		said = append(said, fmt.Sprintf("From %s to %s they are round again, the gear having gone to and fro; between, they are not.", words.Exposure(x.AgainS), words.Longest(x.AgainToS)))
	}
	if gear := a.plan.Mount.Wobble.Says(); !gear.None() {
		said = append(said, words.Line(gear))
	}
	if len(said) > 0 {
		f.paragraph(strings.Join(said, " "))
	}
	fmt.Fprintln(f.out)
	for _, t := range a.taken {
		f.item("- ", "taken for granted: "+t)
	}
	if len(a.taken) > 0 {
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
	for _, p := range x.Curve {
		if p.ExposureS >= x.LongestS/4 && p.ExposureS <= max(3*x.LongestS, 1) {
			fmt.Fprintf(t, "%s\t%.1f\t%.2f\t%.0f\n", words.Exposure(p.ExposureS), p.TrailPx, p.Elongation, 100*p.ShareRound)
		}
	}
	t.Flush()
	where := ""
	if x.Worst != exposure.Middle {
		where = ", at the worst place of the picture (here " + words.Line(say.Of(x.Worst)) + ")"
	}
	f.paragraph(fmt.Sprintf("Round means at most %g times as long as a sharp star is wide%s. Trail and length are what %.0f exposures of 100 stay within.", a.plan.MaxElongation, where, 100*a.plan.Share))
	fmt.Fprintln(f.out)
}

// sayLenses is the table by lens.
func (f *face) sayLenses(a asked, r exposeReport) {
	t := f.table()
	fmt.Fprint(t, "another lens\tround for\n")
	for _, z := range r.Lenses {
		fmt.Fprintf(t, "%s\t%s\n", lensWords(a.optics, z.Factor), words.Longest(z.LongestS))
	}
	t.Flush()
	fmt.Fprintln(f.out)
}

var times = map[float64]string{0.5: "half as long", 1: "this one", 2: "twice as long", 4: "four times as long"}

func lensWords(o exposure.Optics, factor float64) string {
	switch {
	case o.FocalLengthMM > 0:
		return fmt.Sprintf("%s: %.4g mm", times[factor], factor*o.FocalLengthMM)
	case o.EquivalentMM > 0:
		return fmt.Sprintf("%s: %.4g mm equivalent", times[factor], factor*o.EquivalentMM)
	}
	return fmt.Sprintf("%s: %.3g″ a pixel", times[factor], o.ScaleArcsecPerPx/factor)
}

// npfWords are that rule's times for k = 1, 2 and 3.
func npfWords(r exposure.Rules) string {
	if r.NPFS == nil {
		return "needs the real focal length, the pixel pitch and the f-number"
	}
	return fmt.Sprintf("%s (sharp), %s, %s (trails seen)", words.Exposure(*r.NPFS), words.Exposure(2**r.NPFS), words.Exposure(3**r.NPFS))
}

// sayRules lays the trade's rules of thumb beside our figure for the same tripod.
func (f *face) sayRules(a asked, r exposeReport) {
	f.paragraph("On a bare tripod, and what the rules of thumb say of one:")
	t := f.table()
	fmt.Fprintf(t, "  counted here\t%s\n", words.Longest(r.TripodLongestS))
	five, npf := "needs the 35 mm equivalent, or the picture's size", npfWords(r.RulesOfThumb.Rules)
	if s := r.RulesOfThumb.Rule500S; s != nil {
		five = words.Exposure(*s)
	}
	fmt.Fprintf(t, "  500 rule\t%s\n  NPF rule\t%s\n", five, npf)
	t.Flush()
	f.paragraph("500 rule: 500 s over the 35 mm equivalent focal length (common practice, no source). NPF rule: F. Michaud, Société Astronomique du Havre, from memory; k = 1, 2 and 3. " + words.RulesDiffer)
}
