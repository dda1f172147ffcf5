package exposure

import (
	"math"
	"testing"

	"trueturn/ephem/turn"
)

// Shares are sums over causes, and causes have an order: asked again, they are the same to the last bit.
func TestSharesAreTheSameToTheLastBit(t *testing.T) {
	s := &set{lenses: make([][2]float64, 10)}
	for i := range 7 {
		look := turn.Identity()
		f := &taken{shot: Shot{Attitude: &look, FocalPx: 3000}, judged: &Judged{Cause: CauseRA, TrailPx: 9}, parts: map[Cause]float64{}}
		f.p.stars = make([]oblong, fewest)
		for k, c := range causes {
			f.parts[c] = math.Sqrt(float64(3 + k + 10*i))
		}
		s.frames = append(s.frames, f)
	}
	s.frames = append(s.frames, &taken{judged: &Judged{Cause: CauseCloud}}, &taken{judged: &Judged{Cause: CauseShake}}, &taken{judged: &Judged{Cause: CauseLens}})
	first, firstExcess := s.shares()
	for range 100 {
		list, excess := s.shares()
		if excess != firstExcess {
			t.Fatalf("%v px² a picture, at first %v", excess, firstExcess)
		}
		for i := range list {
			if list[i].Share != first[i].Share {
				t.Fatalf("%s: %v, at first %v", list[i].Cause, list[i].Share, first[i].Share)
			}
		}
	}
}
