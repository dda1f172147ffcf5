package exposure

import (
	"math"
	"slices"

	"trueturn/drift/star"
	"trueturn/ephem/say"
)

// # Are they stars?
//
// Lamps, leaves and letters make spots too. Where the catalogue knows the stars of a picture nothing is asked. Else the spots must
// be like stars among themselves: one lens draws them, so that they are as wide as each other and drawn out alike; of stars there
// are the more the fainter they are, so that the logarithms of their light are skewed toward the bright few; and they lie at
// random. Of a handful of spots all this may be chance, and fewer than fewSpots are not believed. Whatever speaks against a picture,
// it is believed all the same where another one of the camera, against which nothing speaks, shows stars as wide.

// Doubt is why the spots of a picture are not taken for stars.
type Doubt string

// The doubts.
const (
	DoubtNone   Doubt = ""
	DoubtBlack  Doubt = "black"
	DoubtFew    Doubt = "few"
	DoubtWidths Doubt = "widths"
	DoubtShapes Doubt = "shapes"
	DoubtLight  Doubt = "light"
	DoubtPlaces Doubt = "places"
)

const (
	// blackLevel of the sky in light from 0 to 1: 8 of 255 in a JPEG. Pictures of stars may be as dark; with stars enough nobody asks.
	blackLevel = 0.0025
	// fewSpots: below, widths that agree may do so by chance.
	fewSpots = 5
	// clearShare of the spots whose shape is clear: of stars found above 5.5 times the noise a third stands above 12 times where
	// they grow as fast in number as stars ever do; merged, cut off and saturated ones leave fewer.
	clearShare = 0.2
	// manySpots: from here on the widths of a lens that is worse in the corners are compared about a smooth course.
	manySpots = 20
	// widthFew and widthMany: scatter of the logarithms of widths (1.48 times the middle deviation) over what noise makes. Real
	// lenses leave 0.03 to 0.10, things that are no stars 0.07 and more: of few spots some will be mistaken either way.
	widthFew, widthMany = 0.065, 0.12
	// shapeScatter: by how much the stars' departures from a smooth pattern over the picture exceed their errors. Real lenses make
	// it 1 to 2, things that are no stars 4.5 and more.
	shapeScatter = 3.2
	// lightSpread, lightSkew and lightTail of the light of at least manyLights spots: scatter and skew of its logarithms, and the
	// brightest twentieth over the brightest quarter. Stars above a limit have a skew of 0.7 and more; fields whose faint stars are
	// missing (down to −0.4) still have a tail of bright ones, 2.1 and more; windows have neither (−0.3 and 1.7 at the most). Where
	// all are as bright as each other it tells nothing.
	lightSpread, lightSkew, lightTail, manyLights = 0.25, 0.0, 1.9, 40
	// clumped and latticed: the mean distance of a spot's nearest neighbour over that of as many at random, ½√(area/n)
	// (P. J. Clark and F. C. Evans, Ecology 35 (1954) 445). Stars have 1, in a sixth of the picture 0.4; a row of dots less, a
	// lattice 2.
	clumped, latticed = 0.4, 1.6
	// likeWidths: spots as wide as the stars of another picture, a share.
	likeWidths = 0.25
)

// doubts finds the pictures whose spots may be anything, and takes the spots from what is judged.
func doubts(frames []*taken) {
	for _, f := range frames {
		if f.shot.solved() || len(f.shot.Stars) == 0 {
			continue
		}
		f.doubt = f.doubted()
	}
	for _, f := range frames {
		if f.doubt != DoubtNone && !f.vouched(frames) {
			f.judged.Doubt, f.p.stars = f.doubt, nil
		}
	}
}

// doubted is what speaks against the spots of a picture that was not recognised.
func (f *taken) doubted() Doubt {
	spots := telling(f.shot.Stars)
	switch {
	case len(spots) < fewSpots && f.shot.Level > 0 && f.shot.Level < blackLevel:
		return DoubtBlack
	case len(spots) < fewSpots, float64(len(spots)) < clearShare*float64(len(f.shot.Stars)):
		return DoubtFew
	}
	patterns([]*pattern{&f.p})
	limit := widthMany
	if len(spots) < manySpots {
		limit = widthFew
	}
	clear := clearOf(f.shot.Stars, len(f.shot.Stars))
	near := f.nearness(clear)
	spread, skew, tail := lightOf(clear)
	switch {
	case f.widthScatter(spots) > limit:
		return DoubtWidths
	case f.p.swelled > shapeScatter:
		return DoubtShapes
	case len(clear) >= manyLights && spread > lightSpread && skew < lightSkew && tail < lightTail:
		return DoubtLight
	case len(clear) >= manyLights && (near < clumped || near > latticed):
		return DoubtPlaces
	}
	return DoubtNone
}

