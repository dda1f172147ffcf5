package exposure

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem"
)

// set is all exposures together: what one picture cannot tell, many may.
type set struct {
	frames    []*taken
	axis      *KnownAxis
	tolerance float64
	lenses    [][2]float64
	best      map[[2]int]float64 // λ₂ of the best focused, by size of picture
}

// conclude parts what each frame is drawn out by, and names its cause.
func (s *set) conclude() {
	s.bestFocus()
	for i, f := range s.frames {
		f.focus(s.best[f.size()])
		if f.told() {
			f.divide(s.lenses[i])
			f.expect(s.axis)
		}
	}
	s.shakes()
	for _, f := range s.frames {
		f.judged.Cause = f.cause()
	}
}

func (f *taken) size() [2]int { return [2]int{f.shot.Width, f.shot.Height} }

const (
	// softPx and softArcsec: stars wider than both in all pictures are out of focus. Air widens stars to 1″–5″, small lenses
	// to 2 or 3 pixels (common practice, no source).
	softPx, softArcsec = 4.5, 15
	// sharpPx is the width taken for sharp where no picture is.
	sharpPx = 2.5
	// bestShare: the best are the sharpest tenth.
	bestShare = 0.1
)

// bestFocus finds the sharpest tenth of each lens's pictures.
func (s *set) bestFocus() {
	list := map[[2]int][]float64{}
	for _, f := range s.frames {
		if f.told() {
			list[f.size()] = append(list[f.size()], f.narrow)
		}
	}
	s.best = map[[2]int]float64{}
	for k, l := range list {
		slices.Sort(l)
		s.best[k] = l[int(bestShare*float64(len(l)))]
	}
}

// focus finds whether the stars are wide along their short axis, which no path makes them.
func (f *taken) focus(best float64) {
	if !f.told() {
		return
	}
	width := 2 * math.Sqrt(2*math.Ln2*f.narrow)
	soft := width > softPx
	if f.solvedScale() > 0 {
		soft = soft && width*f.solvedScale() > softArcsec
	} else {
		soft = soft && width > 1.5*softPx // without a scale air may have done it
	}
	sharp := sigmaOf(sharpPx)
	switch {
	case f.narrow > align.Blur*align.Blur*best:
		f.parts[CauseFocus] = 12 * (f.narrow - best)
	case soft:
		f.parts[CauseFocus] = 12 * (f.narrow - sharp*sharp)
	default:
		return
	}
	f.blurred = true
}

// solvedScale is arcseconds per pixel, 0 if unknown.
func (f *taken) solvedScale() float64 {
	if f.shot.FocalPx <= 0 {
		return 0
	}
	return unit.Angle(1 / f.shot.FocalPx).Sec()
}

// divide parts the path of a frame, as means over the picture of squared pixels. Seen from the middle the sky's turn w
// is an east motion (w along north), a north motion (w along −east) and a turning about the line of sight.
func (f *taken) divide(lens [2]float64) {
	l := f.shot.lens()
	w := r3.Vec{X: f.p.w[0], Y: f.p.w[1], Z: f.p.w[2]}
	var turn, lensed float64
	for _, o := range f.grid {
		turn += o.sweeps[2].dot(o.sweeps[2]) * w.Z * w.Z / float64(len(f.grid))
		lensed += 12 * o.radial(lens).length() / float64(len(f.grid))
	}
	f.parts[CauseLens] = lensed
	if f.stand.still {
		f.parts[CauseRA] = f.meanPath(f.stand.sky)
		f.east, f.north = math.Sqrt(f.parts[CauseRA]), 0
		return
	}
	shift := l.FocalPx * l.FocalPx * (w.X*w.X + w.Y*w.Y)
	if !f.shot.solved() {
		f.unsolved(w, shift, turn)
		return
	}
	east, north := f.shot.compass()
	f.east, f.north = l.FocalPx*r3.Dot(w, north), -l.FocalPx*r3.Dot(w, east)
	switch {
	case f.aboutPole(w):
		f.parts[CauseRA] = shift + turn
		f.east, f.north = math.Sqrt(shift+turn), 0
	case f.aboutInside(w):
		f.parts[CauseRotation] = shift + turn
	default:
		f.parts[CauseRA], f.parts[CauseDec], f.parts[CauseRotation] = f.east*f.east, f.north*f.north, turn
	}
}

