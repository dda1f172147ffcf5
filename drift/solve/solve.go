// Package solve turns the stars of a picture into the picture's attitude.
//
// Start with [Solve]; [Solution.Sightings] and [Refit] serve layers that know the
// site and clock and want the attitude in another frame than the catalogue's.
//
// # The model
//
// A catalogue star in direction s (unit vector, ICRS or any other right-handed
// frame) stands in the camera frame at C·s = (X, Y, Z), x right, y down, z
// forward, and is seen at the ideal offset f·(X/Z, Y/Z) from the picture's middle.
// The lens moves it to the measured place by [Lens]. For each star the residual
//
//	e = ideal(measured) − f·(X/Z, Y/Z)
//
// in pixels is weighted by its covariance, and attitude (three small turns about
// the camera's axes), ln f, the distortion and the optical centre are adjusted by least squares with
// weights of Huber's kind, the lens with its priors. What is stated is of the picture (facing.go).
//
// # How a field is recognised
//
// Figures of four bright neighbours are compared by the ratios of their six sides
// with those of the embedded catalogue (index.go), at several focal lengths
// where perspective matters (search.go). A mirror leaves the sides alone and turns the
// hand, so mirrored pictures cost nothing extra. Every agreement is refined over the
// whole picture and judged by a likelihood test (likelihood.go); nothing but that
// test lets a solution pass.
//
// # Where it fails
//
// With everything at its worst at once (half the view behind a roof, 40 % lost to cloud, a lens bent by 10 %, half of the
// spots false) one field in five is not recognised: the late passes try no bent lenses. A picture of 5 to 19 stars that
// its neighbour helped takes the neighbour's lens for true: its middle is off by up to 1.9 times what is stated. A lens
// whose way back, not its way, is the polynomial (5 % of distortion) differs by tenths of a pixel of the fifth order,
// which single pictures state (Lens.mixed) and the joint fit does not. Figures: go run ./cmd/study --part solve,attitude.
package solve

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog"
	"trueturn/ephem/turn"
)

// Causes of failure, for errors.Is.
var (
	// ErrFewStars: not enough stars to try.
	ErrFewStars = errors.New("too few stars")
	// ErrNoMatch: the stars agree with no part of the sky well enough.
	ErrNoMatch = errors.New("the stars match no part of the sky")
)

// Hint is what is known before solving.
type Hint struct {
	FocalPx       float64 // focal length in pixels; 0 if unknown
	FocalShare    float64 // how far it may be off, as a share; 0 means 0.2
	RowOrderFree  bool    // the file does not say whether rows run down or up
	Near          []Pose  // where the picture may look, by its neighbours
	NearWithin    unit.Angle
	NeighbourOnly bool // do not search the whole sky
}

// minStars is how many stars the search of the whole sky needs; fewer leave the
// likelihood test below its mark even when all are right.
const minStars = 7

// Solution is a solved picture.
type Solution struct {
	Pose
	// Covariance of a small turn of the picture ([Pose.Facing]) about the camera's x, y and z axes, radians²: of where its
	// middle looks and how it is turned about it, the lens and its optical centre fitted along. Where a neighbour's lens is
	// kept for want of stars, that lens is taken for true.
	Covariance  *mat.SymDense
	FocalSigma  float64 // relative
	Sightings   []Sighting
	RMSPx       float64 // root mean square residual per axis of the sightings used
	LogOdds     float64 // nats, over chance
	Mirrored    bool    // columns are reversed: x counts from the right edge
	RowsFlipped bool    // rows were stored in the other order: y counts from the bottom
	Blind       bool    // found without a neighbour's help
}

// Centre is the direction of the picture's middle in the attitude's frame.
func (p Pose) Centre() r3.Vec { return p.Attitude.Inverse().Apply(p.Lens.Middle()) }

// RADec is the ICRS place of the picture's middle.
func (s Solution) RADec() (unit.RA, unit.Angle) { return ephem.RADec(s.Centre()) }

// Roll is the position angle of the picture's "up" (the direction of falling y), from
// north through east, 0 to 2π.
func (s Solution) Roll() unit.Angle {
	z, up := s.Centre(), s.Facing().Inverse().Apply(r3.Vec{Y: -1})
	east := r3.Vec{X: -z.Y, Y: z.X}
	if r3.Norm(east) == 0 {
		east = r3.Vec{Y: 1}
	}
	east = r3.Unit(east)
	north := r3.Cross(z, east)
	return unit.Angle(math.Atan2(r3.Dot(up, east), r3.Dot(up, north))).Mod1()
}

