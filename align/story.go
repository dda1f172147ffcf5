package align

import (
	"math"

	"trueturn/ephem"
)

// story is one account of how the camera gave: what parts of a giving may differ from zero, and by how much they do.
type story struct {
	sizes map[part]float64 // radians, the standard deviation of a coefficient of the part
	prior float64          // logarithm of how likely the story is beforehand
}

const arcmin = float64(ephem.Arcmin)

// stories lists the accounts that are tried first: a rigid mount, and one way of giving each.
func (g *giving) stories() []story {
	list := []story{{}}
	for _, k := range bendSizes {
		list = append(list, tale(elasticShare*k.share, map[part]float64{{kind: elastic}: k.size}))
		for _, c := range settleTimes {
			for _, kind := range []partKind{settling, settlingBase} {
				if p := (part{kind, c}); g.has(p) {
					list = append(list, tale(settleShare, map[part]float64{p: k.size}))
				}
			}
		}
	}
	for _, w := range walkSizes {
		list = append(list, tale(g.creeps(), walked(w)))
	}
	return list
}

// creeps is how probable it is beforehand that the camera crept: what jumped twice and more goes on by steps too small to see.
func (g *giving) creeps() float64 {
	if g.jumps < 2 {
		return walkShare
	}
	return jumpyShare
}

// mixed are accounts of two ways at once, tried where one of them already beats a rigid mount, or nearly. A holder that is
// seen to bend often creeps as well.
func (g *giving) mixed(bends bool) (list []story) {
	creeps := g.creeps()
	if bends {
		creeps = creepsToo / float64(len(walkSizes))
	}
	for _, k := range bendSizes {
		if p := (part{kind: sticking}); g.has(p) {
			for _, f := range frictions {
				list = append(list, tale(stickShare*k.share, map[part]float64{{kind: elastic}: k.size, p: f * k.size}))
			}
		}
		for _, w := range walkSizes {
			both := walked(w)
			both[part{kind: elastic}] = k.size
			list = append(list, tale(creeps*elasticShare*k.share, both))
		}
	}
	return list
}

func tale(share float64, sizes map[part]float64) story { return story{sizes, math.Log(share)} }

// walked is a random walk of a size: what walks at random mostly also goes one way.
func walked(size float64) map[part]float64 {
	return map[part]float64{{kind: walking}: size, {kind: steady}: evenShare * size}
}

// bendSizes are the sizes tried of what bends and settles, and how probable each is against the first.
var bendSizes = [...]struct{ size, share float64 }{{0.15 * arcmin, 1}, {0.5 * arcmin, 0.7}, {1.5 * arcmin, 0.25}, {5 * arcmin, 0.02}}

// frictions are the shares of a bend at which holders stick (common practice, no source).
var frictions = [...]float64{0.1, 0.3}

var walkSizes = [...]float64{0.05 * arcmin, 0.15 * arcmin, 0.5 * arcmin, 1.5 * arcmin, 5 * arcmin}

// How probable the ways of giving are beforehand, each story against a rigid mount. A bend hardly matters for the axis as
// it is defined; what walks or settles does while one patch of sky is tracked, so that it must show a ten-thousandfold
// before it counts: so chosen, the ± of a rigid session grows by less than a tenth (giving_test.go).
const (
	elasticShare = 0.04
	stickShare   = 0.01
	walkShare    = 1e-5
	settleShare  = 4e-6
	creepsToo    = 0.2 // of the holders that are seen to bend
	jumpyShare   = 0.1 // of the cameras that jumped twice and more
)

// evenShare: what walks at random mostly also goes one way; how far, in units of the walk.
const evenShare = 4
