package track

import (
	"context"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/drift/star"
)

// hand is what the pictures tell of left and right.
type hand int

const (
	handUnknown hand = iota
	upright
	mirrored
)

// A field must turn the wrong way by so many standard errors to be mirrored, the right way to be known as upright. Few pictures
// are mirrored, so that takes the stronger proof: one in thirty thousand by chance.
const (
	sureMirrored = 4.0
	sureUpright  = 2.5
)

// handOf tells whether left and right are exchanged. A standing camera sees the field move by d and turn meanwhile:
// about the pole the sky turns by ω, which at the declination δ shows as ω cos δ across and ω sin δ about the line of
// sight, so the turn is d/f · tan δ, against the clock in the north when looking at the sky. In
// a mirrored picture it goes with the clock.
func (f *follower) handOf(untracked []int) hand {
	var sum, weight float64
	seen := map[[2]int]bool{}
	for _, i := range untracked {
		before, after := f.neighbours(i)
		for _, pair := range [...][2]int{{before, i}, {i, after}} {
			if pair[0] < 0 || pair[1] < 0 || seen[pair] {
				continue
			}
			seen[pair] = true
			dx, dy := f.went(pair[0], pair[1])
			turned := f.links[pair[1]].angle - f.links[pair[0]].angle // links turn back what the field turned
			expected := math.Hypot(dx, dy) / f.given.FocalPx * math.Tan(f.given.Dec.Rad())
			v := f.turnVariance(pair[0]) + f.turnVariance(pair[1])
			sum += turned * expected / v
			weight += expected * expected / v
		}
	}
	if weight == 0 {
		return handUnknown
	}
	switch z := sum / math.Sqrt(weight); { // √weight where upright, −√weight where mirrored, ± 1
	case z < -sureMirrored:
		return mirrored
	case z > sureUpright:
		return upright
	}
	return handUnknown
}

// turnVariance is that of a link's angle: of the stars' places across their distances from the middle of them.
func (f *follower) turnVariance(i int) float64 {
	var n, mx, my, spread, noise float64
	spots := f.links[i].spots()
	for _, k := range spots {
		s := f.pics[i].Field.Stars[k]
		n, mx, my = n+1, mx+s.X, my+s.Y
		noise += (s.XErr*s.XErr + s.YErr*s.YErr) / 2
	}
	for _, k := range spots {
		s := f.pics[i].Field.Stars[k]
		dx, dy := s.X-mx/n, s.Y-my/n
		spread += dx*dx + dy*dy
	}
	const floorPx2 = 0.05 * 0.05 // what the lens bends between two places of one star
	return (noise/n + floorPx2) / max(spread, 1)
}

// followMirrored follows the pictures with their columns reversed.
func followMirrored(ctx context.Context, pics []Picture, g Given) (Followed, error) {
	turned := make([]Picture, len(pics))
	for i, p := range pics {
		turned[i] = p
		turned[i].Field.Stars = make([]star.Star, len(p.Field.Stars))
		for k, s := range p.Field.Stars {
			s.X = float64(p.Field.Width-1) - s.X
			s.XYCov = -s.XYCov
			s.Angle = unit.Angle(math.Mod(2*math.Pi-s.Angle.Rad(), math.Pi))
			turned[i].Field.Stars[k] = s
		}
	}
	g.reversed = true
	out, err := Follow(ctx, turned, g)
	out.HandKnown = true
	for _, s := range out.Solutions {
		if s != nil {
			s.Mirrored = true
		}
	}
	return out, err
}