// Solve finds the attitude of a picture in the ICRS from its stars alone, for
// fields of 5° to 90° across the diagonal. The focal length may be hinted; a hint
// that proves wrong costs time, not the solution.
//
// Errors: [ErrFewStars], [ErrNoMatch], or the context's.
//
// The chance of a false solution is below 1e-9 a picture by the likelihood
// test's own model (independent spots, uniformly spread).
func Solve(ctx context.Context, f star.Field, h Hint) (Solution, error) {
	sc := newScene(f)
	if sol, ok := sc.solveNear(h); ok {
		return sol, nil
	}
	if h.NeighbourOnly || sc.bright < minStars {
		return Solution{}, tooFew(sc.bright)
	}
	var sol Solution
	k := &seeker{ctx: ctx, sc: &sc, flipBy: h.RowOrderFree, found: func(s *scene, p Pose) bool {
		var ok bool
		sol, ok = s.accept(p, falseMatch, s.freedom)
		sol.Blind = true
		return ok
	}}
	if k.search(h) {
		return sol, nil
	}
	if err := ctx.Err(); err != nil {
		return Solution{}, err
	}
	return Solution{}, sc.noMatch(h)
}

// noMatch says why nothing may have been recognised.
func (sc *scene) noMatch(h Hint) error {
	ways := []amiss.Way{{Act: "check focus and sky; expose longer, open the view past roofs and trees"}, {Thing: amiss.Lens}}
	if h.FocalPx > 0 && 2*math.Atan(sc.half/h.FocalPx) < narrowest.Rad() {
		ways = []amiss.Way{{Thing: amiss.Pointing}}
	}
	return &amiss.Error{Kind: ErrNoMatch, Text: fmt.Sprintf("the %d brightest spots match no part of the sky", sc.bright), Ways: ways}
}

// narrowest is the least diagonal that is recognised as a rule.
const narrowest = 5 * ephem.Degree

func tooFew(n int) error {
	return amiss.New(ErrFewStars, fmt.Sprintf("only %d stars were found, too few to recognise the field", n),
		"expose longer, focus on a star, or aim at a clear and richer part of the sky")
}

// search tries the hinted focal lengths first, then all.
func (k *seeker) search(h Hint) bool {
	all := k.sc.wholeRange()
	if h.FocalPx > 0 {
		share := h.FocalShare
		if share <= 0 {
			share = 0.2
		}
		hinted := focalRange{h.FocalPx / (1 + share), h.FocalPx * (1 + share)}
		if k.run(hinted, passes[:4]) {
			return true
		}
	}
	return k.run(all, passes[:])
}

// accept polishes a refined pose and lets it pass if the likelihood test does.
func (sc *scene) accept(p Pose, chance float64, trials func(p Pose, stars int, sigma float64) float64) (Solution, bool) {
	exp := p.expectedStars(nil, 2*sc.bright)
	ss := sc.grid.match(sc, exp, max(2.5, 0.0008*sc.half))
	sigma := max(0.7, rms(p, ss))
	odds := sc.likelihood(p, sigma)
	if odds < -math.Log(chance)+trials(p, len(ss), sigma) {
		return Solution{}, false
	}
	sol, ok := sc.polish(p, sigma)
	if !ok {
		return sol, false
	}
	// Polishing must not spoil what let the pose pass: where a few wrong stars drag it off, the others no longer fit.
	sigma = max(0.7, sol.RMSPx)
	sol.LogOdds = sc.likelihood(sol.Pose, sigma)
	return sol, sol.LogOdds >= -math.Log(chance)+trials(sol.Pose, len(sol.Sightings), sigma)
}

// rms is the root mean square residual per axis.
func rms(p Pose, ss []Sighting) float64 {
	var sum float64
	at := p.aimed()
	for i := range ss {
		r := at.residual(&ss[i])
		sum += r * r
	}
	return math.Sqrt(sum / float64(2*max(1, len(ss))))
}

