package align

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Doubt is a place or a time told in two ways: the one reckoned with, and the other. [PlaceOf] and [ClockDoubts] find them, once for
// all pictures; [Doubt.Weigh] says what the other would make of an axis, and [Contradictions] makes situations of them.
type Doubt struct {
	Kind  Kind // KindSite or KindClock
	Files []string
	Says  say.Line // what differs, which is reckoned with and why
	Ways  []amiss.Way
	// Slight: no situation unless the other moves the axis by slightLeast.
	Slight bool

	Other Other
	Moved *Moved // by the other; nil: not weighed
}

// Other is the place or time not reckoned with.
type Other struct {
	Name  say.Line      // for "with …"
	Site  *ephem.Site   // nil: the same
	Later time.Duration // than reckoned with
	// Ask is the question which of both is right, and If the condition under which what was reckoned holds; none: nothing to
	// ask, for something else confirms what was reckoned with.
	Ask, If say.Line
}

// Moved is where the axis would be with the other place or time.
type Moved struct {
	By        unit.Angle // on the sky, from error to error: what the turns would miss by
	Deviation Deviation
	South     bool // the other place is in the south
}

// Limits of what is worth a word, and a question.
const (
	// slightLeast: clocks some minutes wrong are usual, and do nothing to an axis near the pole.
	slightLeast = 1 * ephem.Arcmin
	// askSigmas and askLeast: the turns of the knobs would be others by more than what they are worth.
	askSigmas = 3
	askLeast  = KnobPlay
)

// Weigh fills in what the other place or time would make of an axis found for a site; aim forms the aim there and then.
func (d *Doubt) Weigh(a Axis, site ephem.Site, aim func(ephem.Site, time.Duration) (Aim, error)) {
	here, err := aim(site, 0)
	if err != nil {
		return
	}
	to := site
	if d.Other.Site != nil {
		to = *d.Other.Site
	}
	there, err := aim(to, d.Other.Later)
	if err != nil {
		return
	}
	moved := a
	moved.Direction = SiteMoves(ClockMoves(a.Direction, NorthPole(site.Latitude), d.Other.Later), site, to)
	m := Moved{Deviation: moved.Deviation(there), South: to.Latitude < 0}
	was := a.Deviation(here)
	m.By = unit.Angle(math.Hypot((m.Deviation.Altitude - was.Altitude).Rad(), (m.Deviation.Azimuth-was.Azimuth).Rad()*math.Cos(here.Altitude().Rad())))
	d.Moved = &m
}

// asks is whether the question comes before any turn by an axis.
func (d Doubt) asks(a Axis) bool {
	return !d.Other.Ask.None() && d.Moved != nil && d.Moved.By > askLeast && d.Moved.By > a.WorstSigma().Mul(askSigmas)
}

// told is whether it is worth a situation.
func (d Doubt) told() bool { return !d.Slight || d.Moved != nil && d.Moved.By >= slightLeast }

// effect says what the other would change.
func (d Doubt) effect() say.Line {
	m := d.Moved
	switch {
	case m == nil:
		return say.Line{}
	case m.By < slightLeast:
		return say.Of("other leaves the axis", d.Other.Name, slightLeast)
	}
	return say.Of("other moves the axis", d.Other.Name, m.By, baseToward(-m.Deviation.Azimuth, m.South), tiltBy(-m.Deviation.Altitude))
}

// baseToward is a turn of the base, with the side it goes to for who faces the pole: clockwise is to the right, in the north that
// is east, in the south west.
func baseToward(turn unit.Angle, south bool) say.Line {
	if turn > 0 != south {
		return say.Of("toward east", baseBy(turn))
	}
	return say.Of("toward west", baseBy(turn))
}

// Contradictions are the situations doubts make, one a kind, site first; the size is how far the other place or time moves the axis at most.
func Contradictions(doubts []Doubt) (all []Situation) {
	for _, k := range []Kind{KindSite, KindClock} {
		s := Situation{Kind: k, Sure: true}
		var told []say.Line
		for _, d := range doubts {
			if d.Kind != k || !d.told() {
				continue
			}
			told, s.Ways = append(told, d.Says, d.effect()), append(s.Ways, d.Ways...)
			s.Sure = s.Sure && d.Other.Ask.None()
			if d.Moved != nil && d.Moved.By.Rad() > s.Size.Value {
				s.Size = angle(d.Moved.By, 0)
			}
			for _, f := range d.Files {
				if !slices.Contains(s.Files, f) {
					s.Files = append(s.Files, f)
				}
			}
		}
		if len(told) > 0 {
			s.Says = say.All(told...)
			all = append(all, s)
		}
	}
	return weighed(all, true)
}

// apartKM is the distance of two sites over the ground, kilometres, to the half per cent by which the Earth is no sphere.
func apartKM(a, b ephem.Site) float64 {
	const radiusKM = 6371 // mean
	x, y := onGlobe(a), onGlobe(b)
	return radiusKM * math.Atan2(r3.Norm(r3.Cross(x, y)), r3.Dot(x, y))
}

func onGlobe(s ephem.Site) r3.Vec {
	sinLat, cosLat := s.Latitude.Sincos()
	sinLon, cosLon := s.Longitude.Sincos()
	return r3.Vec{X: cosLat * cosLon, Y: cosLat * sinLon, Z: sinLat}
}
