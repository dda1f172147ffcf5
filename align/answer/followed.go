package answer

import (
	"fmt"
	"slices"

	"trueturn/align"
	"trueturn/drift"
)

// noteFollowed says what an answer rests on whose pictures were followed by their own stars.
func (b *builder) noteFollowed() {
	f := b.seq.Followed
	if f == nil || f.Solutions[f.Reference] == nil {
		return
	}
	ra, dec := f.Solutions[f.Reference].RADec()
	wrong := "A field given wrong by more makes the answer wrong."
	if !f.HandKnown {
		wrong = "A field given wrong by more, or pictures with left and right exchanged, make the answer wrong: these pictures do not show which. Two pictures with the motor off, half a minute apart, do, unless the field is near the equator."
	}
	b.note(fmt.Sprintf(
		"This field is too narrow to be recognised: the pictures were followed by their own stars, taken to look at right ascension %.2f°, declination %+.2f°, within %.1f°, %s. %s",
		ra.Deg(), dec.Deg(), f.PointingSigma.Deg(), b.o.Voice.Say(f.Says()), wrong))
}

// doubtHand takes the trust from an answer that rests on pictures which may be mirrored: nothing showed their hand, and their
// files do not say which way their rows run.
func (b *builder) doubtHand() {
	if f := b.seq.Followed; f == nil || f.HandKnown {
		return
	}
	if !slices.ContainsFunc(b.seq.Shots, func(s drift.Shot) bool { return s.RowOrderFree && s.Solution != nil }) {
		return
	}
	ad := &b.out.Advice
	ad.Trustworthy, ad.Next = false, align.Measure
	ad.NextText = "Left and right may be exchanged in these pictures, and the axis would then lie elsewhere: take two pictures with the motor off, half a minute apart, and measure again with them among the others. Near the equator of the sky they cannot tell; then have the program that wrote the files say which way their rows run (ROWORDER)."
}
