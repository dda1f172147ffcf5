package align

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// Causes why no axis can be given, for errors.Is.
var (
	// ErrFewPictures: fewer than two attitudes.
	ErrFewPictures = errors.New("too few solved pictures with a clock")
	// ErrNotTurning: the camera stands still over the landscape.
	ErrNotTurning = errors.New("the mount is not turning")
	// ErrClockStands: different pictures carry the same time.
	ErrClockStands = errors.New("the clock stands still")
	// ErrNoAxis: the equations do not settle an axis.
	ErrNoAxis = errors.New("the pictures do not settle an axis")
)

// Input is a session as the estimator takes it.
type Input struct {
	Site            ephem.Site
	Air             ephem.Air
	Samples         []Sample           // in the order of time
	FieldCovariance []*mat.SymDense    // per field, radians², camera axes; nil entries: none
	Refraction      func(i int) r3.Vec // change of sample i's attitude for a refraction 100 % larger: a small turn in the camera frame; may be nil
	// Common lists, per sample, what one standard deviation of each error that all samples share turns its attitude by: a small
	// turn in the camera frame. All samples list the same errors in the same order; nil: none.
	Common [][]r3.Vec
}

// followed is whether the stars were followed, not recognised: then the camera must stay on its field, and no swing helps.
func (in Input) followed() bool { return len(in.Common) > 0 }

// airShare is how well refraction is known (design §4: 5 % of it enters σ).
const airShare = 0.05

// Axis is where a mount's axis points.
type Axis struct {
	// Direction of the end toward the site's elevated pole, east-north-up.
	Direction r3.Vec
	// Covariance of that direction across (toward growing azimuth) and up, radians² on the sky.
	Covariance [2][2]float64
	Stands     int     // parts between knocks; the axis is that of the last
	Groups     int     // parts between re-aimings, knocks included
	Breaks     []Break // where
	Stray      []bool  // samples that fit nothing and were left out
	// Theta is each sample's angle about the axis (design §4: grows with tracking),
	// from an arbitrary zero in each group; ThetaSigma its error, with the clock not counted.
	Theta      []unit.Angle
	ThetaSigma []unit.Angle
	Group      []int    // of each sample
	Residual   []r3.Vec // of each sample: what the model leaves over, a small turn in the camera frame, radians
	WanderPx   float64  // of the optical centre, as the scatter shows it
	Chi2       float64  // of the fit, under that wander
	DOF        int      // equations less unknowns
	Turned     unit.Angle
	Followed   bool // the stars were followed, not recognised: the camera must stay on its field
	// Creep is how far, on the sky, the axis found would move if the camera or the optical centre had crept evenly by one
	// pixel over the pictures: nothing in one patch of sky tells that from an axis, and no
	// stated error holds it. A swing makes it small. 0 if unknown.
	Creep unit.Angle
	Gave  Gave
	Bend  Bend
	stood []turn.Turn // the attitudes of the pictures the axis speaks of
}

// Altitude of the axis's elevated end.
func (a Axis) Altitude() unit.Angle { return ephem.HorizontalOf(a.Direction).Altitude }

// Azimuth of the axis's elevated end, from north through east.
func (a Axis) Azimuth() unit.Angle { return ephem.HorizontalOf(a.Direction).Azimuth }

// AltitudeSigma is the standard error of the altitude.
func (a Axis) AltitudeSigma() unit.Angle { return unit.Angle(math.Sqrt(a.Covariance[1][1])) }

// AzimuthSigma is the standard error of the azimuth as a turn about the vertical (what the
// knob does); on the sky it is smaller by the cosine of the altitude.
func (a Axis) AzimuthSigma() unit.Angle {
	return unit.Angle(math.Sqrt(a.Covariance[0][0]) / math.Cos(a.Altitude().Rad()))
}

// Correlation of altitude and azimuth errors.
func (a Axis) Correlation() float64 {
	return a.Covariance[0][1] / math.Sqrt(a.Covariance[0][0]*a.Covariance[1][1])
}

// soundMisfit is the largest χ² per degree of freedom under which the stated errors mean
// anything: with ten degrees of freedom chance exceeds it once in 10⁴.
const soundMisfit = 3.5

