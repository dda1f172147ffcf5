package align

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Rate is how fast a mount turns its camera.
//
// # The model
//
// Within a stretch of pictures between which nobody touched anything
//
//	θ(t) = c + ω·SiderealRatio·t + wobble(t)
//
// with a c of its own for each stretch and one ratio for the session. A stretch ends at a
// break, at a swing by hand, where the motor stands to take up play and where the clutch gives.
type Rate struct {
	// SiderealRatio is 1 with the stars, 0 for a motor that stands and −1 where it turns
	// the wrong way.
	SiderealRatio float64
	// Sigma is its standard error: of the angles, of the stamps' step, and of a wobble of the gear that a
	// short span cannot tell from a rate.
	Sigma float64
}

// What the gear of a small mount may do besides turning evenly (common practice, no source): a
// wobble of 40″ from peak to peak must be reckoned with unseen, one of 120″ is
// not yet a fault of another kind, and none runs faster than 0.8″ per second – 120″ in the
// shortest period of 480 s.
const (
	unseenWobble  = 40 * ephem.Arcsec // peak to peak
	largestWobble = 120 * ephem.Arcsec
	fastestWobble = 0.8 * ephem.Arcsec // a second
)

// sureSigmas is how many standard errors a single step must stand out by: with
// some dozens of steps in a session and Gaussian errors a false one in some ten thousand sessions.
const sureSigmas = 5

// fastestMotor bounds the ratios a motor may have; what turns faster was a hand.
const fastestMotor = 2.5

// step is the turn about the axis from one used picture to the next of its group.
type step struct {
	from, to int     // samples
	dt       float64 // s
	dTheta   float64 // radians
	allow    float64 // radians by which an undisturbed step may miss the even turn
}

// misses is how far the step falls short of (negative) or exceeds an even turn.
func (s step) misses(ratio float64) float64 { return s.dTheta - ratio*ephem.SiderealRadPerS*s.dt }

// sigma takes what is allowed for two standard errors: noise stands five, a wobble's bound more than one.
func (s step) sigma() float64 { return s.allow / 2 }

func (s step) even(ratio float64) bool { return math.Abs(s.misses(ratio)) <= s.allow }

// TrackingRate reads the rate off the angles about the axis. False where no two
// pictures in sequence were left to the motor alone, or the steps do not agree.
//
// It needs no even spacing and stands up to wobble, play, breaks, swings by hand and single
// slips of the clutch, as long as most steps from picture to picture are the motor's. The
// step of the stamps is taken to be a second where all pictures come whole seconds apart.
func TrackingRate(in Input, a Axis) (Rate, bool) {
	return trackingRate(in, a, stampStep(in.Samples))
}

// stampStep guesses the resolution of the stamps.
func stampStep(samples []Sample) time.Duration {
	for i := 1; i < len(samples); i++ {
		if samples[i].Mid.Sub(samples[0].Mid)%time.Second != 0 {
			return time.Millisecond
		}
	}
	return time.Second
}

func trackingRate(in Input, a Axis, stamp time.Duration) (Rate, bool) {
	steps := stepsOf(in, a, stamp)
	ratio, ok := commonRatio(steps)
	if !ok || !mostlyEven(steps, ratio) {
		return Rate{}, false
	}
	line := newLine(in, a, stretches(steps, ratio))
	if line.spread == 0 {
		return Rate{}, false
	}
	slope, white := line.slope(a)
	size := max(unseenWobble.Rad()/2, math.Sqrt2*line.scatter(a, slope))
	stampSigma := stampShare * stamp.Seconds() / line.span() * math.Abs(slope-ephem.SiderealRadPerS)
	sigma := math.Sqrt(white*white + sq2(size*line.wobbleShare()) + sq2(stampSigma) + sq2(slope*leaning(in, a)))
	return Rate{slope / ephem.SiderealRadPerS, sigma / ephem.SiderealRadPerS}, true
}

