package align

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/say"
)

// shortSigma and shortTurn: an axis less sure than this after a turn as small as that needs more turn, not more
// pictures. Ten arcminutes are three times what ten pictures in three minutes leave with a phone's long lens.
const (
	shortSigma = 10 * ephem.Arcmin
	shortTurn  = 5 * ephem.Degree
)

// wantedSigma is what a longer session is reckoned for.
const wantedSigma = 5 * ephem.Arcmin

// weakRatio and weakSigma: the error in one direction is worth a word when it is so many times that in the
// other, and as large as this. As errors fall with the power 3/2 of the time on one patch, as many pictures again on the
// other patch beat as many on the same one where √(1 + ratio²) > 2^1.5, from 2.65 on.
const (
	weakRatio = 2.65
	weakSigma = 3 * ephem.Arcmin
)

// doubt names an axis that is not sure enough, and the cure.
func (s *session) doubt() []Situation {
	files := s.files(0, len(s.in.Samples)-1)
	worst := s.a.WorstSigma()
	if s.in.followed() {
		return s.doubtFollowed(files)
	}
	if worst > shortSigma && s.a.Turned < shortTurn {
		return []Situation{{Kind: KindTooShort, Files: files, Size: angle(worst, 0), Sure: true, Says: say.Of("turned too little", say.Degrees(s.a.Turned), worst, say.Wait(s.longer()))}}
	}
	along, ratio := weakAlong(*s.a)
	if ratio < weakRatio || worst < weakSigma {
		return nil
	}
	return []Situation{{Kind: KindWeakDirection, Files: files, Size: angle(worst, 0), Sure: true, Says: say.All(say.Of("weak direction", along, worst, unit.Angle(worst.Rad()/ratio)), say.Of("other patch or swing", s.cure()))}}
}

// doubtFollowed is the same for a narrow field.
func (s *session) doubtFollowed(files []string) (list []Situation) {
	worst := s.a.WorstSigma()
	if worst > shortSigma {
		list = append(list, Situation{Kind: KindTooShort, Files: files, Size: angle(worst, 0), Sure: true, Says: say.Of("too short, followed", worst, say.Wait(s.longer()))})
	}
	along, ratio := weakAlong(*s.a)
	if ratio < weakRatio || worst < weakSigma {
		return list
	}
	return append(list, Situation{Kind: KindWeakDirection, Files: files, Size: angle(worst, 0), Sure: true, Says: say.All(say.Of("weak direction", along, worst, unit.Angle(worst.Rad()/ratio)), say.Of("other patch as a run of its own", s.cure()))})
}

// longer is how much longer to go on at the same pace: the error falls with the power 3/2 of the time.
func (s *session) longer() time.Duration {
	n := len(s.in.Samples)
	span := s.in.Samples[n-1].Mid.Sub(s.in.Samples[0].Mid)
	times := math.Pow(s.a.WorstSigma().Rad()/wantedSigma.Rad(), 2.0/3)
	return time.Duration(min(times-1, 1000) * float64(span))
}

// weakAlong says along what the error is largest, and how many times larger than across.
func weakAlong(a Axis) (along say.Line, ratio float64) {
	c := a.Covariance
	mean, half := (c[0][0]+c[1][1])/2, math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	ratio = math.Sqrt((mean + half) / math.Max(mean-half, 1e-30))
	tilt := math.Atan2(2*c[0][1], c[0][0]-c[1][1]) / 2 // of the long axis, from azimuth toward altitude
	switch up := math.Abs(math.Sin(tilt)); {
	case up > 0.9:
		return say.Of("mostly tilt"), ratio
	case up < 0.44:
		return say.Of("mostly base"), ratio
	}
	return say.Of("tilt and base mixed"), ratio
}

// cure names the patch of sky that shows what this one hides.
func (s *session) cure() say.Line {
	at, ok := s.otherPatch()
	if !ok {
		return say.Of("aim far from the pole")
	}
	return say.Of("pictures toward", say.Wind(at.Azimuth), int(math.Round(at.Altitude.Deg()/5))*5)
}

// otherPatch is where to look. The weak direction lies along the hour circle of the patch, so the best other one lies
// six hours of hour angle away: square to the plane of axis and view. False where the camera looks along the axis.
func (s *session) otherPatch() (ephem.Horizontal, bool) {
	c, _ := s.in.Samples[len(s.in.Samples)-1].Attitude.Given(s.a.WanderPx)
	aside := r3.Cross(s.a.Direction, c.Inverse().Apply(r3.Vec{Z: 1}))
	if r3.Norm(aside) < 1e-6 {
		return ephem.Horizontal{}, false
	}
	aside = r3.Scale(math.Copysign(1/r3.Norm(aside), aside.Z), aside)
	// Too low there: half way to the pole; where the pole is low as well, nearer the zenith.
	for _, lift := range []r3.Vec{s.a.Direction, {Z: 0.5}} {
		if aside.Z < math.Sin(patchHeight.Rad()) {
			aside = r3.Unit(r3.Add(aside, lift))
		}
	}
	return ephem.HorizontalOf(aside), true
}

// patchHeight is what a second patch should at least stand at.
const patchHeight = 28 * ephem.Degree
