package align

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
)

// flexure names a camera that gave slowly, and what to do.
func (s *session) flexure() []Situation {
	g := s.a.Gave
	if !g.Shown() {
		return nil
	}
	files := s.files(0, len(s.in.Samples)-1)
	if g.How == GaveCreeping && g.Uneven.Mul(g.PerHour.Rad()/g.Size.Rad()) > slippingPace {
		return []Situation{{Kind: KindSlipping, Files: files, Size: angle(g.Size, 0), Sure: true, Text: fmt.Sprintf("The camera gave way by %s while these pictures were taken: its clamp or ball slips. Tighten it, then measure again.", Arc(g.Size))}}
	}
	text, sure := g.text(), g.How != GaveCreeping
	if g.How == GaveBending && s.elsewhere {
		text += " A wrong clock or place leaves the same behind: are both right?"
		sure = false
	}
	return []Situation{{Kind: KindFlexure, Files: files, Size: angle(g.Size, 0), Sure: sure, Text: text}}
}

// slippingPace an hour and more, and not evenly, is no holder that bends or cools down but a clamp that does not hold (common practice, no
// source).
const slippingPace = unit.Angle(30.0 / 60 * math.Pi / 180)

func (g Gave) text() string {
	switch g.How {
	case GaveBending:
		return fmt.Sprintf("The holder bends as it turns, by %s or more over 30°. The axis given is the one the camera turns about here, so measure where you will photograph; a shorter lever, a balanced camera and a tied-down cable bend less.", Arc(g.Per30))
	case GaveSettling:
		return fmt.Sprintf("Something settled by about %s, two thirds of it in the first %.0f min: a tripod leg or the ball. Tighten, wait two minutes after every touch, then measure again.", Arc(g.Size), math.Max(1, g.Constant.Minutes()))
	}
	return fmt.Sprintf("The camera crept by about %s while these pictures were taken (%s an hour), or something was touched. Tighten clamp and ball, balance the camera, wait two minutes, then measure again with swings.", Arc(g.Size), Arc(g.PerHour))
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
			return []Situation{{Kind: KindKnock, Files: files, Size: s.jumpSize(seg.breaks[0]), Sure: true, Text: fmt.Sprintf("Tripod or camera were knocked by %s before %s. The axis found is spoilt by it: measure again without touching.", Arc(seg.breaks[0].Size), files[0])}}
		}
	}
	if s.listed() {
		return []Situation{{Kind: KindSlipping, Files: s.files(0, n-1), Size: s.wander(), Text: "The directions of the table fit no steady axis: they scatter far more than their errors say. Check the table's times and sigma_arcsec; if they are right, tighten clamp and ball."}}
	}
	if s.a.WanderPx < soundWander { // no jumping to be seen
		return []Situation{{Kind: KindFlexure, Files: s.files(0, n-1), Text: "The pictures fit no steady axis, and do not show why. Tighten clamp and ball, balance the camera, and measure again without touching; with swings more would be seen."}}
	}
	return []Situation{{Kind: KindSlipping, Files: s.files(0, n-1), Size: s.wander(), Sure: true, Text: fmt.Sprintf("The camera does not keep still on the mount: it jumps by %.1f pixels from picture to picture and fits no steady axis. Tighten clamp and ball, switch the stabiliser off.", s.a.WanderPx)}}
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
