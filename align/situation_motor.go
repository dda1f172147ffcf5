package align

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// rateSigmas is by how many standard errors a rate must miss the sidereal one to be called wrong. A
// wobble just at the edge of what is reckoned with passes for 1.4 σ at the worst; the rest is room for
// chance: less than one sound session in a thousand.
const rateSigmas = 4.5

// namedSigmas is how far a rate may lie from one a switch offers and still be called by its name, provided
// the other rates lie farther.
const namedSigmas = 3

// stillRatio, backRatio: a motor that stands turns by less than a tenth of the sky's turn; one
// set for the other hemisphere runs within a quarter of the sky's rate, backward. Nothing a switch offers lies
// nearer to either.
const (
	stillRatio = 0.1
	backRatio  = 0.25
)

// Rates a mount's switch may offer, as shares of the sidereal one, from and to. The solar day is
// 1.0027379 sidereal days; the Moon runs 13.17640° a day against the stars (J. Meeus,
// Astronomical Algorithms, 2nd ed., p. 338), between 11.8° and 15.4° as its distance changes, and makers choose one
// of those (common practice, no source).
var namedRates = []struct {
	name     say.Key
	from, to float64
}{
	{say.Key("half rate"), 0.5, 0.5}, {say.Key("lunar rate"), 1 - 15.4/360.98565, 1 - 11.8/360.98565}, {say.Key("solar rate"), 1 / 1.0027379, 1 / 1.0027379}, {say.Key("double rate"), 2, 2},
}

// motor names what the motor does wrong: by the angles about the axis where there is one, else by the
// stars alone.
func (s *session) motor(err error) []Situation {
	if errors.Is(err, ErrNotTurning) {
		r, ok := s.skyRate()
		if !ok {
			r = Rate{0, stillRatio}
		}
		return []Situation{notTurning(s.shotFiles(s.solved), r)}
	}
	if s.a == nil {
		return s.motorBySky()
	}
	steps := stepsOf(s.in, *s.a, s.stamp)
	ratio, ok := commonRatio(steps)
	if !ok {
		return nil
	}
	var play, slips []step
	if math.Abs(ratio) > stillRatio {
		play, slips = lags(steps, ratio)
	}
	var all []Situation
	if o, ok := switched(steps, ratio); ok { // each picture's own angle is free: the axis does not suffer
		slips = nil
		if o.atEnd {
			play, all = nil, o.rate().wrongly(s.files(o.from, len(s.in.Samples)-1))
		}
	}
	if len(slips) > 0 { // a clutch that slips explains what looks like play as well
		play, slips = nil, slices.Concat(play, slips)
	}
	if r, ok := trackingRate(s.in, *s.a, s.stamp); ok && len(slips) == 0 { // where a clamp slips the rate means nothing
		all = append(all, s.wrongRate(r)...)
	}
	all = append(all, s.play(play, ratio)...)
	return append(all, s.slips(slips, ratio)...)
}

// Fault is what a motor that runs at a rate does wrong: it stands, runs backward, or at another rate than the stars; empty where that is not
// sure.
func (r Rate) Fault() Kind {
	switch {
	case !(math.Abs(r.SiderealRatio-1) >= rateSigmas*r.Sigma):
		return ""
	case math.Abs(r.SiderealRatio) < stillRatio:
		return KindNotTurning
	case math.Abs(r.SiderealRatio+1) < backRatio:
		return KindWrongHemisphere
	}
	return KindWrongRate
}

func (r Rate) size() Size { return Size{r.SiderealRatio, r.Sigma, SiderealRate} }

// wrongly names what a rate is, if anything is wrong with it.
func (r Rate) wrongly(files []string) []Situation {
	switch r.Fault() {
	case KindNotTurning:
		return []Situation{notTurning(files, r)}
	case KindWrongHemisphere:
		return []Situation{wrongHemisphere(files, r)}
	case KindWrongRate:
		return []Situation{wrongRate(files, r)}
	}
	return nil
}