// Sound is whether what is left over agrees with the stated errors.
func (a Axis) Sound() bool { return a.DOF < 1 || a.Chi2 < soundMisfit*float64(a.DOF)+10 }

// WorstSigma is the standard error on the sky in the weaker direction.
func (a Axis) WorstSigma() unit.Angle {
	c := a.Covariance
	mean, half := (c[0][0]+c[1][1])/2, math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	return unit.Angle(math.Sqrt(mean + half))
}

// clockStands is whether three and more pictures carry one time though no hand
// swung the axis between them: the sky cannot have moved, and what the attitudes differ by is error.
func clockStands(samples []Sample, obs []observation) bool {
	const swungBy = ephem.Degree
	for i := range samples {
		if !samples[i].Mid.Equal(samples[0].Mid) || obs[0].c.Inverse().Then(obs[i].c).Angle() > swungBy {
			return false
		}
	}
	return len(samples) > 1
}

// stillLimit: a camera that has turned by less than a tenth of what the sky did,
// and by no more than three of its own errors or this angle, stands still.
const stillLimit = 1 * ephem.Arcmin

// Estimate finds the axis. Samples are in the order of time.
//
// Errors: [ErrFewPictures], [ErrNotTurning], [ErrNoAxis].
//
// With three or more attitudes the answer is checked by what is left over; two always fit, and
// nothing then tells a knock from a turn. The weak direction of one patch of sky lies along its
// hour circle; the covariance says so. Where the pictures turned too little, the
// covariance is large, never absent.
func Estimate(in Input) (Axis, error) {
	n := len(in.Samples)
	if n < 2 {
		return Axis{}, amiss.New(ErrFewPictures, fmt.Sprintf("%s with a clock could be recognised; the axis needs two at least, better five", pictures(n)),
			"take more pictures a minute apart, or swing the axis by 30° between them")
	}
	px, trusted := quickErrors(in.Samples)
	in.Samples = trusted
	obs := observe(in.Samples, px)
	if clockStands(in.Samples, obs) {
		return Axis{}, &amiss.Error{Kind: ErrClockStands, Text: "the pictures differ, but all carry the same time",
			Ways: []amiss.Way{{Act: "use the originals from the camera (an export may have reset their times)"}, {Thing: amiss.TimesAnew}}}
	}
	if turned, still := standing(in.Samples, obs); still {
		return Axis{Turned: turned}, amiss.New(ErrNotTurning, "the camera stands still while the sky turns",
			"switch the motor on and close the clutch, then take the pictures again (or swing the axis by hand, 20° and more)")
	}
	seg := segment(in.Samples, in.doubted(obs))
	seg, tells := in.sudden(obs, seg)
	if len(tells) == 0 {
		return Axis{}, amiss.New(ErrNoAxis, "the pictures do not settle an axis", "take more pictures, with a swing of the axis by 30° between them")
	}
	a := conclude(in, seg, tells)
	if a.Gave.beyond() {
		return Axis{Turned: a.Turned}, amiss.New(ErrNoAxis, fmt.Sprintf("the camera turned by %.1f° besides about any axis, more than a holder bends", a.Gave.Size.Deg()),
			"if a guider or a second motor moves the mount, switch it off; else tighten the clamps and the ball, then take the pictures again")
	}
	if feigned := a.feigned(); a.Turned < feigned {
		return Axis{Turned: a.Turned}, amiss.New(ErrNoAxis, fmt.Sprintf("the pictures turned by only %.2f° about any axis, no more than their own errors feign", a.Turned.Deg()),
			"take pictures over several minutes with the motor on, or swing the axis by 30° between them; check that the camera's clock runs")
	}
	return a, nil
}

// feigned is the turn that errors alone can make of pictures that did not turn: the
// largest of many differences of two angles hardly exceeds eight times the error of one.
func (a Axis) feigned() unit.Angle {
	sigmas := slices.Sorted(slices.Values(a.ThetaSigma))
	return 8 * sigmas[len(sigmas)/2]
}

