package exposure

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Cause is why stars are not as they should be.
type Cause string

// The causes (design §6). The first two are directions seen in the pictures; what lies behind the first is told in [Share].Behind.
const (
	CauseNone        Cause = ""
	CauseRA          Cause = "right ascension drift"
	CauseDec         Cause = "declination drift"
	CauseRotation    Cause = "field rotation"
	CauseLens        Cause = "lens"
	CauseFocus       Cause = "focus"
	CauseShake       Cause = "shake"
	CauseCloud       Cause = "cloud"
	CauseUnexplained Cause = "unknown"
)

// causes in the order in which equal shares are told.
var causes = [...]Cause{CauseRA, CauseDec, CauseRotation, CauseLens, CauseFocus, CauseShake, CauseCloud, CauseUnexplained}

// Origin is what lies behind a drift.
type Origin string

// The origins.
const (
	OriginRate   Origin = "rate"
	OriginWobble Origin = "periodic error"
	OriginAxis   Origin = "axis error"
	OriginStill  Origin = "the camera stood still"
	OriginWrong  Origin = "wrong hemisphere"
	OriginGives  Origin = "something gives way" // a clamp slips, a holder bends
)

// Question is what [Judge] may know besides the pictures. The zero value is fine.
type Question struct {
	MaxElongation float64 // 0 = 1.25
	Share         float64 // of the exposures that shall stay round, for the forecast; 0 = 0.9
	Axis          *KnownAxis
	Sky           bool // the pictures are known to show stars, recognised or not
	// Forecast of the mount as it stands, where one was made (package answer), so that one figure is told; nil: none.
	Forecast *Forecast
}

// KnownAxis is an axis measured at the time.
type KnownAxis struct {
	Site ephem.Site
	Air  ephem.Air
	Axis align.Axis
	// Rate of the motor, nil where not known, and the troubles named, by the pictures the axis was measured by.
	Rate   *align.Rate
	Faults []align.Situation
}

// Share is one cause in a set of exposures.
type Share struct {
	Cause Cause
	Share float64 // 0–1 of what the light spreads too far in the exposures that are amiss
	// Behind lists what may lie behind, likeliest first; more than one where the pictures cannot tell. Never nil.
	Behind []Origin
	Says   say.Line
}

// Judged is one exposure. Its elongation is that of the pattern fitted to all stars, in which their noise averages out: 1.00 for
// round ones. star.Field.Elongation is the median of single stars', which noise lengthens to 1.05–1.1; [FormOf] gives the
// elongation as here for one picture.
type Judged struct {
	File                      string
	Stars                     int
	FWHM                      float64    // median, pixels; 0 without stars
	Elongation, ElongationErr float64    // typical over the picture; 0 without stars whose shape can be told
	Angle, AngleErr           unit.Angle // of the long axis in the middle of the picture, from +x toward +y, in [0, π)
	TrailPx, TrailPxErr       float64
	Corner                    float64 // elongation not exceeded over nine tenths of the picture
	// Round is whether the stars are no longer than the tolerance, typically and over nine tenths of the picture.
	Round bool
	Cause Cause // what is amiss; a picture may be round and out of focus, or round through a cloud
	Doubt Doubt // why the picture is not judged: nothing says that its spots are stars
}

// Length is how many of the exposures would have been round had they been Factor times as long.
type Length struct {
	Factor    float64
	ExposureS float64 // of the middle exposure; 0 where not known
	Round     int
}

// Verdict is what a set of exposures shows.
type Verdict struct {
	Round, Of int
	Causes    []Share // most first; empty when nothing is amiss
	Frames    []Judged
	Lengths   []Length
	LeaveOut  []string // files better left out
	Advice    say.Line
	// Still is whether the camera stood still in most of the exposures.
	Still bool
	// Forecast is how long stars stay round with the mount as it stands, or the camera on its tripod; nil where that is not known.
	Forecast *Forecast
	// Unsure is why nothing was judged: nothing says that the spots are stars. None where something was.
	Unsure Doubt

	tolerance float64
	excessPx2 float64 // all shares together, px² a picture
}

// taken is one exposure on the way to its verdict. Parts are squared paths in pixels² (a straight trail of length L: L²), means
// over the picture.
type taken struct {
	shot    Shot
	p       pattern
	judged  *Judged
	halo    halo
	narrow  float64 // λ₂: variance of a round star in this picture
	grid    []oblong
	parts   map[Cause]float64
	east    float64 // path toward east and north in the picture's middle, pixels, sign of w
	north   float64
	axisRA  part // what the known axis makes of east and north
	axisDec part
	blurred bool
	stand   stand
	seen    float64 // |E| typical of the picture, px²
	doubt   Doubt
}

