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
	return "What the pictures say"
}

// figures for each step where no length of exposure is known.
var steps = map[string]string{
	string(policy.Shoot):   "Start now",
	string(policy.Turn):    "Turn the knobs",
	string(policy.Swing):   "Swing the axis",
	string(policy.Measure): "Measure again",
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
		h.Figure = words.Line(say.Of("question first"))
	case a.Exposure != nil && a.Exposure.LongestS != nil:
		h.Figure = words.Line(exposure.Headline(*a.Exposure.LongestS, a.Exposure.Gear))
	case a.Advice.Next != nil && steps[*a.Advice.Next] != "":
		h.Figure = steps[*a.Advice.Next]
	case d.Judged != nil && d.Judged.Of > 0:
		h.Figure = fmt.Sprintf("%d of %d are round", d.Judged.Round, d.Judged.Of)
		h.Doing = words.Line(d.Judged.Advice)
	default:
		h.Figure = "No axis from these pictures"
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
		why := "The pictures do not show where the axis points."
		if a.Err != nil {
			why = reason(a)
		}
		if headlineOf(d).Doing == why {
			why = "None could be measured, for the reason above."
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
	azimuth = plot.Tube{Name: "Base: how far round the axis points, against its aim", Value: arcmin(a.Error.AzimuthArcmin), Sigma: arcmin(a.Axis.AzimuthSigmaArcmin),
		Stands: turn, Low: "too far left", High: "too far right"}
	altitude = plot.Tube{Name: "Tilt: how high the axis points, against its aim", Standing: true, Value: arcmin(a.Error.AltitudeArcmin), Sigma: arcmin(a.Axis.AltitudeSigmaArcmin),
		Stands: stands, Low: "too low", High: "too high"}
	return azimuth, altitude, true
}

// reading says how to read the tubes.
func (t tubes) reading(a answer.Answer) string {
	text := "Each bubble is where the axis points and is as long as the measurement is unsure, two standard errors either way. "
	if t.altitude.Stands <= 0 {
		return text + "How much the planned exposure can take is not known, so the tubes have no marks."
	}
	planned := "the planned exposure"
	if s := a.Measured.Question.PlannedS; s > 0 {
		planned = words.Exposure(s)
	}
	return text + fmt.Sprintf("The marks enclose what %s can take when the other tube is in the middle; half of the tolerance is left to the gear.", planned)
}

func (t tubes) azimuthWords(a answer.Answer) string {
	side := "clockwise seen from above, right when facing the pole"
	if a.Error.AzimuthArcmin < 0 {
		side = "anticlockwise seen from above, left when facing the pole"
	}
	return caption("Base", a.Error.AzimuthArcmin, a.Axis.AzimuthSigmaArcmin, "too far "+side, a.Advice.Azimuth)
}

func (t tubes) altitudeWords(a answer.Answer) string {
	side := "too high"
	if a.Error.AltitudeArcmin < 0 {
		side = "too low"
	}
	return caption("Tilt", a.Error.AltitudeArcmin, a.Axis.AltitudeSigmaArcmin, side, a.Advice.Altitude)
}

func caption(name string, value, sigma float64, side, advice string) string {
	text := fmt.Sprintf("%s: %s %s.", name, words.Off(arcmin(value), arcmin(sigma)), side)
	if advice != "" {
		text += " " + sentence(advice)
	}
	return text
}

func axisFacts(a answer.Answer) []Fact {
	fs := []Fact{
		{"axis", fmt.Sprintf("tilt %s°, base %s° from north through east", digits(&a.Axis.AltitudeDeg, 3), digits(&a.Axis.AzimuthDeg, 3))},
	}
	if a.Aim != nil {
		fs = append(fs, Fact{"aim: " + a.Aim.Kind + " pole", fmt.Sprintf("tilt %s°, base %s° from north through east", digits(&a.Aim.AltitudeDeg, 3), digits(&a.Aim.AzimuthDeg, 3))})
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
	method := []string{
		"Each picture was recognised by its stars against the Hipparcos catalogue, which gives the attitude of the camera over the horizon at the middle of the exposure, refraction counted.",
		"One axis was fitted to all attitudes by least squares with the angle about it free in every picture, so that neither an uneven gear nor a swing by hand bends it.",
		"What is said after ± is one standard error, from the scatter of the stars, of the catalogue, of the refraction and of the camera's own wandering.",
	}
	made := fmt.Sprintf("Version of the figures: %d.", answer.Version)
	if d.Version != "" {
		made = fmt.Sprintf("Made by trueturn %s. %s", d.Version, made)
	}
	if !d.Generated.IsZero() {
		made += " Written on " + d.Generated.UTC().Format("2 January 2006 at 15:04") + " UTC."
	}
	if s := d.Answer.Site; s != nil {
		made += fmt.Sprintf(" Site: %s°, %s° (north and east positive), %.0f m.", decimal(s.Latitude.Deg(), 2), decimal(s.Longitude.Deg(), 2), s.HeightM)
	}
	return append(method, made)
}

func decimal(v float64, n int) string { return digits(&v, n) }

// clock prints an instant of a picture.
func clock(s *string) string {
	t, err := time.Parse(time.RFC3339Nano, deref(s))
	if err != nil {
		return "–"
	}
	return t.UTC().Format("15:04:05")
}
