package align

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/simulate"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
	"trueturn/ephem/turn"
)

// The axis about which a bending camera turns, from the formula of the package comment, against differences of the
// simulator's attitudes, which know no formula.
func TestBendAt(t *testing.T) {
	for _, lat := range bothHemispheres {
		e := practiceAt(t, lat)
		var b Bend
		r := rand.New(rand.NewPCG(7, 8))
		for row := range 3 {
			for col := range 3 {
				k := unit.AngleFromMin(2 * r.NormFloat64())
				e.Mount.Bend.K[row][col] = k
				b.K[3*col+row] = k.Rad()
			}
		}
		e.Count, e.Mount.Swings = 4, degrees(0, 30, -70, 20)
		run, err := e.Begin()
		if err != nil {
			t.Fatal(err)
		}
		own := run.Axis(0)
		b.Own = own.Direction()
		if lat < 0 {
			b.Own = r3.Scale(-1, b.Own)
		}
		for i := range e.Count {
			got, _ := b.At(run.Attitude(i, e.MidOf(i)), lat < 0)
			want := run.TurnsAbout(i).Direction()
			moved := Axis{Direction: want}.Apart(Axis{Direction: own.Direction()})
			const second = 0.6 // ″: the formula is of first order, and the square of 6′ is 0.6″
			if off := (Axis{Direction: got}).Apart(Axis{Direction: want}); off.Sec() > second || moved.Sec() < 10*second {
				t.Errorf("latitude %v, picture %d: %.2f″ off, of %.2f″ moved by bending", lat, i+1, off.Sec(), moved.Sec())
			}
		}
	}
}

// A camera that was moved about by more than a holder bends has no axis to be stated.
func TestNoAxisBeyondABend(t *testing.T) {
	e := practiceAt(t, 46)
	e.Count = 30
	e.Mount.Relaxing = []simulate.Relaxing{{Size: unit.AngleFromDeg(3), Constant: 3 * time.Minute, Camera: true}}
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	_, err = axisOf(t, measured(t, run, e.Count, 0.15, 60, rand.New(rand.NewPCG(1, 2))), e.Site)
	if !errors.Is(err, ErrNoAxis) || !strings.Contains(fmt.Sprint(amiss.Ways(err)), "guider") {
		t.Errorf("%v: want no axis, and a guider or second motor named", err)
	}
}

// Elsewhere grows with the way between two directions, by no more than a usual bend.
func TestElsewhere(t *testing.T) {
	look := func(az, alt float64) turn.Turn {
		return holding(horizontalOf(az, alt).Direction(), r3.Vec{Z: 1})
	}
	here := look(120, 40)
	if e := Elsewhere(here, here); e != 0 {
		t.Errorf("%v at the same place", e)
	}
	near, far := Elsewhere(here, look(130, 42)), Elsewhere(here, look(300, 40))
	if !(near > 0 && near < far && far <= UsualBend.Mul(1.5)) {
		t.Errorf("near %.2f′, far %.2f′", near.Min(), far.Min())
	}
}

// TestHolderNamed: what is said of a holder that gives, and that it is not called a knock.
func TestHolderNamed(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(m *simulate.Mount)
		how  How
		says say.Key
	}{
		{"bends", func(m *simulate.Mount) {
			for r, row := range [3][3]float64{{6, 0, 0}, {0, -6, 0}, {0, 0, 0}} {
				for c, k := range row {
					m.Bend.K[r][c] = unit.AngleFromMin(k)
				}
			}
		}, GaveBending, "holder bends"},
		{"settles", func(m *simulate.Mount) {
			m.Relaxing = []simulate.Relaxing{{Size: unit.AngleFromMin(3), Constant: time.Minute}}
		}, GaveSettling, "something settled"},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := practice(t, 46)
			e.Count, e.Mount.Swings = 12, swings(0, 20, 15, -35, -30, 40, 20, -30, -20, 35, 0, -15)
			c.set(&e.Mount)
			a, found := judge(t, e, sessionOf(t, e))
			if a == nil || a.Gave.How != c.how || !a.Gave.Shown() || a.Gave.Lasts() != (c.how == GaveBending) {
				t.Fatalf("%+v%s", a.Gave, texts(found))
			}
			said := false
			for _, s := range found {
				said = said || s.Kind == KindFlexure && s.Says.Key == c.says
				if s.Kind == KindKnock {
					t.Errorf("a knock was seen: %s", s.Says)
				}
			}
			if !said {
				t.Errorf("want flexure, saying %q; found%s", c.says, texts(found))
			}
		})
	}
}