// Judge looks at a set of exposures: were they round, which not, and why.
//
// Pictures of different size are of different lenses. Stars without an attitude tell by their pattern alone: what trails all one
// way there is "unknown", since nobody knows where east is.
func Judge(shots []Shot, q Question) (Verdict, error) {
	if q.MaxElongation == 0 {
		q.MaxElongation = DefaultElongation
	}
	if !finite(q.MaxElongation) || q.MaxElongation <= 1 {
		return Verdict{}, amiss.New(ErrAsked, "the largest elongation leaves no room", "a round star has elongation 1: give a little more, as 1.25")
	}
	v := Verdict{Of: len(shots), Frames: make([]Judged, len(shots)), tolerance: q.MaxElongation}
	frames := make([]*taken, len(shots))
	for i, s := range shots {
		frames[i] = newFrame(s, &v.Frames[i])
	}
	if !q.Sky {
		doubts(frames)
	}
	lenses := v.fit(frames)
	for i, f := range frames {
		f.measure(lenses[i], v.tolerance)
	}
	set := set{frames: frames, axis: q.Axis, tolerance: v.tolerance, lenses: lenses}
	set.conclude()
	v.forecast(&set, q)
	v.gather(&set)
	return v, nil
}

func newFrame(s Shot, j *Judged) *taken {
	f := &taken{shot: s, judged: j, parts: map[Cause]float64{}}
	j.File, j.Stars = s.File, len(s.Stars)
	f.p.stars, f.halo = s.oblongs()
	var widths []float64
	for _, st := range s.Stars {
		if st.FWHM > 0 {
			widths = append(widths, st.FWHM)
		}
	}
	j.FWHM = medianOf(widths)
	return f
}

// fewest stars whose shapes make a pattern.
const fewest = 4

func (f *taken) told() bool { return len(f.p.stars) >= fewest }

// fit finds turns and lenses; the lens of each frame is returned.
func (v *Verdict) fit(frames []*taken) [][2]float64 {
	lenses := make([][2]float64, len(frames))
	bySize := map[[2]int][]int{}
	for i, f := range frames {
		if f.told() {
			k := [2]int{f.shot.Width, f.shot.Height}
			bySize[k] = append(bySize[k], i)
		}
	}
	for _, members := range bySize {
		var list []*pattern
		for _, i := range members {
			list = append(list, &frames[i].p)
		}
		lens := patterns(list)
		of := make([]*taken, 0, len(members))
		for _, i := range members {
			frames[i].shape(lens)
			of = append(of, frames[i])
		}
		lens = stands(of, lens)
		for _, i := range members {
			lenses[i] = lens
		}
	}
	return lenses
}

// gridCuts along each side of the picture: where the pattern is read.
const gridCuts = 6

func (s Shot) layOut() (list []oblong) {
	l := s.lens()
	hx, hy := l.half()
	for i := range gridCuts {
		for k := range gridCuts {
			at := vec{hx * (2*(float64(i)+0.5)/gridCuts - 1), hy * (2*(float64(k)+0.5)/gridCuts - 1)}
			o := oblong{at: at, lit: at.length() / math.Hypot(hx, hy)}
			o.away, o.sweeps = outward(at, o.lit), s.sweeps(at)
			list = append(list, o)
		}
	}
	return list
}

// measure reads a frame's figures off its stars and its pattern.
func (f *taken) measure(lens [2]float64, tolerance float64) {
	if len(f.p.stars) == 0 {
		return
	}
	j := f.judged
	sigma := f.shape(lens)
	if !f.told() { // no pattern
		j.AngleErr = unit.Angle(math.Pi / math.Sqrt(12))
		j.Corner = j.Elongation
		j.Round = j.Elongation <= tolerance
		return
	}
	f.grid = f.shot.layOut()
	f.direction(sigma)
	j.Corner = f.corner(lens, 1)
	j.Round = j.Elongation <= tolerance && j.Corner <= tolerance
}

// shape fills in elongation and trail, and the width of a round star they are counted by; the standard error of E is returned.
func (f *taken) shape(lens [2]float64) (sigma float64) {
	drawn := f.smooth(lens)
	noise := f.noise()
	// |E| of a vector with an error s along each axis reads μ + s²/2μ.
	size := math.Sqrt(math.Max(0, drawn*drawn-noise*noise))
	f.narrow = f.round(lens, size)
	ofE, ofWidth := f.halo.left()
	sigma = math.Sqrt(noise*noise + shapeLeft*shapeLeft*f.narrow*f.narrow + ofE*ofE*size*size)
	j := f.judged
	j.Elongation = math.Sqrt(1 + size/f.narrow)
	j.ElongationErr = math.Hypot(sigma, ofWidth*size) / (2 * j.Elongation * f.narrow)
	f.seen = size
	j.TrailPx, j.TrailPxErr = f.trail(lens, sigma)
	return sigma
}

