package align

import (
	"fmt"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// shortSigma and shortTurn: an axis less sure than this after a turn as small as that needs more turn, not more
// pictures. Ten arcminutes are three times what ten pictures in three minutes leave with a phone's long lens.
const (
	shortSigma = unit.Angle(10.0 / 60 * math.Pi / 180)
	shortTurn  = unit.Angle(5 * math.Pi / 180)
)

// wantedSigma is what a longer session is reckoned for.
const wantedSigma = unit.Angle(5.0 / 60 * math.Pi / 180)

// weakRatio and weakSigma: the error in one direction is worth a word when it is so many times that in the
// other, and as large as this. As errors fall with the power 3/2 of the time on one patch, as many pictures again on the
// other patch beat as many on the same one where √(1 + ratio²) > 2^1.5, from 2.65 on.
const (
	weakRatio = 2.65
	weakSigma = unit.Angle(3.0 / 60 * math.Pi / 180)
)

// doubt names an axis that is not sure enough, and the cure.
func (s *session) doubt() []Situation {
	files := s.files(0, len(s.in.Samples)-1)
	worst := s.a.WorstSigma()
	if s.in.followed() {
		return s.doubtFollowed(files)
	}
	if worst > shortSigma && s.a.Turned < shortTurn {
		return []Situation{{Kind: KindTooShort, Files: files, Size: angle(worst, 0), Sure: true, Text: fmt.Sprintf("The mount turned only %.1f° during the pictures, so the axis is sure to no better than ± %s. Swing it by hand by 20–60° between pictures, or go on for about %s.", s.a.Turned.Deg(), Arc(worst), minutes(s.longer()))}}
	}
	along, ratio := weakAlong(*s.a)
	if ratio < weakRatio || worst < weakSigma {
		return nil
	}
	return []Situation{{Kind: KindWeakDirection, Files: files, Size: angle(worst, 0), Sure: true, Text: fmt.Sprintf("One direction (%s) is known to ± %s only, the other to ± %s. %s, or swing the axis by hand by 30°: either cures it.", along, Arc(worst), Arc(unit.Angle(worst.Rad()/ratio)), s.cure())}}
}

// doubtFollowed is the same for a narrow field.
func (s *session) doubtFollowed(files []string) (list []Situation) {
	worst := s.a.WorstSigma()
	if worst > shortSigma {
		list = append(list, Situation{Kind: KindTooShort, Files: files, Size: angle(worst, 0), Sure: true, Text: fmt.Sprintf("In these pictures the axis is sure to no better than ± %s. Go on for about %s on the same field.", Arc(worst), minutes(s.longer()))})
	}
	along, ratio := weakAlong(*s.a)
	if ratio < weakRatio || worst < weakSigma {
		return list
	}
	return append(list, Situation{Kind: KindWeakDirection, Files: files, Size: angle(worst, 0), Sure: true, Text: fmt.Sprintf("One direction (%s) is known to ± %s only, the other to ± %s. %s, as a run of its own with its own place in the sky: it shows what this field hides.", along, Arc(worst), Arc(unit.Angle(worst.Rad()/ratio)), s.cure())})
}

// longer is how much longer to go on at the same pace: the error falls with the power 3/2 of the time.
func (s *session) longer() time.Duration {
	n := len(s.in.Samples)
	span := s.in.Samples[n-1].Mid.Sub(s.in.Samples[0].Mid)
	times := math.Pow(s.a.WorstSigma().Rad()/wantedSigma.Rad(), 2.0/3)
	return time.Duration(min(times-1, 1000) * float64(span))
}

func minutes(d time.Duration) string {
	m := max(math.Ceil(d.Minutes()), 1)
	if m == 1 {
		return "a minute more"
	}
	return fmt.Sprintf("%.0f minutes more", m)
}

// weakAlong says along what the error is largest, and how many times larger than across.
func weakAlong(a Axis) (along string, ratio float64) {
	c := a.Covariance
	mean, half := (c[0][0]+c[1][1])/2, math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	ratio = math.Sqrt((mean + half) / math.Max(mean-half, 1e-30))
	tilt := math.Atan2(2*c[0][1], c[0][0]-c[1][1]) / 2 // of the long axis, from azimuth toward altitude
	switch up := math.Abs(math.Sin(tilt)); {
	case up > 0.9:
		return "mostly altitude", ratio
	case up < 0.44:
		return "mostly azimuth", ratio
	}
	return "altitude and azimuth mixed", ratio
}

// cure names the patch of sky that shows what this one hides.
func (s *session) cure() string {
	at, ok := s.otherPatch()
	if !ok {
		return "Aim far from the pole"
	}
	return fmt.Sprintf("Take some pictures toward the %s at about %.0f° height", compass(at.Azimuth), math.Round(at.Altitude.Deg()/5)*5)
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
const patchHeight = unit.Angle(28 * math.Pi / 180)

var winds = [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}

// compass names the nearest of eight winds.
func compass(azimuth unit.Angle) string {
	return winds[int(math.Round(azimuth.Mod1().Deg()/45))%len(winds)]
}
