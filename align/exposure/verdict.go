package exposure

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
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
	v.Advice = say.All(v.advise(s), v.doubts())
}

// doubts counts the pictures among judged ones that could not be.
func (v *Verdict) doubts() say.Line {
	n := 0
	for _, f := range v.Frames {
		if f.Doubt != DoubtNone {
			n++
		}
	}
	switch {
	case n == 0 || v.Unsure != DoubtNone:
		return say.Line{}
	case n == 1:
		return say.Of("one picture may not show stars")
	}
	return say.Of("some pictures may not show stars", say.Pictures(n))
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

// explain settles what lies behind a share and what is said of it.
func (h *Share) explain(s *set) {
	switch h.Cause {
	case CauseRA:
		if h.Behind = s.behind(); slices.Contains(h.Behind, OriginStill) {
			h.Says = s.stillSays(h.Share)
			return
		}
		rate := s.perMinute(func(f *taken) float64 { return f.east })
		h.Says = say.Of("trails along right ascension", atRate(rate), originsSay(h.Behind, s.axis != nil))
	case CauseDec:
		rate := s.perMinute(func(f *taken) float64 { return f.north })
		if h.Behind = s.behindDec(); len(h.Behind) == 0 {
			h.Says = say.Of("trails along declination that nothing explains", atRate(rate))
			return
		}
		h.Says = say.Of("trails along declination", atRate(rate), originsSay(h.Behind, true))
	case CauseRotation:
		h.Says = say.Of("the picture turns")
	case CauseLens:
		h.Says = s.lensSays()
	case CauseFocus:
		h.Says = say.Of("stars are wide")
	case CauseShake:
		h.Says = say.Of("each picture trails another way", say.Of("wind or a knock"))
		if s.slips() {
			h.Behind = []Origin{OriginGives}
			h.Says = say.Of("each picture trails another way", say.Of(originSays[OriginGives]))
		}
	case CauseCloud:
		h.Says = say.Of("far fewer stars")
	case CauseUnexplained:
		h.Says = s.unexplained()
	}
}

// stillSays tells of a camera that stood, with the length of the path by the sky's turn and as measured.
func (s *set) stillSays(share float64) say.Line {
	var paths, measured, exposures []float64
	for _, f := range s.frames {
		if f.stand.still && !f.judged.Round {
			paths = append(paths, f.judged.TrailPx)
			measured = append(measured, f.judged.TrailPx*math.Sqrt(f.stand.k))
			exposures = append(exposures, f.shot.ExposureS)
		}
	}
	return say.Of("trails of a standing camera", atRate(omega*60), say.Seconds(medianOf(exposures)), say.Pixels(medianOf(paths)), say.Pixels(medianOf(measured)), say.Share(share))
}

// lensSays tells which way the lens draws the stars out.
func (s *set) lensSays() say.Line {
	sum := 0.0
	for i, f := range s.frames {
		if f.parts[CauseLens] > 0 {
			sum += s.lenses[i][0] + s.lenses[i][1]
		}
	}
	if sum < 0 {
		return say.Of("the lens draws along circles")
	}
	return say.Of("the lens draws outward")
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

func (s *set) unexplained() say.Line {
	if d := s.unsure(); d != DoubtNone {
		return d.Says()
	}
	for _, f := range s.frames {
		if f.parts[CauseUnexplained] > 0 && !f.judged.Round {
			return say.Of("trails of stars not recognised")
		}
	}
	switch why, n := s.blind(); {
	case n == len(s.frames):
		return say.Of("no stars measured", why)
	case n > 0:
		return say.Of("no stars measured in some pictures", n, len(s.frames), why)
	}
	return say.Of("not round in no known way")
}

// blind counts the frames that did not show stars enough, through no cloud, with the first reason given.
func (s *set) blind() (why say.Line, n int) {
	for _, f := range s.frames {
		if f.judged.Cause != CauseUnexplained {
			continue
		}
		if f.told() { // that is the news
			return say.Line{}, 0
		}
		n++
		if w := strings.TrimSuffix(f.shot.WhyNone, "."); why.None() && w != "" {
			why = say.Of("for a reason", w)
		}
	}
	return why, n
}

// atRate is how fast stars trail; none where it is not known.
func atRate(perMinute unit.Angle) say.Line {
	if r := perMinute.Rad(); !(r > 0) || math.IsInf(r, 0) {
		return say.Line{}
	}
	return say.Of("by so much a minute", say.Arcsec{Value: perMinute})
}

// originSays is what an origin is called in a sentence. That the camera stood still has one of its own.
var originSays = map[Origin]say.Key{OriginRate: say.Key("origin: rate"), OriginWobble: say.Key("origin: gear"), OriginAxis: say.Key("origin: axis"),
	OriginGives: say.Key("origin: something gives"), OriginWrong: say.Key("origin: wrong hemisphere")}

// originsSay is one origin, or several of which known says whether an axis was measured.
func originsSay(list []Origin, known bool) say.Line {
	var parts []any
	for _, o := range list {
		parts = append(parts, say.Of(originSays[o]))
	}
	var l say.Line
	switch len(parts) {
	case 0:
		return say.Line{}
	case 1:
		return say.Of(originSays[list[0]])
	case 2:
		l = say.Of("one or the other", parts[0], parts[1])
	default:
		l = say.Of("one of three", parts[0], parts[1], parts[2])
	}
	if !known {
		return say.Of("only an axis tells them apart", l)
	}
	return l
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

// advise is what to do, after how many are round.
func (v *Verdict) advise(s *set) say.Line {
	switch {
	case v.Of == 0:
		return say.Of("no exposures to look at")
	case v.Unsure != DoubtNone:
		return v.Unsure.Says()
	case len(v.Causes) == 0 && v.Of == 1:
		return say.All(say.Of("the one is round"), v.longestSays())
	case len(v.Causes) == 0:
		return say.All(say.Of("all are round", v.Round), v.longestSays())
	}
	return say.All(say.Of("so many are round", v.Round, v.Of), v.about(s, v.Causes[0]))
}

// about is what to do about a cause.
func (v *Verdict) about(s *set, h Share) say.Line {
	if slices.Contains(h.Behind, OriginGives) {
		return say.All(say.Of("tighten clamps and holder"), v.orShorter())
	}
	switch h.Cause {
	case CauseRA:
		return v.aboutRA(h)
	case CauseDec:
		if len(h.Behind) == 0 {
			return say.All(say.Of("shelter the mount while it exposes"), v.orShorter())
		}
		return say.All(say.Of("measure the axis and turn it"), v.orShorter())
	case CauseRotation:
		return say.All(say.Of("measure the axis and turn it, the picture turns"), v.orShorter())
	case CauseLens:
		if v.Still && v.Forecast != nil {
			return say.Of("stop the lens down and expose a standing camera for less", say.Seconds(v.Forecast.LongestS))
		}
		return say.Of("stop the lens down")
	case CauseFocus:
		return say.Of("focus again")
	case CauseShake:
		return say.Of("shelter the mount")
	case CauseCloud:
		return say.Of("leave out what clouds took")
	}
	return s.unexplained()
}

func (v *Verdict) aboutRA(h Share) say.Line {
	switch {
	case len(h.Behind) == 0:
		return h.Says
	case h.Behind[0] == OriginStill && v.Forecast != nil && v.Forecast.LimitedBy == LimitSky:
		return say.Of("expose a standing camera for less, or start the mount", say.Seconds(v.Forecast.LongestS))
	case h.Behind[0] == OriginStill:
		return say.Of("expose a standing camera more briefly, or start the mount")
	case h.Behind[0] == OriginWrong:
		return say.Of("set the hemisphere switch")
	case h.Behind[0] == OriginAxis:
		return say.All(say.Of("turn the axis, it drifts along right ascension"), v.orShorter())
	case len(h.Behind) == 3:
		return say.All(say.Of("measure the axis to tell which"), v.orShorter())
	case h.Behind[0] == OriginWobble:
		return say.All(say.Of("leave out what the gear drew out"), v.orShorter())
	}
	return say.All(say.Of("check the motor's rate"), v.orShorter())
}

// orShorter is the longest length tried at which nine in ten would have been round; none where there is none.
func (v *Verdict) orShorter() say.Line {
	best := Length{}
	for _, l := range v.Lengths {
		if float64(l.Round) >= DefaultShare*float64(v.Of) && l.Factor < 1 {
			best = l
		}
	}
	switch {
	case best.Factor == 0:
		return say.Line{}
	case best.ExposureS > 0:
		return say.Of("or expose for", say.Seconds(best.ExposureS), best.Round, v.Of)
	}
	return say.Of("or expose for a share of the time", say.Share(best.Factor), best.Round, v.Of)
}

// longestSays is how long stars would stay round, with the range where there is one.
func (v *Verdict) longestSays() say.Line {
	f := v.Forecast
	if f == nil || f.LongestS <= 0 {
		return say.Line{}
	}
	rests := f.RestsOn()
	if rests.None() && f.LowS > 0 && f.HighS > 1.05*f.LowS {
		rests = say.Of("between two lengths", say.LongestOf(f.LowS), say.LongestOf(f.HighS))
	}
	if f.LimitedBy == LimitSky {
		return say.Of("a standing camera's stars stay round for", say.LongestOf(f.LongestS), rests)
	}
	return say.Of("as the mount stands, stars stay round for", say.LongestOf(f.LongestS), rests)
}

// SubsJSON is what `subs --json` prints (design §6); what is not known is null.
type SubsJSON struct {
	Round    int          `json:"round"`
	Of       int          `json:"of"`
	Causes   []ShareJSON  `json:"causes"`
	Advice   string       `json:"advice"`
	Frames   []SubJSON    `json:"frames"`
	Lengths  []LengthJSON `json:"lengths"`
	LeaveOut []string     `json:"leave_out"`
	LongestS *float64     `json:"longest_s"` // as the mount stands, or the camera on its tripod; null where not known
}

// ShareJSON is one cause, see [Share].
type ShareJSON struct {
	Cause  Cause    `json:"cause"`
	Share  float64  `json:"share"`
	Behind []Origin `json:"behind"`
	Text   string   `json:"text"`
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

// JSON is the verdict as printed, in the words of a voice.
func (v Verdict) JSON(voice say.Voice) SubsJSON {
	j := SubsJSON{Round: v.Round, Of: v.Of, Advice: voice.Say(v.Advice), Causes: []ShareJSON{}, Frames: []SubJSON{}, Lengths: []LengthJSON{}, LeaveOut: append([]string{}, v.LeaveOut...)}
	for _, h := range v.Causes {
		j.Causes = append(j.Causes, ShareJSON{h.Cause, h.Share, h.Behind, voice.Say(h.Says)})
	}
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
