package align

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"trueturn/ephem/turn"
)

// told is the session as one story under one wander tells it.
type told struct {
	px      float64
	story   story
	at      *wandered // where it was linearised
	index   []int     // unknowns of the story among all
	root    root
	x       *mat.VecDense // step of those
	logPost float64
}

// tell solves the equations of a fit for one story: one Gauss–Newton step from where they were made. The story's worth
// is the restricted likelihood, its coefficients' spread taken in.
func (w *wandered) tell(s story) (told, bool) {
	t := told{px: w.px, story: s, at: w}
	var weight []float64
	var spread, drawn float64
	t.index, weight, spread, drawn = w.unknowns(s)
	a, b, chi2 := w.system(t.index, weight)
	var ok bool
	if t.root, ok = rootOf(a); !ok {
		return t, false
	}
	t.x = mat.VecDenseCopyOf(b)
	t.root.solve(t.x)
	sum := chi2 + drawn - mat.Dot(t.x, b) + w.eq.logDetT + t.root.logDet() + spread
	for i, o := range w.model.obs {
		if w.model.used[i] {
			sum += o.logDet
		}
	}
	t.logPost = -sum/2 + s.prior + w.logPrior
	return t, true
}

// unknowns lists those of a story and the weight each has from the size beforehand; spread is the logarithm of the
// determinant of those sizes' covariance, drawn the sum of squares of where the coefficients stand.
func (w *wandered) unknowns(s story) (index []int, weight []float64, spread, drawn float64) {
	m := &w.model
	rigid := m.atGiving()
	index, weight = upTo(rigid), make([]float64, rigid)
	for _, p := range m.giving.order {
		size, ok := s.sizes[p]
		if !ok {
			continue
		}
		r := m.giving.parts[p]
		for k := 3 * r[0]; k < 3*r[1]; k++ {
			index = append(index, rigid+k)
			weight = append(weight, 1/(size*size))
			spread += 2 * math.Log(size)
			drawn += m.giving.coef[k] * m.giving.coef[k] / (size * size)
		}
	}
	return index, weight, spread, drawn
}

// system is the part of the equations that a story solves.
func (w *wandered) system(index []int, weight []float64) (a *mat.SymDense, b *mat.VecDense, chi2 float64) {
	chi2, pull := w.without(index)
	n, rigid := len(index), w.model.atGiving()
	a, b = mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	from, to := w.eq.n.RawSymmetric(), a.RawSymmetric()
	for r, i := range index { // the numbers ascend: all in the upper triangle
		row, into := from.Data[i*from.Stride:], to.Data[r*to.Stride:]
		for c := r; c < n; c++ {
			into[c] = row[index[c]]
		}
		into[r] += weight[r]
		v := w.eq.b.AtVec(i)
		if pull != nil {
			v += pull.AtVec(i)
		}
		if weight[r] > 0 {
			v -= weight[r] * w.model.giving.coef[i-rigid]
		}
		b.SetVec(r, v)
	}
	return a, b, chi2
}

// without takes the unknowns of a giving that a story leaves out, and whose coefficients stand at something, back to
// nothing: what that does to the sum of squares and to the right-hand side; nil where nothing stands.
func (w *wandered) without(index []int) (chi2 float64, pull *mat.VecDense) {
	m := &w.model
	rigid := m.atGiving()
	back := mat.NewVecDense(m.size(), nil)
	for k, c := range m.giving.coef {
		back.SetVec(rigid+k, c)
	}
	for _, i := range index {
		back.SetVec(i, 0)
	}
	if mat.Norm(back, 1) == 0 {
		return w.eq.chi2, nil
	}
	pull = mat.NewVecDense(m.size(), nil)
	pull.MulVec(w.eq.n, back)
	return w.eq.chi2 + 2*mat.Dot(w.eq.b, back) + mat.Dot(back, pull), pull
}

// overStories tells every story under every wander. Where the camera gave, the equations are made anew where the best
// story stands, since the small turns and the axis act on one another.
func overStories(samples []Sample, fits []wandered) []told {
	give(samples, fits)
	tells := tellAll(fits)
	for range 3 {
		best := likeliest(tells)
		if len(tells) == 0 || len(tells[best].story.sizes) == 0 {
			break
		}
		m := tells[best].settled()
		fits = worth(fits, tells, tells[best].logPost)
		for k := range fits {
			f := m.clone()
			f.obs = observe(samples, fits[k].px)
			fits[k].model, fits[k].eq = *f, f.normal(nil)
		}
		tells = tellAll(fits)
	}
	return tells
}

// negligible: an account so much less probable than the best, in logarithms, changes nothing.
const negligible = 14

// worth are the fits one of whose stories is not negligible.
func worth(fits []wandered, tells []told, top float64) (list []wandered) {
	for k := range fits {
		if slices.ContainsFunc(tells, func(t told) bool { return t.at == &fits[k] && t.logPost > top-negligible }) {
			list = append(list, fits[k])
		}
	}
	return list
}

// give lets the fits' cameras give, so far by nothing.
func give(samples []Sample, fits []wandered) {
	if len(fits) == 0 {
		return
	}
	mids := make([]time.Time, len(samples))
	about := make([]turn.Turn, len(samples))
	for i, s := range samples {
		mids[i], about[i] = s.Mid, fits[0].model.obs[i].c
	}
	g := newGiving(mids, about)
	g.jumps = len(fits[0].model.axis) - 1
	for k := range fits {
		fits[k].model.giving = g.clone()
		fits[k].eq = fits[k].model.normal(nil)
	}
}

// nearly: mixed stories are tried where one that gives in one way is no less probable than a rigid mount by more, in
// logarithms.
const nearly = 3

func tellAll(fits []wandered) []told {
	tells := tellEach(fits, func(g *giving) []story { return g.stories() })
	var best [1 + GaveCreeping]float64
	for h := range best {
		best[h] = math.Inf(-1)
	}
	for _, t := range tells {
		h := t.story.how()
		best[h] = max(best[h], t.logPost)
	}
	least := best[GaveNothing] - nearly
	bends := best[GaveBending] > least
	if !bends && best[GaveSettling] < least && best[GaveCreeping] < least {
		return tells
	}
	return append(tells, tellEach(fits, func(g *giving) []story { return g.mixed(bends) })...)
}

func tellEach(fits []wandered, which func(g *giving) []story) (tells []told) {
	for k := range fits {
		for _, s := range which(fits[k].model.giving) {
			if t, ok := fits[k].tell(s); ok {
				tells = append(tells, t)
			}
		}
	}
	return tells
}

func likeliest(tells []told) (best int) {
	for i := range tells {
		if tells[i].logPost > tells[best].logPost {
			best = i
		}
	}
	return best
}

// settled is the model where the story has it.
func (t *told) settled() *model {
	w := wandered{px: t.px, model: *t.at.model.clone(), eq: t.at.eq, logPrior: t.at.logPrior}
	next := told{px: t.px, story: t.story, at: &w, index: t.index, x: t.x}
	for range 3 {
		full := mat.NewVecDense(w.model.size(), nil)
		for k, c := range w.model.giving.coef {
			full.SetVec(w.model.atGiving()+k, -c)
		}
		for k, i := range next.index {
			full.SetVec(i, next.x.AtVec(k))
		}
		w.model.apply(full)
		w.eq = w.model.normal(nil)
		var ok bool
		if next, ok = w.tell(t.story); !ok {
			break
		}
	}
	return &w.model
}
