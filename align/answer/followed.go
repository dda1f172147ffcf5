package answer

import (
	"slices"

	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/ephem/say"
)

// noteFollowed says what an answer rests on whose pictures were followed by their own stars.
func (b *builder) noteFollowed() {
	f := b.seq.Followed
	if f == nil || f.Solutions[f.Reference] == nil {
		return
	}
	ra, dec := f.Solutions[f.Reference].RADec()
	up, wrong := say.Of("up as given"), say.Of("field given wrong")
	if f.RollShown {
		up = say.Of("up by the motor off")
	}
	if !f.HandKnown {
		wrong = say.Of("field given wrong, or mirrored")
	}
	b.note(say.All(say.Of("followed", say.Degrees(ra.Angle()), say.Degrees(dec), say.Degrees(f.PointingSigma),
		say.Degrees(f.Roll), say.Degrees(f.RollSigma), up), wrong))
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
	ad.Trustworthy, ad.Next = false, policy.Measure
	ad.Says = say.Of("mirrored or not?")
}
