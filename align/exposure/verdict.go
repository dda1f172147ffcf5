package exposure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/soniakeys/unit"
)

// leastShare of the excess that is worth naming.
const leastShare = 0.05

// gather sums the frames up.
func (v *Verdict) gather(s *set) {
	for _, f := range s.frames {
		if f.judged.Round {
			v.Round++
		}
		if f.judged.Cause != CauseNone {
			v.LeaveOut = append(v.LeaveOut, f.judged.File)
		}
	}
	v.Unsure = s.unsure()
	v.Causes, v.excessPx2 = s.shares()
	v.Lengths = s.lengths()
	v.Advice = v.advise(s) + v.doubtWords()
}

// doubtWords count the pictures among judged ones that could not be.
func (v *Verdict) doubtWords() string {
	n := 0
	for _, f := range v.Frames {
		if f.Doubt != DoubtNone {
			n++
		}
	}
	switch {
	case n == 0 || v.Unsure != DoubtNone:
		return ""
	case n == 1:
		return " In one picture nothing says that the spots are stars; it was not judged."
	}
	return fmt.Sprintf(" In %d pictures nothing says that the spots are stars; they were not judged.", n)
}

// shares adds the parts of the frames that are amiss.
func (s *set) shares() (list []Share, eachPx2 float64) {
	sum := map[Cause]float64{}
	total, amiss, blind := 0.0, 0, map[Cause]int{}
	all := s.unsure() != DoubtNone
	for _, f := range s.frames {
		j := f.judged
		switch {
		case j.Cause == CauseNone, j.Cause == CauseUnexplained && j.Doubt != DoubtNone && !all: // it says nothing of the others' stars
		case j.Cause == CauseCloud || !f.told():
			blind[j.Cause]++
		default:
			amiss++
			excess := f.excess()
			for _, c := range causes { // in one order, here too
				sum[c] += excess[c]
				total += excess[c]
			}
		}
	}
	// Frames whose excess cannot be measured count as the others do on average.
	each := 1.0
	if amiss > 0 && total > 0 {
		each = total / float64(amiss)
	}
	for _, c := range causes {
		sum[c] += float64(blind[c]) * each
		total += float64(blind[c]) * each
	}
	return s.ranked(sum, total), each
}

// ranked are the shares worth naming, the largest first.
func (s *set) ranked(sum map[Cause]float64, total float64) (list []Share) {
	for _, c := range causes {
		if total > 0 && sum[c] >= leastShare*total {
			list = append(list, Share{Cause: c, Share: sum[c] / total, Behind: []Origin{}})
		}
	}
	slices.SortStableFunc(list, func(a, b Share) int { return cmp.Compare(b.Share, a.Share) })
	for i := range list {
		list[i].explain(s)
	}
	return list
}

// excess of a frame by cause: all parts of one that is not round, of a round one its blur alone; and what the pattern leaves
// unexplained.
func (f *taken) excess() map[Cause]float64 {
	if f.judged.Round {
		return map[Cause]float64{f.judged.Cause: math.Max(f.parts[f.judged.Cause], 1e-9)}
	}
	out := map[Cause]float64{}
	found := 0.0
	for _, c := range causes { // always in one order: the last digits of the sum depend on it
		p, ok := f.parts[c]
		if !ok {
			continue
		}
		out[c] = p
		if c != CauseFocus {
			found += p
		}
	}
	seen := 12 * f.seen
	if seen > 2*found {
		out[CauseUnexplained] += seen - found
	}
	return out
}

// explain writes what a share means.
func (h *Share) explain(s *set) {
	switch h.Cause {
	case CauseRA:
		h.Behind = s.behind()
		if slices.Contains(h.Behind, OriginStill) {
			h.Text = s.stillWords(h.Share)
			return
		}
		rate := s.perMinute(func(f *taken) float64 { return f.east })
		h.Text = fmt.Sprintf("Stars trail along right ascension%s: %s.", atRate(rate.Sec()), originWords(h.Behind, s.axis != nil))
	case CauseDec:
		rate := s.perMinute(func(f *taken) float64 { return f.north })
		if h.Behind = s.behindDec(); len(h.Behind) == 0 {
			h.Text = fmt.Sprintf("Stars trail along declination%s, though the axis measured does not explain it and nothing gave way between the pictures: something moves the camera while it exposes.", atRate(rate.Sec()))
			return
		}
		h.Text = fmt.Sprintf("Stars trail along declination%s: %s.", atRate(rate.Sec()), originWords(h.Behind, true))
	case CauseRotation:
		h.Text = "Stars are drawn out along circles: the picture turns during the exposure, because the axis is off."
	case CauseLens:
		h.Text = s.lensWords()
	case CauseFocus:
		h.Text = "Stars are wide in every direction: out of focus, or dew on the lens."
	case CauseShake:
		h.Text = "All stars of a picture trail alike, but each picture another way: wind or a knock."
		if s.slips() {
			h.Behind = []Origin{OriginGives}
			h.Text = "All stars of a picture trail alike, but each picture another way: " + originSays[OriginGives] + "."
		}
	case CauseCloud:
		h.Text = "Far fewer stars than in the other pictures: cloud, or dew on the lens."
	case CauseUnexplained:
		h.Text = s.unexplained()
	}
}

