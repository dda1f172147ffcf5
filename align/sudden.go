package align

import (
	"cmp"
	"math"
	"slices"
)

// turnChance is how probable it is beforehand that the knobs were turned where the camera was aimed anew; where a jump is
// to be explained besides, it is that of a break.
const turnChance = 1e-3

// sudden keeps of the knocks a rigid mount would need only those that the session needs even if the camera gave slowly:
// a jump between neighbours beyond what noise and the slow part make. A knock brings four unknowns, the camera's
// attitude across the axis and the axis, each beforehand about as large as the knock; it is believed where that much
// more freedom, and how seldom mounts are knocked, are paid for by the fit. Where the knobs were turned, the axis went
// much farther than the camera, which may have been put back on its target: two parts that fit well alone and badly together
// are two axes.
func (in Input) sudden(obs []observation, seg segmentation) (segmentation, []told) {
	var knocks []Break
	for _, b := range seg.breaks {
		if b.Knock {
			knocks = append(knocks, b)
		}
	}
	slices.SortStableFunc(knocks, func(a, b Break) int { return cmp.Compare(a.chance, b.chance) })
	plain := segmentation{stray: seg.stray}
	for _, b := range seg.breaks {
		if !b.Knock {
			plain.breaks = append(plain.breaks, b)
		}
	}
	c := choice{in: in, obs: obs}
	c.try(plain)
	for _, b := range knocks {
		c.tryWith(c.kept, b)
	}
	if n := len(c.kept.breaks) - len(plain.breaks); n < len(knocks) && len(knocks) > 1 { // together they may pay where none does alone
		c.tryWith(plain, knocks...)
	}
	for i, b := range c.kept.breaks {
		if b.Turned {
			continue
		}
		more := segmentation{breaks: slices.Clone(c.kept.breaks), stray: seg.stray}
		more.breaks[i].Turned = true
		c.try(more)
	}
	return c.kept, c.tells
}

// choice is the most probable of the segmentations tried.
type choice struct {
	in       Input
	obs      []observation
	kept     segmentation
	tells    []told
	evidence float64
}

func (c *choice) try(seg segmentation) {
	if tells, e := c.in.account(c.obs, seg); len(tells) > 0 && (len(c.tells) == 0 || e > c.evidence) {
		c.kept, c.tells, c.evidence = seg, tells, e
	}
}

// tryWith tries a segmentation with some knocks more, and with each of them as a turn of the knobs.
func (c *choice) tryWith(seg segmentation, some ...Break) {
	for _, turned := range [2]bool{false, true} {
		more := segmentation{breaks: slices.Clone(seg.breaks), stray: seg.stray}
		for _, b := range some {
			b.Turned = turned
			more.breaks = append(more.breaks, b)
		}
		sortBreaks(more.breaks)
		c.try(more)
	}
}

// account tells the stories of a session parted at breaks, and how probable they make it altogether (logarithm, up to
// a constant).
func (in Input) account(obs []observation, seg segmentation) ([]told, float64) {
	m := newModel(in, obs, seg)
	tells := overStories(in.Samples, overWander(in.Samples, m))
	if len(tells) == 0 {
		return nil, math.Inf(-1)
	}
	evidence := totalOf(tells)
	for _, b := range seg.breaks {
		if b.Knock {
			evidence += math.Log(breakChance) - 2*math.Log(max(b.Size.Rad(), 1e-6))
		} else if b.Turned {
			evidence += math.Log(turnChance)
		}
	}
	for s := 1; s < len(m.axis); s++ {
		evidence -= 2 * math.Log(m.link[s])
	}
	return tells, evidence + float64(len(m.blocks))*math.Log(gaugeWeight)/2
}

// totalOf is the logarithm of the sum of what the stories are worth.
func totalOf(tells []told) float64 {
	top := tells[likeliest(tells)].logPost
	var sum float64
	for _, t := range tells {
		sum += math.Exp(t.logPost - top)
	}
	return top + math.Log(sum)
}
