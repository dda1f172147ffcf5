package solve

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// phone is a main lens of 84° with every fault a lens may have.
func phone() Lens {
	return Lens{Width: 4032, Height: 3024, FocalPx: 2800, K1: 0.02, K2: -0.008, P1: 6e-4, P2: -4e-4, CentreX: 11, CentreY: -7}
}

// tele is 12° across and faultless.
func tele() Lens { return Lens{Width: 4032, Height: 3024, FocalPx: 24000} }

// noFault is what exact pictures are stated to be placed to, px: the lens's priors, of a hundredth and more, then weigh 1e-9 and less.
const noFault = 1e-5

// What went into exact pictures comes out of the joint fit: every attitude, in the frame asked for, every picture's own scale,
// and the lens they share. The centre's derivatives are those of a straight lens, so that a step leaves up to a fifth of what
// was wrong before it: of ten pixels nine steps leave 5·10⁻⁶. In a field seen three times the places of the catalogue are
// corrected meanwhile, and keep a little of what was wrong at the third step.
func TestJointFitRecoversWhatWentIn(t *testing.T) {
	for _, c := range []struct {
		pictures int
		leftPx   float64
	}{{1, 1e-5}, {2, 1e-5}, {5, 5e-4}} {
		t.Run(fmt.Sprint(c.pictures), func(t *testing.T) { recovers(t, c.pictures, c.leftPx) })
	}
}

func recovers(t *testing.T, pictures int, leftPx float64) {
	leftRad, leftShare := leftPx/1000, leftPx/1000
	r := rand.New(rand.NewPCG(51, 1))
	g := rig{lens: phone(), attitudes: around(pictures, 4, r), focal: []float64{2800, 2800.4, 2799.5, 2800.9, 2799.2}, statedPx: noFault, sky: randomTurn(r)}
	g.stars = skyOver(g.lens, 120, r)
	j := NewJoint(g.views(r))
	for i, a := range j.Attitudes {
		want := g.sky.Inverse().Then(g.attitudes[i])
		if off := want.Inverse().Then(a.Pose.Attitude).Angle().Rad(); off > leftRad {
			t.Errorf("picture %d: attitude off by %.2g rad", i, off)
		}
		got, _ := a.Given(0)
		if off := want.Inverse().Then(got).Angle().Rad(); off > leftRad {
			t.Errorf("picture %d: attitude without a wander off by %.2g rad", i, off)
		}
		if share := a.Pose.Lens.FocalPx/g.focal[i] - 1; math.Abs(share) > leftShare {
			t.Errorf("picture %d: focal length off by %.2g", i, share)
		}
		if a.RMSPx > leftPx {
			t.Errorf("picture %d: residuals of %.2g px", i, a.RMSPx)
		}
		l := a.Pose.Lens
		for name, d := range map[string]float64{"K1": l.K1 - 0.02, "K2": l.K2 + 0.008, "P1": l.P1 - 6e-4, "P2": l.P2 + 4e-4} {
			if math.Abs(d) > leftShare {
				t.Errorf("picture %d: %s off by %.2g", i, name, d)
			}
		}
		if d := math.Hypot(l.CentreX-11, l.CentreY+7); d > leftPx {
			t.Errorf("picture %d: optical centre off by %.2g px", i, d)
		}
	}
}

// pulls gathers errors over stated errors.
type pulls struct {
	sum float64
	n   int
}

func (p *pulls) add(error, sigma float64) { p.sum, p.n = p.sum+error*error/(sigma*sigma), p.n+1 }
func (p pulls) rms() float64              { return math.Sqrt(p.sum / float64(p.n)) }

// within asks that the rms be 1 to three standard errors of its own: an rms of n normal deviates scatters by 1/√(2n).
func (p pulls) within(t *testing.T, what string) {
	t.Helper()
	if most := 3 / math.Sqrt(2*float64(p.n)); math.Abs(p.rms()-1) > most {
		t.Errorf("%s: errors are %.3f of what is stated over %d, want 1 ± %.3f", what, p.rms(), p.n, most)
	}
}

// between is how far the turn from picture i to picture k is off, and how far it may be: what all pictures of a lens share, its
// optical centre most of all, is in neither.
func (g rig) between(j Joint, i, k int, wanderPx float64) (off, sigma [3]float64) {
	ai, ci := j.Attitudes[i].Given(wanderPx)
	ak, ck := j.Attitudes[k].Given(wanderPx)
	error := func(got turn.Turn, want turn.Turn) r3.Vec {
		return g.sky.Inverse().Then(want).Inverse().Then(got).Log()
	}
	e := r3.Sub(error(ai, g.attitudes[i]), error(ak, g.attitudes[k]))
	for n, v := range [3]float64{e.X, e.Y, e.Z} {
		off[n], sigma[n] = v, math.Sqrt(ci[n][n]+ck[n][n])
	}
	return off, sigma
}

