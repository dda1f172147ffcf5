package exposure

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"
)

// Ends of the exposures looked at, seconds.
const (
	ShortestS = 0.01
	LongestS  = 3600
)

// Point is one exposure of the curve.
type Point struct {
	ExposureS  float64 `json:"exposure_s"`
	TrailPx    float64 `json:"trail_px"`    // at the worst place, not exceeded by the share asked for
	Elongation float64 `json:"elongation"`  // same
	ShareRound float64 `json:"share_round"` // of the exposures that stay round everywhere in the picture
}

// Forecast is the answer to a [Plan].
type Forecast struct {
	// LongestS is the longest exposure of which the share asked for stays round everywhere in the picture. The share counts over the phase of the
	// wobble and over what is not known of axis, rate and wobble: doubt makes it shorter. At most [LongestS] (Endless is then true);
	// 0 where even [ShortestS] is too long.
	LongestS float64
	Endless  bool
	// EstimateS is the same with the mount taken to be exactly as estimated; between LowS and HighS it lies with a probability of 68 %.
	EstimateS, LowS, HighS float64

	LimitedBy Limit
	Worst     string // place in the picture where the stars trail most, in words
	Curve     []Point
	Planned   *Point // the exposure planned, if one is
	Rounded   bool   // whether the share asked for of the exposures planned stays round
	Gains     []Gain // what would help, most first
	Advice    string // one sentence of it
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
	f := Forecast{LongestS: t.longest()}
	f.Endless = f.LongestS >= LongestS
	f.EstimateS, f.LowS, f.HighS = f.LongestS, f.LongestS, f.LongestS
	if p.Mount.unsure() {
		f.EstimateS = newTrial(p.certain(), fine).longest()
		f.LowS, f.HighS = p.spread()
	}
	f.limits(p)
	f.Curve = t.curve(f.LongestS)
	f.Worst = t.worst(math.Max(f.LongestS, ShortestS))
	if p.PlannedS > 0 {
		point := t.point(p.PlannedS)
		f.Planned, f.Rounded = &point, point.ShareRound >= p.Share
	}
	f.say(p)
	return f, nil
}

