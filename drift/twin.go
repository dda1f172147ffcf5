package drift

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"

	"trueturn/drift/star"
)

// # One exposure, stored twice
//
// A camera that keeps a raw file beside its JPEG, or a picture saved once more, gives two files of one exposure. They
// share its photons, the wander of its lens and its wobble: as two measurements they would make the stated error
// too small. But a quick series whose stamps are whole seconds is no single exposure, nor are two cameras that work side by side.
// Clocks tell most apart (one second, one exposure time), and the places of the stars that both show the rest: let d be the
// difference of one star's places along an axis, v the sum of both stated variances, and S the mean of d²/v. Independent exposures
// have S ≈ 1 and more where anything moved; developments of one share photons, and S is what writing the files added. Where
// stars are narrow, stated errors are too large by up to two: a variance counts as no more than what the picture's own stars show
// against the sky ([Shot.calm]). Rendered on four cameras, 45 to 500 common stars, nothing moving (the worst case; TestCopiesStudy of align/answer):
//
//	                                              one exposure    two
//	grey as TIFF, FITS, PNG of 8 bits, JPEG 95    0.00–0.42       0.86–1.34
//	colour as PNG, JPEG 95, sharpened             0.07–0.26       0.46–1.67
//	JPEG 95 and 75; 95 and 50                     0.14–0.6; 0.35–1.6    0.85–1.6; 0.87–2.2
//	raw mosaic and PNG, JPEG 95, sharpened; JPEG 75    0.37–0.51; 0.40–0.72    0.63–1.04; 0.96–1.03
//	full and half size; both half                 0.36–0.64; 0    0.62–0.83; 0.46–1.0
//
// The ranges touch, so S does not decide alone:
//
//   - Pictures of one form (size, colour measured) come out of a camera one by one, and copies have every star in the same
//     pixel. They are one exposure if S, no shift taken off, is under copySpread and the likelihood ratio of normal errors of
//     variance S against 1, S − 1 − ln S for each star, exceeds a thousand to one.
//   - Pictures of two forms are two developments, or two cameras. Cameras look elsewhere or are rolled; developments differ by
//     quarter turns, a scale and a lens's distortion. S, those taken off, need only be under developedSpread: raw and JPEG of one
//     exposure are far more common than of two within a second (our judgement). Should a quick series be paired wrongly,
//     as many pictures are left.
//   - No camera begins two exposures in less time than one takes. Where that is longer than the stamps are coarse, S < 1 does for
//     one form (nothing moved by a star's error), and the geometry for two.
//
// A JPEG compressed beyond that counts as a picture of its own: most of the errors of its places are.
const (
	copySpread      = 0.35 // two exposures had 0.46 at least
	copyOdds        = 7    // ln 1000
	developedSpread = 0.6  // two exposures had 0.62 at least, all but a few copies less
	copyStarsLeast  = 3    // that both must show
	copyShare       = 0.5  // of the stars recognised in the picture that has fewer, both must show
	copyTurn        = 2e-3 // rad, 0.1°: beyond quarter turns; cameras beside each other are rolled by ten times that
	copyShift       = 0.02 // of half the diagonal: margins of sensors that a raw file keeps are a tenth of it to a half
	copyScale       = 0.15 // what correcting a lens cuts off, at most (common practice, no source, as the two before)
	copyExposure    = 0.05 // relative: cameras round 1/3 s
)

// SameExposure is whether two files hold one exposure, so that only one of them is a measurement.
func SameExposure(a, b Shot) bool {
	if !a.sameMoment(b) || a.otherCamera(b) {
		return false
	}
	l, ok := Compare(a, b)
	alone := a.outlasts(b)
	switch {
	case !ok:
		return false
	case !l.OneForm:
		return alone || l.Spread < developedSpread
	case alone:
		return l.Spread < 1
	}
	odds := float64(l.Stars) * (l.Spread - 1 - math.Log(max(l.Spread, 1e-12)))
	return l.Spread < copySpread && odds > copyOdds
}

// Likeness is how two pictures' stars agree.
type Likeness struct {
	Stars   int     // that both show
	Spread  float64 // S of the comment above
	OneForm bool    // of one size, the same colour measured, neither turned
}

// Compare tells how alike two pictures are; false where they share too few stars, or differ as no two developments do.
func Compare(a, b Shot) (l Likeness, ok bool) {
	p := pairUp(a, b)
	if l.Stars = len(p); l.Stars < copyStarsLeast {
		return l, false
	}
	turns := p.quarterTurns()
	if l.OneForm = turns == 0 && a.sameForm(b); l.OneForm {
		l.Spread = p.spread()
		return l, true
	}
	p.turn(turns)
	m, left, ok := p.mapped()
	l.Spread = left
	return l, ok && m.isCopy()
}