// leaning is the relative error a rate has by that of the axis. Where the turn about the line of sight is known worse than
// the direction, as with narrow fields, the angle about the axis is read off the path of the direction: that over the radius of its circle. An
// axis nearer by δ makes the same path a larger angle. An axis turned by α changes the attitude at an angle θ by
// θ·C(â × α) (align/model.go), of which the weighted angle takes uᵀW C(â × α)/uᵀWu; with equal weights all round that is nothing.
func leaning(in Input, a Axis) float64 {
	c, cov := in.Samples[len(in.Samples)/2].Attitude.Given(a.WanderPx)
	w, _ := turn.Invert(turn.Mat(cov))
	axis := a.Direction
	u := c.Apply(axis)
	wu := w.MulVec(u)
	across, up := turn.Tangent(axis)
	var g [2]float64
	for k, alpha := range [2]r3.Vec{r3.Scale(-1, up), across} { // move the axis toward across, and up
		g[k] = r3.Dot(wu, c.Apply(r3.Cross(axis, alpha))) / r3.Dot(wu, u)
	}
	v := g[0]*g[0]*a.Covariance[0][0] + 2*g[0]*g[1]*a.Covariance[0][1] + g[1]*g[1]*a.Covariance[1][1]
	return math.Sqrt(max(v, 0))
}

// stampShare: pictures that come a little more than whole seconds apart have
// stamps that fall behind slowly and then jump by a step. A jump at a random place u of the
// span tilts the line by 6u(1−u) steps a span, 1.1 in the root mean square; it
// happens once with a chance that grows from none to one, or more often and smaller. Together 0.8. Attitudes are
// measured against the sky of the stamped instant, so a late stamp turns sky and tracking camera alike: what enters the
// angle is the stamp's error times the rate less the stars'.
const stampShare = 0.8

func sq2(x float64) float64 { return x * x }

// stepsOf lists the steps between neighbouring used pictures of one group.
func stepsOf(in Input, a Axis, stamp time.Duration) []step {
	var list []step
	last := -1
	stampAngle := ephem.SiderealRadPerS * stamp.Seconds() / math.Sqrt(12)
	for i := range in.Samples {
		if i >= len(a.Theta) || a.Stray[i] {
			continue
		}
		if last >= 0 && a.Group[i] == a.Group[last] {
			s := step{from: last, to: i, dt: in.Samples[i].Mid.Sub(in.Samples[last].Mid).Seconds(), dTheta: (a.Theta[i] - a.Theta[last]).Rad()}
			sigma := math.Sqrt(sq2(a.ThetaSigma[i].Rad()) + sq2(a.ThetaSigma[last].Rad()) + 2*stampAngle*stampAngle)
			// Twice: the common rate is read off steps that the wobble bends by as much the other way.
			s.allow = max(sureSigmas*sigma, min(largestWobble.Rad(), 2*fastestWobble.Rad()*s.dt))
			if s.dt > 0 {
				list = append(list, s)
			}
		}
		last = i
	}
	return list
}

// commonRatio is the ratio most steps agree on: the middle one of those that
// agree with the best candidate. Between candidates equally well supported the one nearer to the
// sidereal rate wins.
func commonRatio(steps []step) (ratio float64, ok bool) {
	best := 0
	for _, c := range steps {
		r := c.ratio()
		if math.Abs(r) > fastestMotor {
			continue
		}
		n := 0
		for _, s := range steps {
			if s.even(r) {
				n++
			}
		}
		if n > best || n == best && math.Abs(r-1) < math.Abs(ratio-1) {
			best, ratio = n, r
		}
	}
	var members []float64
	for _, s := range steps {
		if s.even(ratio) {
			members = append(members, s.ratio())
		}
	}
	if len(members) == 0 {
		return 0, false
	}
	slices.Sort(members)
	ratio = members[len(members)/2]
	if last := steps[len(steps)-1]; math.Abs(ratio) < stillRatio && last.even(1) && !last.even(ratio) {
		ratio = last.ratio() // it stood, and now it runs: the gear took up its play
	}
	return ratio, true
}

// ratio is the turn of a step as a share of the stars' own.
func (s step) ratio() float64 { return s.dTheta / (ephem.SiderealRadPerS * s.dt) }

// handTurn: what misses an even turn by more was a swing by hand; a clutch that gives does so by less (as
// design §6 parts a knock from a re-aimed camera).
const handTurn = knockLimit

// byHand is whether a hand turned the axis in this step, judged against a ratio.
func (s step) byHand(ratio float64) bool {
	miss := math.Abs(s.misses(ratio))
	return miss > handTurn.Rad() && miss > 1.5*math.Abs(ratio)*ephem.SiderealRadPerS*s.dt
}

