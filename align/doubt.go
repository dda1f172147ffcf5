package align

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// Doubt is a place or a time told in two ways: the one reckoned with, and the other. [PlaceOf] and [ClockDoubts] find them, once for
// all pictures; [Doubt.Weigh] says what the other would make of an axis, and [Contradictions] makes situations of them.
type Doubt struct {
	Kind  Kind // KindSite or KindClock
	Files []string
	Text  string // what differs, which is reckoned with and why
	Ways  []amiss.Way
	// Slight: no situation unless the other moves the axis by slightLeast.
	Slight bool

	Other Other
	Moved *Moved // by the other; nil: not weighed
}

// Other is the place or time not reckoned with.
type Other struct {
	Name  string        // for "with …"
	Site  *ephem.Site   // nil: the same
	Later time.Duration // than reckoned with
	// Ask is the question which of both is right, and If the condition under which what was reckoned holds; empty: nothing to
	// ask, for something else confirms what was reckoned with.
	Ask, If string
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
	slightLeast = unit.Angle(1.0 / 60 * math.Pi / 180)
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
	return d.Other.Ask != "" && d.Moved != nil && d.Moved.By > askLeast && d.Moved.By > a.WorstSigma().Mul(askSigmas)
}

// told is whether it is worth a situation.
func (d Doubt) told() bool { return !d.Slight || d.Moved != nil && d.Moved.By >= slightLeast }

// effect says what the other would change.
func (d Doubt) effect() string {
	m := d.Moved
	if m == nil {
		return ""
	}
	if m.By < slightLeast {
		return fmt.Sprintf(" With %s the axis would be the same to %s.", d.Other.Name, Arc(slightLeast))
	}
	return fmt.Sprintf(" With %s the axis would be %s elsewhere; the turns would be: base %s; tilt %s.", d.Other.Name, Arc(m.By),
		azimuthTurn(-m.Deviation.Azimuth, m.South), altitudeTurn(-m.Deviation.Altitude))
}

func azimuthTurn(turn unit.Angle, south bool) string {
	return azimuthWords(south)(turn > 0, Arc(unit.Angle(math.Abs(turn.Rad()))))
}

func altitudeTurn(turn unit.Angle) string {
	return altitudeWords(turn > 0, Arc(unit.Angle(math.Abs(turn.Rad()))))
}

// Contradictions are the situations doubts make, one a kind, site first; the size is how far the other place or time moves the axis at most.
func Contradictions(doubts []Doubt) (all []Situation) {
	for _, k := range []Kind{KindSite, KindClock} {
		s := Situation{Kind: k, Sure: true}
		var texts []string
		for _, d := range doubts {
			if d.Kind != k || !d.told() {
				continue
			}
			texts, s.Ways = append(texts, d.Text+d.effect()), append(s.Ways, d.Ways...)
			s.Sure = s.Sure && d.Other.Ask == ""
			if d.Moved != nil && d.Moved.By.Rad() > s.Size.Value {
				s.Size = angle(d.Moved.By, 0)
			}
			for _, f := range d.Files {
				if !slices.Contains(s.Files, f) {
					s.Files = append(s.Files, f)
				}
			}
		}
		if len(texts) > 0 {
			s.Text = strings.Join(texts, " ")
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