// CopyOf says why a picture is left out.
func CopyOf(file string) string { return "the same exposure as " + file }

// Better is whether of two files of one exposure a is the one to count. Files of two forms have two lenses, or one drawn in
// two ways: a sequence should not mix them, so that the form of more of the pictures beside them wins; then the smaller error of
// the attitude; then the more stars.
func Better(a, b Shot, beside []Shot) bool {
	if !a.sameForm(b) {
		more := 0
		for _, s := range beside {
			switch {
			case s.File == a.File || s.File == b.File || s.LeftOut != "":
			case s.sameForm(a):
				more++
			case s.sameForm(b):
				more--
			}
		}
		if more != 0 {
			return more > 0
		}
	}
	if x, y := a.attitudeVar(), b.attitudeVar(); x != y {
		return x < y
	}
	return len(a.Field.Stars) > len(b.Field.Stars)
}

// attitudeVar is the sum of the attitude's variances, radians²; infinite without one.
func (s Shot) attitudeVar() float64 {
	if s.Solution == nil || s.Solution.Covariance == nil {
		return math.Inf(1)
	}
	return mat.Trace(s.Solution.Covariance)
}

// leaveOutCopies leaves out all but one file of each exposure.
func (q *Sequence) leaveOutCopies() {
	for i := range q.Shots {
		s := &q.Shots[i]
		for k := i - 1; k >= 0 && s.maybeMoment(q.Shots[k]); k-- {
			o := &q.Shots[k]
			if o.LeftOut != "" || !SameExposure(*s, *o) {
				continue
			}
			if Better(*s, *o, q.Shots) {
				s, o = o, s
			}
			s.LeftOut = CopyOf(o.File)
			break
		}
	}
}

// maybeMoment is false for shots, in the order of their middles, too far apart in time for one exposure.
func (s Shot) maybeMoment(o Shot) bool {
	return s.Clock != nil && o.Clock != nil && s.Clock.Mid().Sub(o.Clock.Mid()) <= time.Minute+max(s.Clock.Exposure, o.Clock.Exposure)
}

// sameMoment is whether the clocks allow for one exposure; an exposure time one file does not tell allows for any.
func (s Shot) sameMoment(o Shot) bool {
	if s.Clock == nil || o.Clock == nil {
		return false
	}
	apart, step := s.Clock.Start.Sub(o.Clock.Start).Abs(), max(s.Clock.Step, o.Clock.Step)
	x, y := s.Clock.Exposure.Seconds(), o.Clock.Exposure.Seconds()
	return (apart == 0 || apart < step) && (x == 0 || y == 0 || math.Abs(x-y) <= copyExposure*max(x, y))
}

// outlasts is whether the exposure is too long for another to begin before the stamps tell them apart.
func (s Shot) outlasts(o Shot) bool {
	step := max(s.Clock.Step, o.Clock.Step)
	return max(s.Clock.Exposure, o.Clock.Exposure) >= max(step, 1)
}

// otherCamera is whether the files name two cameras.
func (s Shot) otherCamera(o Shot) bool {
	return s.Lens.Model != "" && o.Lens.Model != "" && s.Lens.Model != o.Lens.Model
}

// sameForm is whether two files are of one size and show one colour.
func (s Shot) sameForm(o Shot) bool {
	return s.Width == o.Width && s.Height == o.Height && s.Signal == o.Signal
}

// calm is what a picture's stated variances of places are to be multiplied by, at most 1: what its stars miss the
// catalogue by is no less than their true errors.
func (s Shot) calm() float64 {
	if s.Solution == nil || len(s.Solution.Sightings) == 0 {
		return 1
	}
	var v float64
	for _, g := range s.Solution.Sightings {
		v += (g.VarX + g.VarY) / 2
	}
	if v == 0 {
		return 1
	}
	return min(1, s.Solution.RMSPx*s.Solution.RMSPx*float64(len(s.Solution.Sightings))/v)
}

// pair is one star in two pictures, from their middles in half diagonals; v is the variance of ax − bx, and of ay − by.
type pair struct{ ax, ay, bx, by, v float64 }

type pairs []pair

// pairUp finds the stars both show: by the catalogue, or where not both are recognised and their size is the same by place.
// Nothing where they share too few.
func pairUp(a, b Shot) pairs {
	var p pairs
	least := min(len(a.Field.Stars), len(b.Field.Stars))
	switch {
	case a.Solution != nil && b.Solution != nil:
		p = byCatalog(a, b)
		least = min(len(a.Solution.Sightings), len(b.Solution.Sightings))
	case a.Width == b.Width && a.Height == b.Height:
		p = byPlace(a, b)
	}
	if float64(len(p)) < copyShare*float64(least) {
		return nil
	}
	return p
}