// meanPath is the squared path of a turn, in the mean over the picture.
func (f *taken) meanPath(w [3]float64) (sum float64) {
	for _, o := range f.grid {
		v := o.swept(w)
		sum += v.dot(v) / float64(len(f.grid))
	}
	return sum
}

// unsolved: what moves all one way has no name without east and north.
func (f *taken) unsolved(w r3.Vec, shift, turn float64) {
	if f.aboutInside(w) {
		f.parts[CauseRotation] = shift + turn
		return
	}
	f.parts[CauseRotation], f.parts[CauseUnexplained] = turn, shift
}

// poleWithin: a turn whose axis lies this near the pole is one in right ascension, however much it turns the field.
const poleWithin = 6 * ephem.Degree

// aboutPole is whether the sky turned about its own pole, as with a wrong rate or none, in a picture that shows the turning.
func (f *taken) aboutPole(w r3.Vec) bool {
	if f.p.turning < clearly {
		return false
	}
	pole := f.shot.Attitude.Apply(r3.Vec{Z: 1})
	return math.Abs(r3.Dot(r3.Unit(w), pole)) > poleWithin.Cos()
}

// aboutInside is whether the point about which the stars turn lies in the picture.
func (f *taken) aboutInside(w r3.Vec) bool {
	if f.p.turning < clearly || w.Z == 0 {
		return false
	}
	l := f.shot.lens()
	at := l.falls(w)
	hx, hy := l.half()
	return math.Abs(at.x) <= hx && math.Abs(at.y) <= hy
}

// expect is what the known axis makes of the path: w = ωT·(â − p̂) in the camera (package comment), the pole taken as seen.
func (f *taken) expect(k *KnownAxis) {
	if k == nil || !f.shot.solved() || f.shot.Mid.IsZero() || f.shot.ExposureS <= 0 {
		return
	}
	sky, err := ephem.NewSky(k.Site, k.Air, f.shot.Mid)
	if err != nil {
		return
	}
	into := func(enu r3.Vec) r3.Vec { return f.shot.Attitude.Apply(sky.ICRS(enu)) }
	hand := 1.0
	if k.Site.Latitude < 0 {
		hand = -1
	}
	size := hand * omega * f.shot.ExposureS * f.shot.FocalPx
	w := r3.Scale(size, r3.Sub(into(k.Axis.Direction), into(sky.RefractedPole().Direction())))
	across, up := level(k.Axis.Direction)
	a, u, c := r3.Scale(size, into(across)), r3.Scale(size, into(up)), k.Axis.Covariance
	along := func(d r3.Vec) part {
		x, y := r3.Dot(a, d), r3.Dot(u, d)
		return part{r3.Dot(w, d), math.Sqrt(math.Max(0, x*x*c[0][0]+2*x*y*c[0][1]+y*y*c[1][1]))}
	}
	east, north := f.shot.compass()
	f.axisRA, f.axisDec = along(north), along(r3.Scale(-1, east))
	// The sign of w, which no picture shows, is taken to go with the axis.
	if f.east*f.axisRA.px+f.north*f.axisDec.px < 0 {
		f.east, f.north = -f.east, -f.north
	}
}

// part of a path with its standard error, pixels.
type part struct{ px, err float64 }

// declination of the picture's middle.
func (s Shot) declination() unit.Angle {
	return unit.Angle(math.Asin(clamp(s.Attitude.Apply(r3.Vec{Z: 1}).Z)))
}

// # Shake
//
// Wind and knocks draw out one picture this way and the next that way; an axis draws out all pictures of a night
// alike along declination; gear and rate vary, but along right ascension only. So it is the part along declination that
// betrays shaking: when it differs from one picture to the next, and the directions in the sky with it.
const (
	// shakeLeast pictures before their directions are compared.
	shakeLeast = 3
	// shakeAlike: directions this much alike (length of the mean of the doubled directions, 1 = all the same) are no shaking.
	shakeAlike = 0.95
	// shakeAlikeBlind is the same where east is not known: a gear together with an axis may then look like shaking, so it takes more.
	shakeAlikeBlind = 0.7
	// shakeVaries and shakeShare: the middle jump of the part along declination from one picture to the next, as a share of that
	// part and of the whole trail. An axis moves its drift by some percent from picture to picture at most; directions
	// at random jump by a third.
	shakeVaries, shakeShare = 0.15, 0.1
	// shakeAlone: a picture whose declination part is this many times that of the set's middle was shaken alone.
	shakeAlone = 2.5
	// shakeSkew: and its part of the whole path squared, lest a small slant of a drift in right ascension passes for it.
	shakeSkew = 0.3
)