// stillWords tells of a camera that stood, with the length of the path by the sky's turn and as measured.
func (s *set) stillWords(share float64) string {
	var paths, measured, exposures []float64
	for _, f := range s.frames {
		if f.stand.still && !f.judged.Round {
			paths = append(paths, f.judged.TrailPx)
			measured = append(measured, f.judged.TrailPx*math.Sqrt(f.stand.k))
			exposures = append(exposures, f.shot.ExposureS)
		}
	}
	rate := unit.Angle(omega * 60)
	return fmt.Sprintf("Stars trail along right ascension%s, as the sky itself turns: the camera stood still. In %s that draws them out by %.1f pixels (%.1f measured), %.0f parts of 100 of what is too long.",
		atRate(rate.Sec()), Seconds(medianOf(exposures)), medianOf(paths), medianOf(measured), 100*share)
}

// lensWords tell which way the lens draws the stars out.
func (s *set) lensWords() string {
	sum := 0.0
	for i, f := range s.frames {
		if f.parts[CauseLens] > 0 {
			sum += s.lenses[i][0] + s.lenses[i][1]
		}
	}
	if sum < 0 {
		return "Stars are drawn out along circles about the middle, more toward the corners, beyond what the sky's turn does: the lens."
	}
	return "Stars are drawn out from the middle, more toward the corners, the same in all pictures: the lens."
}

// unsure is why nothing could be judged, if nothing was: the doubt most pictures share.
func (s *set) unsure() Doubt {
	count := map[Doubt]int{}
	for _, f := range s.frames {
		switch {
		case f.judged.Elongation > 0:
			return DoubtNone
		case f.judged.Doubt != DoubtNone:
			count[f.judged.Doubt]++
		}
	}
	best := DoubtNone
	for _, d := range []Doubt{DoubtBlack, DoubtFew, DoubtWidths, DoubtShapes, DoubtLight, DoubtPlaces} {
		if count[d] > count[best] {
			best = d
		}
	}
	return best
}

func (s *set) unexplained() string {
	if d := s.unsure(); d != DoubtNone {
		return d.Words()
	}
	for _, f := range s.frames {
		if f.parts[CauseUnexplained] > 0 && !f.judged.Round {
			return "All stars trail the same way, but the stars were not recognised, so nobody can say whether that is right ascension or declination."
		}
	}
	if why, n := s.blind(); n == len(s.frames) {
		return "No stars could be measured" + why + "."
	} else if n > 0 {
		return fmt.Sprintf("In %d of %d pictures no stars could be measured%s.", n, len(s.frames), why)
	}
	return "The stars are not round in a way that fits no cause known."
}

// blind counts the frames that did not show stars enough, through no cloud, with the first reason given.
func (s *set) blind() (why string, n int) {
	for _, f := range s.frames {
		if f.judged.Cause != CauseUnexplained {
			continue
		}
		if f.told() { // that is the news
			return "", 0
		}
		n++
		if w := strings.TrimSuffix(f.shot.WhyNone, "."); why == "" && w != "" {
			why = ": " + w
		}
	}
	return why, n
}

func atRate(arcsecPerMinute float64) string {
	if !(arcsecPerMinute > 0) || math.IsInf(arcsecPerMinute, 0) {
		return ""
	}
	return fmt.Sprintf(" by %.3g″ a minute", arcsecPerMinute)
}

var originSays = map[Origin]string{
	OriginRate:   "the motor's rate",
	OriginWobble: "the gear's periodic error",
	OriginAxis:   "the axis is off",
	OriginStill:  "the camera stood still",
	OriginGives:  "the axis measured does not explain it; a clamp slips or a holder bends",
	OriginWrong:  "twice as fast as the sky turns; the hemisphere switch is wrong",
}