func byCatalog(a, b Shot) (p pairs) {
	in := map[int32]int{}
	for i, g := range b.Solution.Sightings {
		in[g.Catalog] = i
	}
	va, vb := a.calm(), b.calm()
	for _, g := range a.Solution.Sightings {
		if i, ok := in[g.Catalog]; ok && g.Catalog >= 0 {
			h := b.Solution.Sightings[i]
			p = append(p, pairOf(a, b, g.X, g.Y, h.X, h.Y, va*(g.VarX+g.VarY)/2, vb*(h.VarX+h.VarY)/2))
		}
	}
	return p
}

// copyNear is how far apart, in pixels, two developments may put a star at most where only its place tells which it is.
const copyNear = 2

func byPlace(a, b Shot) (p pairs) {
	variance := func(s star.Star) float64 { return (s.XErr*s.XErr + s.YErr*s.YErr) / 2 }
	for _, s := range a.Field.Stars {
		best, at := copyNear*1., -1
		for k, o := range b.Field.Stars {
			if d := math.Hypot(s.X-o.X, s.Y-o.Y); d < best {
				best, at = d, k
			}
		}
		if at >= 0 {
			o := b.Field.Stars[at]
			p = append(p, pairOf(a, b, s.X, s.Y, o.X, o.Y, variance(s), variance(o)))
		}
	}
	return p
}

// leastPx2 keeps a star measured without error from deciding alone.
const leastPx2 = 1e-6

func pairOf(a, b Shot, ax, ay, bx, by, va, vb float64) pair {
	ha, hb := math.Hypot(float64(a.Width), float64(a.Height))/2, math.Hypot(float64(b.Width), float64(b.Height))/2
	return pair{(ax - float64(a.Width-1)/2) / ha, (ay - float64(a.Height-1)/2) / ha,
		(bx - float64(b.Width-1)/2) / hb, (by - float64(b.Height-1)/2) / hb, max(va, leastPx2)/(ha*ha) + max(vb, leastPx2)/(hb*hb)}
}

// spread is S of the places as they are.
func (p pairs) spread() (s float64) {
	for _, x := range p {
		s += ((x.ax-x.bx)*(x.ax-x.bx) + (x.ay-x.by)*(x.ay-x.by)) / x.v
	}
	return s / float64(2*len(p))
}

// quarterTurns is how many quarter turns bring b's places nearest to a's.
func (p pairs) quarterTurns() int {
	var cos, sin float64
	for _, x := range p {
		cos += (x.ax*x.bx + x.ay*x.by) / x.v
		sin += (x.ay*x.bx - x.ax*x.by) / x.v
	}
	return (int(math.Round(math.Atan2(sin, cos)/(math.Pi/2))) + 4) % 4
}

func (p pairs) turn(quarters int) {
	for i := range p {
		for range quarters {
			p[i].bx, p[i].by = -p[i].by, p[i].bx
		}
	}
}

// copyMap is how one development's places follow from another's: a = b + shift + turn×b + scale·b + bend·|b|²b.
type copyMap struct{ shiftX, shiftY, turn, scale, bend float64 }

// isCopy is whether a development, not another camera, does that.
func (m copyMap) isCopy() bool {
	return math.Hypot(m.shiftX, m.shiftY) < copyShift && math.Abs(m.turn) < copyTurn && math.Abs(m.scale) < copyScale
}

// mapped fits the map by least squares and gives S of what is left; false where there are too few stars for it.
func (p pairs) mapped() (m copyMap, left float64, ok bool) {
	const unknowns = 5
	n := 2 * len(p)
	if n < 2*unknowns {
		return m, 0, false
	}
	rows, want := mat.NewDense(n, unknowns, nil), mat.NewVecDense(n, nil)
	for i, x := range p {
		w, r2 := 1/math.Sqrt(x.v), x.bx*x.bx+x.by*x.by
		rows.SetRow(2*i, []float64{w, 0, -w * x.by, w * x.bx, w * x.bx * r2})
		rows.SetRow(2*i+1, []float64{0, w, w * x.bx, w * x.by, w * x.by * r2})
		want.SetVec(2*i, w*(x.ax-x.bx))
		want.SetVec(2*i+1, w*(x.ay-x.by))
	}
	var u, rest mat.VecDense
	if u.SolveVec(rows, want) != nil {
		return m, 0, false
	}
	rest.MulVec(rows, &u)
	rest.SubVec(want, &rest)
	m = copyMap{u.AtVec(0), u.AtVec(1), u.AtVec(2), u.AtVec(3), u.AtVec(4)}
	return m, mat.Dot(&rest, &rest) / float64(n-unknowns), true
}
