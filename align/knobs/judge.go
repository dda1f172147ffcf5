package knobs

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// hypothesis is one way a step may have come about.
type hypothesis uint8

const (
	nothing hypothesis = iota
	altitudeOnly
	azimuthOnly
	bothKnobs
	clutchOnly        // and no knob
	clutchAndAltitude // the knob as before
	clutchAndAzimuth
	anything // no knob and no clutch explains it
)

// turned is which knobs a hypothesis says were turned, and whether a hand was on the clutch.
func (h hypothesis) turned() (altitude, azimuth, clutch bool) {
	switch h {
	case altitudeOnly:
		return true, false, false
	case azimuthOnly:
		return false, true, false
	case bothKnobs:
		return true, true, false
	case clutchOnly:
		return false, false, true
	case clutchAndAltitude:
		return true, false, true
	case clutchAndAzimuth:
		return false, true, true
	case anything:
		return true, true, true
	}
	return false, false, false
}

// widths are how far each unknown of a step may be from 0, one standard deviation.
type widths struct{ altitude, azimuth, clutch unit.Angle }

// What moves by how much (common practice, no source).
const (
	knobRange   = 3 * ephem.Degree   // turned on purpose
	clutchRange = 1.5 * ephem.Degree // slipped under a hand
	jiggle      = 0.3 * ephem.Arcmin // of a knob nobody turned
	coupling    = 0.01               // share of one knob's turn the other follows
	gearUnknown = 80 * ephem.Arcsec  // peak to peak, of a gear nobody measured
	gearLeast   = 20 * ephem.Arcsec
)

// floor is what two attitudes differ by that their stars do not tell: breathing, the
// catalogue, a breath of wind.
const floor = 4 * ephem.Arcsec

// surprise is −2 ln of how often a thing happens, against nothing: rough odds of one in four,
// ten and a hundred.
func (h hypothesis) surprise(asked *Request) float64 {
	const seldom, rare, strange = 2.8, 4.6, 9.2
	altitude, azimuth, clutch := h.turned()
	expected := asked != nil && altitude == (asked.Knob == Altitude) && azimuth == (asked.Knob == Azimuth)
	switch {
	case h == nothing, expected && !clutch:
		return 0
	case altitude != azimuth && !clutch:
		return seldom
	case h == bothKnobs, h == clutchOnly, expected:
		return rare
	}
	return strange
}

// steepAxis is the height above which the clutch cannot be told from the azimuth knob
// (design §4).
const steepAxis = 75 * ephem.Degree

// stepTo is the step from the stand to a new attitude.
func (s State) stepTo(p Pose, from Pose) (step, widths) {
	dt := p.Mid.Sub(from.Mid)
	back := p.attitude().Inverse()
	cov := sum(carried(back, p.Covariance), carried(back, from.Covariance))
	for i := range 3 {
		cov[i][i] += sq(floor.Rad())
	}
	weight, _ := turn.Invert(turn.Mat(cov))
	at := step{from: from.attitude(), to: p.attitude(), weight: weight, axes: s.Axes,
		axis: s.northward(s.axisAt(from).Direction), tracked: ephem.SiderealRadPerS * s.Rate.SiderealRatio * dt.Seconds()}
	return at, widths{jiggle, jiggle, s.gear(dt)}
}

// gear is how far the motor may be off the clock after a while: two phases of a
// sine of amplitude A differ by A in the root mean square.
func (s State) gear(dt time.Duration) unit.Angle {
	size := gearUnknown
	if s.Options.WobblePeakToPeak > 0 {
		size = max(s.Options.WobblePeakToPeak, gearLeast)
	}
	return unit.Angle(math.Hypot(size.Rad()/2, s.Rate.Sigma*ephem.SiderealRadPerS*dt.Seconds()))
}