func originWords(list []Origin, known bool) string {
	var words []string
	for _, o := range list {
		words = append(words, originSays[o])
	}
	text := strings.Join(words, " or ")
	if len(list) == 3 {
		text = words[0] + ", " + words[1] + " or " + words[2]
	}
	if len(list) > 1 && !known {
		text += "; only a measured axis can tell them apart"
	}
	return text
}

// factors of the length taken that are tried.
var factors = []float64{0.125, 0.25, 0.5, 0.75, 1, 1.5, 2}

// lengths counts what would have been round. Paths grow with the length; lens, focus and shaking are taken to stay as they are.
func (s *set) lengths() (list []Length) {
	var exposures []float64
	for _, f := range s.frames {
		if f.shot.ExposureS > 0 {
			exposures = append(exposures, f.shot.ExposureS)
		}
	}
	for _, g := range factors {
		l := Length{Factor: g, ExposureS: g * medianOf(exposures)}
		for i, f := range s.frames {
			if f.roundAt(g, s.lenses[i], s.tolerance) {
				l.Round++
			}
		}
		list = append(list, l)
	}
	return list
}

func (f *taken) roundAt(factor float64, lens [2]float64, tolerance float64) bool {
	moving := f.shift() + f.parts[CauseRotation]
	if factor == 1 || !f.told() || f.parts[CauseShake] > 0 || moving == 0 {
		return f.judged.Round
	}
	e := f.judged.Elongation
	scaled := (e*e - 1) * (factor*factor*moving + f.parts[CauseLens]) / (moving + f.parts[CauseLens])
	return math.Sqrt(1+scaled) <= tolerance && f.corner(lens, factor) <= tolerance
}

// advise writes the one sentence.
func (v *Verdict) advise(s *set) string {
	switch {
	case v.Of == 0:
		return "There are no exposures to look at."
	case v.Unsure != DoubtNone:
		return v.Unsure.Words()
	case len(v.Causes) == 0:
		return fmt.Sprintf("All %d are round: go on.", v.Round) + v.longestWords()
	}
	lead := fmt.Sprintf("%d of %d are round. ", v.Round, v.Of)
	h := v.Causes[0]
	if slices.Contains(h.Behind, OriginGives) {
		return lead + "The axis measured is not to blame: tighten clamps and holder, and lighten what hangs on them" + v.orShorter()
	}
	switch h.Cause {
	case CauseRA:
		return lead + v.aboutRA(h)
	case CauseDec:
		if len(h.Behind) == 0 {
			return lead + "Something moves the camera while it exposes, wind or a hand: use a self-timer, shelter the mount" + v.orShorter()
		}
		return lead + "The axis is off: measure it with align and turn it" + v.orShorter()
	case CauseRotation:
		return lead + "The picture turns because the axis is off: measure it with align and turn it" + v.orShorter()
	case CauseLens:
		if v.Still && v.Forecast != nil {
			return lead + fmt.Sprintf("The camera stood still while the sky turned, and the lens draws the corners besides: expose for at most %s, and stop the lens down or crop.", Seconds(v.Forecast.LongestS))
		}
		return lead + "The lens draws the corners: stop it down by one or two stops, or crop; no shorter exposure helps."
	case CauseFocus:
		return lead + "Focus again on a bright star, and look for dew on the lens."
	case CauseShake:
		return lead + "Something shakes the mount: shelter it from wind, use a self-timer, weigh the tripod down; leave out the files named."
	case CauseCloud:
		return lead + "Clouds or dew took the stars: leave out the files named and look at the sky and the lens."
	}
	return lead + s.unexplained()
}

func (v *Verdict) aboutRA(h Share) string {
	switch {
	case len(h.Behind) == 0:
		return h.Text
	case h.Behind[0] == OriginStill && v.Forecast != nil && v.Forecast.LimitedBy == LimitSky:
		return fmt.Sprintf("The camera stood still while the sky turned: on a tripod expose for at most %s; on a mount, start it.", Seconds(v.Forecast.LongestS))
	case h.Behind[0] == OriginStill:
		return "The camera stood still while the sky turned: on a tripod expose more briefly; on a mount, start it."
	case h.Behind[0] == OriginWrong:
		return "The stars run twice as fast as the sky: set the hemisphere switch to your side of the equator."
	case h.Behind[0] == OriginAxis:
		return "The axis makes the stars drift along right ascension here: turn it with align" + v.orShorter()
	case len(h.Behind) == 3:
		return "Rate, gear or axis make the stars drift along right ascension: measure the axis with align to tell which" + v.orShorter()
	case h.Behind[0] == OriginWobble:
		return "The gear's periodic error draws the stars out; leave out the files named" + v.orShorter()
	}
	return "The motor does not keep pace with the sky: check that it is set to the sidereal rate" + v.orShorter()
}