func pictures(n int) string {
	switch n {
	case 0:
		return "no picture"
	case 1:
		return "only one picture"
	}
	return fmt.Sprintf("%d pictures", n)
}

// doubted are the observations as the search for breaks should see them: errors that all pictures share differ between
// them by as much as the camera moved, and must not pass for knocks. Each error of one standard deviation widens
// the observation along what it does to it.
func (in Input) doubted(obs []observation) []observation {
	if !in.followed() {
		return obs
	}
	wide := slices.Clone(obs)
	for i := range wide {
		cov, _ := turn.Invert(wide[i].weight)
		for _, v := range in.Common[i] {
			var along r3.Mat
			along.Outer(1, v, v)
			cov.Add(cov, &along)
		}
		var det float64
		wide[i].weight, det = turn.Invert(cov)
		wide[i].logDet = math.Log(det)
	}
	return wide
}

// standing is whether the attitude stood still in the horizon frame while the sky
// turned away.
func standing(samples []Sample, obs []observation) (turned unit.Angle, still bool) {
	for i := range obs {
		for _, k := range [2]int{0, len(obs) - 1} {
			turned = max(turned, obs[i].c.Inverse().Then(obs[k].c).Angle())
		}
	}
	span := samples[len(samples)-1].Mid.Sub(samples[0].Mid).Seconds()
	sky := unit.Angle(ephem.SiderealRadPerS * span)
	var worst float64
	for _, o := range obs {
		cov, _ := turn.Invert(o.weight)
		worst = max(worst, cov.At(0, 0), cov.At(1, 1))
		if roll := cov.At(2, 2); roll < sq2(RollKnown.Rad()) {
			worst = max(worst, roll)
		}
	}
	noise := unit.Angle(4 * math.Sqrt(worst))
	return turned, turned < max(noise, min(stillLimit, sky/4)) && sky > 2*turned
}

// RollKnown: a roll that may be off by more was not measured but guessed (drift.FromTable), alike for
// all pictures, and does not make them seem to turn.
const RollKnown = 3 * ephem.Degree

// newModel lays the blocks and stands out and starts from the best guess of each.
func newModel(in Input, obs []observation, seg segmentation) *model {
	m := &model{obs: obs, used: make([]bool, len(obs)), theta: make([]float64, len(obs)),
		field: in.FieldCovariance, link: []float64{0}}
	for i := range m.used {
		m.used[i] = !seg.stray[i]
	}
	first, stand := 0, 0
	for _, b := range append(seg.breaks, Break{Before: len(obs)}) {
		if b.Before > first {
			m.addBlock(block{members: upTo(b.Before)[first:], stand: stand, c0: obs[(first+b.Before-1)/2].c}, in.Samples)
		}
		if first = b.Before; b.moves() {
			stand++
			m.link = append(m.link, b.link())
		}
	}
	axis := m.guessAxis()
	for range stand + 1 {
		m.axis = append(m.axis, axis)
	}
	m.shareFields()
	m.shareCentres()
	m.common = in.shared()
	if len(m.common) > 0 {
		m.alike = make([]float64, len(m.common[0]))
	}
	return m
}

// turnedBy is about how far the knobs are turned between two measurements.
const turnedBy = 2 * ephem.Degree

// moves is whether the axis is another one after the break.
func (b Break) moves() bool { return b.Knock || b.Turned }

// link is about how far the axis moved.
func (b Break) link() float64 {
	if b.Turned {
		return turnedBy.Rad()
	}
	return max(b.Size.Rad(), 1e-6)
}

// shareCentres gives the optical centre an unknown for every lens whose focus
// moved enough to matter: by more than a millisecond of arc of shift there is nothing to see.
func (m *model) shareCentres() {
	const matters = 1e-3 / 206265
	m.focus = map[int]int{}
	for _, o := range m.obs {
		if _, known := m.focus[o.lens]; !known && r3.Norm(o.focus[0])+r3.Norm(o.focus[1]) > matters {
			m.focus[o.lens] = len(m.centre)
			m.centre = append(m.centre, [2]float64{})
		}
	}
}

// rejoinChance is how likely a misfit must be by chance for two groups to count as one.
const rejoinChance = 0.01

