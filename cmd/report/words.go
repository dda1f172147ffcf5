package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/ephem/say"
)

// digits prints a number, or a dash where it is unknown.
func digits(v *float64, decimals int) string {
	if v == nil || !finite(*v) {
		return "–"
	}
	return strings.Replace(fmt.Sprintf("%.*f", decimals, *v), "-", "−", 1)
}

func arcmin(m float64) unit.Angle { return unit.AngleFromMin(m) }

func titleOf(d Data) string {
	if d.Title != "" {
		return d.Title
	}
	return words.Say("what the pictures say")
}

// steps are said where no length of exposure is known.
var steps = map[string]say.Line{
	string(policy.Shoot):   say.Of("act: start"),
	string(policy.Turn):    say.Of("head: turn the knobs"),
	string(policy.Swing):   say.Of("head: swing"),
	string(policy.Measure): say.Of("head: measure again"),
}

// headlineOf is the exposure that stays round, else what to turn, else why there is nothing.
func headlineOf(d Data) headline {
	a := d.Answer
	h := headline{Doing: a.Advice.NextText, Planned: words.Planned(a.Exposure)}
	if h.Doing == "" && a.Err != nil {
		h.Doing = reason(a)
	}
	switch {
	case a.Measured != nil && !a.Measured.Question.Ask.None():
		h.Figure = words.Say("question first")
	case a.Exposure != nil && a.Exposure.LongestS != nil:
		h.Figure = words.Line(exposure.Headline(*a.Exposure.LongestS, a.Exposure.Gear))
	case a.Advice.Next != nil && !steps[*a.Advice.Next].None():
		h.Figure = words.Line(steps[*a.Advice.Next])
	case d.Judged != nil && d.Judged.Of > 0:
		h.Figure = strings.TrimSuffix(words.Say("so many are round", d.Judged.Round, d.Judged.Of), ".")
		h.Doing = words.Line(d.Judged.Advice)
	default:
		h.Figure = words.Say("no axis from these")
	}
	return h
}

// notesOf are the answer's, less the one that says what the headline says already.
func notesOf(d Data) []string {
	said := strings.TrimSuffix(headlineOf(d).Doing, ".")
	return slices.DeleteFunc(slices.Clone(d.Answer.Advice.Notes), func(n string) bool {
		return strings.EqualFold(strings.TrimSuffix(n, "."), said)
	})
}

// reason is why there is no axis, with the way out.
func reason(a answer.Answer) string { return sentence(a.Voice.Reason(a.Err)) }

// sentence begins with a capital and ends with a stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	s = strings.ToUpper(string(r[:1])) + string(r[1:])
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// axisOf is the two tubes and the axis in figures.
func axisOf(d Data) axisView {
	a := d.Answer
	if a.Axis == nil || a.Error == nil {
		why := words.Say("no axis seen")
		if a.Err != nil {
			why = reason(a)
		}
		if headlineOf(d).Doing == why {
			why = words.Say("no axis, as said above")
		}
		return axisView{Why: why}
	}
	az, alt, _ := Level(a)
	t := tubes{az, alt}
	return axisView{
		Words:    []string{t.reading(a)},
		Azimuth:  Figure{t.azimuth.SVG(), t.azimuthWords(a)},
		Altitude: Figure{t.altitude.SVG(), t.altitudeWords(a)},
		Facts:    axisFacts(a),
	}
}

// tubes are the level of the base and that of the wedge.
type tubes struct{ azimuth, altitude plot.Tube }

// Level is the two tubes of an answer's axis; false without an axis.
func Level(a answer.Answer) (azimuth, altitude plot.Tube, ok bool) {
	if a.Axis == nil || a.Error == nil {
		return azimuth, altitude, false
	}
	var stands unit.Angle
	if a.Measured != nil {
		stands = policy.Stand(a.Measured.Axis, a.Measured.Question).Marks
	}
	// As a turn about the vertical an error on the sky is larger by 1/cos(altitude).
	turn := unit.Angle(stands.Rad() / max(1e-6, math.Cos(a.Axis.AltitudeDeg*math.Pi/180)))
	azimuth = plot.Tube{Name: words.Say("tube: base"), Value: arcmin(a.Error.AzimuthArcmin), Sigma: arcmin(a.Axis.AzimuthSigmaArcmin),
		Stands: turn, Low: "too far left", High: "too far right"}
	altitude = plot.Tube{Name: words.Say("tube: tilt"), Standing: true, Value: arcmin(a.Error.AltitudeArcmin), Sigma: arcmin(a.Axis.AltitudeSigmaArcmin),
		Stands: stands, Low: "too low", High: "too high"}
	return azimuth, altitude, true
}