// The stated covariance is that of many repetitions, with an optical centre that stands and with one that wanders; and
// whoever takes a wandering one to stand promises too much.
func TestJointCovarianceIsTrue(t *testing.T) {
	const nights = 60
	for _, c := range []struct {
		name     string
		lens     Lens
		wanderPx float64
	}{{"wide", phone(), 0}, {"wide, wandering", phone(), 0.4}, {"narrow", tele(), 0}, {"narrow, wandering", tele(), 0.4}} {
		r := rand.New(rand.NewPCG(52, 2))
		var told, blind pulls
		for range nights {
			g := rig{lens: c.lens, attitudes: around(2, 0.3, r), noisePx: 0.2, sky: randomTurn(r)}
			g.stars = skyOver(g.lens, 60, r)
			for range g.attitudes {
				g.shift = append(g.shift, [2]float64{c.wanderPx * r.NormFloat64(), c.wanderPx * r.NormFloat64()})
			}
			j := NewJoint(g.views(r))
			off, sigma := g.between(j, 0, 1, c.wanderPx)
			_, small := g.between(j, 0, 1, 0)
			for k := range off {
				told.add(off[k], sigma[k])
				if k < 2 {
					blind.add(off[k], small[k])
				}
			}
		}
		told.within(t, c.name)
		if c.wanderPx > 0 && blind.rms() < 2 {
			t.Errorf("%s: taken to stand, errors are only %.2f of what is stated: nothing was put to the test", c.name, blind.rms())
		}
	}
}

// The optical centre of a wide lens is known as well as is stated.
func TestJointCentreSigmaIsTrue(t *testing.T) {
	r := rand.New(rand.NewPCG(53, 3))
	var p pulls
	for range 60 {
		g := rig{lens: phone(), attitudes: around(3, 3, r), noisePx: 0.2, sky: turn.Identity()}
		g.stars = skyOver(g.lens, 80, r)
		j := NewJoint(g.views(r))
		l := j.Attitudes[0].Pose.Lens
		p.add(l.CentreX-g.lens.CentreX, j.CentreSigmaPx[0])
		p.add(l.CentreY-g.lens.CentreY, j.CentreSigmaPx[1])
	}
	p.within(t, "optical centre")
}

// Pictures of one field share the catalogue's errors. Fitted along, they are found to be as large as they are, the turns
// between pictures do not suffer from them, and how far they turn the whole field is stated apart.
func TestJointLearnsTheCataloguesErrors(t *testing.T) {
	const arcsec = math.Pi / 180 / 3600
	const trueSigma = 3 * arcsec // three times what is assumed beforehand
	const nights = 80
	r := rand.New(rand.NewPCG(54, 4))
	var turns, field pulls
	var sizes float64
	for range nights {
		g := rig{lens: tele(), attitudes: around(6, 0.1, r), noisePx: 0.15, sky: randomTurn(r)} // 0.15 px are 1.3″
		g.stars = skyOver(g.lens, 400, r)
		for range g.stars {
			g.off = append(g.off, vector(trueSigma, r))
		}
		j := NewJoint(g.views(r))
		sizes += j.CatalogueSigma / nights
		off, sigma := g.between(j, 0, 1, 0)
		for k := range off {
			turns.add(off[k], sigma[k])
		}
		var mean r3.Vec // of all the field's attitudes: what they share
		for i := range j.Attitudes {
			a, _ := j.Attitudes[i].Given(0)
			mean = r3.Add(mean, r3.Scale(1./6, g.sky.Inverse().Then(g.attitudes[i]).Inverse().Then(a).Log()))
		}
		field.add(mean.Z, math.Sqrt(j.FieldCovariance[0].At(2, 2))) // about the line of sight no optical centre takes part
	}
	turns.within(t, "turns between pictures")
	field.within(t, "roll of the field")
	// Each is the median of some 250 lengths, good to 5 %, three standard errors of eighty are 1.5 %. The lens follows its
	// stars with ten of 500 numbers, which takes 1 % off.
	const share = 0.03
	if math.Abs(sizes/trueSigma-1) > share {
		t.Errorf("catalogue errors of 3″ are found to be %.2f″", sizes/arcsec)
	}
}

// A field seen less than three times cannot tell the catalogue's errors from its own: its pictures carry them, and nothing is shared.
func TestJointOfTwoPicturesSharesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(55, 5))
	g := rig{lens: tele(), attitudes: around(2, 0.1, r), noisePx: 0.1, sky: turn.Identity()}
	g.stars = skyOver(g.lens, 40, r)
	j := NewJoint(g.views(r))
	if j.FieldCovariance[0] != nil || j.CatalogueSigma != catalogueSigma {
		t.Errorf("field covariance %v, catalogue errors %.2g", j.FieldCovariance[0], j.CatalogueSigma)
	}
}