// mostlyEven is whether at least half of the steps that no hand made agree on a ratio.
func mostlyEven(steps []step, ratio float64) bool {
	even, all := 0, 0
	for _, s := range steps {
		if s.even(ratio) {
			even++
		}
		if !s.byHand(ratio) {
			all++
		}
	}
	return 2*even >= all
}

// stretches are the runs of samples joined by even steps.
func stretches(steps []step, ratio float64) [][]int {
	var list [][]int
	last := -1
	for _, s := range steps {
		if !s.even(ratio) {
			continue
		}
		if s.from != last {
			list = append(list, []int{s.from})
		}
		list[len(list)-1] = append(list[len(list)-1], s.to)
		last = s.to
	}
	return list
}

// rateLine is the fit of one slope to stretches with a zero each.
type rateLine struct {
	parts   [][]int
	at      []float64 // of each sample: time from the session's middle, s
	weight  []float64 // of each sample, radians⁻²
	centre  []float64 // of each part: weighted mean time
	spread  float64   // Σ w (t − centre)²
	samples int
}

func newLine(in Input, a Axis, parts [][]int) rateLine {
	l := rateLine{parts: parts, at: make([]float64, len(in.Samples)), weight: make([]float64, len(in.Samples))}
	for i, s := range in.Samples {
		l.at[i] = s.Mid.Sub(in.Samples[0].Mid).Seconds()
		if i < len(a.ThetaSigma) {
			l.weight[i] = 1 / sq2(max(a.ThetaSigma[i].Rad(), 1e-7))
		}
	}
	for _, p := range parts {
		var w, wt float64
		for _, i := range p {
			w, wt = w+l.weight[i], wt+l.weight[i]*l.at[i]
		}
		l.centre = append(l.centre, wt/w)
		for _, i := range p {
			l.spread += l.weight[i] * sq2(l.at[i]-wt/w)
			l.samples++
		}
	}
	return l
}

// tilt is the slope of any series.
func (l rateLine) tilt(y func(i int) float64) float64 {
	var sum float64
	for k, p := range l.parts {
		for _, i := range p {
			sum += l.weight[i] * (l.at[i] - l.centre[k]) * y(i)
		}
	}
	return sum / l.spread
}

// slope is that of θ, radians per second, and its error by the angles' own errors.
func (l rateLine) slope(a Axis) (slope, sigma float64) {
	return l.tilt(func(i int) float64 { return a.Theta[i].Rad() }), 1 / math.Sqrt(l.spread)
}

// scatter is the root mean square of θ about the lines, radians, 0 where too few are left to tell.
func (l rateLine) scatter(a Axis, slope float64) float64 {
	free := l.samples - len(l.parts) - 1
	if free < 1 {
		return 0
	}
	var sum float64
	for k, p := range l.parts {
		var w, wy float64
		rest := func(i int) float64 { return a.Theta[i].Rad() - slope*(l.at[i]-l.centre[k]) }
		for _, i := range p {
			w, wy = w+l.weight[i], wy+l.weight[i]*rest(i)
		}
		for _, i := range p {
			sum += sq2(rest(i) - wy/w)
		}
	}
	return math.Sqrt(sum / float64(free))
}

// span is the length of the longest stretch, s.
func (l rateLine) span() (longest float64) {
	for _, p := range l.parts {
		longest = max(longest, l.at[p[len(p)-1]]-l.at[p[0]])
	}
	return max(longest, 1)
}

// wobblePeriods, s, are those of small mounts' gears (common practice, no source).
var wobblePeriods = [...]float64{120, 160, 210, 280, 370, 480, 600, 800, 1000, 1300}

// wobbleShare is the slope, per second, that a wobble of amplitude one may pass for: root mean
// square over its phase, at the worst period.
func (l rateLine) wobbleShare() (worst float64) {
	for _, period := range wobblePeriods {
		w := 2 * math.Pi / period
		s := l.tilt(func(i int) float64 { return math.Sin(w * l.at[i]) })
		c := l.tilt(func(i int) float64 { return math.Cos(w * l.at[i]) })
		worst = max(worst, math.Sqrt((s*s+c*c)/2))
	}
	return worst
}
