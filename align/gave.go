package align

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Gave is how far the camera was from being held rigidly.
type Gave struct {
	Rigid    float64       // how probable it is that it was
	How      How           // the most probable way it was not
	Size     unit.Angle    // how far the camera turned against how it stood in the last picture, at most
	Uneven   unit.Angle    // the same without what went evenly with time
	Per30    unit.Angle    // bending: for a turn by 30°, as far as these pictures can see it; it may be more
	PerHour  unit.Angle    // creeping: at the mean pace seen
	Constant time.Duration // settling: after which 63 % are done
}

// How a camera gave.
type How uint8

// The ways.
const (
	GaveNothing  How = iota
	GaveBending      // elastically, under gravity
	GaveSettling     // ever more slowly
	GaveCreeping     // at random
)

// shownChance is how probable a rigid camera may be at most where something else is named: with its share beforehand, the
// pictures must be some hundreds of times as probable if it gave.
const shownChance = 0.02

// bendLimit: less does no harm worth a word.
const bendLimit = 0.3 * ephem.Arcmin

// UsualBend is how far a small mount's holder turns the camera for a change of gravity's direction in the camera's frame
// by one unit (common practice, no source): half a minute of arc where the camera is turned by 30°. A forecast for another
// part of the sky reckons with it where the pictures show nothing better.
const UsualBend = 1 * ephem.Arcmin

// Elsewhere is by how much, one standard error in each direction, the axis may differ between two directions of the
// camera for a usual bend.
func Elsewhere(from, to turn.Turn) unit.Angle {
	look := r3.Vec{Z: 1}
	return UsualBend.Mul(r3.Norm(r3.Sub(from.Inverse().Apply(look), to.Inverse().Apply(look))) / math.Sqrt2)
}

// bendMost is more than a holder bends, settles or creeps while one measures (common practice, no source); a small
// telescope on a real mount bent by 21′ in seven hours (night_test.go).
const bendMost = knockLimit

// beyond is whether what the camera did besides turning about an axis is too much to speak of an axis at all.
func (g Gave) beyond() bool { return g.Shown() && g.Size > bendMost }

// Lasts is whether the axis measured is that of the next pictures as well: a bend comes back, what settles or creeps does
// not.
func (g Gave) Lasts() bool { return !g.Shown() || g.How == GaveBending }

// Held is whether the pictures allow for a camera held rigidly.
func (g Gave) Held() bool { return g.Rigid >= shownChance }

// Shown is whether the pictures show it, and so much that it is worth a word.
func (g Gave) Shown() bool {
	much := g.Size
	if g.How == GaveBending {
		much = max(much, g.Per30.Mul(2))
	}
	return !g.Held() && g.How != GaveNothing && much > bendLimit
}

// gaveOf tells from the stories how the camera gave.
func gaveOf(in Input, tells []told, share []float64, b Bend) (g Gave) {
	var ways [4]float64
	best := [4]int{-1, -1, -1, -1}
	for i := range tells {
		w := tells[i].story.how()
		ways[w] += share[i]
		if best[w] < 0 || share[i] > share[best[w]] {
			best[w] = i
		}
	}
	g.Rigid = ways[GaveNothing]
	for w := GaveBending; w <= GaveCreeping; w++ {
		if ways[w] > ways[g.How] || g.How == GaveNothing && ways[w] > 0 {
			g.How = w
		}
	}
	if best[g.How] < 0 || g.How == GaveNothing {
		return g
	}
	t := &tells[best[g.How]]
	span := in.Samples[len(in.Samples)-1].Mid.Sub(in.Samples[0].Mid)
	g.Uneven = t.seen(false)
	g.Size = g.Uneven
	if t.evenShown() {
		g.Size = t.seen(true)
	}
	g.Per30 = b.rms().Mul(2 * math.Sin(math.Pi/12))
	g.PerHour = g.Size.Mul(float64(time.Hour) / float64(max(span, time.Second)))
	for p := range t.story.sizes {
		if p.constant > 0 {
			g.Constant = time.Duration(p.constant * float64(span))
		}
	}
	return g
}

// how is the way a story tells of, the most telling of its parts.
func (s story) how() (h How) {
	for p := range s.sizes {
		switch p.kind {
		case elastic:
			h = max(h, GaveBending)
		case settling, settlingBase:
			h = max(h, GaveSettling)
		case walking:
			h = max(h, GaveCreeping)
		}
	}
	return h
}

// seen is how far the camera turned against how it stood in the last picture, at most, a turn about the axis not counted.
func (t *told) seen(withEven bool) (widest unit.Angle) {
	m := &t.at.model
	g := m.giving.clone()
	rigid := m.atGiving()
	clear(g.coef)
	var even [2]int
	if !withEven {
		even = g.parts[part{kind: steady}]
	}
	for k, i := range t.index {
		if u := i - rigid; u >= 0 && (u < 3*even[0] || u >= 3*even[1]) {
			g.coef[u] = m.giving.coef[u] + t.x.AtVec(k)
		}
	}
	var turns []r3.Vec
	for bi := range m.blocks {
		b := &m.blocks[bi]
		u := b.c0.Apply(m.axis[b.stand])
		for _, i := range b.members {
			if v := g.turn(i); m.used[i] {
				turns = append(turns, r3.Sub(v, r3.Scale(r3.Dot(u, v), u)))
			}
		}
	}
	for _, v := range turns {
		widest = max(widest, unit.Angle(r3.Norm(r3.Sub(v, turns[len(turns)-1]))))
	}
	return widest
}

// evenShown is whether the pictures show how the camera turned evenly with time: not while it merely tracked one patch.
func (t *told) evenShown() bool {
	const times = 3 // its own error
	m := &t.at.model
	b := &m.blocks[len(m.blocks)-1]
	u := b.c0.Apply(m.axis[b.stand])
	first := m.atGiving() + 3*m.giving.parts[part{kind: steady}][0]
	var size, variance float64
	place := slices.Index(t.index, first)
	if place < 0 {
		return false
	}
	across := r3.Unit(r3.Cross(u, leastAlong(u)))
	for _, v := range [2]r3.Vec{across, r3.Cross(u, across)} {
		along := [3]float64{v.X, v.Y, v.Z}
		for k, x := range along {
			y := t.reply(place + k)
			size += x * (m.giving.coef[first+k-m.atGiving()] + t.x.AtVec(place+k))
			for l, z := range along {
				variance += x * z * y.AtVec(place+l)
			}
		}
		if size*size > times*times*variance {
			return true
		}
		size, variance = 0, 0
	}
	return false
}

// leastAlong is the axis of the frame a unit vector has the least of.
func leastAlong(u r3.Vec) r3.Vec {
	best := axes3[0]
	for _, e := range axes3 {
		if math.Abs(r3.Dot(e, u)) < math.Abs(r3.Dot(best, u)) {
			best = e
		}
	}
	return best
}