// shakes finds shaking and moves its parts: among the pictures with an attitude by their directions in the sky, among the others by
// those in the picture.
func (s *set) shakes() {
	for _, solved := range []bool{true, false} {
		list := s.drawnOut(solved)
		if len(list) >= shakeLeast && varies(list) {
			for _, f := range list {
				f.shaken()
			}
			continue
		}
		s.shakenAlone(list, solved)
	}
}

// shakenAlone finds single pictures drawn out along declination where the others are not.
func (s *set) shakenAlone(list []*taken, solved bool) {
	var norths []float64
	for _, f := range s.frames {
		if f.told() && f.shot.solved() == solved {
			norths = append(norths, math.Abs(f.acrossPart()))
		}
	}
	if len(norths) < 2*shakeLeast-1 {
		return
	}
	usual := medianOf(norths)
	for _, f := range list {
		a := f.acrossPart()
		if !f.judged.Round && math.Abs(a) > shakeAlone*usual && a*a > shakeSkew*f.shift() {
			f.shaken()
		}
	}
}

// drawnOut are the frames whose stars are clearly drawn out one way.
func (s *set) drawnOut(solved bool) (list []*taken) {
	for _, f := range s.frames {
		j := f.judged
		if f.told() && f.shot.solved() == solved && j.Elongation > 1+(s.tolerance-1)/2 && j.Elongation-1 > 3*j.ElongationErr && f.parts[CauseRotation] < f.shift() {
			list = append(list, f)
		}
	}
	return list
}

// shift is the squared path all stars share, pixels².
func (f *taken) shift() float64 {
	return f.parts[CauseRA] + f.parts[CauseDec] + f.parts[CauseUnexplained]
}

// acrossPart is the path along declination; in pictures without attitude, along x.
func (f *taken) acrossPart() float64 {
	if f.shot.solved() {
		return f.north
	}
	return f.shot.lens().FocalPx * f.p.w[1]
}

func (f *taken) alongPart() float64 {
	if f.shot.solved() {
		return f.east
	}
	return f.shot.lens().FocalPx * f.p.w[0]
}

// varies is whether the directions of a set of frames are at random. Frames of other exposures are brought to the same.
func varies(list []*taken) bool {
	var sum vec
	var size, square float64
	var jumps, across []float64
	for i, f := range list {
		k := 1.0
		if f.shot.ExposureS > 0 && list[0].shot.ExposureS > 0 {
			k = list[0].shot.ExposureS / f.shot.ExposureS
		}
		a, b := k*f.alongPart(), k*f.acrossPart()
		sum = sum.plus(vec{a*a - b*b, 2 * a * b})
		size += a*a + b*b
		square += b * b / float64(len(list))
		across = append(across, math.Abs(b))
		if i > 0 {
			jumps = append(jumps, math.Abs(across[i]-across[i-1]))
		}
	}
	alike := sum.length() / size
	if !list[0].shot.solved() { // no direction is declination
		return alike < shakeAlikeBlind
	}
	jump := medianOf(jumps)
	return alike < shakeAlike && jump > shakeVaries*math.Sqrt(square) && jump > shakeShare*math.Sqrt(size/float64(len(list)))
}

// shaken moves what draws a frame out one way to the shaking.
func (f *taken) shaken() {
	f.parts[CauseShake] += f.shift()
	f.parts[CauseRA], f.parts[CauseDec], f.parts[CauseUnexplained] = 0, 0, 0
}

// cause of what is amiss in a frame.
func (f *taken) cause() Cause {
	if !f.told() {
		switch {
		case f.shot.Clouded:
			return CauseCloud
		case f.judged.Round:
			return CauseNone
		}
		return CauseUnexplained
	}
	switch {
	case f.shot.Clouded && f.judged.Round && !f.blurred:
		return CauseCloud
	case f.judged.Round && f.blurred:
		return CauseFocus
	case f.judged.Round:
		return CauseNone
	}
	best, most := CauseUnexplained, 0.0
	for _, c := range causes {
		if f.parts[c] > most {
			best, most = c, f.parts[c]
		}
	}
	return best
}
