package align

import (
	"fmt"
	"math"
	"unicode"
	"unicode/utf8"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// Next is the step to take.
type Next string

// The steps.
const (
	Shoot   Next = "shoot"
	Turn    Next = "turn"
	Measure Next = "measure"
	Swing   Next = "swing"
)

// KnobIs is how a knob stands.
type KnobIs string

// The ways.
const (
	KnobRight   KnobIs = "right"         // within what the exposure stands, surely
	KnobTurns   KnobIs = "turn"          // not right, and known well enough for a turn
	KnobUnknown KnobIs = "not known yet" // its error may be more than the exposure stands
)

// Advice is what to do, in words and numbers.
type Advice struct {
	Next         Next
	NextText     string
	AltitudeIs   KnobIs // of the altitude knob; empty where nothing can be said
	AzimuthIs    KnobIs
	Altitude     string     // the same in words, with the turn
	Azimuth      string     // of the azimuth knob
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

// Question is what advice rests on besides the axis.
type Question struct {
	Aim      Aim
	PlannedS float64    // exposure planned
	Play     unit.Angle // of the knobs, where it is known: less than that no turn of them brings; 0: what small mounts usually have
	Stands   unit.Angle // the axis error the planned exposure stands; 0 if unknown
	Forecast Forecast
	South    bool      // the elevated pole is the south pole
	LongestS float64   // exposure that stays round; 0 if unknown
	Rests    string    // what that rests on, to be said behind the figure; empty: on what was measured
	Rounded  bool      // the planned exposure stays round
	Unsteady bool      // a situation was met in which the axis will not stay as measured
	Query              // of place or clock, to be put before any turn; zero: none
	Voice    say.Voice // of who is told the query
}

// Thresholds of the advice.
const (
	// sureness is how many standard errors a correction must be to be made (design §4).
	sureness = 2
	// fineLimit: below this a turn gains less than it costs whatever the lens. Over two hours a
	// quarter of a degree moves the picture by 8′ and turns it by 0.15°, which stacking
	// absorbs; knobs of small mounts have more play than a tenth of it.
	fineLimit = unit.Angle(15.0 / 60 * math.Pi / 180)
	// farOff: an axis set up by eye or compass is seldom farther off (common practice, no source); such an error is a
	// question about place and clock before it is an order.
	farOff = unit.Angle(10 * math.Pi / 180)
	// knobPlay is the least a knob is good for (common practice, no source).
	knobPlay = unit.Angle(2.0 / 60 * math.Pi / 180)
	// soundMisfit is the largest χ² per degree of freedom under which the stated errors mean
	// anything: with ten degrees of freedom chance exceeds it once in 10⁴.
	soundMisfit = 3.5
)

// Advise turns an axis and a question into the next step. A correction is
// withheld while it is smaller than twice its error; the step is then to shoot, if the planned exposure
// stands the doubt as well, or to measure better in the quickest way.
func Advise(a Axis, q Question) Advice {
	d := a.Deviation(q.Aim)
	ad := Advice{TurnAltitude: -d.Altitude, TurnAzimuth: -d.Azimuth}
	ad.Trustworthy = a.sound() && !q.Unsteady && q.Ask.None() && (d.Total > sureness*d.TotalSigma || sureness*a.WorstSigma() < max(min(q.Stands, fineLimit), q.play()))
	ad.Next = nextStep(a, d, q)
	ad.judgeKnobs(a, q)
	ad.Altitude = q.knobText(ad.AltitudeIs, ad.TurnAltitude, a.AltitudeSigma(), altitudeWords)
	ad.Azimuth = q.knobText(ad.AzimuthIs, ad.TurnAzimuth, a.AzimuthSigma(), azimuthWords(q.South))
	ad.NextText = nextText(ad, a, d, q)
	if !q.Ask.None() {
		ad.askFirst(q)
	}
	ad.Notes = notes(a, d)
	return ad
}

// askFirst puts a question of place or clock before the step. A turn or a start rests on the answer, and is ordered on that condition
// alone; more pictures are wanted whatever it is.
func (ad *Advice) askFirst(q Question) {
	step := ad.NextText
	if ad.Next == Turn || ad.Next == Shoot {
		ad.Next = Measure
		r, n := utf8.DecodeRuneInString(step)
		step = q.Voice.Say(q.If) + ": " + string(unicode.ToLower(r)) + step[n:]
	}
	ad.NextText = q.Voice.Say(q.Ask) + " " + step
}

// sound is whether what is left over agrees with the stated errors.
func (a Axis) sound() bool {
	return a.DOF < 1 || a.Chi2 < soundMisfit*float64(a.DOF)+10
}

// play is the least the knobs are good for.
func (q Question) play() unit.Angle {
	if q.Play > 0 {
		return q.Play
	}
	return knobPlay
}

// small is the axis error not worth a turn of knobs with such a play.
func (q Question) small(play unit.Angle) unit.Angle {
	if !q.Rounded && q.LongestS > 0 { // every bit of the axis counts
		return play
	}
	return max(play, min(fineLimit, q.Stands))
}

// playStops is whether it is the known play alone that makes an error not worth a turn.
func (q Question) playStops(worst unit.Angle) bool {
	return worst < q.small(q.play()) && worst >= q.small(knobPlay)
}

// playText says so.
func (q Question) playText(off string) string {
	text := fmt.Sprintf("Start: %s, and the knobs have %s of play, so turning them gains nothing more", off, Arc(q.Play))
	if !q.Rounded && q.LongestS > 0 {
		text += fmt.Sprintf("; stars stay round for %s%s, not for %s", seconds(q.LongestS), q.Rests, seconds(q.PlannedS))
	}
	return text + "."
}

// nextStep decides.
func nextStep(a Axis, d Deviation, q Question) Next {
	sure := d.turns(a)
	worst, small := d.worst(a), q.small(q.play())
	switch {
	case !a.sound() || q.Unsteady:
		return Measure
	case worst < small:
		return Shoot
	case sure && d.Total > small:
		return Turn
	case q.standsAnyway(worst):
		return Shoot
	case q.Forecast.SwingSigma > 0 && q.Forecast.MoreSigma > small/sureness:
		return Swing
	}
	return Measure
}

// standsAnyway is whether the planned exposure stays round however far off the axis may be, by twice its error.
func (q Question) standsAnyway(worst unit.Angle) bool {
	return worst < q.Stands && (q.Rounded || q.LongestS == 0)
}

// Marks is the axis error up to which the planned exposure stays round, for bubbles to be shown against: half of the tolerance, the other half being left
// to the gear; more where the forecast, which knows the gear, has it round all the same. 0 where not known.
func (q Question) Marks(a Axis, d Deviation) unit.Angle {
	if q.Rounded && q.Stands > 0 {
		return max(q.Stands, d.worst(a))
	}
	return q.Stands
}

// judgeKnobs says how each knob stands. Of two that are too small alone and not together the larger one turns.
func (ad *Advice) judgeKnobs(a Axis, q Question) {
	flat := math.Cos(a.Altitude().Rad())
	ad.AltitudeIs = q.knobIs(ad.Next, ad.TurnAltitude, a.AltitudeSigma())
	ad.AzimuthIs = q.knobIs(ad.Next, ad.TurnAzimuth.Mul(flat), a.AzimuthSigma().Mul(flat))
	if ad.Next != Turn || ad.AltitudeIs == KnobTurns || ad.AzimuthIs == KnobTurns {
		return
	}
	if larger := math.Abs(ad.TurnAltitude.Rad()) >= math.Abs(ad.TurnAzimuth.Rad())*flat; larger && sureOf(ad.TurnAltitude, a.AltitudeSigma()) || !sureOf(ad.TurnAzimuth, a.AzimuthSigma()) {
		ad.AltitudeIs = KnobTurns
	} else {
		ad.AzimuthIs = KnobTurns
	}
}

// knobIs is how a knob stands, by the turn wanted and its error, both on the sky.
func (q Question) knobIs(next Next, turn, sigma unit.Angle) KnobIs {
	size, doubt, limit := unit.Angle(math.Abs(turn.Rad())), sigma.Mul(sureness), q.small(q.play())
	least := limit
	if next == Turn {
		least = q.play()
	}
	switch sure := sureOf(turn, sigma); {
	case sure && size > least:
		return KnobTurns
	case sure || doubt <= limit:
		return KnobRight
	}
	return KnobUnknown
}

// worst is the axis error there may be.
func (d Deviation) worst(a Axis) unit.Angle { return d.Total + sureness*a.WorstSigma() }

// turns is whether at least one knob's correction stands out of its error.
func (d Deviation) turns(a Axis) bool {
	return sureOf(d.Altitude, a.AltitudeSigma()) || sureOf(d.Azimuth, a.AzimuthSigma())
}

func sureOf(turn, sigma unit.Angle) bool { return math.Abs(turn.Rad()) >= sureness*sigma.Rad() }

// nextText is the step and its reason in a sentence.
func nextText(ad Advice, a Axis, d Deviation, q Question) string {
	off := fmt.Sprintf("the axis is %s ± %s off", Arc(d.Total), Arc(a.WorstSigma()))
	switch ad.Next {
	case Shoot:
		if q.playStops(d.worst(a)) {
			return q.playText(off)
		}
		if !q.Rounded && q.LongestS > 0 {
			return fmt.Sprintf("Start, but with shorter exposures: stars stay round for %s%s, not for %s, and turning the axis would not help (%s).", seconds(q.LongestS), q.Rests, seconds(q.PlannedS), off)
		}
		if !ad.Trustworthy && q.Ask.None() { // by the error it may have
			return fmt.Sprintf("Start now: %s, and %s stay round even with %s.", off, seconds(q.PlannedS), Arc(d.worst(a)))
		}
		if q.Rounded && q.LongestS > 0 {
			return fmt.Sprintf("Start now: %s stay round%s; %s.", seconds(q.PlannedS), q.Room(), off)
		}
		return fmt.Sprintf("Start now: %s, and %s stand more than that.", off, seconds(q.PlannedS))
	case Turn:
		if q.Rounded && q.LongestS > 0 && q.Ask.None() {
			return fmt.Sprintf("%s stay round as it stands%s. Turn the knobs for longer ones, and to keep the field from creeping over the night: ", seconds(q.PlannedS), q.Room()) +
				ad.steps(a) + ", then tighten the clamps and measure once more without touching."
		}
		return "Turn the knobs: " + ad.steps(a) + ", then tighten the clamps and measure once more without touching."
	case Swing:
		return fmt.Sprintf("Swing the axis by hand by about 30°, take a picture, swing back past the start by 20°, take another: %s, and that brings the error down to ± %s.", off, Arc(q.Forecast.SwingSigma))
	}
	if q.Unsteady {
		return "Put right what is named below first, then measure again: the axis would not stay where these pictures put it."
	}
	if !a.sound() {
		return "Measure again without touching the mount: these pictures do not fit one steady axis."
	}
	more := fmt.Sprintf("Take more pictures of the same kind: %s, and as many again bring it to ± %s", off, Arc(q.Forecast.MoreSigma))
	if f := q.Forecast; f.PatchHelps {
		return fmt.Sprintf("%s; three minutes on another patch of sky (%s) bring it to ± %s.", more, f.Patch.Name, Arc(f.PatchSigma))
	}
	return more + "."
}

// Room says, behind an exposure planned that stays round, how much longer one may be, and what that rests on.
func (q Question) Room() string {
	if q.LongestS <= q.PlannedS { // the gear brings the planned one round again, or it is the longest
		return q.Rests
	}
	return ", with room to " + seconds(q.LongestS) + q.Rests
}

// steps names the knobs that want a turn, the larger error first; altitude is to end upward.
func (ad Advice) steps(a Axis) string {
	alt, az := "", ""
	if ad.AltitudeIs == KnobTurns {
		if alt = ad.Altitude; ad.TurnAltitude < 0 {
			alt += " (go a little too low and finish upward)"
		}
	}
	if ad.AzimuthIs == KnobTurns {
		az = ad.Azimuth
	}
	onSky := math.Abs(ad.TurnAzimuth.Rad()) * math.Cos(a.Altitude().Rad())
	switch {
	case alt == "":
		return az
	case az == "":
		return alt
	case math.Abs(ad.TurnAltitude.Rad()) >= onSky:
		return "first " + alt + ", then " + az
	}
	return "first " + az + ", then " + alt
}

// seconds prints an exposure for a person.
func seconds(s float64) string {
	switch {
	case s < 9.95:
		return fmt.Sprintf("%.2g s", s)
	case s < 600:
		return fmt.Sprintf("%.0f s", s)
	case s < 3600:
		return fmt.Sprintf("%.0f min", s/60)
	}
	return "an hour and more"
}

// knobText is how a knob stands, and the turn it wants or what would show it.
func (q Question) knobText(is KnobIs, turn, sigma unit.Angle, words func(positive bool, size string) string) string {
	size := Arc(unit.Angle(math.Abs(turn.Rad())))
	switch is {
	case KnobTurns:
		return words(turn > 0, size)
	case KnobRight:
		return fmt.Sprintf("right (%s ± %s)", size, Arc(sigma))
	}
	shows := "more pictures show it"
	if f := q.Forecast; f.SwingSigma > 0 && f.SwingSigma < f.MoreSigma {
		shows = "a swing shows it"
	}
	return fmt.Sprintf("not known yet (± %s): %s", Arc(sigma), shows)
}

func altitudeWords(up bool, size string) string {
	if up {
		return "raise " + size
	}
	return "lower " + size
}

// azimuthWords: facing the pole, clockwise seen from above is to the right; in the
// north that is east, in the south west.
func azimuthWords(south bool) func(bool, string) string {
	return func(clockwise bool, size string) string {
		sense, toward := "anticlockwise", "west"
		if clockwise {
			sense = "clockwise"
		}
		if clockwise != south {
			toward = "east"
		}
		return fmt.Sprintf("turn %s %s seen from above (toward %s)", size, sense, toward)
	}
}

// notes are doubts and help.
func notes(a Axis, d Deviation) (ns []Note) {
	note := func(text string) { ns = append(ns, Note{Says: say.Text(text)}) }
	if a.DOF < 1 {
		note("Two pictures always fit some axis: a third would show whether anything slipped between them.")
	}
	if worst := a.WorstSigma(); a.Creep > 3*worst && a.Creep > knobPlay {
		note(fmt.Sprintf("The error stated holds for a camera that sits still. Had it, or the optics in a phone, crept by one pixel during these pictures, the axis found would be %s off; %s rules that out.", Arc(a.Creep), a.proof()))
	}
	if own, sigma, differs := a.ownAxis(); differs {
		note(fmt.Sprintf("The mount's own axis lies %s ± %s beside the one the camera turns about here; for pictures near here it is the latter that counts.", Arc(own), Arc(sigma)))
	}
	if d.Total > unit.AngleFromDeg(5) {
		note("The axis is many degrees off: turn coarsely first (move a tripod leg or the head), then measure again. If that surprises you, check the site, the camera's clock and its time zone.")
	}
	return ns
}

// proof is what shows that nothing crept.
func (a Axis) proof() string {
	if a.Followed {
		return "a second run, on another patch of sky,"
	}
	return "a swing of the axis by 30° and back near the start"
}

// moonWidth is the Moon's mean apparent diameter, 31.1′ (Meeus, Astronomical Algorithms, 2nd ed., chapter 55: semidiameter 358 473 400 km″/distance).
const moonWidth = 31.1

// Arc prints an angle for a person: seconds of arc below one minute, minutes up to a
// degree and a half, degrees above.
func Arc(a unit.Angle) string {
	m := math.Abs(a.Min())
	switch {
	case math.IsNaN(m) || math.IsInf(m, 0):
		return "?"
	case m < 0.095:
		return fmt.Sprintf("%.0f″", m*60)
	case m < 9.95:
		return fmt.Sprintf("%.1f′", m)
	case m < 90:
		return fmt.Sprintf("%.0f′", m)
	}
	return fmt.Sprintf("%.1f°", m/60)
}

// MoonWidths prints an angle in widths of the Moon, for mounts without scales.
func MoonWidths(a unit.Angle) string {
	w := math.Abs(a.Min()) / moonWidth
	switch {
	case w < 0.15:
		return "less than a sixth of the Moon's width"
	case w < 0.4:
		return "a third of the Moon's width"
	case w < 0.75:
		return "half the Moon's width"
	case w < 1.25:
		return "one Moon width"
	}
	return fmt.Sprintf("%.1f Moon widths", w)
}
