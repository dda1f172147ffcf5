package align

import (
	"math"
	"time"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// flexure names a camera that gave slowly, and what to do.
func (s *session) flexure() []Situation {
	g := s.a.Gave
	if !g.Shown() {
		return nil
	}
	files := s.files(0, len(s.in.Samples)-1)
	if g.How == GaveCreeping && g.Uneven.Mul(g.PerHour.Rad()/g.Size.Rad()) > slippingPace {
		return []Situation{{Kind: KindSlipping, Files: files, Size: angle(g.Size, 0), Sure: true, Says: say.Of("camera gave way", g.Size)}}
	}
	says, sure := g.says(), g.How != GaveCreeping
	if g.How == GaveBending && s.elsewhere {
		says, sure = say.All(says, say.Of("clock or place leave the same")), false
	}
	return []Situation{{Kind: KindFlexure, Files: files, Size: angle(g.Size, 0), Sure: sure, Says: says}}
}

// slippingPace an hour and more, and not evenly, is no holder that bends or cools down but a clamp that does not hold (common practice, no
// source).
const slippingPace = 30 * ephem.Arcmin

func (g Gave) says() say.Line {
	switch g.How {
	case GaveBending:
		return say.Of("holder bends", g.Per30)
	case GaveSettling:
		return say.Of("something settled", g.Size, say.Span(max(g.Constant.Round(time.Minute), time.Minute)))
	}
	return say.Of("camera crept", g.Size, g.PerHour)
}

// looseWander: the optical centre of a phone wanders by some tenths of a pixel; a camera whose place scatters by
// more than this is loose.
const looseWander = 1.5

// loose tells a camera that jumps about, or jumped once by more than its wander explains.
func (s *session) loose() []Situation {
	if s.a.WanderPx < looseWander && s.a.Sound() {
		return nil
	}
	n := len(s.in.Samples)
	if s.listed() && s.a.Sound() { // a table may state its errors too small: that is no loose camera
		return nil
	}
	// Once more, with no more wander than a sound phone has: a single knock then stands out.
	if seg := segment(s.in.Samples, observe(s.in.Samples, soundWander)); len(seg.breaks) == 1 && seg.breaks[0].Knock {
		if files := s.files(seg.breaks[0].Before, n-1); len(files) > 0 {
			return []Situation{{Kind: KindKnock, Files: files, Size: s.jumpSize(seg.breaks[0]), Sure: true, Says: say.Of("knock spoils the axis", seg.breaks[0].Size, files[0])}}
		}
	}
	if s.listed() {
		return []Situation{{Kind: KindSlipping, Files: s.files(0, n-1), Size: s.wander(), Says: say.Of("table fits no axis")}}
	}
	if s.a.WanderPx < soundWander { // no jumping to be seen
		return []Situation{{Kind: KindFlexure, Files: s.files(0, n-1), Says: say.Of("pictures fit no axis")}}
	}
	return []Situation{{Kind: KindSlipping, Files: s.files(0, n-1), Size: s.wander(), Sure: true, Says: say.Of("camera loose", say.Pixels(s.a.WanderPx))}}
}

// wander is how far the camera's place scatters.
func (s *session) wander() Size {
	size := Size{Value: s.a.WanderPx, Unit: Pixels}
	if s.a.DOF > 0 {
		size.Sigma = s.a.WanderPx / math.Sqrt(2*float64(s.a.DOF))
	}
	return size
}

// soundWander, px, is more than a sound phone's optical centre wanders.
const soundWander = 0.3