// addBlock adds a group, or joins it to an earlier one of the same stand and lens when both fit
// one C₀: a camera that was lifted and put back, or a phone that switched its crop and back.
func (m *model) addBlock(b block, samples []Sample) {
	for i := range m.blocks {
		old := &m.blocks[i]
		if old.stand != b.stand || samples[old.members[0]].Lens != samples[b.members[0]].Lens {
			continue
		}
		both := append(slices.Clone(old.members), b.members...)
		if m.fitTogether(old.members, b.members, both) {
			old.members = both
			old.c0 = m.obs[both[len(both)/2]].c
			return
		}
	}
	m.blocks = append(m.blocks, b)
}

// fitTogether is whether two groups' pictures fit one C₀ as well as two.
func (m *model) fitTogether(a, b, both []int) bool {
	pick := func(members []int) (run, bool) {
		var some []observation
		for _, i := range members {
			if m.used[i] {
				some = append(some, m.obs[i])
			}
		}
		return fitAll(some)
	}
	fa, okA := pick(a)
	fb, okB := pick(b)
	fab, okAB := pick(both)
	if !okA || !okB || !okAB || fab.dof <= fa.dof+fb.dof {
		return false
	}
	dof := fa.dof + fb.dof
	return significance(fab.chi2-fa.chi2-fb.chi2, fab.dof-dof, fa.chi2+fb.chi2, dof) > math.Log(rejoinChance)
}

// shareFields gives the catalogue's common error an unknown in every field that
// has one, where groups see more than one field: with a single field it hides in
// C₀.
func (m *model) shareFields() {
	m.shared = map[int]int{}
	for _, b := range m.blocks {
		var seen []int // in the order of the pictures: so the unknowns stand, and sums depend on it
		for _, i := range b.members {
			if f := m.obs[i].field; !slices.Contains(seen, f) {
				seen = append(seen, f)
			}
		}
		if len(seen) < 2 {
			continue
		}
		for _, f := range seen {
			if _, ok := m.shared[f]; !ok && f < len(m.field) && m.field[f] != nil {
				m.shared[f] = len(m.bias)
				m.bias = append(m.bias, r3.Vec{})
			}
		}
	}
}

// conclude averages over the stories and the wander and states the answer.
func conclude(in Input, seg segmentation, tells []told) Axis {
	logPost := make([]float64, len(tells))
	for i := range tells {
		logPost[i] = tells[i].logPost
	}
	share := weights(logPost)
	best := &tells[likeliest(tells)]
	m := &best.at.model
	a := Axis{Followed: in.followed(), Stands: len(m.axis), Groups: len(m.blocks), Breaks: slices.Clone(seg.breaks), Stray: seg.stray, Chi2: best.at.eq.chi2}
	a.DOF = 2*countTrue(m.used) - 2*len(m.blocks) - 2*len(m.axis)
	for i, t := range tells {
		a.WanderPx += share[i] * t.px
	}
	a.Bend = bendOf(tells, share, best)
	a.stood = m.stood()
	var north r3.Vec
	north, a.Covariance = a.Bend.about(a.stood)
	a.Creep = creep(in, best, a.Bend.rows(a.stood))
	a.Gave = gaveOf(in, tells, share, a.Bend)
	a.elevate(in.Site.Latitude < 0, north)
	a.readMoves(best)
	a.readAngles(m)
	return a
}

// shared lists, per sample, what one standard deviation of each error that all pictures share turns it by: of the
// refraction, and of where a field that was not recognised lies.
func (in Input) shared() [][]r3.Vec {
	list := make([][]r3.Vec, len(in.Samples))
	for i := range list {
		if in.Refraction != nil {
			list[i] = append(list[i], r3.Scale(airShare, in.Refraction(i)))
		}
		if in.followed() {
			list[i] = append(list[i], in.Common[i]...)
		}
	}
	return list
}