func notTurning(files []string, r Rate) Situation {
	return Situation{Kind: KindNotTurning, Files: files, Size: r.size(), Sure: true, Says: say.Of("motor stands")}
}

// wrongRate judges a rate.
func (s *session) wrongRate(r Rate) []Situation {
	turned := s.a.Turned.Rad()
	if r.Fault() != KindWrongRate { // it hardly turned
		turned = ephem.SiderealRadPerS * s.in.Samples[len(s.in.Samples)-1].Mid.Sub(s.in.Samples[0].Mid).Seconds()
	}
	if s.a.Gave.Shown() && math.Abs(r.SiderealRatio-1)*turned < rateSigmas*s.a.Gave.Size.Rad() {
		return nil // what gave across the axis gave along it as well
	}
	return r.wrongly(s.files(0, len(s.in.Samples)-1))
}

func wrongHemisphere(files []string, r Rate) Situation {
	return Situation{Kind: KindWrongHemisphere, Files: files, Size: r.size(), Sure: true, Says: say.Of("motor runs backward")}
}

func wrongRate(files []string, r Rate) Situation {
	runs := say.Of("motor's rate", say.Ratio{Value: r.SiderealRatio, Sigma: r.Sigma}, say.Rate(ephem.SiderealRadPerS*math.Abs(1-r.SiderealRatio)))
	cure := say.Of("check the rate switch")
	if name, ok := nameOf(r); ok {
		cure = say.Of("switch to the star rate", say.Of(name))
	}
	return Situation{Kind: KindWrongRate, Files: files, Size: r.size(), Sure: true, Says: say.All(runs, cure)}
}

// nameOf finds the one rate of the switch that fits.
func nameOf(r Rate) (name say.Key, ok bool) {
	for _, n := range namedRates {
		if r.SiderealRatio > n.from-namedSigmas*r.Sigma && r.SiderealRatio < n.to+namedSigmas*r.Sigma {
			if ok {
				return "", false
			}
			name, ok = n.name, true
		}
	}
	return name, ok
}

// otherwise is how the motor ran in the steps at one end of a session, unlike all others.
type otherwise struct {
	ratio float64
	from  int  // sample
	atEnd bool // it runs so still
}

// switched is whether the motor ran otherwise at one end of the session, as a switch makes it run: until it was put right, or since it
// was touched. That takes two steps, at the end three; what happened in the midst of the one next to the others is anybody's guess. A clutch does
// not slip at the rate of a switch, nor at one end alone.
func switched(steps []step, ratio float64) (o otherwise, ok bool) {
	steps = slices.DeleteFunc(slices.Clone(steps), func(st step) bool { return st.byHand(ratio) })
	even := func(st step) bool { return st.even(ratio) }
	first := slices.IndexFunc(steps, even)
	last := len(steps) - 1
	for last >= 0 && !even(steps[last]) {
		last--
	}
	if first < 0 || slices.ContainsFunc(steps[first:last+1], func(st step) bool { return !even(st) }) {
		return o, false
	}
	lead, tail := steps[:first], steps[last+1:]
	switch {
	case len(lead) > 1 && len(tail) == 0:
		lead = lead[:len(lead)-1]
		o = otherwise{ratio: lead[0].ratio(), from: lead[0].from}
	case len(lead) == 1 && len(tail) == 0: // amid swings one has to do, where it is plain
		o = otherwise{ratio: lead[0].ratio(), from: lead[0].from}
		return o, o.rate().Fault() == KindWrongHemisphere
	case len(tail) > 2 && len(lead) == 0: // two alike besides: a clamp that gives now and then stops the work for nothing else
		lead = tail[1:]
		o = otherwise{ratio: lead[0].ratio(), from: tail[0].to, atEnd: true}
	default:
		return o, false
	}
	alike := !slices.ContainsFunc(lead, func(st step) bool { return math.Abs(st.ratio()-o.ratio) > stillRatio })
	return o, alike && o.rate().coarse()
}

