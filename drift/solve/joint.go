package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/posdef"
	"trueturn/ephem/turn"
)

// View is one solved picture of a group taken with one lens, and the sky it was
// taken under.
type View struct {
	Solution Solution
	// Sky carries a catalogue direction to the frame the attitudes are wanted in,
	// at the picture's instant.
	Sky func(icrs r3.Vec) r3.Vec
}

// Attitude is a picture's attitude in the frame of its [View], with what its
// stars say about it.
//
// The optical centre may wander from picture to picture; how much is only known
// once many attitudes are compared. The stars' information is therefore kept for five
// numbers: the small turn about the camera's axes (radians) and the shift of the
// optical centre (pixels), and [Attitude.Given] draws the conclusion for a wander assumed.
type Attitude struct {
	Pose  Pose
	Field int // pictures of one Field look at the same stars
	Stars int // sightings used
	RMSPx float64
	// FocalSigma is the relative standard error of the focal length.
	FocalSigma float64
	info       [5][5]float64
	pull       [5]float64
}

// Given is the attitude and the covariance of a small turn about the camera's
// axes (radians²) when the optical centre wanders by wanderPx (one standard
// deviation per axis and picture).
func (a Attitude) Given(wanderPx float64) (turn.Turn, [3][3]float64) {
	s := system{n: 5}
	for i := range 5 {
		s.b[i] = a.pull[i]
		for j := range 5 {
			s.a[i][j] = a.info[i][j]
		}
	}
	w := 1 / math.Max(wanderPx*wanderPx, 1e-12)
	s.a[3][3] += w
	s.a[4][4] += w
	x, okX := s.solve()
	inv, okI := s.inverse()
	var cov [3][3]float64
	if !okX || !okI { // no stars at all: nothing is known
		return a.Pose.Attitude, [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	}
	for i := range 3 {
		copy(cov[i][:], inv[i][:3])
	}
	return a.Pose.Attitude.Then(turn.Exp(r3.Vec{X: x[0], Y: x[1], Z: x[2]})), cov
}

// Joint is what a group of pictures taken with one lens says together.
type Joint struct {
	Attitudes []Attitude // one per view, in order
	// CatalogueSigma is the scatter of the catalogue's places as the pictures show it,
	// radians, where at least three pictures share a field; else what is assumed.
	CatalogueSigma float64
	// CentreSigmaPx is the standard error of the optical centre's place.
	CentreSigmaPx [2]float64
	// FieldCovariance is, per field, the covariance of a small turn (camera axes,
	// radians²) that all attitudes of the field share because the catalogue's
	// places are imperfect; nil where each picture carries it in its own errors.
	FieldCovariance []*mat.SymDense
}

// sharedField is how many pictures of one field tell the catalogue's errors from
// the measurements'.
const sharedField = 3

// joiner is the state of the joint fit.
type joiner struct {
	views  []View
	poses  []Pose
	ss     [][]Sighting // with directions in the wanted frame
	star   [][]int32    // of each sighting: which of its field's stars it is
	field  []int
	fields []*fieldStars
	sigma  float64    // of the catalogue, radians
	focal  float64    // the group's mean focal length, px
	scale  float64    // robust scale of whitened residuals
	centre [2]float64 // standard error of the optical centre, px
	astray bool       // the sightings' directions are not those of the corrections now
}

// fieldStars holds the catalogue corrections of one field.
type fieldStars struct {
	views int
	stars []correction
	index map[int32]int32 // from the catalogue's number to that in stars
	// spent is how many equations the corrections used up: two for every star, each less the
	// share its prior holds (the trace of the estimate's hat matrix).
	spent float64
}

// correction is what the pictures say a catalogue place is off by: a small
// vector in the ICRS, and the weight (one over radians²) behind it.
type correction struct {
	sum    r3.Vec
	weight float64
	offset r3.Vec
	seen   bool
}

// NewJoint fits a group of pictures together: distortion shared, scale free in every
// picture within a part in a thousand, attitude free in every picture, and in fields
// seen at least three times the catalogue's own errors, which all pictures share
// and which would otherwise pass for errors of measurement.
//
// The sum made least is over pictures i and stars k
//
//	Σ |e_ik|²_W + Σ (ln f_i − mean)²/10⁻⁶ + Σ |o_k|²/σ² + the lens's priors
//
// with e the residual of the package comment for the direction s_k + o_k.
//
// Every view has sightings; of no view nothing is said.
func NewJoint(views []View) Joint {
	if len(views) == 0 {
		return Joint{}
	}
	j := &joiner{views: views, sigma: catalogueSigma, scale: 1, astray: true}
	j.assignFields()
	j.start()
	for i := range 8 {
		j.aim()
		j.step()
		if i >= 1 && i < 6 {
			j.correct()
		}
	}
	j.aim()
	j.step()
	return j.conclude()
}

// sameField is how far two pictures may be turned from each other and still look at the same stars, as a share of
// the diagonal.
const sameField = 0.2

func (j *joiner) assignFields() {
	var first []int
	j.field = make([]int, len(j.views))
	for i, v := range j.views {
		at := -1
		for f, o := range first {
			other := j.views[o].Solution
			if r3.Norm(turnBy(other.Attitude, v.Solution.Attitude)) < sameField*v.Solution.Lens.Diagonal().Rad() {
				at = f
				break
			}
		}
		if at < 0 {
			at = len(first)
			first = append(first, i)
			j.fields = append(j.fields, &fieldStars{index: map[int32]int32{}})
		}
		j.field[i] = at
		j.fields[at].views++
	}
}

// start carries the solved attitudes over to the wanted frame and gives all
// views the lens of the one with most stars.
func (j *joiner) start() {
	best := 0
	for i, v := range j.views {
		if len(v.Solution.Sightings) > len(j.views[best].Solution.Sightings) {
			best = i
		}
	}
	for i, v := range j.views {
		p := v.Solution.Pose
		lens := j.views[best].Solution.Lens
		lens.FocalPx = p.Lens.FocalPx
		p = p.through(lens)
		a, b := spread(v.Solution.Sightings)
		p.Attitude = attitudeFrom(v.Sky(a), v.Sky(b), p.Attitude.Apply(a), p.Attitude.Apply(b))
		j.poses = append(j.poses, p)
		j.ss = append(j.ss, slices.Clone(v.Solution.Sightings))
		j.star = append(j.star, j.fields[j.field[i]].number(v.Solution.Sightings))
	}
}

// number gives the sightings' stars their numbers in the field, new ones where they are first seen.
func (f *fieldStars) number(ss []Sighting) []int32 {
	list := make([]int32, len(ss))
	for k, s := range ss {
		n, known := f.index[s.Catalog]
		if !known {
			n = int32(len(f.stars))
			f.index[s.Catalog] = n
			f.stars = append(f.stars, correction{})
		}
		list[k] = n
	}
	return list
}

// spread picks two sightings' directions well apart.
func spread(ss []Sighting) (a, b r3.Vec) {
	a = ss[0].Direction
	far := -1.0
	for _, s := range ss {
		if d := r3.Norm(r3.Sub(s.Direction, a)); d > far {
			far, b = d, s.Direction
		}
	}
	return a, b
}

// aim gives every sighting its direction in the wanted frame, corrected.
func (j *joiner) aim() {
	if !j.astray {
		return
	}
	j.astray = false
	inParallel(len(j.views), func(i int) {
		f, sky := j.fields[j.field[i]], j.views[i].Sky
		for k := range j.ss[i] {
			s := &j.ss[i][k]
			d := j.views[i].Solution.Sightings[k].Direction
			if c := &f.stars[j.star[i][k]]; c.seen {
				d = r3.Unit(r3.Add(d, c.offset))
			}
			s.Direction = sky(d)
		}
	})
}

// fitter is the per-picture part of the fit: the catalogue's error counts as the
// picture's own only where it is not corrected.
func (j *joiner) fitter(i int) fitter {
	f := fitter{unknowns: maxUnknowns, robust: true}
	if j.fields[j.field[i]].views < sharedField {
		e := j.sigma * j.poses[i].Lens.FocalPx
		f.extraVar = e * e
	}
	return f
}

// step is one Gauss–Newton step of the whole group: the pictures' own four
// unknowns are eliminated from the four shared ones (Schur complement).
func (j *joiner) step() {
	j.meanFocal()
	var shared system
	shared.n = maxUnknowns - frameUnknowns
	own := make([]system, len(j.views))
	inParallel(len(j.views), func(i int) {
		f := j.fitter(i)
		own[i].n = maxUnknowns
		f.addSightings(&own[i], j.poses[i], j.ss[i], j.scale)
		own[i].prior(lnFocal, math.Log(j.focal/j.poses[i].Lens.FocalPx), breathing)
	})
	for i := range own { // in order: sums of floating numbers depend on it
		own[i].reduceInto(&shared)
	}
	j.poses[0].Lens.priors(&shared, 0)
	x, ok := shared.solve()
	inv, okInv := shared.inverse()
	if !ok || !okInv {
		return
	}
	for k := range 2 {
		at := centreX - frameUnknowns + k
		j.centre[k] = math.Sqrt(inv[at][at])
	}
	for i := range own {
		if full, ok := own[i].given(x); ok {
			j.poses[i] = j.poses[i].step(full)
		}
	}
	j.rescale()
}

// meanFocal is the geometric mean of the focal lengths.
func (j *joiner) meanFocal() {
	var sum float64
	for _, p := range j.poses {
		sum += math.Log(p.Lens.FocalPx)
	}
	j.focal = math.Exp(sum / float64(len(j.poses)))
}

// ownPart is the picture's own block of the equations.
func (s *system) ownPart() (own system) {
	own.n = frameUnknowns
	for i := range frameUnknowns {
		own.b[i] = s.b[i]
		copy(own.a[i][:frameUnknowns], s.a[i][:frameUnknowns])
	}
	return own
}

// reduceInto eliminates the picture's own unknowns and adds what is left to the
// shared ones.
func (s *system) reduceInto(shared *system) {
	own := s.ownPart()
	l, ok := own.cholesky()
	if !ok {
		return
	}
	y := posdef.Solve(l[:own.n], own.b)
	for c := range shared.n {
		var col [maxUnknowns]float64
		for i := range frameUnknowns {
			col[i] = s.a[frameUnknowns+c][i]
		}
		z := posdef.Solve(l[:own.n], col)
		for r := c; r < shared.n; r++ {
			v := s.a[frameUnknowns+r][frameUnknowns+c]
			for i := range frameUnknowns {
				v -= s.a[frameUnknowns+r][i] * z[i]
			}
			shared.a[r][c] += v
		}
		v := s.b[frameUnknowns+c]
		for i := range frameUnknowns {
			v -= col[i] * y[i]
		}
		shared.b[c] += v
	}
}

// given solves the picture's own unknowns when the shared ones are x.
func (s *system) given(x [maxUnknowns]float64) (full [maxUnknowns]float64, ok bool) {
	own := s.ownPart()
	for i := range frameUnknowns {
		for c := range maxUnknowns - frameUnknowns {
			own.b[i] -= s.a[frameUnknowns+c][i] * x[c]
		}
	}
	full, ok = own.solve()
	copy(full[frameUnknowns:], x[:maxUnknowns-frameUnknowns])
	return full, ok
}

// rescale takes the robust scale of all residuals for the weights of the next step.
func (j *joiner) rescale() {
	all := make([]float64, len(j.views))
	inParallel(len(j.views), func(i int) { all[i] = j.fitter(i).whitenedScale(j.poses[i], j.ss[i]) })
	slices.Sort(all)
	j.scale = all[len(all)/2]
}

// correct estimates what the catalogue's places are off by in each field seen often enough,
// and their scatter from it.
func (j *joiner) correct() {
	for i := range j.views {
		if f := j.fields[j.field[i]]; f.views >= sharedField {
			j.gather(i, f)
		}
	}
	prior := 1 / (j.sigma * j.sigma)
	var sizes, left []float64
	for _, f := range j.fields {
		f.spent = 0
		for k := range f.stars {
			c := &f.stars[k]
			if c.weight == 0 {
				continue
			}
			f.spent += 2 * c.weight / (c.weight + prior)
			c.offset = r3.Scale(1/(c.weight+prior), c.sum)
			j.astray = true
			sizes = append(sizes, r3.Norm2(c.offset)/(2*math.Ln2))
			left = append(left, 1/(c.weight+prior))
			c.sum, c.weight = r3.Vec{}, 0
		}
	}
	if len(sizes) < 8 {
		return
	}
	slices.Sort(sizes)
	slices.Sort(left)
	j.sigma = math.Sqrt(sizes[len(sizes)/2] + left[len(left)/2])
	j.sigma = min(max(j.sigma, catalogueSigma/20), catalogueSigma*10)
}

// gather adds picture i's residuals, plus the corrections already made, to the
// corrections of its field.
func (j *joiner) gather(i int, f *fieldStars) {
	p := j.poses[i].aimed()
	toICRS := j.views[i].Solution.Attitude.Inverse()
	noise := max(j.scale*j.scale, 0.01)
	for k := range j.ss[i] {
		s := &j.ss[i][k]
		ex, ey, ok := p.error(s)
		if !ok {
			continue
		}
		c := &f.stars[j.star[i][k]]
		c.seen = true
		// A pinhole offset stretches angles by 1/cos²; the part across the line of
		// sight is what a place on the sky can be off by.
		fl := p.Lens.FocalPx
		d := p.Attitude.Apply(s.Direction)
		e := r3.Scale(d.Z/fl, r3.Vec{X: ex, Y: ey})
		e = r3.Sub(e, r3.Scale(r3.Dot(e, d), d))
		w := fl * fl / ((s.VarX + s.VarY) / 2 * noise)
		c.sum = r3.Add(c.sum, r3.Scale(w, r3.Add(toICRS.Apply(e), c.offset)))
		c.weight += w
	}
}

// conclude states each picture's information and each field's common error.
func (j *joiner) conclude() Joint {
	out := Joint{CatalogueSigma: j.sigma, CentreSigmaPx: j.centre, FieldCovariance: make([]*mat.SymDense, len(j.fields))}
	pooled, dof := 0.0, 0.0
	parts := make([]Attitude, len(j.views))
	chi := make([]float64, len(j.views))
	inParallel(len(j.views), func(i int) { parts[i], chi[i] = j.inform(i) })
	for i := range j.views {
		pooled += chi[i]
		dof += j.free(i)
	}
	factor := (pooled + 6) / (max(dof, 0) + 6)
	for i := range parts {
		const ballast = 20 // degrees of freedom the group lends to each picture
		n := max(j.free(i), 0)
		parts[i].scaleInfo((n + ballast) / (chi[i] + ballast*factor))
	}
	out.Attitudes = parts
	for f, fs := range j.fields {
		if fs.views >= sharedField {
			out.FieldCovariance[f] = j.fieldCovariance(f)
		}
	}
	return out
}

// free is picture i's equations less its unknowns, its part of the shared ones included.
func (j *joiner) free(i int) float64 {
	f := j.fields[j.field[i]]
	shared := float64(maxUnknowns-frameUnknowns) / float64(len(j.views))
	return float64(2*len(j.ss[i])-frameUnknowns) - shared - f.spent/float64(f.views)
}

// huberLoss is what Huber's weights leave of the χ² of sound stars when that χ² is to state the
// estimate's true variance. With weights w = min(1, 2/r), ψ = w·r, and means E over lengths r of
// two-dimensional normal residuals, the weighted χ² keeps E[rψ]/2 = 0.9217 of its size, the sum of weights
// E[w] = 0.9787, and the variance is E[ψ²]/2 ÷ (E[ψ′ + w]/2)² = 1.0178 of the unweighted one (the
// sandwich of M-estimates, P. J. Huber, Robust Statistics, 1981, chapter 7): together their product.
const huberLoss = 0.918

// inform builds the information of picture i on turn and shift, scale eliminated.
func (j *joiner) inform(i int) (Attitude, float64) {
	p, f := j.poses[i], j.fitter(i)
	s := system{n: 6} // turn, scale, shift of the optical centre
	chi2 := 0.0
	pose := p.aimed()
	var q linearised
	for k := range j.ss[i] {
		sg := &j.ss[i][k]
		if !pose.linearise(sg, &q) {
			continue
		}
		q.jx[distK1], q.jy[distK1] = 1, 0
		q.jx[distK2], q.jy[distK2] = 0, 1
		q.whiten(sg, f.extraVar)
		r := math.Hypot(q.ex, q.ey)
		w := min(1, 2*j.scale/max(r, 1e-9))
		s.addPair(&q, w)
		chi2 += w * r * r
	}
	s.prior(lnFocal, math.Log(j.focal/p.Lens.FocalPx), breathing)
	chi2 /= huberLoss
	a := Attitude{Pose: p, Field: j.field[i], Stars: len(j.ss[i]), RMSPx: rms(p, j.ss[i]),
		FocalSigma: 1 / math.Sqrt(s.a[lnFocal][lnFocal])}
	order := [5]int{turnX, turnY, turnZ, distK1, distK2}
	at := func(i, k int) float64 { return s.a[max(i, k)][min(i, k)] }
	for r, ri := range order {
		g := at(ri, lnFocal) / s.a[lnFocal][lnFocal]
		a.pull[r] = s.b[ri] - g*s.b[lnFocal]
		for c, ci := range order {
			a.info[r][c] = at(ri, ci) - g*at(lnFocal, ci)
		}
	}
	return a, chi2
}

func (a *Attitude) scaleInfo(by float64) {
	for r := range a.info {
		a.pull[r] *= by
		for c := range a.info[r] {
			a.info[r][c] *= by
		}
	}
}

// fieldCovariance is how well the catalogue's places, each off by sigma, fix the
// orientation of a field: Σ(1 − d dᵀ)/σ² inverted.
func (j *joiner) fieldCovariance(field int) *mat.SymDense {
	seen := map[int32]bool{}
	n := mat.NewSymDense(3, nil)
	for i := range j.views {
		if j.field[i] != field {
			continue
		}
		for _, s := range j.ss[i] {
			if seen[s.Catalog] {
				continue
			}
			seen[s.Catalog] = true
			d := j.poses[i].Attitude.Apply(s.Direction)
			v := mat.NewVecDense(3, []float64{d.X, d.Y, d.Z})
			n.SymRankOne(n, -1, v)
			for k := range 3 {
				n.SetSym(k, k, n.At(k, k)+1)
			}
		}
	}
	var chol mat.Cholesky
	cov := mat.NewSymDense(3, nil)
	if !chol.Factorize(n) || chol.InverseTo(cov) != nil {
		return nil
	}
	cov.ScaleSym(j.sigma*j.sigma, cov)
	return cov
}
