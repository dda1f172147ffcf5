package align

import (
	"fmt"
	"math"

	"github.com/soniakeys/unit"
)

// Arc prints an angle for those who read what these tests log: seconds of arc below one minute, minutes up to a
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
