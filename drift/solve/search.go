package solve

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/catalog"
)

// pass is one depth of the search: how large the picture's discs are (as a share of
// the shorter side), how many stars of each are combined, how many
// neighbouring levels are asked, and how closely ratios must agree.
type pass struct {
	disc      float64
	stars     int
	beside    int
	tolerance float32
}

// passes go from what nearly always suffices to what a picture half hidden by a
// roof or a cloud, or full of things that are no stars, needs.
var passes = [...]pass{
	{0.38, 6, 0, codeTolerance / 2},
	{0.38, 6, 0, codeTolerance}, // a lens of two per cent distortion bends figures by one
	{0.30, 6, 1, codeTolerance},
	{0.22, 7, 1, codeTolerance / 2},
	{0.30, 8, 1, codeTolerance},
	{0.45, 10, 1, codeTolerance / 2},
	{0.15, 7, 1, codeTolerance / 2},
}

// focalRange bounds the focal lengths considered.
type focalRange struct{ lo, hi float64 }

// wholeRange covers diagonals of 4° to 100°.
func (sc *scene) wholeRange() focalRange {
	return focalRange{sc.half / math.Tan(50*ephem.Degree.Rad()), sc.half / math.Tan(2*ephem.Degree.Rad())}
}

// hypothesis is one focal length to try with one level of the index.
type hypothesis struct {
	focal  float64
	level  int
	window float64 // how far, in ln, the figure's size may differ
}

// wideDisc is the disc radius from which perspective bends figures so
// much that the focal length must be nearly right before they match.
const wideDisc = 3.5 * ephem.Degree

// hypotheses lists the focal lengths of a range in steps, from the middle outward.
func (sc *scene) hypotheses(r focalRange, p pass) []hypothesis {
	var hs []hypothesis
	radius := p.disc * float64(min(sc.width, sc.height))
	for f := r.lo; f <= r.hi*1.001; {
		angle := math.Atan(radius / f)
		step := 1.30
		if angle > wideDisc.Rad() {
			step = 1.13
		}
		f2 := min(f*step, r.hi)
		mid := math.Sqrt(f * f2)
		level := math.Log(math.Atan(radius/mid)/discRadius(0).Rad()) / math.Log(levelRatio)
		window := 0.5*math.Log(step) + 0.04
		for k := range levels {
			if math.Abs(float64(k)-level) <= 0.51+float64(p.beside)*0.5 || nearEnd(k, level) {
				hs = append(hs, hypothesis{mid, k, window})
			}
		}
		if f2 >= r.hi {
			break
		}
		f *= step
	}
	middle := math.Log(math.Sqrt(r.lo * r.hi))
	slices.SortStableFunc(hs, func(a, b hypothesis) int {
		da, db := math.Abs(math.Log(a.focal)-middle), math.Abs(math.Log(b.focal)-middle)
		switch {
		case da < db:
			return -1
		case da > db:
			return 1
		}
		return 0
	})
	return hs
}

// nearEnd is whether level k is the last one and the wanted level lies beyond it.
func nearEnd(k int, level float64) bool {
	return k == 0 && level < -0.5 && level > -2 || k == levels-1 && level > levels-0.5 && level < levels+1
}

// seeker carries one picture's search.
type seeker struct {
	ctx    context.Context
	sc     *scene
	flip   *scene // reversed, made when first needed
	flipBy bool   // reverse rows, not columns
	tried  int
	found  func(*scene, Pose) bool // judges a refined pose
}

// run searches a range of focal lengths, pass by pass, until found accepts.
func (k *seeker) run(r focalRange, passes []pass) bool {
	for _, p := range passes {
		combos := k.sc.combinations(p)
		for _, h := range k.sc.hypotheses(r, p) {
			if k.ctx.Err() != nil {
				return false
			}
			if k.compare(h, combos, p.tolerance) {
				return true
			}
		}
	}
	return false
}

// combinations lists the fours of bright spots that share a disc.
func (sc *scene) combinations(p pass) [][4]int32 {
	radius := p.disc * float64(min(sc.width, sc.height))
	step := 0.55 * radius
	seen := make(map[[4]int32]struct{})
	var out [][4]int32
	members := make([]int32, 0, p.stars)
	for cy := 0.6 * radius; ; cy += step {
		cy = min(cy, float64(sc.height)-0.6*radius)
		for cx := 0.6 * radius; ; cx += step {
			cx = min(cx, float64(sc.width)-0.6*radius)
			members = sc.brightestWithin(members[:0], cx, cy, radius, p.stars)
			fours(len(members), func(i [4]int) bool {
				id := [4]int32{members[i[0]], members[i[1]], members[i[2]], members[i[3]]}
				if _, dup := seen[id]; !dup {
					seen[id] = struct{}{}
					out = append(out, id)
				}
				return true
			})
			if cx >= float64(sc.width)-0.6*radius {
				break
			}
		}
		if cy >= float64(sc.height)-0.6*radius {
			break
		}
	}
	slices.SortStableFunc(out, func(a, b [4]int32) int { return int(a[3] - b[3]) }) // brightest first
	return out[:min(len(out), mostFigures)]
}

// mostFigures bounds the figures of a pass: a field that is going to be recognised is so by its
// bright stars, and a picture of garbage must not cost its owner half a minute.
const mostFigures = 1500

