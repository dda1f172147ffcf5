package policy

import (
	"math"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// Step is what to do next.
type Step string

// The steps.
const (
	Shoot   Step = "shoot"
	Turn    Step = "turn"
	Measure Step = "measure"
	Swing   Step = "swing"
)

// Advice is what to do, in values.
type Advice struct {
	Next         Step     // empty where nothing can be said
	Says         say.Line // the step and its reason
	AltitudeIs   KnobIs   // of the altitude knob; empty where nothing can be said
	AzimuthIs    KnobIs
	Altitude     say.Line   // the same with the turn
	Azimuth      say.Line   // of the azimuth knob
	TurnAltitude unit.Angle // motion wanted, up positive
	TurnAzimuth  unit.Angle // motion wanted, clockwise seen from above positive
	Trustworthy  bool
	Notes        []Note
}

// Note is a doubt, or what may be worth knowing besides.
type Note struct {
	Says  say.Line
	Aside bool // nothing to be done by it tonight
}

// Advise turns an axis and a question into the next step. A correction is withheld while it is smaller than twice its error; the step is then to
// shoot, if the planned exposure stands the doubt as well, or to measure better in the quickest way.
func Advise(a align.Axis, q Question) Advice {
	s := Stand(a, q)
	ad := Advice{Next: s.next(q), TurnAltitude: -s.Off.Altitude, TurnAzimuth: -s.Off.Azimuth, Trustworthy: q.Ask.None() && s.trusted(q)}
	ad.AltitudeIs, ad.AzimuthIs = s.knobs(a, q, ad.Next)
	ad.Altitude = q.knobLine(ad.AltitudeIs, ad.TurnAltitude, a.AltitudeSigma(), tiltLine)
	ad.Azimuth = q.knobLine(ad.AzimuthIs, ad.TurnAzimuth, a.AzimuthSigma(), q.baseLine)
	ad.Says = ad.stepLine(a, s, q)
	if !q.Ask.None() {
		ad.askFirst(q)
	}
	ad.Notes = notes(a, s)
	return ad
}

// askFirst puts a question of place or clock before the step. A turn or a start rests on the answer, and is ordered on that condition alone; more
// pictures are wanted whatever it is.
func (ad *Advice) askFirst(q Question) {
	if ad.Next != Turn && ad.Next != Shoot {
		ad.Says = say.All(q.Ask, ad.Says)
		return
	}
	ad.Next, ad.Says = Measure, say.Of("question, then on a condition", q.Ask, q.If, say.Clause(ad.Says))
}

// off is how far an axis is off, with its error.
func (s Standing) off() say.Off { return say.Off{Value: s.Off.Total, Sigma: s.Sigma} }

// stepLine is the step and its reason.
func (ad Advice) stepLine(a align.Axis, s Standing, q Question) say.Line {
	switch ad.Next {
	case Shoot:
		return s.startLine(q, ad.Trustworthy || !q.Ask.None())
	case Turn:
		if q.Rounded && q.LongestS > 0 && q.Ask.None() {
			return say.Of("turn, though it stays round", say.Seconds(q.PlannedS), q.Room(), ad.turnsLine(a))
		}
		return say.Of("turn the knobs", ad.turnsLine(a))
	case Swing:
		return say.Of("swing, by the axis known so far", s.off(), q.Forecast.SwingSigma)
	}
	if q.Unsteady {
		return say.Of("put right first")
	}
	if !s.Sound {
		return say.Of("no steady axis fits")
	}
	if f := q.Forecast; f.PatchHelps {
		return say.Of("more pictures, or another patch", s.off(), f.MoreSigma, f.Patch.Name, f.PatchSigma)
	}
	return say.Of("more pictures of the kind", s.off(), q.Forecast.MoreSigma)
}

// startLine is the order to start, and what makes it one.
func (s Standing) startLine(q Question, trusted bool) say.Line {
	planned := say.Seconds(q.PlannedS)
	switch {
	case s.ByPlay && q.shortens():
		return say.Of("start, play and a shorter exposure", s.off(), q.Play, say.LongestOf(q.LongestS), q.Rests, planned)
	case s.ByPlay:
		return say.Of("start, play", s.off(), q.Play)
	case q.shortens():
		return say.Of("start, a shorter exposure", say.LongestOf(q.LongestS), q.Rests, planned, s.off())
	case !trusted: // by the error it may have
		return say.Of("start, whatever the error", s.off(), planned, s.Worst)
	case q.Rounded && q.LongestS > 0:
		return say.Of("start, it stays round", planned, q.Room(), s.off())
	}
	return say.Of("start, it stands more", s.off(), planned)
}

// Room says, behind an exposure planned that stays round, how much longer one may be, and what that rests on.
func (q Question) Room() say.Line {
	if q.LongestS <= q.PlannedS { // the gear brings the planned one round again, or it is the longest
		return q.Rests
	}
	return say.Of("room", say.LongestOf(q.LongestS), q.Rests)
}

// turnsLine names the knobs that want a turn, the larger error first; altitude is to end upward.
func (ad Advice) turnsLine(a align.Axis) say.Line {
	alt, az := ad.Altitude, ad.Azimuth
	if ad.TurnAltitude < 0 {
		alt = say.Of("finish upward", alt)
	}
	onSky := math.Abs(ad.TurnAzimuth.Rad()) * math.Cos(a.Altitude().Rad())
	switch {
	case ad.AltitudeIs != KnobTurns:
		return az
	case ad.AzimuthIs != KnobTurns:
		return alt
	case math.Abs(ad.TurnAltitude.Rad()) >= onSky:
		return say.Of("first, then", alt, az)
	}
	return say.Of("first, then", az, alt)
}

// knobLine is how a knob stands, and the turn it wants or what would show it.
func (q Question) knobLine(is KnobIs, turn, sigma unit.Angle, turns func(unit.Angle) say.Line) say.Line {
	switch f := q.Forecast; {
	case is == KnobTurns:
		return turns(turn)
	case is == KnobRight:
		return say.Of("knob right", say.Off{Value: turn, Sigma: sigma})
	case f.SwingSigma > 0 && f.SwingSigma < f.MoreSigma:
		return say.Of("knob not known, a swing shows", sigma)
	}
	return say.Of("knob not known, pictures show", sigma)
}

func tiltLine(turn unit.Angle) say.Line {
	if turn > 0 {
		return say.Of("raise", turn)
	}
	return say.Of("lower", turn)
}

func (q Question) baseLine(turn unit.Angle) say.Line {
	sense, toward, _ := BaseWay(turn, q.South)
	return say.Of("turn the base", turn, sense, toward)
}

// BaseWay is which way a turn of the base goes: its sense seen from above, toward which side of the sky, and to which hand of who faces the pole. Facing
// the pole, clockwise seen from above is to the right; in the north that is east, in the south west.
func BaseWay(turn unit.Angle, south bool) (sense, toward, hand say.Line) {
	sense, toward, hand = say.Of("anticlockwise"), say.Of("west"), say.Of("left")
	if turn > 0 {
		sense, hand = say.Of("clockwise"), say.Of("right")
	}
	if turn > 0 != south {
		toward = say.Of("east")
	}
	return sense, toward, hand
}

// notes are doubts and help.
func notes(a align.Axis, s Standing) (ns []Note) {
	note := func(l say.Line) { ns = append(ns, Note{Says: l}) }
	if a.DOF < 1 {
		note(say.Of("two always fit"))
	}
	if a.Creep > s.Sigma.Mul(3) && a.Creep > UsualPlay {
		proof := say.Of("a swing rules out creep")
		if a.Followed {
			proof = say.Of("a second run rules out creep")
		}
		note(say.Of("had it crept", a.Creep, proof))
	}
	if own, sigma, differs := a.OwnAxis(); differs {
		note(say.Of("own axis beside", say.Off{Value: own, Sigma: sigma}))
	}
	if s.Off.Total > manyDegrees {
		note(say.Of("many degrees off"))
	}
	return ns
}
