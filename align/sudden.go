package align

import (
	"cmp"
	"math"
	"slices"
)

// sudden keeps of the knocks a rigid mount would need only those that the session needs even if the camera gave slowly:
// a jump between neighbours beyond what noise and the slow part make. A knock brings four unknowns, the camera's
// attitude across the axis and the axis, each beforehand about as large as the knock; it is believed where that much
// more freedom, and how seldom mounts are knocked, are paid for by the fit.
func (in Input) sudden(obs []observation, seg segmentation) (segmentation, []told) {
	var knocks []Break
	kept := segmentation{stray: seg.stray}
	for _, b := range seg.breaks {
		if b.Knock {
			knocks = append(knocks, b)
		} else {
			kept.breaks = append(kept.breaks, b)
		}
	}
	slices.SortStableFunc(knocks, func(a, b Break) int { return cmp.Compare(a.chance, b.chance) })
	best, evidence := in.account(obs, kept)
	try := func(some ...Break) {
		more := segmentation{breaks: append(slices.Clone(kept.breaks), some...), stray: seg.stray}
		sortBreaks(more.breaks)
		if tells, e := in.account(obs, more); len(best) == 0 || e > evidence {
			kept, best, evidence = more, tells, e
		}
	}
	rigid := kept
	for _, b := range knocks {
		try(b)
	}
	if len(kept.breaks)-len(rigid.breaks) < len(knocks) && len(knocks) > 1 { // together they may pay where none does alone
		all := kept
		kept = rigid
		try(knocks...)
		if len(kept.breaks) == len(rigid.breaks) {
			kept = all
		}
	}
	return kept, best
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
