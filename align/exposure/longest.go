package exposure

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// Ends of the exposures looked at, seconds.
const (
	ShortestS = 0.01
	LongestS  = 3600
	// FaithS is the end where nobody has seen the gear: one turn of the worm of a usual one. What a mount does beyond a turn
	// nobody has watched is no longer a forecast.
	FaithS = usualPeriodS
)

// Forecast is the answer to a [Plan].
type Forecast struct {
	// LongestS is the longest exposure up to which the share asked for stays round everywhere in the picture, at that length and at
	// every shorter one. The share counts over the phase of the wobble and over what is not known of axis, rate and wobble:
	// doubt makes it shorter. At most [LongestS], or [FaithS] on a gear nobody has seen (Endless is then true); 0 where even
	// [ShortestS] is too long.
	LongestS float64
	Endless  bool
	// EstimateS is the same with the mount taken to be exactly as estimated; between LowS and HighS it lies with a probability of 68 %.
	EstimateS, LowS, HighS float64
	// Gear is who says how the gear runs; empty where none is reckoned with.
	Gear Source
	// AgainS and AgainToS: longer exposures that come round again, when the gear has gone to and fro; 0 where none
	// do as far as the curve goes.
	AgainS, AgainToS float64
	// Long is how many times longer than wide stars are before the mount moves them at all, where that is more than the tolerance; else 0.
	Long float64

	LimitedBy Limit
	Worst     say.Key // place in the picture where the stars trail most
	Curve     []Point
	Planned   *Point   // the exposure planned, if one is
	Rounded   bool     // whether the share asked for of the exposures planned stays round; on a gear nobody has seen none beyond [FaithS] is said to
	Gains     []Gain   // what would help, most first
	Advice    say.Line // of the gains the one to take, or why there is none
}

// Longest answers a plan: how long an exposure may be, what limits it and what would help.
//
// Errors: [ErrLens], [ErrWidth], [ErrMount], [ErrAsked].
func Longest(p Plan) (Forecast, error) {
	if err := p.sound(); err != nil {
		return Forecast{}, err
	}
	p = p.filled()
	p = p.worstWay()
	t := newTrial(p, fine)
	f := Forecast{LongestS: t.longest(), Gear: p.gear()}
	f.Endless = f.LongestS >= p.end()
	f.EstimateS, f.LowS, f.HighS = f.LongestS, f.LongestS, f.LongestS
	if p.Mount.unsure() {
		f.EstimateS = newTrial(p.certain(), fine).longest()
		f.LowS, f.HighS = t.spread()
	}
	if p.Elongation > p.MaxElongation {
		f.Long = p.Elongation
	}
	f.limits(p)
	f.draw(t)
	f.Worst = t.worst(math.Max(f.LongestS, ShortestS))
	if p.PlannedS > 0 {
		point := t.point(p.PlannedS)
		f.Planned, f.Rounded = &point, point.ShareRound >= p.Share-shareSlack && p.PlannedS <= p.end()
	}
	f.advise(p)
	return f, nil
}

// gear is who says how the gear runs.
func (p Plan) gear() Source {
	switch w := p.Mount.Wobble; {
	case w == nil:
		return ""
	case w.Source == "":
		return GearTold
	default:
		return w.Source
	}
}

// LongSays says that stars are long before the mount moves them; none where they are not, or nobody knows.
func (f Forecast) LongSays() say.Line {
	if f.Long == 0 {
		return say.Line{}
	}
	return say.Of("stars long before the mount moves them", say.Number(f.Long))
}

// Says is the longest exposure and what it rests on.
func (f Forecast) Says() say.Line {
	if f.LongestS == 0 {
		return say.Of("no exposure keeps stars round")
	}
	return say.Of("stars stay round for", say.LongestOf(f.LongestS), f.RestsOn())
}

// end is the longest exposure looked at.
func (p Plan) end() float64 {
	if p.gear() == GearUsual {
		return FaithS
	}
	return LongestS
}

// certain is the plan with the mount as estimated.
func (p Plan) certain() Plan {
	p.Mount.RateSigma = 0
	p.Mount.Axis.Covariance = [2][2]float64{}
	p.Mount.Axis.SizeSigma = 0
	if p.Mount.Wobble != nil {
		w := *p.Mount.Wobble
		w.Sigma, w.SizeFactor, w.PeriodFactor = 0, 0, 0
		p.Mount.Wobble = &w
	}
	return p
}

// ways is how many directions of an axis error of unknown direction are tried.
const ways = 24

// worstWay settles the direction of an axis error of which only the size is known: the one that leaves the shortest exposure.
func (p Plan) worstWay() Plan {
	if p.Mount.Tripod || p.Mount.Axis.known() || p.Mount.Axis.Size == 0 && p.Mount.Axis.SizeSigma == 0 {
		return p
	}
	least := math.Inf(1)
	sure := p.certain()
	if sure.Mount.Axis.Size == 0 {
		sure.Mount.Axis.Size = p.Mount.Axis.SizeSigma
	}
	for i := range ways {
		q := sure
		q.toward = unit.Angle(2 * math.Pi * float64(i) / ways)
		if l := newTrial(q, rough).longest(); l < least {
			least, p.toward = l, q.toward
		}
	}
	return p
}
