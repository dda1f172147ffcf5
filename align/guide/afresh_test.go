package guide

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
)

// lag lets the camera fall behind by a share of the sky's turn until the next picture.
func (g *rig) lag(share float64) { g.swingBy(-share * 15.041 / 3600 * g.e.Every.Seconds()) }

// swingBy adds to the turn about the axis before the next picture.
func (g *rig) swingBy(deg float64) {
	for len(g.e.Mount.Swings) <= g.taken {
		g.e.Mount.Swings = append(g.e.Mount.Swings, 0)
	}
	g.e.Mount.Swings[g.taken] += unit.AngleFromDeg(deg)
}

// mechanical are the kinds of situation a mended mount must not be told of.
func mechanical(v View) (list []string) {
	for _, x := range v.Situations {
		switch align.Kind(x.Kind) {
		case align.KindSlipping, align.KindKnock, align.KindPlay, align.KindNotTurning, align.KindWrongHemisphere, align.KindWrongRate:
			list = append(list, x.Kind)
		}
	}
	return list
}

// blamed is whether a view calls a clamp or clutch to account.
func blamed(v View) bool {
	return slices.Contains(mechanical(v), string(align.KindSlipping)) || strings.Contains(v.Live.Instruction, "clutch or clamp")
}

// TestAfresh: from the picture on at which a fault of the motor is put right measuring begins afresh. The third sound picture is measured
// without those of before, and meanwhile nothing is blamed that is sound.
func TestAfresh(t *testing.T) {
	t.Parallel()
	seed := uint64(0)
	for _, c := range []struct {
		name  string
		share float64 // of the sky's turn by which the camera fell behind
	}{{"hemisphere switch", 2}, {"motor off", 1}, {"half the rate", 0.5}} {
		for _, faulty := range []int{2, 3, 5, 9} {
			for _, swung := range []bool{false, true} {
				seed++
				latitude := []float64{46, -33}[seed%2]
				t.Run(fmt.Sprintf("%s for %d pictures, swung %v, latitude %.0f°", c.name, faulty, swung, latitude), func(t *testing.T) {
					g := newRig(t, latitude, seed, tilted(float64(seed%3), 120))
					guide := New(g.options())
					for i := range faulty + 4 {
						if swung && i >= faulty {
							g.swingBy(swings[i-faulty])
						}
						switch {
						case i > 0 && i < faulty:
							g.lag(c.share)
						case i == faulty: // the switch was thrown somewhere between
							g.lag(c.share * 0.6)
						}
						v := g.add(guide)
						if i < faulty {
							continue
						}
						sound := i - faulty + 1
						if sound > 1 && blamed(v) {
							t.Errorf("sound picture %d: %v, %s", sound, mechanical(v), v.Live.Instruction)
						}
						if sound >= leastPictures && (len(mechanical(v)) > 0 || len(guide.State().Window) > sound+1 || v.Live.Level == nil || g.missedBy(v) > fourSigma) {
							t.Errorf("sound picture %d: %v, measured by %v: %s", sound, mechanical(v), guide.State().Window, v.Live.Instruction)
						}
					}
				})
			}
		}
	}
}

// TestKnockedAmidSwings: a knock while the axis is being swung costs the pictures before it, and no more than three after it.
func TestKnockedAmidSwings(t *testing.T) {
	t.Parallel()
	seed := uint64(0)
	for _, camera := range []bool{false, true} {
		for _, before := range []int{1, 2, 3, 4} {
			for _, latitude := range []float64{46, -33} {
				seed++
				t.Run(fmt.Sprintf("camera %v, before picture %d, latitude %.0f°", camera, before, latitude), func(t *testing.T) {
					g := newRig(t, latitude, seed, tilted(2, 120))
					g.e.Mount.Knocks = []simulate.Knock{{Frame: before, Size: unit.AngleFromMin(20), Camera: camera}}
					guide := New(g.options())
					for i := range before + 5 {
						g.swing(swings[i%len(swings)])
						v := g.add(guide)
						if i < before+2 {
							continue
						}
						if len(mechanical(v)) > 0 || v.Live.Level == nil || g.missedBy(v) > fourSigma {
							t.Errorf("%d pictures after the knock: %v, off by %.1f errors: %s", i-before+1, mechanical(v), g.missedBy(v), v.Live.Instruction)
						}
					}
				})
			}
		}
	}
}

// TestGivesAgain: what gives now and then is not mended by three pictures in which it does not.
func TestGivesAgain(t *testing.T) {
	t.Parallel()
	g := newRig(t, 46, 3)
	guide := New(g.options())
	for i := range 12 {
		if i > 0 && i%4 == 0 {
			g.lag(0.7 + 0.1*float64(i))
		}
		if v := g.add(guide); i > 4 && (v.Live.Phase != Measuring || !blamed(v)) {
			t.Errorf("picture %d: %s: %s", i, v.Live.Phase, v.Live.Instruction)
		}
	}
}