// orShorter adds the longest length tried at which nine in ten would have been round.
func (v *Verdict) orShorter() string {
	best := Length{}
	for _, l := range v.Lengths {
		if float64(l.Round) >= DefaultShare*float64(v.Of) && l.Factor < 1 {
			best = l
		}
	}
	switch {
	case best.Factor == 0:
		return "."
	case best.ExposureS > 0:
		return fmt.Sprintf(", or expose for %s: %d of %d would have been round.", Seconds(best.ExposureS), best.Round, v.Of)
	}
	return fmt.Sprintf(", or expose for %g of the time: %d of %d would have been round.", best.Factor, best.Round, v.Of)
}

// longestWords say how long stars would stay round, with the range where there is one.
func (v *Verdict) longestWords() string {
	f := v.Forecast
	if f == nil || f.LongestS <= 0 {
		return ""
	}
	as := "As the mount stands"
	if f.LimitedBy == LimitSky {
		as = "The camera stood still; so"
	}
	long := Lasting(f.LongestS) + f.Rests()
	if f.Rests() == "" && f.LowS > 0 && f.HighS > 1.05*f.LowS {
		long += fmt.Sprintf(" (%s to %s)", Seconds(f.LowS), Seconds(f.HighS))
	}
	return fmt.Sprintf(" %s, stars stay round for %s.", as, long)
}

// SubsJSON is what `subs --json` prints (design §6); what is not known is null.
type SubsJSON struct {
	Round    int          `json:"round"`
	Of       int          `json:"of"`
	Causes   []Share      `json:"causes"`
	Advice   string       `json:"advice"`
	Frames   []SubJSON    `json:"frames"`
	Lengths  []LengthJSON `json:"lengths"`
	LeaveOut []string     `json:"leave_out"`
	LongestS *float64     `json:"longest_s"` // as the mount stands, or the camera on its tripod; null where not known
}

// SubJSON is one exposure.
type SubJSON struct {
	File            string   `json:"file"`
	Stars           int      `json:"stars"`
	FWHMPx          *float64 `json:"fwhm_px"`
	Elongation      *float64 `json:"elongation"`
	ElongationSigma *float64 `json:"elongation_sigma"`
	AngleDeg        *float64 `json:"angle_deg"` // of the long axis, from right toward down
	AngleSigmaDeg   *float64 `json:"angle_sigma_deg"`
	TrailPx         *float64 `json:"trail_px"`
	TrailSigmaPx    *float64 `json:"trail_sigma_px"`
	Round           bool     `json:"round"`
	Cause           string   `json:"cause"`
}

// LengthJSON is how many would have been round at another length.
type LengthJSON struct {
	Factor    float64  `json:"factor"`
	ExposureS *float64 `json:"exposure_s"`
	Round     int      `json:"round"`
}

// JSON is the verdict as printed.
func (v Verdict) JSON() SubsJSON {
	j := SubsJSON{Round: v.Round, Of: v.Of, Advice: v.Advice, Causes: append([]Share{}, v.Causes...), Frames: []SubJSON{}, Lengths: []LengthJSON{}, LeaveOut: append([]string{}, v.LeaveOut...)}
	for _, f := range v.Frames {
		j.Frames = append(j.Frames, f.json())
	}
	for _, l := range v.Lengths {
		j.Lengths = append(j.Lengths, LengthJSON{l.Factor, known(l.ExposureS, l.ExposureS > 0), l.Round})
	}
	if v.Forecast != nil {
		j.LongestS = known(v.Forecast.LongestS, v.Forecast.LongestS > 0)
	}
	return j
}

func (f Judged) json() SubJSON {
	shaped := f.Elongation > 0
	return SubJSON{File: f.File, Stars: f.Stars, FWHMPx: known(f.FWHM, f.FWHM > 0), Elongation: known(f.Elongation, shaped),
		ElongationSigma: known(f.ElongationErr, shaped), AngleDeg: known(f.Angle.Deg(), shaped), AngleSigmaDeg: known(f.AngleErr.Deg(), shaped),
		TrailPx: known(f.TrailPx, shaped), TrailSigmaPx: known(f.TrailPxErr, shaped), Round: f.Round, Cause: string(f.Cause)}
}

func known(v float64, is bool) *float64 {
	if !is || !finite(v) {
		return nil
	}
	return &v
}