// creep is what an even creep of one pixel does to the axis, the worse of along x and along y.
func creep(in Input, t *told, rows [2][bendSize]float64) (worst unit.Angle) {
	first, last := in.Samples[0].Mid, in.Samples[len(in.Samples)-1].Mid
	span := last.Sub(first).Seconds()
	if span <= 0 {
		return 0
	}
	for _, along := range [2]r3.Vec{{X: 1}, {Y: 1}} {
		x := t.shifted(func(_ *block, i int) r3.Vec {
			s := in.Samples[i]
			return r3.Scale(s.Pixel.Rad()*(s.Mid.Sub(first).Seconds()/span-0.5), along)
		})
		var off [2]float64
		for r, row := range rows {
			for k, v := range row {
				off[r] += v * x[k]
			}
		}
		worst = max(worst, unit.Angle(math.Hypot(off[0], off[1])))
	}
	return worst
}

// elevate turns from the north end to the elevated end. A turn about the
// vertical carries both ends clockwise; where one end rises the other sinks, so the
// covariance of the two changes sign.
func (a *Axis) elevate(south bool, north r3.Vec) {
	a.Direction = north
	if south {
		a.Direction = r3.Scale(-1, north)
		a.Covariance[0][1], a.Covariance[1][0] = -a.Covariance[0][1], -a.Covariance[1][0]
	}
}

// readAngles copies out what the axis leaves of each picture.
func (a *Axis) readAngles(m *model) {
	n := len(m.obs)
	a.Theta, a.ThetaSigma = make([]unit.Angle, n), make([]unit.Angle, n)
	a.Group, a.Residual = make([]int, n), make([]r3.Vec, n)
	for bi := range m.blocks {
		b := &m.blocks[bi]
		u := b.c0.Apply(m.axis[b.stand])
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, i := range b.members {
			a.Group[i] = bi
			a.Theta[i] = unit.Angle(m.theta[i])
			a.ThetaSigma[i] = unit.Angle(1 / math.Sqrt(r3.Dot(u, m.obs[i].weight.MulVec(u))))
			a.Residual[i] = m.residual(b, i)
			lo, hi = min(lo, m.theta[i]), max(hi, m.theta[i])
		}
		a.Turned = max(a.Turned, unit.Angle(hi-lo))
	}
}

// readMoves tells of every break what it did to the axis.
func (a *Axis) readMoves(t *told) {
	m := &t.at.model
	stand, sign := 0, 1.0
	if r3.Dot(a.Direction, m.axis[len(m.axis)-1]) < 0 { // the end told is the southern one
		sign = -1
	}
	for i := range a.Breaks {
		if !a.Breaks[i].moves() || stand+1 >= len(m.axis) {
			continue
		}
		was, is := r3.Scale(sign, t.axisOf(stand)), r3.Scale(sign, t.axisOf(stand+1))
		from, to := ephem.HorizontalOf(was), ephem.HorizontalOf(is)
		across, up := t.reply(2*(stand+1)), t.reply(2*(stand+1)+1)
		spread := func(y *mat.VecDense, k int) float64 { // of the difference of unknown k of the two stands
			return y.AtVec(2*(stand+1)+k) - 2*y.AtVec(2*stand+k) + t.reply(2*stand+k).AtVec(2*stand+k)
		}
		a.Breaks[i].Moved = Move{was: was, is: is, at: to.Altitude, Altitude: to.Altitude - from.Altitude, Azimuth: unit.Angle(math.Remainder((to.Azimuth - from.Azimuth).Rad(), 2*math.Pi)),
			AltitudeSigma: unit.Angle(math.Sqrt(spread(up, 1))), AzimuthSigma: unit.Angle(math.Sqrt(spread(across, 0)) / math.Cos(to.Altitude.Rad()))}
		stand++
	}
}

// axisOf is the axis of a stand, its end toward the north pole, as the story has it.
func (t *told) axisOf(stand int) r3.Vec {
	v := t.at.model.axis[stand]
	across, up := turn.Tangent(v)
	return r3.Unit(r3.Add(v, r3.Add(r3.Scale(t.x.AtVec(2*stand), across), r3.Scale(t.x.AtVec(2*stand+1), up))))
}

func countTrue(b []bool) (n int) {
	for _, v := range b {
		if v {
			n++
		}
	}
	return n
}