// Pictures turned by more than a fifth of their diagonal look at another field.
func TestJointTellsFieldsApart(t *testing.T) {
	r := rand.New(rand.NewPCG(56, 6))
	g := rig{lens: tele(), noisePx: 0.1, sky: turn.Identity()}
	wide := tele()
	wide.FocalPx /= 2 // stars for all of them
	g.stars = skyOver(wide, 400, r)
	for _, degrees := range []float64{0, 1, 6, 6.5, 0.5} { // of 12°
		g.attitudes = append(g.attitudes, turn.Exp(r3.Vec{X: degrees * math.Pi / 180}))
	}
	j := NewJoint(g.views(r))
	for i, want := range []int{0, 0, 1, 1, 0} {
		if got := j.Attitudes[i].Field; got != want {
			t.Errorf("picture %d is of field %d, want %d", i, got, want)
		}
	}
	if j.FieldCovariance[0] == nil || j.FieldCovariance[1] != nil {
		t.Error("the field seen three times has no common error, or that seen twice has one")
	}
}

// One star in twelve taken for another, five to fifty pixels off: attitudes stay where the sound stars put them.
func TestJointHoldsWrongStarsAtArmsLength(t *testing.T) {
	r := rand.New(rand.NewPCG(57, 7))
	var clean, fouled pulls
	for range 30 {
		g := rig{lens: phone(), attitudes: around(3, 3, r), noisePx: 0.2, sky: turn.Identity()}
		g.stars = skyOver(g.lens, 80, r)
		views := g.views(r)
		before := NewJoint(views)
		off, sigma := g.between(before, 0, 1, 0)
		for i := range views {
			for k := 0; k < len(views[i].Solution.Sightings); k += 12 {
				s := &views[i].Solution.Sightings[k]
				far, way := 5+45*r.Float64(), 2*math.Pi*r.Float64()
				s.X, s.Y = s.X+far*math.Cos(way), s.Y+far*math.Sin(way)
			}
		}
		moved, _ := g.between(NewJoint(views), 0, 1, 0)
		for k := range off {
			clean.add(off[k], sigma[k])
			fouled.add(moved[k], sigma[k])
		}
	}
	clean.within(t, "without wrong stars")
	// Of Huber's estimate, bounded but not nought: each wrong star pulls as one two standard errors off.
	const most = 1.6
	if fouled.rms() > most {
		t.Errorf("with wrong stars errors are %.2f of those stated without, want at most %.1f", fouled.rms(), most)
	}
}

// The answer is one of the order in which the pictures stand, and of nothing else.
func TestJointOfPicturesInAnotherOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(58, 8))
	g := rig{lens: phone(), attitudes: around(4, 3, r), noisePx: 0.2, sky: turn.Identity()}
	g.stars = skyOver(g.lens, 80, r)
	views := g.views(r)
	a, b := NewJoint(views), NewJoint([]View{views[3], views[1], views[0], views[2]})
	const rounding = 1e-9
	for i, k := range []int{2, 1, 3, 0} {
		if off := a.Attitudes[i].Pose.Attitude.Inverse().Then(b.Attitudes[k].Pose.Attitude).Angle().Rad(); off > rounding {
			t.Errorf("picture %d is turned by %.2g rad when it stands elsewhere", i, off)
		}
	}
}

// Broken input gives no answer or a poor one, never a panic and never one that is not a number.
func TestJointOfBrokenPictures(t *testing.T) {
	r := rand.New(rand.NewPCG(59, 9))
	g := rig{lens: phone(), attitudes: around(3, 3, r), noisePx: 0.2, sky: turn.Identity()}
	g.stars = skyOver(g.lens, 60, r)
	sound := func(t *testing.T, j Joint) {
		t.Helper()
		for i, a := range j.Attitudes {
			got, cov := a.Given(0.1)
			if angle := got.Angle().Rad(); math.IsNaN(angle) || math.IsNaN(cov[0][0]) || cov[0][0] <= 0 {
				t.Errorf("picture %d: turn %v, variance %v", i, angle, cov[0][0])
			}
		}
	}
	for name, broken := range map[string]func(v []View) []View{
		"none":        func(v []View) []View { return nil },
		"one":         func(v []View) []View { return v[:1] },
		"three stars": func(v []View) []View { v[1].Solution.Sightings = v[1].Solution.Sightings[:3]; return v },
		"no error":    func(v []View) []View { v[1].Solution.Sightings[0].VarX = 1e-300; return v },
		"far errors":  func(v []View) []View { v[1].Solution.Sightings[0].VarX = 1e300; return v },
		"behind":      func(v []View) []View { v[1].Solution.Sightings[3].Direction = r3.Vec{Z: -1}; return v },
		"far outside": func(v []View) []View { v[1].Solution.Sightings[3].X = 1e6; return v },
		"one direction": func(v []View) []View {
			v[1].Solution.Sightings[3].Direction = v[1].Solution.Sightings[4].Direction
			return v
		},
	} {
		t.Run(name, func(t *testing.T) { sound(t, NewJoint(broken(g.views(r)))) })
	}
}
