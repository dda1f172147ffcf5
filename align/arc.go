package align

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
)

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