// polish matches every spot against the catalogue as deep as the picture goes and
// fits with the stars' own errors.
func (sc *scene) polish(p Pose, sigma float64) (Solution, bool) {
	deep := newGrid(sc.spots, max(8, sc.half/100))
	fit := fitter{unknowns: frameUnknowns, extraVar: p.catalogueVar(), robust: true, iterations: 8,
		focalPx: sc.focalPx, focalSigma: sc.focalSigma}
	var ss []Sighting
	// A pose that holds on one part of the picture, its lens bent to suit, misses the stars elsewhere; each fit reaches
	// farther, so matching goes on while it gains stars.
	const mostGrowth = 6
	grown := 0
	for pass := 0; pass <= mostGrowth; pass++ {
		tol := max(2.5, 4*sigma)
		if pass == mostGrowth || grown > 0 && len(ss) <= grown {
			tol, pass = max(1.5, 3*sigma), mostGrowth
		}
		grown = len(ss)
		exp := p.expectedStars(nil, min(3*len(sc.spots)+20, 2500))
		if ss = sc.trusted(deep.match(sc, loners(exp, crowdedPx), tol)); len(ss) < 6 { // better a leaning star than none
			ss = sc.trusted(deep.match(sc, exp, tol))
		}
		if fit.unknowns = fit.unknownsFor(len(ss)); len(ss) < 3 {
			return Solution{}, false
		}
		var ok bool
		if p, ok = fit.fit(p, ss); !ok {
			return Solution{}, false
		}
	}
	sol := Solution{Mirrored: sc.mirrored, RowsFlipped: sc.rowsFlipped}
	return sol.refitted(p, ss, fit)
}

// crowdedPx is how near two expected stars may stand before their images lean on
// each other: two to three times the width of a usual star image.
const crowdedPx = 7

// catalogueSigma is the error of a catalogue place: 0.18″ of rounding and a
// quarter to a third of a century of proper motion, of which half of the stars
// brighter than magnitude 8 have less than 0.04″ a year (common practice, no source).
const catalogueSigma = 1.0 / 206265

// catalogueVar is that error in pixels, squared.
func (p Pose) catalogueVar() float64 {
	s := p.Lens.FocalPx * catalogueSigma
	return s * s
}

// unknownsFor is how many unknowns are adjusted to n stars. Where nothing is known of the lens all of them are, their
// priors keeping few stars from bending it: a lens taken for straight would state errors several times too small, most of
// all in wide fields. A neighbour's lens is known better than those priors say, and few stars leave it as it is.
func (f fitter) unknownsFor(n int) int {
	switch {
	case f.focalSigma == 0:
		return maxUnknowns
	case n < 8:
		return frameUnknowns
	case n < 20:
		return distK1 + 1
	}
	return maxUnknowns
}

// loners drops expected stars with another, not much fainter, close by.
func loners(exp []expected, px float64) []expected {
	spots := make([]spot, len(exp))
	for i, e := range exp {
		spots[i] = spot{x: e.x, y: e.y}
	}
	g := newGrid(spots, max(px, 20))
	stars := catalog.Stars()
	keep := make([]expected, 0, len(exp))
	for i, e := range exp {
		if !g.crowded(i, px, func(j int) bool { return stars[exp[j].cat].Magnitude-stars[e.cat].Magnitude < 4 }) {
			keep = append(keep, e)
		}
	}
	return keep
}

// crowded is whether spot i has a neighbour within px that counts.
func (g *grid) crowded(i int, px float64, counts func(int) bool) bool {
	s := g.spots[i]
	for r := g.clampRow(s.y - px); r <= g.clampRow(s.y+px); r++ {
		for c := g.clampCol(s.x - px); c <= g.clampCol(s.x+px); c++ {
			for j := g.head[r*g.cols+c]; j >= 0; j = g.next[j] {
				if int(j) != i && math.Hypot(g.spots[j].x-s.x, g.spots[j].y-s.y) < px && counts(int(j)) {
					return true
				}
			}
		}
	}
	return false
}

// trusted drops sightings of stars flagged as blended or at the edge, unless that
// leaves too few.
func (sc *scene) trusted(ss []Sighting) []Sighting {
	ok := make(map[int]bool, len(sc.spots))
	for _, s := range sc.spots {
		ok[s.index] = s.fit
	}
	kept := make([]Sighting, 0, len(ss))
	for _, s := range ss {
		if ok[s.Star] {
			kept = append(kept, s)
		}
	}
	if len(kept) < 6 {
		return ss
	}
	return kept
}