// certain is the plan with the mount as estimated.
func (p Plan) certain() Plan {
	p.Mount.RateSigma = 0
	p.Mount.Axis.Covariance = [2][2]float64{}
	p.Mount.Axis.SizeSigma = 0
	if p.Mount.Wobble != nil {
		w := *p.Mount.Wobble
		w.Sigma = 0
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

// grain is how finely a trial looks: at how many mountings, how many phases of the wobble of each, at how many places fewer
// than all, and how often it halves the last step.
type grain struct{ mountings, phases, fewer, halvings int }

var (
	fine  = grain{64, 16, 0, 12}
	rough = grain{16, 8, 4, 9} // for comparing: corners and middle
)

// trial is one plan laid out: the courses of the stars at all places under every mounting drawn.
type trial struct {
	p       Plan
	courses [][]course // per mounting, per place
	sizes   []float64  // of the wobble, per mounting
	phases  [][]sine   // of the wobble; nil where there is none
	grain   grain
	own     float64 // σ² of a round star
	allowed float64 // flatness
}

func newTrial(p Plan, g grain) *trial {
	if !p.Mount.unsure() { // one mounting: it takes all the phases
		g.mountings, g.phases = interleave, g.mountings*g.phases/(4*interleave)
	}
	sigma := sigmaOf(p.FWHM)
	t := &trial{p: p, own: sigma * sigma, allowed: flatnessOf(p.MaxElongation)}
	if p.Mount.Wobble != nil && p.form != nil {
		t.phases = phases(p.form, interleave*g.phases)
	}
	t.grain = g
	follow := newFollower(p.View, thinned(p.View.Lens.places(), g.fewer))
	list := newDraws(g.mountings)
	for _, d := range list {
		m := p.way(d, p.toward)
		t.courses = append(t.courses, p.without(follow.courses(m, nil)))
		t.sizes = append(t.sizes, m.wobble)
	}
	return t
}

// thinned leaves out the middles of the edges.
func thinned(at []vec, fewer int) []vec {
	if len(at) <= fewer {
		return at
	}
	return slices.Delete(slices.Clone(at), len(at)-1-fewer, len(at)-1)
}

// without makes the courses all like that of the middle, where the turning of the field is to be left out.
func (p Plan) without(list []course) []course {
	if p.unturned {
		for i := range list {
			list[i] = list[len(list)-1]
		}
	}
	return list
}

// share of the exposures of a length that stay round everywhere.
func (t *trial) share(lengthS float64) float64 {
	good, all := 0, 0
	moments := t.moments(lengthS)
	for i := range t.courses {
		mine := t.phasesOf(i, moments)
		all += len(mine)
		good += t.round(i, lengthS, mine)
	}
	return float64(good) / float64(all)
}

// interleave: the phases tried under one mounting lie between those of its neighbours, so that together they are fine.
const interleave = 4

// moments of the wobble for exposures of a length, by phase.
func (t *trial) moments(lengthS float64) [][]wobbling {
	if t.phases == nil {
		return [][]wobbling{{{}}}
	}
	all := over(t.phases, t.p.Mount.Wobble.PeriodS, lengthS)
	sets := make([][]wobbling, interleave)
	for i, w := range all {
		sets[i%interleave] = append(sets[i%interleave], w)
	}
	return sets
}

// perMounting is how many phases are tried under one mounting.
func (t *trial) perMounting() int { return max(1, len(t.phases)/interleave) }

func (t *trial) phasesOf(i int, sets [][]wobbling) []wobbling { return sets[i%len(sets)] }

func (t *trial) round(i int, lengthS float64, moments []wobbling) (good int) {
	for _, w := range moments {
		if t.roundAt(i, lengthS, w) {
			good++
		}
	}
	return good
}

func (t *trial) roundAt(i int, lengthS float64, w wobbling) bool {
	for _, c := range t.courses[i] {
		xx, xy, yy := c.covariance(lengthS, t.sizes[i], w)
		if flatness(xx, xy, yy, t.own) > t.allowed {
			return false
		}
	}
	return true
}

// longest exposure of which the share asked for stays round; shorter ones do as well.
func (t *trial) longest() float64 {
	return longestWhere(t.grain.halvings, func(s float64) bool { return t.share(s) >= t.p.Share })
}

// longestWhere doubles the length until it fails and halves the step it fell into.
// What passes is taken to pass when shorter: moments only grow with length.
func longestWhere(halvings int, passes func(lengthS float64) bool) float64 {
	if !passes(ShortestS) {
		return 0
	}
	low, high := ShortestS, ShortestS
	for high < LongestS {
		high = math.Min(high*2, LongestS)
		if !passes(high) {
			break
		}
		low = high
	}
	for range halvings { // a doubling, halved twelve times: 0.02 %, nine times: 0.2 %
		if low == high {
			break
		}
		mid := (low + high) / 2
		if passes(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// spread is the range of the longest exposure for the mount as it may be: 16th to 84th percentile.
func (p Plan) spread() (low, high float64) {
	t := newTrial(p, rough)
	var list []float64
	for i := range t.courses {
		need := int(math.Ceil(p.Share * float64(t.perMounting())))
		list = append(list, longestWhere(t.grain.halvings, func(s float64) bool { return t.round(i, s, t.phasesOf(i, t.moments(s))) >= need }))
	}
	slices.Sort(list)
	return list[int(0.16*float64(len(list)))], list[int(0.84*float64(len(list)))]
}

// point is one exposure of the curve.
func (t *trial) point(lengthS float64) Point {
	flats := t.flats(lengthS)
	slices.Sort(flats)
	within, _ := slices.BinarySearch(flats, math.Nextafter(t.allowed, 1))
	at := min(int(math.Ceil(t.p.Share*float64(len(flats)))), len(flats))
	e := elongationOf(flats[max(at-1, 0)])
	return Point{lengthS, TrailOf(e, t.p.FWHM), e, float64(within) / float64(len(flats))}
}

// flats are the flatnesses at the worst place, over mountings and phases.
func (t *trial) flats(lengthS float64) (list []float64) {
	moments := t.moments(lengthS)
	for i := range t.courses {
		for _, w := range t.phasesOf(i, moments) {
			worst := 0.0
			for _, c := range t.courses[i] {
				xx, xy, yy := c.covariance(lengthS, t.sizes[i], w)
				if f := flatness(xx, xy, yy, t.own); f > worst {
					worst = f
				}
			}
			list = append(list, worst)
		}
	}
	return list
}

// worst names the place where stars trail most at a length, in the mean over mountings and phases.
func (t *trial) worst(lengthS float64) string {
	names := placeNames[len(placeNames)-len(t.courses[0]):]
	sum := make([]float64, len(names))
	moments := t.moments(lengthS)
	for i, list := range t.courses {
		for _, w := range t.phasesOf(i, moments) {
			for k, c := range list {
				xx, xy, yy := c.covariance(lengthS, t.sizes[i], w)
				sum[k] += flatness(xx, xy, yy, t.own)
			}
		}
	}
	best := len(sum) - 1 // the middle, unless another place is worse by more than rounding
	for k, s := range sum {
		if s > sum[best]*(1+1e-6) {
			best = k
		}
	}
	return names[best]
}

// lengths of the curve, seconds: those people set.
var lengths = []float64{0.1, 0.2, 0.5, 1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 75, 90, 120, 150, 180, 240, 300, 400, 500, 600, 900, 1200, 1800, 2700, 3600}

// curve from a tenth of the longest exposure to six times it, at lengths people set.
func (t *trial) curve(longestS float64) (list []Point) {
	for _, s := range lengths {
		if s >= longestS/12 && s <= math.Max(6*longestS, 1) {
			list = append(list, t.point(s))
		}
	}
	return list
}
