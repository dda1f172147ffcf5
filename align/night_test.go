package align

import (
	"context"
	"math"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift"
	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// sevenHours is a real night: 142 directions with roll of a small telescope on a real mount, three minutes apart
// (../shared/frames/narrow, solved against Tycho-2, about 27 stars each).
func sevenHours(t *testing.T) (track.Table, ephem.Site) {
	t.Helper()
	f, err := os.Open("../../shared/frames/narrow/seven-hours.csv")
	if err != nil {
		t.Skip("the folder of real pictures, ../shared/frames, is absent")
	}
	defer f.Close()
	table, err := track.ParseTable(f)
	if err != nil {
		t.Fatal(err)
	}
	site, err := ephem.NewSite(31.68, -110.88, 1268)
	if err != nil {
		t.Fatal(err)
	}
	return table, site
}

// axisOfPart is the axis from what pick leaves of the night.
func axisOfPart(t *testing.T, table track.Table, site ephem.Site, pick func([]track.TableDirection) []track.TableDirection) Axis {
	t.Helper()
	table.Directions = pick(slices.Clone(table.Directions))
	q, err := drift.FromTable(context.Background(), table, drift.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := axisOf(t, q, site)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// stated multiplies what the table states of its errors.
func stated(direction, roll float64) func(l []track.TableDirection) []track.TableDirection {
	return func(l []track.TableDirection) []track.TableDirection {
		for i := range l {
			l[i].Sigma, l[i].RollSigma = l[i].Sigma.Mul(direction), l[i].RollSigma.Mul(roll)
		}
		return l
	}
}

func everySecond(l []track.TableDirection) (half []track.TableDirection) {
	for i := 0; i < len(l); i += 2 {
		half = append(half, l[i])
	}
	return half
}

// lines are those from first up to last.
func lines(first, last int) func(l []track.TableDirection) []track.TableDirection {
	return func(l []track.TableDirection) []track.TableDirection { return l[first:last] }
}

// apart is how far two axes lie from one another in their joint errors, both directions and their correlation counted:
// √χ² of two degrees of freedom.
func apart(a, b r3.Vec, covA, covB [2][2]float64) float64 {
	across, up := turn.Tangent(a)
	d := r3.Sub(b, a)
	x, y := r3.Dot(d, across), r3.Dot(d, up)
	for r := range 2 {
		for c := range 2 {
			covA[r][c] += covB[r][c]
		}
	}
	i := inverse2(covA)
	return math.Sqrt(x*x*i[0][0] + 2*x*y*i[0][1] + y*y*i[1][1])
}

// A real holder bends, and its mount is not only an axis: minutes of arc are left over that neighbours share. One span
// of the night must give one answer, however the pictures are picked or weighted, and the whole night's holder must
// foretell the axis that each part finds by itself.
func TestSevenHours(t *testing.T) {
	t.Parallel()
	table, site := sevenHours(t)
	whole := axisOfPart(t, table, site, stated(1, 1))
	if !whole.Gave.Shown() || len(whole.Breaks) > 0 {
		t.Errorf("the night: %+v, cut at %v; it bends and creeps, and never jumps", whole.Gave, whole.Breaks)
	}
	if s := whole.WorstSigma().Min(); s < 1 || s > 6 {
		t.Errorf("± %.1f′: the night shows the axis to some minutes of arc, no better and no worse", s)
	}
	for _, p := range []struct {
		name string
		pick func([]track.TableDirection) []track.TableDirection
		same bool // the same span of the night
	}{
		{"every second line", everySecond, true},
		{"roll said to be four times better", stated(1, 0.25), true},
		{"roll said to be four times worse", stated(1, 4), true},
		{"all said to be four times better", stated(0.25, 0.25), true},
		{"all said to be four times worse", stated(4, 4), true},
		{"directions said to be four times better", stated(0.25, 1), true},
		{"directions said to be four times worse", stated(4, 1), true},
		{"first half", lines(0, 71), false},
		{"second half", lines(71, 142), false},
		{"middle third", lines(47, 95), false},
	} {
		t.Run(p.name, func(t *testing.T) {
			a := axisOfPart(t, table, site, p.pick)
			foretold, cov := whole.Bend.about(a.stood)
			off := apart(foretold, a.Direction, cov, a.Covariance)
			d := Axis{Direction: foretold}.Apart(a)
			t.Logf("%.1f′ from what the whole night foretells, %.1f joint errors (± %.1f′ and ± %.1f′)", d.Min(), off, Axis{Covariance: cov}.WorstSigma().Min(), a.WorstSigma().Min())
			if off > threeSigma {
				t.Errorf("off by %.1f joint errors", off)
			}
			if p.same && d > max(a.WorstSigma(), whole.WorstSigma()) {
				t.Errorf("moved by %.1f′, with ± %.1f′ and ± %.1f′", d.Min(), whole.WorstSigma().Min(), a.WorstSigma().Min())
			}
		})
	}
}