// outlier is how many standard deviations off a sighting may be: beyond 4.5 one
// in 25 000 of a two-dimensional normal deviate lies.
const outlier = 4.5

// refitted drops outliers, fits the rest and states the errors.
func (sol Solution) refitted(p Pose, ss []Sighting, fit fitter) (Solution, bool) {
	for range 2 {
		scale := max(fit.whitenedScale(p, ss), 0.5)
		if len(ss) < 12 { // the fit follows so few stars; their residuals say little of their errors
			scale = max(scale, 1)
		}
		kept := ss[:0:0]
		at := p.aimed()
		for i := range ss {
			ex, ey, ok := at.error(&ss[i])
			if ok && math.Hypot(ss[i].whitening(fit.extraVar).of(ex, ey)) < outlier*scale {
				kept = append(kept, ss[i])
			}
		}
		if ss = kept; len(ss) < 3 {
			return sol, false
		}
		fit.unknowns = min(fit.unknowns, fit.unknownsFor(len(ss)))
		var ok bool
		if p, ok = fit.fit(p, ss); !ok {
			return sol, false
		}
	}
	sol.Pose, sol.Sightings, sol.RMSPx = p, ss, rms(p, ss)
	return sol.withErrors(fit)
}

// withErrors states the covariance, widened (or narrowed) by what the residuals
// say of the stars' stated errors; six fictitious degrees of freedom keep a few lucky
// stars from promising too much.
func (sol Solution) withErrors(fit fitter) (Solution, bool) {
	const ballast = 6
	s, chi2 := fit.normal(sol.Pose, sol.Sightings, fit.whitenedScale(sol.Pose, sol.Sightings))
	inv, ok := s.inverse()
	if !ok {
		return sol, false
	}
	dof := float64(2*len(sol.Sightings) - s.n)
	factor := (chi2 + ballast) / (max(dof, 0) + ballast)
	sol.Covariance = mat.NewSymDense(3, nil)
	look := sol.Lens.facing()
	for i := range 3 {
		for j := range i + 1 {
			sol.Covariance.SetSym(i, j, look.covariance(&inv, i, j)*factor)
		}
	}
	sol.FocalSigma = math.Sqrt(inv[lnFocal][lnFocal] * factor)
	if x, ok := fit.mixed(sol.Pose, sol.Sightings, &s); ok {
		sol.Covariance.SymRankOne(sol.Covariance, 1, mat.NewVecDense(3, look.turn(&x)))
	}
	if fit.focalSigma == 0 && len(sol.Sightings) < fewSightings {
		sol.ownToOneStar(fit)
	}
	return sol, true
}

// fewSightings is up to how many one of them alone may decide where the middle of a bent picture looks.
const fewSightings = 20

// ownToOneStar widens the covariance where the attitude hangs on one star: where all others stand together and it far from
// them, a lens that bends a little takes any spot there for a star. Should it be a false one, the attitude is off by what
// leaving it out changes. Changes within three standard errors are counted there already.
func (sol *Solution) ownToOneStar(fit fitter) {
	var chol mat.Cholesky
	if !chol.Factorize(sol.Covariance) {
		return
	}
	look := sol.Lens.facing()
	most, worst := 3.0, mat.NewVecDense(3, nil)
	rest := make([]Sighting, 0, len(sol.Sightings))
	for i := range sol.Sightings {
		rest = append(append(rest[:0], sol.Sightings[:i]...), sol.Sightings[i+1:]...)
		s, _ := fit.normal(sol.Pose, rest, fit.whitenedScale(sol.Pose, rest))
		x, ok := s.solve()
		if !ok {
			continue
		}
		shift := mat.NewVecDense(3, look.turn(&x))
		var weighed mat.VecDense
		if chol.SolveVecTo(&weighed, shift) != nil {
			continue
		}
		if d := math.Sqrt(mat.Dot(shift, &weighed)); d > most {
			most, worst = d, shift
		}
	}
	sol.Covariance.SymRankOne(sol.Covariance, 1, worst)
}

// turnBy is the small turn between two attitudes, in the camera frame.
func turnBy(from, to turn.Turn) r3.Vec { return from.Inverse().Then(to).Log() }