// judge finds what most probably happened between the stand and a new attitude.
func (s State) judge(p, from Pose) motion {
	at, still := s.stepTo(p, from)
	free := widths{knobRange, unit.Angle(knobRange.Rad() / max(0.1, math.Hypot(at.axis.X, at.axis.Y))), clutchRange}
	best := motion{kind: anything, score: math.Inf(1)}
	whole := turned(at)
	if whole > swingLimit.Rad() {
		free.clutch = unit.Angle(whole)
	}
	held := s.steep(at.axis) && whole < swingLimit.Rad() // a swing shows even there
	for h := nothing; h <= anything; h++ {
		if _, _, clutch := h.turned(); clutch && h != anything && held {
			continue
		}
		if m, ok := at.explain(h, h.widths(still, free, whole)); ok {
			if m.score += h.surprise(s.Asked); m.score < best.score {
				best = m
			}
		}
	}
	return best
}

func (s State) steep(axis r3.Vec) bool { return math.Abs(axis.Z) > math.Sin(steepAxis.Rad()) }

// turned is the whole turn of a step by the clock, radians: the scale of what the knobs did.
func turned(s step) float64 { return r3.Norm(s.misfit(make([]float64, unknowns))) }

// widths are a hypothesis's: the other knob follows the one turned a little.
func (h hypothesis) widths(still, free widths, size float64) widths {
	altitude, azimuth, clutch := h.turned()
	w := still
	if altitude || azimuth {
		follows := unit.Angle(math.Hypot(jiggle.Rad(), coupling*min(size, 2*knobRange.Rad())))
		w.altitude, w.azimuth = follows, follows
	}
	if altitude {
		w.altitude = free.altitude
	}
	if azimuth {
		w.azimuth = free.azimuth
	}
	if clutch {
		w.clutch = free.clutch
	}
	return w
}

// verdict is what becomes of a picture.
type verdict uint8

const (
	believed verdict = iota
	doubted          // believed when the next picture agrees
	refused          // when the next picture agrees, the measurement is void
	swung
	leftField // the camera was aimed anew
)

// Limits of what a measurement survives.
const (
	// swingLimit: a camera hangs and a motor takes up play differently after a swing (common practice, no source).
	swingLimit = 3 * ephem.Degree
	// aimLimit: no knob turns a mount that far in one go.
	aimLimit = 20 * ephem.Degree
	// looseAxis: a knob's axis found that far from where it should be is none.
	looseAxis = 8 * ephem.Degree
)

// weigh decides whether a motion is to be believed at once. A hand on the clutch is,
// alone or together with the turn that was asked for; where another knob than the one asked
// for moved and the clock does not fit, the camera may have slipped.
func (s State) weigh(m motion, whole unit.Angle) verdict {
	altitude, azimuth, clutch := m.kind.turned()
	switch {
	case math.IsInf(m.score, 0) || whole > aimLimit && math.Abs(m.clutch().Rad()) < 0.9*whole.Rad():
		return leftField
	case clutch && math.Abs(m.clutch().Rad()) > swingLimit.Rad():
		return swung
	case m.kind == anything || s.strayed(m):
		return refused
	case clutch && (altitude || azimuth) && !s.asAsked(m):
		return refused
	case m.kind == bothKnobs:
		return doubted
	}
	return believed
}

// strayed is whether the knobs' axes would have to be somewhere they cannot be.
func (s State) strayed(m motion) bool {
	level := m.axes.turned(s.northward(s.Aim.Direction), -s.Skew)
	return math.Acos(min(1, level.Vertical.Z)) > looseAxis.Rad() || math.Abs(math.Asin(level.Hinge.Z)) > looseAxis.Rad()
}

// asAsked is whether the knob asked for moved the right way by about what was asked.
func (s State) asAsked(m motion) bool {
	if s.Asked == nil {
		return false
	}
	altitude, _, _ := m.kind.turned()
	if altitude != (s.Asked.Knob == Altitude) {
		return false
	}
	share := m.of(s.Asked.Knob).Rad() / s.Asked.Turn.Rad()
	return share > 0.3 && share < 2
}
