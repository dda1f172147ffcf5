package words

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/ephem/say"
)

// One form for each quantity, on every surface.

// Quantity is a value of package say as it is told.
func Quantity(v any) string {
	switch v := v.(type) {
	case unit.Angle:
		return Arc(v)
	case say.Off:
		return Off(v.Value, v.Sigma)
	case say.Moons:
		return Moons(unit.Angle(v))
	case say.Degrees:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", unit.Angle(v).Deg()), ".0") + "°"
	case say.Wind:
		return wind(unit.Angle(v))
	case say.Arcsec:
		return Within(v.Value.Sec(), v.Sigma.Sec(), "″")
	case say.Period:
		return Within(v.Seconds, v.Sigma, " s")
	case say.Rate:
		return significant(math.Abs(unit.Angle(v).Sec())) + "″ a second"
	case time.Duration:
		return Exposure(v.Seconds())
	case time.Time:
		return v.UTC().Format("15:04") + " UTC"
	case say.Longest:
		return Longest(time.Duration(v).Seconds())
	case say.Wait:
		return Wait(time.Duration(v))
	case say.Span:
		return span(time.Duration(v))
	case say.Offset:
		return Zone(time.Duration(v))
	}
	return bare(v)
}

// bare is a quantity that is neither an angle nor a time.
func bare(v any) string {
	switch v := v.(type) {
	case say.Times:
		return times(int(v))
	case say.Pictures:
		return counted(int(v), "picture")
	case say.Share:
		return Share(float64(v))
	case say.Ratio:
		return Within(v.Value, v.Sigma, "")
	case say.Pixels:
		return significant(float64(v)) + " px"
	case say.Millimetres:
		return fmt.Sprintf("%.1f mm", float64(v))
	case say.Kilometres:
		return kilometres(float64(v))
	case say.Sentence:
		return sentence(string(v))
	case say.Hours:
		return fmt.Sprintf("%.1f ± %.1f hours", v.Value.Abs().Hours(), v.Sigma.Hours())
	case say.Tenths:
		return fmt.Sprintf("%.1f", float64(v))
	case say.Hundredths:
		return fmt.Sprintf("%.2f", float64(v))
	case say.Number:
		return significant(float64(v))
	case say.Place:
		return place(v)
	case say.Files:
		return few(v)
	case []string:
		return strings.Join(v, ", ")
	case []say.Line:
		return sequence(v)
	case say.Clause:
		return small(Line(say.Line(v)))
	case say.Line:
		return Line(v)
	}
	return fmt.Sprint(v)
}

// Arc is an angle without its sign: seconds of arc below a tenth of a minute, minutes up to a degree and a half, degrees above.
func Arc(a unit.Angle) string {
	m := math.Abs(a.Min())
	if !finite(m) {
		return "?"
	}
	in := arcUnit(m)
	if in.mark == "′" && m < 9.95 {
		return fmt.Sprintf("%.1f′", m)
	}
	return fmt.Sprintf("%.*f%s", in.decimals, m/in.minutes, in.mark)
}

// inUnit is what an angle is told in.
type inUnit struct {
	mark     string
	minutes  float64
	decimals int
}

func arcUnit(minutes float64) inUnit {
	switch {
	case minutes < 0.095:
		return inUnit{"″", 1.0 / 60, 0}
	case minutes < 89.5:
		return inUnit{"′", 1, 0}
	}
	return inUnit{"°", 60, 1}
}

// Off is an angle with its standard error, both in one unit: 25′ ± 3′, 0.8′ ± 0.2′, 1.6° ± 1.0°. A hand turns no finer than a tenth of a minute, so
// that nothing is told finer, but in whole seconds where all of it is smaller; an error is never told as none.
func Off(a, sigma unit.Angle) string {
	v, s := math.Abs(a.Min()), math.Abs(sigma.Min())
	if !finite(v) || !finite(s) {
		return Arc(a) + " ± " + Arc(sigma)
	}
	in := arcUnit(max(v, s))
	if v < 0.95 && s < 0.095 {
		in = arcUnit(0)
	}
	v, s = v/in.minutes, s/in.minutes
	decimals := 0
	if in.mark == "″" {
		s = max(s, 1)
	} else if s < 0.995 || v < 9.95 {
		decimals, s = 1, max(s, 0.1)
	}
	return fmt.Sprintf("%.*f%s ± %.*f%s", decimals, v, in.mark, decimals, s, in.mark)
}

// moonWidth is the Moon's mean apparent diameter in minutes of arc, 31.1′ (Meeus, Astronomical Algorithms, 2nd ed., chapter 55: semidiameter
// 358 473 400 km″/distance).
const moonWidth = 31.1

