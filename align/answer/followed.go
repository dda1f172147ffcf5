package answer

import "fmt"

// noteFollowed says what an answer rests on whose pictures were followed by their own stars.
func (b *builder) noteFollowed() {
	f := b.seq.Followed
	if f == nil || f.Solutions[f.Reference] == nil {
		return
	}
	ra, dec := f.Solutions[f.Reference].RADec()
	wrong := "A field given wrong by more makes the answer wrong."
	if !f.RollShown { // the motor never stood, and nothing showed which hand the pictures have
		wrong = "A field given wrong by more, or a picture with left and right exchanged, makes the answer wrong."
	}
	b.out.Advice.Notes = append(b.out.Advice.Notes, fmt.Sprintf(
		"This field is too narrow to be recognised: the pictures were followed by their own stars, taken to look at right ascension %.2f°, declination %+.2f°, within %.1f°, %s. %s",
		ra.Deg(), dec.Deg(), f.PointingSigma.Deg(), f.Told(), wrong))
}
