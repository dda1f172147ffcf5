package track

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"

	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// link carries a picture's pixels to the reference's: turned by angle (radians, from x toward y) about the
// origin, then shifted.
type link struct {
	dx, dy, angle float64
	id            map[int]int // star of the picture → star of the map
	err           error
}

func (l link) apply(x, y float64) (float64, float64) {
	sin, cos := math.Sincos(l.angle)
	return cos*x - sin*y + l.dx, sin*x + cos*y + l.dy
}

// holds is whether the picture shows star k of the map.
func (l link) holds(k int) bool {
	for _, id := range l.id {
		if id == k {
			return true
		}
	}
	return false
}

// spots are the picture's linked stars in their own order, which maps do not keep.
func (l link) spots() []int { return slices.Sorted(maps.Keys(l.id)) }

// mostReferences is how many pictures are tried as the one the others are linked to: the first may be of another field.
const mostReferences = 4

// connect picks the reference and links every picture to the map, outward in time. Of the pictures with most stars the
// first to which more than half of all are linked will do, else the one to which most are.
func (f *follower) connect(ctx context.Context) error {
	order := f.byRichness()
	if len(order) == 0 {
		return amiss.New(ErrNoField, "no picture shows three stars that could be followed", "expose longer, or aim at a richer field")
	}
	var best follower
	most := 0
	for _, reference := range order[:min(len(order), mostReferences)] {
		if most > 0 && best.links[reference].err == nil {
			continue // linked to the best already
		}
		try := follower{pics: f.pics, given: f.given, links: make([]link, len(f.pics)), reference: reference}
		n, err := try.linkAll(ctx)
		if err != nil {
			return err
		}
		if n > most {
			best, most = try, n
		}
		if 2*most > len(order) {
			break
		}
	}
	*f = best
	return nil
}

// linkAll links every picture to the reference, and counts those it could.
func (f *follower) linkAll(ctx context.Context) (linked int, err error) {
	own := link{id: map[int]int{}}
	for _, k := range usable(f.pics[f.reference].Field) {
		s := f.pics[f.reference].Field.Stars[k]
		own.id[k] = len(f.stars)
		f.stars = append(f.stars, mapped{x: s.X, y: s.Y})
	}
	f.links[f.reference] = own
	for _, i := range f.outward() {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		if i != f.reference {
			f.links[i] = f.linked(i)
		}
		if f.links[i].err == nil {
			linked++
		}
	}
	return linked, nil
}

// byRichness lists the pictures that can be followed, those with the most stars first; round stars before trails, as
// their places are better.
func (f *follower) byRichness() []int {
	var order []int
	worth := make([]float64, len(f.pics))
	for i, p := range f.pics {
		n := len(usable(p.Field))
		if p.Mid.IsZero() || n < 3 {
			continue
		}
		if worth[i] = float64(n); trailed(p.Field) {
			worth[i] /= 4
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(worth[b], worth[a]) })
	return order
}

// trailed is whether most of a picture's stars are longer than wide.
func trailed(field star.Field) bool {
	n := 0
	for _, s := range field.Stars {
		if s.Flags&star.Trailed != 0 {
			n++
		}
	}
	return 2*n > len(field.Stars)
}

// linked finds how picture i lies on the map. Tried are the turn and shift of the picture next to it, and the turn
// that a motor standing since then would make.
func (f *follower) linked(i int) link {
	lost := link{err: amiss.New(ErrNotShared, "its stars are not those of the other pictures", "leave it out, or take pictures with the field well inside the frame")}
	if f.pics[i].Mid.IsZero() || f.pics[i].Field.Width != f.pics[f.reference].Field.Width || f.pics[i].Field.Height != f.pics[f.reference].Field.Height {
		return lost
	}
	p := f.towardReference(i)
	idle := f.pics[i].Mid.Sub(f.pics[p].Mid).Seconds() * ephem.SiderealRadPerS * math.Sin(f.given.Dec.Rad())
	best := link{}
	for _, turned := range [...]float64{0, idle, -idle} {
		if l := f.fitted(i, f.voted(i, f.links[p].angle+turned)); len(l.id) > len(best.id) {
			best = l
		}
	}
	if !f.sure(i, best) {
		return lost
	}
	return best
}

// Stars compared: the brightest suffice to find the shift.
const comparedStars = 60

// votePx is how well two places of one star must agree while the turn is only guessed; matchPx once it is fitted.
const (
	votePx  = 4.0
	matchPx = 2.5
)

// voted is the shift on which most pairs of stars agree for a turn assumed.
func (f *follower) voted(i int, angle float64) link {
	field := f.pics[i].Field
	spots := usable(field)
	spots = spots[:min(len(spots), comparedStars)]
	var shifts []link
	for _, k := range spots {
		x, y := (link{angle: angle}).apply(field.Stars[k].X, field.Stars[k].Y)
		for _, m := range f.stars[:min(len(f.stars), 2*comparedStars)] {
			shifts = append(shifts, link{dx: m.x - x, dy: m.y - y, angle: angle})
		}
	}
	slices.SortFunc(shifts, func(a, b link) int {
		if a.dx < b.dx {
			return -1
		}
		return 1
	})
	return densest(shifts)
}