// nearness is the mean distance to the nearest neighbour over that of spots at random.
func (f *taken) nearness(spots []star.Star) float64 {
	sum := 0.0
	for i, s := range spots {
		least := math.Inf(1)
		for k, o := range spots {
			if k != i {
				least = math.Min(least, math.Hypot(o.X-s.X, o.Y-s.Y))
			}
		}
		sum += least
	}
	n, area := float64(len(spots)), float64(f.shot.Width)*float64(f.shot.Height)
	return sum / n / (math.Sqrt(area/n) / 2)
}

// widthScatter of the spots' short axes, of many about a parabola over the distance from the middle.
func (f *taken) widthScatter(spots []star.Star) float64 {
	hx, hy := f.shot.lens().half()
	half := math.Hypot(hx, hy) + 1
	var logs, rho []float64
	for _, s := range spots {
		logs = append(logs, math.Log(s.FWHM)-math.Log(s.Elongation)/2)
		rho = append(rho, math.Hypot(s.X-hx, s.Y-hy)/half)
	}
	if len(spots) >= manySpots {
		flatten(logs, rho)
	}
	middle := medianOf(logs)
	var off, noise []float64
	for i, l := range logs {
		off = append(off, math.Abs(l-middle))
		noise = append(noise, math.Hypot(spots[i].FWHMErr/spots[i].FWHM, spots[i].ElongationErr/spots[i].Elongation/2))
	}
	const ofNormal = 1.4826
	scatter, own := ofNormal*medianOf(off), medianOf(noise)
	return math.Sqrt(math.Max(0, scatter*scatter-own*own))
}

// flatten takes a straight line over the squared distance off, by the middles of the inner and the outer half.
func flatten(logs, rho []float64) {
	split := medianOf(rho)
	var in, out, inAt, outAt []float64
	for i, r := range rho {
		if r < split {
			in, inAt = append(in, logs[i]), append(inAt, r*r)
		} else {
			out, outAt = append(out, logs[i]), append(outAt, r*r)
		}
	}
	apart := medianOf(outAt) - medianOf(inAt)
	if apart <= 0 {
		return
	}
	slope := (medianOf(out) - medianOf(in)) / apart
	for i, r := range rho {
		logs[i] -= slope * r * r
	}
}

// lightOf is the scatter and the skew of the logarithms of the spots' light, and its tail.
func lightOf(spots []star.Star) (spread, skew, tail float64) {
	var mean float64
	logs := make([]float64, 0, len(spots))
	for _, s := range spots {
		if s.Flux > 0 {
			logs = append(logs, math.Log(s.Flux))
			mean += logs[len(logs)-1]
		}
	}
	if len(logs) == 0 {
		return 0, 0, 0
	}
	n := float64(len(logs))
	mean /= n
	slices.Sort(logs)
	tail = math.Exp(logs[len(logs)*19/20] - logs[len(logs)*3/4])
	var m2, m3 float64
	for _, l := range logs {
		m2 += (l - mean) * (l - mean) / n
		m3 += math.Pow(l-mean, 3) / n
	}
	spread = math.Sqrt(m2)
	if spread < 1e-9 || !finite(spread) {
		return 0, 0, tail
	}
	return spread, m3 / math.Pow(spread, 3), tail
}

// vouched is whether another picture of the camera shows stars as wide.
func (f *taken) vouched(frames []*taken) bool {
	for _, o := range frames {
		if o == f || o.doubt != DoubtNone || len(o.shot.Stars) < fewSpots || o.size() != f.size() || o.judged.FWHM <= 0 {
			continue
		}
		if math.Abs(math.Log(f.judged.FWHM/o.judged.FWHM)) < likeWidths {
			return true
		}
	}
	return false
}

// Says is why nothing is judged; none without a doubt.
func (d Doubt) Says() say.Line {
	switch d {
	case DoubtBlack:
		return say.Of("the pictures are black")
	case DoubtFew:
		return say.Of("too few spots to be stars", fewSpots)
	case DoubtWidths:
		return say.Of("spots of many widths")
	case DoubtShapes:
		return say.Of("spots drawn out each another way")
	case DoubtPlaces:
		return say.Of("spots in rows or heaps")
	case DoubtLight:
		return say.Of("spots not the more the fainter")
	}
	return say.Line{}
}
