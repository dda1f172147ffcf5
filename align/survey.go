package align

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// Eye is what a picture of the camera at hand will tell of where it looks, before one is taken.
type Eye struct {
	Scale  unit.Angle // a pixel's
	SizePx float64    // the picture's diagonal
	Stars  int        // that will be used
	NoisePx,
	WanderPx float64 // of a star's place, and of the optical centre from picture to picture
}

// PhoneEye is a phone's long lens on a usual night: 115 mm equivalent, 12 megapixels, 50 stars placed to 0.15 pixels and a
// stabiliser that moves the centre by a tenth of one (invented, but of the size pictures show).
func PhoneEye() Eye {
	return Eye{Scale: unit.AngleFromSec(15.5), SizePx: 5040, Stars: 50, NoisePx: 0.15, WanderPx: 0.1}
}

// weight is the information of one picture: of n stars spread evenly over a picture of width w and height h,
// whose mean square distance from the middle is (w²+h²)/12,
//
//	variance across = (noise²/n + wander²) scale²        variance of the roll = 12 noise²/(n (w²+h²))
func (e Eye) weight() *r3.Mat {
	n := float64(max(e.Stars, 3))
	across := (e.NoisePx*e.NoisePx/n + e.WanderPx*e.WanderPx) * e.Scale.Rad() * e.Scale.Rad()
	roll := 12 * e.NoisePx * e.NoisePx / (n * e.SizePx * e.SizePx)
	return r3.NewMat([]float64{1 / across, 0, 0, 0, 1 / across, 0, 0, 0, 1 / roll})
}

// Outlook is how well the axis would be known from one patch of sky, one standard error on the sky in the weaker
// direction.
type Outlook struct {
	Patch
	Tracked unit.Angle // from ten pictures in three minutes, untouched
	Swung   unit.Angle // from three pictures, swung by +30° and −20°
}

// How a survey looks about: every step of azimuth, at heights between the thick air and the zenith, where nobody can look.
const (
	surveyStepDeg   = 15
	surveyEvery     = 20 * time.Second
	surveyPictures  = 10
	clearOfMoonsDeg = 20
)

var surveyHeightsDeg = [...]float64{30, 45, 60}

// Survey says, before the first picture, which patch of sky tells the axis soonest: the best one first, then the best in each
// quarter of the horizon, as a balcony may leave but one of them. It lays pictures out as [Predict] does, without noise,
// for an axis at the site's pole. Patches within 20° of what blinds (the Moon, where it is up: directions east, north, up) are
// left out. From the same spot the answer is the same at every hour but for those.
func Survey(site ephem.Site, eye Eye, blinding ...r3.Vec) []Outlook {
	var all []Outlook
	for az := 0.0; az < 360; az += surveyStepDeg {
		for _, alt := range surveyHeightsDeg {
			at := ephem.Horizontal{Azimuth: unit.AngleFromDeg(az), Altitude: unit.AngleFromDeg(alt)}
			if !blinded(at.Direction(), blinding) {
				all = append(all, outlook(site, eye, at))
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Outlook) int {
		switch {
		case a.Tracked < b.Tracked:
			return -1
		case a.Tracked > b.Tracked:
			return 1
		}
		return 0
	})
	return bestOfQuarters(all)
}

// bestOfQuarters keeps the best of all and the best of each quarter.
func bestOfQuarters(sorted []Outlook) []Outlook {
	seen := map[int]bool{}
	var best []Outlook
	for _, o := range sorted {
		q := quarter(o.At.Azimuth)
		if !seen[q] {
			seen[q] = true
			o.Name = [...]string{"north", "east", "south", "west"}[q]
			best = append(best, o)
		}
	}
	return best
}

// quarter is which of north, east, south, west an azimuth is nearest to.
func quarter(azimuth unit.Angle) int { return int(math.Floor(azimuth.Deg()/90+0.5)) % 4 }

func blinded(at r3.Vec, blinding []r3.Vec) bool {
	for _, b := range blinding {
		if b.Z > 0 && r3.Dot(at, r3.Unit(b)) > math.Cos(clearOfMoonsDeg*math.Pi/180) {
			return true
		}
	}
	return false
}

func outlook(site ephem.Site, eye Eye, at ephem.Horizontal) Outlook {
	pole := r3.Vec{Y: site.Latitude.Cos(), Z: site.Latitude.Sin()}
	p := plan{axis: pole, weight: eye.weight(), every: surveyEvery, south: site.Latitude < 0}
	look := p.hold(at.Direction())
	return Outlook{
		Patch:   Patch{At: at},
		Tracked: p.after([2][2]float64{}, p.track(look, surveyPictures, true), true),
		Swung:   p.after([2][2]float64{}, p.swung(look), true),
	}
}