// densest is the mean of the shifts in the box that holds most of them.
func densest(shifts []link) link {
	var best link
	most := 0
	for i, a := range shifts {
		n := 0
		var sx, sy float64
		for j := i; j < len(shifts) && shifts[j].dx <= a.dx+2*votePx; j++ {
			if math.Abs(shifts[j].dy-a.dy) <= votePx {
				n++
				sx += shifts[j].dx
				sy += shifts[j].dy
			}
		}
		if n > most {
			most, best = n, link{dx: sx / float64(n), dy: sy / float64(n), angle: a.angle}
		}
	}
	return best
}

// fitted improves a link by the stars it joins, and lists them; new stars come onto the map only
// when the link is sure.
func (f *follower) fitted(i int, l link) link {
	for _, tol := range [...]float64{2 * votePx, votePx, matchPx} {
		pairs := f.pairs(i, l, tol)
		if len(pairs) < 2 {
			return link{}
		}
		l = f.similar(i, pairs)
		l.id = pairs
	}
	l.id = f.pairs(i, l, matchPx)
	return l
}

// pairs joins each star of the map with the nearest spot of picture i within tol pixels, one to one.
func (f *follower) pairs(i int, l link, tol float64) map[int]int {
	field := f.pics[i].Field
	at := map[int]float64{} // best distance of each map star
	by := map[int]int{}
	for _, k := range usable(field) {
		x, y := l.apply(field.Stars[k].X, field.Stars[k].Y)
		near, d := -1, tol
		for id, m := range f.stars {
			if r := math.Hypot(m.x-x, m.y-y); r < d {
				near, d = id, r
			}
		}
		if old, taken := at[near]; near >= 0 && (!taken || d < old) {
			at[near], by[near] = d, k
		}
	}
	out := make(map[int]int, len(by))
	for id, k := range by {
		out[k] = id
	}
	return out
}

// similar is the turn and shift that bring the pairs together best: the closed form of least squares in the plane.
func (f *follower) similar(i int, pairs map[int]int) link {
	var n, ax, ay, bx, by float64
	spots := slices.Sorted(maps.Keys(pairs))
	for _, k := range spots {
		s, m := f.pics[i].Field.Stars[k], f.stars[pairs[k]]
		n++
		ax, ay, bx, by = ax+s.X, ay+s.Y, bx+m.x, by+m.y
	}
	ax, ay, bx, by = ax/n, ay/n, bx/n, by/n
	var sin, cos float64
	for _, k := range spots {
		s, m := f.pics[i].Field.Stars[k], f.stars[pairs[k]]
		sin += (s.X-ax)*(m.y-by) - (s.Y-ay)*(m.x-bx)
		cos += (s.X-ax)*(m.x-bx) + (s.Y-ay)*(m.y-by)
	}
	l := link{angle: math.Atan2(sin, cos)}
	x, y := l.apply(ax, ay)
	l.dx, l.dy = bx-x, by-y
	return l
}

// falseLink is the chance that a link accepted is none: with a hundred pictures one wrong in a thousand sessions, and
// that one is a stray the estimator leaves out.
const falseLink = 1e-5

// sure is whether so many stars would not agree by chance. Each spot meets one of the map's stars by chance with
// probability q, their number times the area of agreement over the picture's. Two agreements were spent on shift and turn. The tail of the binomial distribution is bounded
// by Chernoff's: n·D(k/n‖q) nats.
func (f *follower) sure(i int, l link) bool {
	k := len(l.id)
	field := f.pics[i].Field
	spots := len(usable(field))
	if k < 3 {
		return false
	}
	q := float64(len(f.stars)) * math.Pi * matchPx * matchPx / float64(field.Width*field.Height)
	n, hits := float64(max(spots-2, 1)), float64(k-2)
	share := min(hits/n, 1)
	if q >= share {
		return false
	}
	nats := share * math.Log(share/q)
	if share < 1 {
		nats += (1 - share) * math.Log((1-share)/(1-q))
	}
	if math.Exp(math.Log(f.tried(i, l))-n*nats) > falseLink {
		return false
	}
	f.grow(i, l)
	return true
}

// tried is how many shifts no farther from the neighbour's than this one could have been taken for it: of all pairs of
// stars, with three turns, the share that lies within.
func (f *follower) tried(i int, l link) float64 {
	field := f.pics[i].Field
	cx, cy := float64(field.Width)/2, float64(field.Height)/2
	ax, ay := l.apply(cx, cy)
	bx, by := f.links[f.towardReference(i)].apply(cx, cy)
	away := math.Hypot(ax-bx, ay-by) + votePx
	pairs := float64(min(len(usable(field)), comparedStars) * min(len(f.stars), 2*comparedStars))
	return max(1, 3*pairs*min(1, math.Pi*away*away/float64(field.Width*field.Height)))
}

// grow puts the picture's other stars on the map.
func (f *follower) grow(i int, l link) {
	const mostMapped = 3000
	field := f.pics[i].Field
	for _, k := range usable(field) {
		if _, known := l.id[k]; known || len(f.stars) >= mostMapped {
			continue
		}
		x, y := l.apply(field.Stars[k].X, field.Stars[k].Y)
		l.id[k] = len(f.stars)
		f.stars = append(f.stars, mapped{x: x, y: y})
	}
}
