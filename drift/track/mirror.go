package track

import (
	"context"
	"math"

	"github.com/soniakeys/unit"

	"trueturn/drift/star"
)

// sureMirrored is by how many standard errors a field must turn the wrong way to be mirrored: one in two million by
// chance.
const sureMirrored = 5.0

// mirrored is whether left and right are exchanged. A standing camera sees the field move by d and turn meanwhile:
// about the pole the sky turns by ω, which at the declination δ shows as ω cos δ across and ω sin δ about the line of
// sight, so the turn is d/f · tan δ, against the clock in the north when looking at the sky. In
// a mirrored picture it goes with the clock.
func (f *follower) mirrored() bool {
	_, untracked := f.ways()
	var sum, weight float64
	for _, i := range untracked {
		before, after := f.neighbours(i)
		for _, k := range [...]int{before, after} {
			if k < 0 {
				continue
			}
			a, b := min(i, k), max(i, k)
			dx, dy := f.went(a, b)
			turned := f.links[b].angle - f.links[a].angle // links turn back what the field turned
			expected := math.Hypot(dx, dy) / f.given.FocalPx * math.Tan(f.given.Dec.Rad())
			v := f.turnVariance(a) + f.turnVariance(b)
			sum += turned * expected / v
			weight += expected * expected / v
		}
	}
	// sum/weight is 1 ± 1/√weight where upright, −1 where mirrored.
	return weight > 0 && sum/math.Sqrt(weight) < -sureMirrored
}

// turnVariance is that of a link's angle: of the stars' places across their distances from the middle of them.
func (f *follower) turnVariance(i int) float64 {
	var n, mx, my, spread, noise float64
	for k := range f.links[i].id {
		s := f.pics[i].Field.Stars[k]
		n, mx, my = n+1, mx+s.X, my+s.Y
		noise += (s.XErr*s.XErr + s.YErr*s.YErr) / 2
	}
	for k := range f.links[i].id {
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
	out, err := Follow(ctx, turned, g)
	for _, s := range out.Solutions {
		if s != nil {
			s.Mirrored = true
		}
	}
	return out, err
}