func (sc *scene) brightestWithin(buf []int32, cx, cy, radius float64, n int) []int32 {
	for i, s := range sc.spots[:sc.bright] {
		if dx, dy := s.x-cx, s.y-cy; dx*dx+dy*dy <= radius*radius {
			if buf = append(buf, int32(i)); len(buf) == n {
				break
			}
		}
	}
	return buf
}

// compare asks a level for the picture's figures under one focal length.
func (k *seeker) compare(h hypothesis, combos [][4]int32, tol float32) bool {
	t := skyIndex.level[h.level]()
	lens := Lens{Width: k.sc.width, Height: k.sc.height, FocalPx: h.focal}
	dirs := make([]r3.Vec, k.sc.bright)
	for i := range dirs {
		dirs[i] = lens.Direction(k.sc.spots[i].x, k.sc.spots[i].y)
	}
	for _, id := range combos {
		fig, ok := newFigure(id, [4]r3.Vec{dirs[id[0]], dirs[id[1]], dirs[id[2]], dirs[id[3]]})
		if !ok {
			continue
		}
		kept := t.lookup(fig.code, tol, func(cat *figure) bool {
			ratio := float64(fig.side / cat.side)
			if math.Abs(math.Log(ratio)) > h.window {
				return true
			}
			return !k.try(&fig, cat, h.focal*ratio)
		})
		if !kept {
			return true
		}
	}
	return false
}

// try follows up one agreement of figures; true ends the search.
func (k *seeker) try(pic, cat *figure, focal float64) bool {
	k.tried++
	sc := k.sc
	if pic.right != cat.right {
		if k.flip == nil {
			f := k.sc.reversed(k.flipBy)
			k.flip = &f
		}
		sc = k.flip
	}
	p, ok := sc.poseOf(pic, cat, focal)
	if !ok || !sc.plausible(p) {
		return false
	}
	p, ok = sc.refine(p)
	return ok && k.found(sc, p)
}

// poseOf fits attitude and focal length to the four stars of a figure and
// checks that they really agree.
func (sc *scene) poseOf(pic, cat *figure, focal float64) (Pose, bool) {
	lens := Lens{Width: sc.width, Height: sc.height, FocalPx: focal}
	stars := catalog.Stars()
	var ss [4]Sighting
	for i := range ss {
		ss[i] = sc.sighting(int(pic.star[i]), cat.star[i])
		ss[i].VarX, ss[i].VarY, ss[i].CovXY = 1, 1, 0
	}
	p := Pose{Lens: lens, Attitude: attitudeFrom(
		stars[cat.star[0]].Direction, stars[cat.star[1]].Direction,
		lens.Direction(ss[0].X, ss[0].Y), lens.Direction(ss[1].X, ss[1].Y))}
	p, ok := fitter{unknowns: frameUnknowns, iterations: 3}.fit(p, ss[:])
	if !ok || math.Abs(math.Log(p.Lens.FocalPx/focal)) > 0.2 {
		return p, false
	}
	limit := 2 + 1.5*codeTolerance*math.Hypot(ss[0].X-ss[1].X, ss[0].Y-ss[1].Y)
	at := p.aimed()
	for i := range ss {
		if !(at.residual(&ss[i]) < limit) {
			return p, false
		}
	}
	return p, true
}

// bentShare is how far from where a single figure puts them other stars may be, as a share of half the diagonal: a lens
// that bends the corner by 5 % carries a figure's neighbours so far off before the fit knows of it.
const bentShare = 0.016

// plausible is the quick look: of the brightest stars expected, more must have a
// spot nearby than chance and the figure itself explain. Two more will do: behind a cloud or a roof most of the
// expected ones are missing, and what the look lets by is still to stand the likelihood test.
func (sc *scene) plausible(p Pose) bool {
	tol := max(4, bentShare*sc.half)
	exp := p.expectedStars(nil, min(60, max(12, 3*sc.bright/2)))
	hits := 0
	for _, e := range exp {
		if i, _ := sc.grid.nearest(e.x, e.y, tol); i >= 0 {
			hits++
		}
	}
	chance := float64(len(exp)) * float64(sc.bright) * math.Pi * tol * tol / (float64(sc.width) * float64(sc.height))
	return float64(hits-4) >= 1+chance+2*math.Sqrt(chance)
}

// refine widens a pose from a figure to the whole picture: match loosely, fit,
// match more tightly, with distortion joining once enough stars hold it.
func (sc *scene) refine(p Pose) (Pose, bool) {
	for i, share := range [...]float64{bentShare, 0.010, 0.005, 0.0025, 0.0012, 0.0008} {
		tol := max(2.5, share*sc.half)
		ss := sc.grid.match(sc, p.expectedStars(nil, 2*sc.bright), tol)
		if len(ss) < 5 {
			return p, false
		}
		for j := range ss {
			ss[j].VarX, ss[j].VarY, ss[j].CovXY = 1, 1, 0
		}
		unknowns := frameUnknowns
		switch {
		case i >= 1 && len(ss) >= 20:
			unknowns = distK2 + 1
		case i >= 1 && len(ss) >= 8:
			unknowns = distK1 + 1
		}
		var ok bool
		if p, ok = (fitter{unknowns: unknowns, robust: true, iterations: 4}).fit(p, ss); !ok {
			return p, false
		}
	}
	return p, true
}