// trail is the straight length of the path alone: what the lens draws the stars out by is no part of it. That of a camera which
// stood is known better than it can be measured.
func (f *taken) trail(lens [2]float64, sigma float64) (px, err float64) {
	if f.stand.still {
		px = f.path(f.stand.sky)
		return px, shutterErr * px
	}
	if !f.told() || lens == [2]float64{} {
		return trailOf(f.seen, sigma)
	}
	var list []float64
	for i := range f.p.stars {
		list = append(list, f.p.stars[i].drawn(f.p.w).length())
	}
	drawn, noise := medianOf(list), f.noise()
	return trailOf(math.Sqrt(math.Max(0, drawn*drawn-noise*noise)), sigma)
}

// path is the length of the path of a turn, in the middle of the stars.
func (f *taken) path(w [3]float64) float64 {
	var list []float64
	for i := range f.p.stars {
		list = append(list, f.p.stars[i].swept(w).length())
	}
	return medianOf(list)
}

// trailOf is the length of a straight path with the given |E|, and its error: that toward shorter ones, which is the larger. A trail that is
// no longer than its error may be none.
func trailOf(size, sigma float64) (px, err float64) {
	px = math.Sqrt(12 * size)
	if size <= sigma {
		return px, math.Max(px, math.Sqrt(12*sigma)-px)
	}
	return px, px - math.Sqrt(12*(size-sigma))
}

// shapeLeft, as a share of λ₂: what pixels, compression and the lens leave in the mean of many stars' E. Of a round star of 2.6
// pixels it is a trail of 0.5 pixels, of one trailed by half its width 0.09.
const shapeLeft = 0.015

// model is the smooth E of the picture at a star: of the pattern, or of the mean where there are too few stars for one.
func (f *taken) model(o *oblong, lens [2]float64, mean vec) vec {
	if !f.told() {
		return mean
	}
	return o.drawn(f.p.w).plus(o.radial(lens))
}

// smooth is the median |E| of the pattern over the stars. In the pattern noise has averaged out.
func (f *taken) smooth(lens [2]float64) float64 {
	mean := f.p.mean()
	var list []float64
	for i := range f.p.stars {
		list = append(list, f.model(&f.p.stars[i], lens, mean).length())
	}
	return medianOf(list)
}

// noise is the standard error of the mean E along an axis, by the stars' errors widened to their scatter.
func (f *taken) noise() float64 {
	weight := 0.0
	for _, o := range f.p.stars {
		weight += 1 / (o.sigma * o.sigma)
	}
	return math.Max(1, f.p.swelled) / math.Sqrt(weight)
}

// round is the variance of a round star: the mean of both axes less half of what the pattern draws them apart.
func (f *taken) round(lens [2]float64, size float64) float64 {
	mean := f.p.mean()
	drawn := f.smooth(lens)
	var list []float64
	for i := range f.p.stars {
		o := &f.p.stars[i]
		e := f.model(o, lens, mean).length()
		if drawn > 0 {
			e *= size / drawn
		}
		// A star rounder than the pattern has it may not get a width below its share.
		list = append(list, math.Max(o.mean-f.halo.kept*e/2, o.mean/16))
	}
	measured := medianOf(list)
	return measured / f.halo.widened(f.halo.kept*size/measured)
}

// direction of the long axis in the middle, as displayed.
func (f *taken) direction(sigma float64) {
	middle := f.middle()
	e := middle.drawn(f.p.w)
	angle := math.Atan2(e.y, e.x) / 2
	if f.shot.Mirrored != f.shot.RowsFlipped {
		angle = -angle
	}
	if angle < 0 {
		angle += math.Pi
	}
	f.judged.Angle = unit.Angle(angle)
	f.judged.AngleErr = unit.Angle(math.Min(sigma/(2*math.Max(e.length(), 1e-12)), math.Pi/math.Sqrt(12)))
}

func (f *taken) middle() oblong { return oblong{sweeps: f.shot.sweeps(vec{})} }

// inner is the part of the picture that has to be round.
const inner = 0.9

// corner is the elongation that nine tenths of the picture stay under, had the exposure been factor times as long.
func (f *taken) corner(lens [2]float64, factor float64) float64 {
	var list []float64
	for _, o := range f.grid {
		e := o.drawn(f.p.w).times(factor * factor).plus(o.radial(lens))
		list = append(list, e.length())
	}
	slices.Sort(list)
	return math.Sqrt(1 + list[int(inner*float64(len(list)-1))]/f.narrow)
}
