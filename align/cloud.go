package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/drift/star"
	"trueturn/ephem/say"
)

// The test for cloud: a picture with less than two fifths of the stars of its neighbours, and fewer by more than four times the scatter
// of counting: of the middle one of all, or of each on one side. Neighbours look at the same field and are not clouded themselves, so
// that a long bank is followed from its edges inward, while dusk and dew, that come slowly, are none. Star counts of fields a few degrees apart differ by less
// than a factor of two (common practice, no source).
const (
	cloudShare  = 0.4
	cloudSigmas = 4
)

// Clouded tells which pictures of a session were taken through cloud, or with something else before the lens that came at once. Where
// pictures were recognised, they alone are neighbours, and stars are those that fit the sky: lit windows and noise are no stars.
func Clouded(shots []drift.Shot) []bool {
	clouded, _ := throughCloud(shots)
	return clouded
}

// throughCloud tells besides what share of the stars is lost in them together.
func throughCloud(shots []drift.Shot) (clouded []bool, lost Size) {
	clouded = make([]bool, len(shots))
	var usual, own float64
	for again := true; again; {
		again = false
		for i := range shots {
			u, o, ok := usualStars(shots, clouded, i)
			if ok && o < cloudShare*u && u-o > cloudSigmas*math.Sqrt(u) {
				clouded[i], again = true, true
				usual, own = usual+u, own+o
			}
		}
	}
	return clouded, Size{1 - own/usual, math.Sqrt(max(own, 1)) / usual, Shares}
}

// usualStars is how many stars the neighbours of a shot have, and how many it has itself; false where that says nothing of cloud,
// or it is known to be clouded.
func usualStars(shots []drift.Shot, clouded []bool, i int) (usual, own float64, ok bool) {
	shot := shots[i]
	if clouded[i] || !counts(shot) || shot.Field.Condition == star.Dark && darkened(shots, i) {
		return 0, 0, false
	}
	solved := slices.ContainsFunc(shots, func(s drift.Shot) bool { return s.Solution != nil })
	before, after := around(shots, i, starCount, func(k int) bool {
		return !clouded[k] && counts(shots[k]) && (shots[k].Solution != nil) == solved && sameField(shot, shots[k])
	})
	all := slices.Concat(before, after)
	if len(all) < 2 {
		return 0, 0, false
	}
	usual = middle(all)
	for _, side := range [2][]float64{before, after} {
		if len(side) > 1 {
			usual = max(usual, slices.Min(side))
		}
	}
	return usual, starCount(shot), true
}

// counts is whether the number of a shot's stars says something of the sky.
func counts(s drift.Shot) bool {
	return !s.Unread() && !s.Table && !s.MotorOff && s.Field.Condition != star.TooBright && s.Field.Condition != star.Featureless
}

// sameFieldShare of the diagonal: pictures whose middles lie nearer show as many stars.
const sameFieldShare = 0.5

// sameField is whether two shots show the same stars, as far as is known; where one was not recognised they are taken to.
func sameField(a, b drift.Shot) bool {
	if a.Solution == nil || b.Solution == nil {
		return true
	}
	v := r3.Sub(a.Solution.Centre(), b.Solution.Centre())
	return r3.Norm(v) < sameFieldShare*a.Solution.Lens.Diagonal().Rad()
}

// reach is how many neighbours are asked on either side.
const reach = 3

// around lists a value of the nearest fit shots before and after shot i with its size and lens.
func around(shots []drift.Shot, i int, value func(drift.Shot) float64, fit func(k int) bool) (before, after []float64) {
	own, sides := shots[i], [2][]float64{}
	for n, dir := range [2]int{-1, 1} {
		for k := i + dir; k >= 0 && k < len(shots) && len(sides[n]) < reach; k += dir {
			if o := shots[k]; o.Width == own.Width && o.Height == own.Height && o.Lens == own.Lens && fit(k) {
				sides[n] = append(sides[n], value(o))
			}
		}
	}
	return sides[0], sides[1]
}

// starCount is the number of stars found – of those that fit the sky where that is known.
func starCount(shot drift.Shot) float64 {
	if shot.Solution != nil {
		return float64(len(shot.Solution.Sightings))
	}
	return float64(len(shot.Field.Stars))
}

// clouds names pictures with few or no stars among others with many.
func (s *session) clouds() []Situation {
	clouded, lost := throughCloud(s.seq.Shots)
	var list []int
	for i, c := range clouded {
		if c {
			list = append(list, i)
		}
	}
	if len(list) == 0 {
		return nil
	}
	says, sure := say.Key("cloud, bridged"), true
	switch n := len(s.solved); {
	case n == 0:
		says = say.Key("cloud")
	case list[len(list)-1] >= s.solved[n-1]:
		says, sure = say.Key("stars gone to the end"), false
	}
	return []Situation{{Kind: KindCloud, Files: s.shotFiles(list), Size: lost, Sure: sure, Says: say.Of(says, say.Pictures(len(list)))}}
}