// Moons is an angle in widths of the Moon, to a tenth, for mounts without scales.
func Moons(a unit.Angle) string {
	switch w := math.Abs(a.Min()) / moonWidth; {
	case w < 0.05:
		return "less than 0.1 Moon widths"
	case w >= 0.95 && w < 1.05:
		return "one Moon width"
	default:
		return fmt.Sprintf("%.1f Moon widths", w)
	}
}

// Exposure is a length of exposure: tenths of a second below ten seconds, minutes from ten minutes on.
func Exposure(s float64) string {
	switch {
	case !finite(s):
		return "?"
	case s < 0.995:
		return fmt.Sprintf("%.2g s", s)
	case s < 9.95 && math.Abs(s-math.Round(s)) >= 0.05:
		return fmt.Sprintf("%.1f s", s)
	case s < 599.5:
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.0f min", s/60)
}

// hourS is the longest exposure that is looked into, seconds.
const hourS = 3600

// Longest is a longest exposure, 0 where none is round; what is longer than an hour is not looked into.
func Longest(s float64) string {
	switch {
	case s == 0:
		return "never"
	case s >= hourS:
		return "an hour and more"
	}
	return Exposure(s)
}

// Wait is a length of time to be spent, in whole minutes.
func Wait(d time.Duration) string {
	if n := int(math.Ceil(d.Minutes() - 0.25)); n > 1 {
		return fmt.Sprintf("%d minutes", n)
	}
	return "one minute"
}

// span is a difference between clocks, of hours and minutes, or of minutes and seconds.
func span(d time.Duration) string {
	d = d.Abs().Round(time.Second)
	switch d {
	case time.Hour:
		return "an hour"
	case 30 * time.Minute:
		return "half an hour"
	}
	h, m, s := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	var parts []string
	for _, p := range []struct {
		n    int
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.n > 0 && !(p.unit == "s" && h > 0) {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.unit))
		}
	}
	return strings.Join(parts, " ")
}

// Zone is an offset from UTC as +HH:MM.
func Zone(d time.Duration) string {
	return time.Time{}.In(time.FixedZone("", int(d/time.Second))).Format("-07:00")
}

// Kind is a kind of situation as it heads a line. Its name in JSON is a word of its own where that one is for those who know the field.
func Kind(name string) string {
	if plain, ok := plainKinds[name]; ok {
		return plain
	}
	r, n := utf8.DecodeRuneInString(name)
	return string(unicode.ToUpper(r)) + name[n:]
}

var plainKinds = map[string]string{string(align.KindFlexure): "Bend or creep", string(align.KindLowAltitude): "Aimed low"}

// Share is a part of one in hundredths.
func Share(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) }

var winds = [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}

// wind names the nearest of eight.
func wind(azimuth unit.Angle) string {
	return winds[int(math.Round(azimuth.Mod1().Deg()/45))%len(winds)]
}

// Within is a number with its standard error, to the error's second figure and at most five decimals; none is told as smaller than the last of them.
func Within(v, sigma float64, what string) string {
	if !(sigma > 0) || !finite(sigma) {
		return significant(v) + what
	}
	decimals := min(max(1-int(math.Floor(math.Log10(sigma))), 0), 5)
	sigma = max(sigma, math.Pow10(-decimals))
	return fmt.Sprintf("%.*f ± %.*f%s", decimals, v, decimals, sigma, what)
}

// significant is a number to what it is worth where no error is known.
func significant(v float64) string {
	switch a := math.Abs(v); {
	case a >= 9.95:
		return fmt.Sprintf("%.0f", v)
	case a >= 0.995:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func counted(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// kilometres are a distance to two figures.
func kilometres(km float64) string {
	if km < 9.95 {
		return fmt.Sprintf("%.1f km", km)
	}
	last := math.Pow10(int(math.Floor(math.Log10(km))) - 1)
	return fmt.Sprintf("%.0f km", math.Round(km/last)*last)
}

func place(p say.Place) string {
	half := func(deg float64, plus, minus string) string {
		if deg < 0 {
			plus = minus
		}
		return fmt.Sprintf("%.2f° %s", math.Abs(deg), plus)
	}
	return half(p.LatitudeDeg, "N", "S") + ", " + half(p.LongitudeDeg, "E", "W")
}

// few names the first of several files and how many more there are.
func few(files []string) string {
	if len(files) < 2 {
		return strings.Join(files, "")
	}
	return fmt.Sprintf("%s and %d more", files[0], len(files)-1)
}

// sentence is a text with its first letter large and a full stop behind.
func sentence(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + strings.TrimSuffix(text[n:], ".") + "."
}

// small is a text with its first letter small.
func small(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToLower(r)) + text[n:]
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