// reading says how to read the tubes.
func (t tubes) reading(a answer.Answer) string {
	marks := say.Of("tubes without marks")
	if t.altitude.Stands > 0 {
		var planned any = say.Of("the planned exposure")
		if s := a.Measured.Question.PlannedS; s > 0 {
			planned = say.Seconds(s)
		}
		marks = say.Of("what the marks enclose", planned)
	}
	return words.Line(say.All(say.Of("how to read the tubes"), marks))
}

func (t tubes) azimuthWords(a answer.Answer) string {
	side := say.Of("right")
	if a.Error.AzimuthArcmin < 0 {
		side = say.Of("left")
	}
	off := words.BaseOff(a.Error.AzimuthArcmin, words.OffBy(a.Error.AzimuthArcmin, a.Axis.AzimuthSigmaArcmin))
	return caption(say.Of("base off, as one faces it", off, side), a.Advice.Azimuth)
}

func (t tubes) altitudeWords(a answer.Answer) string {
	return caption(say.Of("tilt off", words.TiltOff(a.Error.AltitudeArcmin, words.OffBy(a.Error.AltitudeArcmin, a.Axis.AltitudeSigmaArcmin))), a.Advice.Altitude)
}

// caption is how far off the axis is and what to do about it.
func caption(off say.Line, advice string) string {
	return strings.TrimSpace(words.Line(off) + " " + sentence(advice))
}

func axisFacts(a answer.Answer) []Fact {
	fs := []Fact{
		{"axis", words.Say("axis toward", digits(&a.Axis.AltitudeDeg, 3), digits(&a.Axis.AzimuthDeg, 3))},
	}
	if a.Aim != nil {
		fs = append(fs, Fact{"aim: " + a.Aim.Kind + " pole", words.Say("axis toward", digits(&a.Aim.AltitudeDeg, 3), digits(&a.Aim.AzimuthDeg, 3))})
	}
	fs = append(fs, Fact{"apart", words.Off(arcmin(a.Error.TotalArcmin), arcmin(a.Error.TotalSigmaArcmin)) + " on the sky"},
		Fact{"correlation of the two errors", digits(&a.Axis.Correlation, 2)})
	if a.Rate != nil {
		fs = append(fs, Fact{"rate of the motor", words.Within(a.Rate.SiderealRatio, a.Rate.Sigma, " of the stars'")})
	}
	if a.Aim != nil && a.Aim.Kind == string(align.AimField) {
		fs[1].Name = "aim: where the target drifts least"
	}
	return fs
}

func methodOf(d Data) []string {
	made := []say.Line{say.Of("method: version", answer.Version)}
	if d.Version != "" {
		made = append([]say.Line{say.Of("method: made by", d.Version)}, made...)
	}
	if !d.Generated.IsZero() {
		made = append(made, say.Of("method: written on", d.Generated.UTC().Format("2 January 2006 at 15:04")))
	}
	if s := d.Answer.Site; s != nil {
		made = append(made, say.Of("method: site", say.Place{LatitudeDeg: s.Latitude.Deg(), LongitudeDeg: s.Longitude.Deg()}, int(math.Round(s.HeightM))))
	}
	return []string{words.Say("method: pictures"), words.Say("method: axis"), words.Say("method: errors"), words.Line(say.All(made...))}
}

// clock prints an instant of a picture.
func clock(s *string) string {
	t, err := time.Parse(time.RFC3339Nano, deref(s))
	if err != nil {
		return "–"
	}
	return t.UTC().Format("15:04:05")
}