func (o otherwise) rate() Rate { return Rate{o.ratio, stillRatio / 2} }

// lags sorts the uneven steps that are no swings: those at the start of the session or just after a swing, in which
// the motor stood and took up play, and all others.
func lags(steps []step, ratio float64) (play, slips []step) {
	fresh := true // nothing has turned since the start or the last swing
	for _, st := range steps {
		miss := st.misses(ratio)
		// A motor that stands lags by what it should have turned, and never goes back.
		back := st.dTheta * math.Copysign(1, ratio)
		stands := miss*ratio < 0 && back > -st.allow
		switch {
		case st.even(ratio):
			fresh = false
		case st.byHand(ratio):
			fresh = true
		case fresh && stands:
			play = append(play, st)
		default:
			slips = append(slips, st)
			fresh = false
		}
	}
	return play, slips
}

// play names the motor's standing before it turns.
func (s *session) play(lags []step, ratio float64) []Situation {
	if len(lags) == 0 {
		return nil
	}
	var longest, sum, within, sigma float64 // s; within: of the allowances
	first := lags[0].to
	for i, st := range lags {
		if i == 0 || st.from != lags[i-1].to {
			sum, within = 0, 0
		}
		sum += math.Abs(st.misses(ratio) / (ratio * ephem.SiderealRadPerS))
		within = math.Hypot(within, st.sigma()/math.Abs(ratio*ephem.SiderealRadPerS))
		if sum > longest {
			longest, sigma = sum, within
		}
		if i > 0 && st.from == lags[i-1].to && st.from == first {
			first = st.to
		}
	}
	return []Situation{{Kind: KindPlay, Files: s.files(first, len(s.in.Samples)-1), Size: Size{longest, sigma, Seconds}, Sure: true,
		Says: say.All(say.Of("motor takes up play", time.Duration(longest*float64(time.Second))), say.Of("axis does not suffer"))}}
}

// slips names a clutch that gives.
func (s *session) slips(slips []step, ratio float64) []Situation {
	if len(slips) == 0 {
		return nil
	}
	var worst Size
	for _, st := range slips {
		if miss := math.Abs(st.misses(ratio)); miss > worst.Value {
			worst = Size{miss, st.sigma(), Radians}
		}
	}
	return []Situation{{Kind: KindSlipping, Files: s.files(slips[0].to, len(s.in.Samples)-1), Size: worst,
		Says: say.Of("clutch slips", say.Times(len(slips)), unit.Angle(worst.Value))}}
}

// motorBySky reads the motor's rate from the stars alone: seen from the turning sky a camera that
// tracks at a ratio r of the sidereal rate about any axis near the pole turns by (r − 1)ω about the pole. The axis
// is not known, so only coarse faults can be told.
func (s *session) motorBySky() []Situation {
	if r, ok := s.skyRate(); ok && r.coarse() {
		return r.wrongly(s.shotFiles(s.solved))
	}
	return nil
}

// skySigma is the standard error of a rate read from the stars alone: the axis may be degrees off.
const skySigma = 0.03

// skyRate is the rate most steps between solved pictures agree on.
func (s *session) skyRate() (Rate, bool) {
	var list []Rate
	for n := 1; n < len(s.solved); n++ {
		if p, ok := PaceBetween(s.seq.Shots[s.solved[n-1]], s.seq.Shots[s.solved[n]]); ok {
			list = append(list, p.Rate)
		}
	}
	if len(list) < 2 {
		return Rate{}, false
	}
	slices.SortFunc(list, func(a, b Rate) int { return cmp.Compare(a.SiderealRatio, b.SiderealRatio) })
	mid, agree := list[len(list)/2], 0
	for _, r := range list {
		if math.Abs(r.SiderealRatio-mid.SiderealRatio) < stillRatio {
			agree++
		}
	}
	return Rate{mid.SiderealRatio, math.Hypot(skySigma, mid.Sigma)}, 3*agree >= 2*len(list)
}
