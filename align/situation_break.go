package align

import (
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// sameWay: jumps of the camera whose directions agree to better than 26° are one clamp giving
// again and again; two unrelated knocks agree so well in one case of seven, and
// then the advice – tighten – serves as well.
const sameWay = 0.9

// breaks names what parted the session.
func (s *session) breaks() []Situation {
	if clamp, ok := s.clampGives(); ok {
		return append([]Situation{clamp}, s.eachBreak(s.a.Breaks, false)...)
	}
	if driven, ok := s.driven(); ok {
		return append([]Situation{driven}, s.eachBreak(s.a.Breaks, false)...)
	}
	return s.eachBreak(s.a.Breaks, true)
}

// manyJumps are more than a clumsy hand makes unnoticed.
const manyJumps = 4

// driven is whether the camera jumped to and fro so often that something is at work: a guider, a second motor, a part that
// sticks and lets go.
func (s *session) driven() (Situation, bool) {
	jumps, first, most := 0, 0, Break{}
	for _, b := range s.a.Breaks {
		if !b.jump() {
			continue
		}
		if jumps == 0 {
			first = b.Before
		}
		jumps++
		if b.Size > most.Size {
			most = b
		}
	}
	if jumps < manyJumps {
		return Situation{}, false
	}
	return Situation{Kind: KindFlexure, Files: s.files(first, len(s.in.Samples)-1), Size: s.jumpSize(most),
		Says: say.Of("camera jumps to and fro", say.Times(jumps), most.Size)}, true
}

// sigmaOf is the largest standard error of a sample's attitude, the wander of the optical centre counted in.
func (s *session) sigmaOf(sample int) unit.Angle {
	_, c := s.in.Samples[sample].Attitude.Given(s.a.WanderPx)
	return unit.Angle(math.Sqrt(max(c[0][0], c[1][1])))
}

// jumpSize is how far the camera jumped. What the other side leads one to expect is no surer than one picture of it.
func (s *session) jumpSize(b Break) Size {
	at := min(b.Before, len(s.in.Samples)-1)
	return angle(b.Size, unit.Angle(math.Hypot(s.sigmaOf(max(at-1, 0)).Rad(), s.sigmaOf(at).Rad())))
}

func (m Move) size() Size { return angle(m.Total(), max(m.AltitudeSigma, m.acrossSigma())) }

// setBy is by how much a clock was set, as sure as the way the axis went.
func (b Break) setBy(by time.Duration) Size {
	m := b.Moved.size()
	return Size{Value: by.Seconds(), Sigma: math.Abs(by.Seconds()) * m.Sigma / m.Value, Unit: Seconds}
}

// jump is whether the camera jumped, and no hand turned the axis.
func (b Break) jump() bool { return b.Knock && !b.Lens && !b.byHand() }

// leastKnock: a smaller jump is more likely the lens's than the mount's, and harms nothing since both sides are measured apart.
const leastKnock = 5 * ephem.Arcsec

// knobWay: a knob moves the axis up or about the vertical; a way within this angle of either is a knob's. Two random
// ways in nine are, and then the consequence is the same.
const knobWay = 10 * ephem.Degree

// bendTurn: while the camera is aimed anew nobody turns the knobs by less; a bending holder does it (common practice, no
// source).
const bendTurn = 10 * ephem.Arcmin

// bent is whether the axis is another one, by no more than a holder bends, since the camera was aimed anew.
func (b Break) bent() bool { return b.Turned && !b.Knock && b.Moved.Total() < bendTurn }

// byHand is whether the axis moved as a knob moves it, surely and by more than knobs have play, or farther than any knock.
func (b Break) byHand() bool {
	m := b.Moved
	if !b.moves() || m.Total() < 3*max(m.AltitudeSigma, m.acrossSigma()) || m.Total() < KnobPlay {
		return false
	}
	way := math.Atan2(math.Abs(m.Altitude.Rad()), math.Abs(m.across().Rad()))
	return m.Total() > knockLimit || way < knobWay.Rad() || way > math.Pi/2-knobWay.Rad()
}

// A clock that is set turns the axis about the pole by 7.5° each half hour (see ClockMoves), which a knock or a turn of the knobs does by
// chance only: within three errors of one of so many places of a way of that length, once in clockChance.
const (
	clockSteps  = 4 // half hours, each way
	clockChance = 0.02
	airSlack    = 0.1 * ephem.Arcmin // refraction of other heights, which ClockMoves leaves as it is
)

// clockSet is whether the axis moved as a clock that was set moves it, and by how much it was set: forward where positive. It is sure
// where the way is known well enough, and likely where the time between the pictures allows it as well.
func (s *session) clockSet(b Break) (by time.Duration, likely, sure bool) {
	m := b.Moved
	if !b.moves() || b.Before == 0 || s.secondsTo(b.Before) < drift.SetLeast.Seconds() {
		return 0, false, false
	}
	if m.Total() < max(KnobPlay, 2*m.AltitudeSigma, 2*m.acrossSigma()) {
		by, likely = s.jumpsLikeClock(b)
		return by, likely, false
	}
	up, across := math.Hypot(m.AltitudeSigma.Rad(), airSlack.Rad()), math.Hypot(m.acrossSigma().Rad(), airSlack.Rad())
	sure = 2*clockSteps*9*up*across < clockChance*sq2(m.Total().Rad())
	is := ephem.HorizontalOf(m.is)
	for k := -clockSteps; k <= clockSteps; k++ {
		by = time.Duration(k) * drift.SetStep
		there := ephem.HorizontalOf(ClockMoves(m.was, s.refractedPole(), by))
		x := math.Remainder((there.Azimuth-is.Azimuth).Rad(), 2*math.Pi) * math.Cos(is.Altitude.Rad()) / across
		y := (there.Altitude - is.Altitude).Rad() / up
		if k != 0 && x*x+y*y < 9 {
			return by, true, sure
		}
	}
	return 0, false, false
}

// secondsTo is the time to a sample from the one before.
func (s *session) secondsTo(k int) float64 {
	return s.in.Samples[k].Mid.Sub(s.in.Samples[k-1].Mid).Seconds()
}

// likeClock: by so much of its size a jump may differ from that of a clock that was set (our choice: it adds a question alone).
const likeClock = 0.15

// jumpsLikeClock is whether the camera's jump is what a turn of everything about the pole looks like, where the axis itself is not known well
// enough on both sides.
func (s *session) jumpsLikeClock(b Break) (by time.Duration, ok bool) {
	jump := s.jumpAt(b.Before)
	c, _ := s.in.Samples[b.Before-1].Attitude.Given(s.a.WanderPx)
	u := c.Apply(s.north())
	for k := -clockSteps; k <= clockSteps; k++ {
		by = time.Duration(k) * drift.SetStep
		v := c.Inverse().Then(turn.About(s.refractedPole(), unit.Angle(ephem.SiderealRadPerS*by.Seconds())).Then(c)).Log()
		v = r3.Sub(v, r3.Scale(r3.Dot(u, v), u))
		if k != 0 && r3.Norm(r3.Sub(v, jump)) < likeClock*r3.Norm(jump) {
			return by, true
		}
	}
	return 0, false
}

// refractedPole is the north pole as the air shows the elevated one.
func (s *session) refractedPole() r3.Vec {
	lat := s.in.Site.Latitude
	height := unit.Angle(math.Abs(lat.Rad()))
	return NorthPole(unit.Angle(math.Copysign((height + lifted(s.in.Air, height)).Rad(), lat.Rad())))
}

// clockBy says which way a clock was set, and how far.
func clockBy(by time.Duration) say.Line { return clockWay(by > 0, say.Span(by)) }

func clockWay(forward bool, by any) say.Line {
	if forward {
		return say.Of("forward by", by)
	}
	return say.Of("back by", by)
}

// eachBreak names breaks one by one; knocks only where asked for.
func (s *session) eachBreak(breaks []Break, knocks bool) []Situation {
	var all []Situation
	for n, b := range breaks {
		last := len(s.in.Samples) - 1
		if n+1 < len(breaks) {
			last = breaks[n+1].Before - 1
		}
		files := s.files(b.Before, last)
		if len(files) == 0 {
			continue
		}
		by, likely, sure := s.clockSet(b)
		switch {
		case sure:
			all = append(all, Situation{Kind: KindClock, Files: files, Size: b.setBy(by), Sure: true, Says: say.Of("axis moves as by the clock", files[0], b.Moved.Total(), clockBy(by))})
		case b.bent():
			all = append(all, Situation{Kind: KindFlexure, Files: s.files(0, len(s.in.Samples)-1), Size: b.Moved.size(), Says: say.Of("axis another since aimed anew", files[0], b.Moved.Total())})
		case b.byHand():
			all = append(all, Situation{Kind: KindTurned, Files: files, Size: b.Moved.size(), Sure: true, Says: say.Of("axis turned", files[0], b.Moved.way())})
		case b.Lens:
			all = append(all, Situation{Kind: KindReAimed, Files: files, Sure: true, Says: say.All(say.Of("lens changed", files[0]), say.Of("axis does not suffer"))})
		case !b.Knock:
			all = append(all, Situation{Kind: KindReAimed, Files: files, Size: s.jumpSize(b), Sure: true, Says: say.Of("aimed anew", files[0], b.Size)})
		case knocks && b.Turned && b.Moved.Total() > b.Size:
			all = append(all, Situation{Kind: KindKnock, Files: files, Size: b.Moved.size(), Says: say.All(say.Of("axis moved by a knock or both knobs", b.Moved.Total(), files[0]), s.afterKnock(b))})
		case knocks && likely:
			all = append(all, Situation{Kind: KindKnock, Files: files, Size: s.jumpSize(b), Says: say.All(say.Of("knocked, or clock set", b.Size, files[0], clockBy(by)), s.afterKnock(b))})
		case knocks && (b.Turned || b.Size >= leastKnock):
			all = append(all, Situation{Kind: KindKnock, Files: files, Size: s.jumpSize(b), Sure: true, Says: say.All(say.Of("knocked", b.Size, files[0]), s.afterKnock(b))})
		}
	}
	return all
}

// afterKnock is what to do after one: nothing where the pictures after it tell as much as those before.
func (s *session) afterKnock(b Break) say.Line {
	if after := len(s.in.Samples) - b.Before; after >= 3 && after >= b.Before && s.a.WorstSigma() < shortSigma {
		return say.Of("pictures after the knock count")
	}
	return say.Of("three more after the knock")
}

// clampGives is whether several small breaks all go the same way in the camera's frame: then the
// camera's own clamp gives.
func (s *session) clampGives() (Situation, bool) {
	var jumps []r3.Vec
	first, size, variance := 0, unit.Angle(0), 0.0
	for _, b := range s.a.Breaks {
		if !b.jump() || b.Before == 0 {
			continue
		}
		if len(jumps) == 0 {
			first = b.Before
		}
		jumps = append(jumps, s.jumpAt(b.Before))
		size += b.Size
		variance += sq2(s.jumpSize(b).Sigma)
	}
	if len(jumps) < 2 {
		return Situation{}, false
	}
	for _, j := range jumps[1:] {
		if r3.Dot(j, jumps[0]) < sameWay*r3.Norm(j)*r3.Norm(jumps[0]) {
			return Situation{}, false
		}
	}
	return Situation{Kind: KindSlipping, Files: s.files(first, len(s.in.Samples)-1), Size: angle(size, unit.Angle(math.Sqrt(variance))), Sure: len(jumps) > 2,
		Says: say.Of("camera's clamp gives", say.Times(len(jumps)), size)}, true
}

// jumpAt is the turn of the camera on the mount between the groups before and after sample k, in the
// camera's frame, the turn about the axis taken out.
func (s *session) jumpAt(k int) r3.Vec {
	before := k - 1
	for before > 0 && s.a.Stray[before] {
		before--
	}
	held := func(i int) turn.Turn { // C₀ of the sample's group
		c, _ := s.in.Samples[i].Attitude.Given(s.a.WanderPx)
		return turn.About(s.north(), -s.a.Theta[i]).Then(c)
	}
	v := held(before).Inverse().Then(held(k)).Log()
	u := held(before).Apply(s.north())
	return r3.Sub(v, r3.Scale(r3.Dot(u, v), u))
}

// strayBelow: so near the horizon the air alone moves a picture by arcminutes from one night to another (common practice, no source).
const strayBelow = 15 * ephem.Degree

// strays names single pictures that fit neither side.
func (s *session) strays() []Situation {
	var all []Situation
	for i, stray := range s.a.Stray {
		if !stray {
			continue
		}
		name := s.file(i)
		switch off, height := s.strayBy(i), s.h.Sights[i].Altitude; {
		case off >= knockLimit:
			all = append(all, otherField(name, angle(off, s.sigmaOf(i))))
		case height < strayBelow:
			all = append(all, Situation{Kind: KindLowAltitude, Files: []string{name}, Size: angle(height, s.sigmaOf(i)), Sure: true, Says: say.Of("left out, too low", name, say.Degrees(height))})
		default:
			all = append(all, Situation{Kind: KindKnock, Files: []string{name}, Size: angle(off, s.sigmaOf(i)), Sure: true, Says: say.Of("left out, shaken", name, off)})
		}
	}
	return all
}

func otherField(name string, off Size) Situation {
	return Situation{Kind: KindOtherField, Files: []string{name}, Size: off, Sure: true, Says: say.Of("left out, another field", name, unit.Angle(off.Value))}
}

// strayBy is how far a picture looks away from its nearest neighbour in use, a turn about the axis not
// counted.
func (s *session) strayBy(i int) unit.Angle {
	for d := 1; d < len(s.in.Samples); d++ {
		for _, k := range [2]int{i - d, i + d} {
			if k < 0 || k >= len(s.in.Samples) || s.a.Stray[k] {
				continue
			}
			ci, _ := s.in.Samples[i].Attitude.Given(s.a.WanderPx)
			ck, _ := s.in.Samples[k].Attitude.Given(s.a.WanderPx)
			v := ck.Inverse().Then(ci).Log()
			u := ck.Apply(s.north())
			return unit.Angle(r3.Norm(r3.Sub(v, r3.Scale(r3.Dot(u, v), u))))
		}
	}
	return 0
}

// straysInSky names, where there is no axis, single pictures between two neighbours that look the
// same way while they look more than knockLimit away from both – however the mount runs, the sky's own turn between
// pictures taken into account twice over.
func (s *session) straysInSky() []Situation {
	var all []Situation
	for n := 1; n+1 < len(s.solved); n++ {
		i, k, j := s.solved[n-1], s.solved[n], s.solved[n+1]
		between := r3.Norm(s.turnBetween(i, j))
		off := math.Min(r3.Norm(s.turnBetween(i, k)), r3.Norm(s.turnBetween(k, j)))
		sky := 2 * ephem.SiderealRadPerS * s.secondsBetween(i, j)
		if between <= sky+knockLimit.Rad()/2 && off > sky+knockLimit.Rad() {
			all = append(all, otherField(s.seq.Shots[k].File, angle(unit.Angle(off), unit.Angle(attitudeSigma(s.seq.Shots[k])))))
		}
	}
	return all
}

// lensChanges names, where there is no axis, a change of lens or size from one solved picture to
// the next.
func (s *session) lensChanges() []Situation {
	const breathing = 0.01 // focus breathes by a tenth of that, another crop differs by more than ten times
	for n := 1; n < len(s.solved); n++ {
		a, b := s.seq.Shots[s.solved[n-1]], s.seq.Shots[s.solved[n]]
		scale := math.Abs(math.Log(a.Solution.Lens.FocalPx / b.Solution.Lens.FocalPx))
		if a.Width == b.Width && a.Height == b.Height && scale < breathing {
			continue
		}
		files := s.shotFiles(s.solved[n:])
		return []Situation{{Kind: KindReAimed, Files: files, Sure: true, Says: say.Of("lens changed", files[0])}}
	}
	return nil
}
