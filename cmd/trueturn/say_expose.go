package main

import (
	"fmt"
	"slices"
	"strings"

	"trueturn/align/exposure"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// ends says what ends an exposure.
var ends = map[exposure.Limit]string{
	exposure.LimitAxis:       "The limit is the axis, which is off the pole.",
	exposure.LimitWobble:     "The limit is the gear, which runs unevenly.",
	exposure.LimitRate:       "The limit is the motor, which does not keep pace with the sky.",
	exposure.LimitRotation:   "The limit is the turning of the picture, because the axis is off the pole.",
	exposure.LimitRefraction: "The limit is the air, which lifts low stars more than high ones.",
	exposure.LimitSky:        "The limit is the turning sky.",
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
		said = append(said, fmt.Sprintf("Allowing for what is not known of the mount, the truth lies between %s and %s two times in three.", words.Exposure(x.LowS), words.Longest(x.HighS)))
	}
	if x.AgainS > 0 {
		said = append(said, fmt.Sprintf("From %s to %s they are round again, because the gear swings back; in between they are not.", words.Exposure(x.AgainS), words.Longest(x.AgainToS)))
	}
	if gear := a.plan.Mount.Wobble.Says(); !gear.None() {
		said = append(said, words.Line(gear))
	}
	if len(said) > 0 {
		f.paragraph(strings.Join(said, " "))
	}
	fmt.Fprintln(f.out)
	if len(a.taken) > 0 {
		f.paragraph("Assumed: " + strings.Join(a.taken, "; ") + ".")
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
	where := ""
	if x.Worst != exposure.Middle {
		where = "; " + words.Line(say.Of(x.Worst)) + " is worst"
	}
	f.paragraph(fmt.Sprintf("Round means at most %g times as long as wide%s. Trail and length hold for %.0f of 100 exposures.", a.plan.MaxElongation, where, 100*a.plan.Share))
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
	five, npf := "needs the 35 mm equivalent, or the picture's size", "needs the real focal length, the pixel pitch and the f-number"
	if s := r.RulesOfThumb.Rule500S; s != nil {
		five = words.Exposure(*s)
	}
	if s := r.RulesOfThumb.NPFS; s != nil {
		npf = fmt.Sprintf("%s (sharp) to %s (trails show)", words.Exposure(*s), words.Exposure(3**s))
	}
	f.paragraph(fmt.Sprintf("On a bare tripod: %s. Rules of thumb for that: 500 rule %s; NPF rule %s. Why they differ: trueturn help exposures.",
		words.Longest(r.TripodLongestS), five, npf))
}
