package align

import (
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/stat/distuv"

	"trueturn/drift"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// unlit names pictures with too much light or none.
func (s *session) unlit() []Situation {
	var bright, dark []int
	for i, shot := range s.seq.Shots {
		switch {
		case shot.Unread() || shot.Solution != nil:
		case shot.Field.Condition == star.TooBright:
			bright = append(bright, i)
		case shot.Field.Condition == star.Featureless, shot.Field.Condition == star.Dark && darkened(s.seq.Shots, i):
			dark = append(dark, i)
		}
	}
	var all []Situation
	if len(bright) > 0 {
		all = append(all, Situation{Kind: KindDaylight, Files: s.shotFiles(bright), Sure: true, Says: say.Of("too bright", say.Pictures(len(bright)))})
	}
	if len(dark) > 0 {
		all = append(all, Situation{Kind: KindDaylight, Files: s.shotFiles(dark), Sure: true, Says: say.Of("black", say.Pictures(len(dark)))})
	}
	return all
}

// capShare: a cap takes all the sky's light, a cloud at night at most a part of it. Below
// this share of the neighbours' background a black picture was capped.
const capShare = 0.7

// darkened is whether a picture without stars is darker than its neighbours with stars; without such neighbours
// it is taken at its word.
func darkened(shots []drift.Shot, i int) bool {
	before, after := around(shots, i, func(s drift.Shot) float64 { return s.Field.Background }, func(k int) bool { return shots[k].Solution != nil })
	sky := slices.Concat(before, after)
	return len(sky) == 0 || shots[i].Field.Background < capShare*middle(sky)
}

func middle(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// Blur: stars a third wider than in the best pictures are out of focus; seeing does not do it before short lenses. It is the width
// along their short axis that counts, which no path makes larger.
const Blur = 1.33

// The test for lost focus or dew: over the session the width of the stars grows to Blur times what it was
// or more, or their number falls by half, along a line whose slope chance makes once in 10⁴ sessions. In between
// both together tell: wider by a tenth and fewer.
const (
	focusChance = 1e-4
	widerSome   = 0.10
	fewerMuch   = 0.5
	leastSeries = 5
)

// focus names stars that grow wider and fewer.
func (s *session) focus() []Situation {
	shots := s.sameLensStars()
	if len(shots) < leastSeries {
		return nil
	}
	width := s.trend(shots, 0.001, func(i int) float64 { return math.Log(acrossWidth(s.seq.Shots[i].Field)) })
	count := s.trend(shots, 0.001, func(i int) float64 { return math.Log(starCount(s.seq.Shots[i]) + 0.5) })
	fewer := 1 - math.Exp(count.change)
	wider := math.Expm1(width.change)
	isWider := width.change > 0 && width.chance < focusChance
	isFewer := count.change < 0 && count.chance < focusChance && !s.seq.Shots[shots[0]].Table
	files := s.shotFiles(shots[len(shots)/2:])
	switch {
	case isWider && (wider > Blur-1 || wider > widerSome && isFewer):
		says := say.Of("stars wider", say.Share(wider))
		if isFewer {
			says = say.Of("stars wider and fewer", say.Share(wider), say.Share(fewer))
		}
		return []Situation{{Kind: KindFocus, Files: files, Size: width.share(), Sure: true, Says: say.All(says, say.Of("wipe and focus"))}}
	case isFewer && fewer > fewerMuch && s.sameStars(shots):
		return []Situation{{Kind: KindFocus, Files: files, Size: count.share(), Says: say.Of("stars fewer", say.Share(fewer))}}
	}
	return nil
}

// acrossWidth is how wide the stars of a field are across whatever draws them out.
func acrossWidth(f star.Field) float64 { return f.FWHM / math.Sqrt(max(f.Elongation, 1)) }

// sameLensStars lists the solved shots that share the size of the first and know their stars' width.
func (s *session) sameLensStars() (list []int) {
	for _, i := range s.solved {
		shot := s.seq.Shots[i]
		if !(shot.Field.FWHM > 0) {
			continue
		}
		if len(list) > 0 {
			o := s.seq.Shots[list[0]]
			if o.Width != shot.Width || math.Abs(math.Log(o.Solution.Lens.FocalPx/shot.Solution.Lens.FocalPx)) > 0.01 {
				continue
			}
		}
		list = append(list, i)
	}
	return list
}

// sameStars is whether first and last of the shots look at much the same field: no farther apart than a quarter
// of its diagonal.
func (s *session) sameStars(shots []int) bool {
	first, last := shots[0], shots[len(shots)-1]
	v := s.turnBetween(first, last)
	return math.Hypot(v.X, v.Y) < s.seq.Shots[first].Solution.Lens.Diagonal().Rad()/4
}

// trended is a straight line through a series: its change from first to last with its standard error, and the chance
// that scatter made it.
type trended struct{ change, sigma, chance float64 }

// share is by what share something changed whose logarithm the line is of.
func (t trended) share() Size {
	return Size{Value: math.Expm1(t.change), Sigma: math.Exp(t.change) * t.sigma, Unit: Shares}
}

// trend fits by least squares; the chance is Student's, two-sided. The scatter is taken to
// be at least least.
func (s *session) trend(shots []int, least float64, value func(shot int) float64) trended {
	n := float64(len(shots))
	var st, sv float64
	for _, i := range shots {
		st += s.secondsBetween(shots[0], i)
		sv += value(i)
	}
	var tt, tv, vv float64
	for _, i := range shots {
		t, v := s.secondsBetween(shots[0], i)-st/n, value(i)-sv/n
		tt, tv, vv = tt+t*t, tv+t*v, vv+v*v
	}
	if tt == 0 {
		return trended{0, 0, 1}
	}
	slope := tv / tt
	rest := max(vv-slope*tv, n*least*least) / (n - 2)
	t := math.Abs(slope) / math.Sqrt(rest/tt)
	chance := 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Survival(t)
	span := s.secondsBetween(shots[0], shots[len(shots)-1])
	return trended{slope * span, math.Sqrt(rest/tt) * math.Abs(span), chance}
}

// lowLimit is the height of the picture's middle below which refraction spoils the axis (design §4).
const lowLimit = 25 * ephem.Degree

// low names pictures taken near the horizon.
func (s *session) low() []Situation {
	if s.h == nil {
		return nil
	}
	var files []string
	lowest := unit.Angle(math.Inf(1))
	for i, sight := range s.h.Sights {
		if s.a != nil && s.a.Stray[i] || sight.Altitude >= lowLimit {
			continue
		}
		files = append(files, s.file(i))
		lowest = min(lowest, sight.Altitude)
	}
	if len(files) == 0 {
		return nil
	}
	says := say.Of("aimed low", say.Degrees(lowest))
	if lowest < strayBelow { // whoever aims so low sees it
		says = say.All(says, say.Of("higher, or clock or place wrong"))
	}
	return []Situation{{Kind: KindLowAltitude, Files: files, Size: angle(lowest, 0), Sure: lowest >= strayBelow, Says: says,
		Ways: []amiss.Way{{When: "if it must be so low", Thing: amiss.Air}}}}
}
