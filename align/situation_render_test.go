package align

import (
	"context"
	"slices"
	"testing"
	"time"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// renderedOf measures rendered pictures: where the shapes of stars matter.
func renderedOf(t testing.TB, e simulate.Evening) drift.Sequence {
	t.Helper()
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	var q drift.Sequence
	for i := range e.Count {
		plane, meta, err := run.Frame(context.Background(), i)
		if err != nil {
			t.Fatal(err)
		}
		s := drift.Shot{File: e.File(i), Clock: &meta.Clock, Lens: meta.Lens, Width: plane.Width, Height: plane.Height}
		if s.Field, err = star.Find(context.Background(), plane, star.Options{}); err != nil {
			t.Fatal(err)
		}
		if sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx}); err != nil {
			s.Err = err
		} else {
			s.Solution = &sol
		}
		q.Shots = append(q.Shots, s)
	}
	return q
}

// pocket is an evening with small pictures of a wide lens, quick to render.
func pocket(t testing.TB) simulate.Evening {
	e := practice(t, 46)
	e.Camera = simulate.Phone(50, 1)
	e.Count = 8
	e, err := e.Aimed(horizontal(180, 48))
	if err != nil {
		t.Fatal(err)
	}
	return restless(e, 3)
}

func TestRenderedTroubles(t *testing.T) {
	for _, c := range []struct {
		name  string
		set   func(e *simulate.Evening)
		want  Kind // empty: nothing
		first int
		also  []Kind
	}{
		{"nothing amiss", func(*simulate.Evening) {}, "", 0, nil},
		{"hot pixels on a turning mount", func(e *simulate.Evening) { e.Camera.HotPixels = 2000 }, "", 0, nil},
		{"hot pixels on a standing one", func(e *simulate.Evening) {
			e.Camera.HotPixels = 2000
			e.Mount.Tripod = true
			e.Exposure = 4 * time.Second
		}, KindNotTurning, 0, nil},
		{"lost focus", func(e *simulate.Evening) { e.Handling.FocusLoss = 0.6 }, KindFocus, 4, nil},
		{"dew", func(e *simulate.Evening) { e.Handling.Dew = 1.8; e.Handling.FocusLoss = 0.2 }, KindFocus, 4, nil},
		{"cloud gap", func(e *simulate.Evening) { e.Conditions.Clouds.Gaps = []int{3} }, KindCloud, 3, nil},
		{"cap", func(e *simulate.Evening) { e.Handling.Capped = []int{5} }, KindDaylight, 5, nil},
		{"daylight", func(e *simulate.Evening) { e.Conditions.Brightness = 8 }, KindDaylight, 0, nil},
		{"stacked inside", func(e *simulate.Evening) { e.Mount.Tripod = true; e.Handling.Stacked = simulate.StackedRound }, KindStacked, 1, []Kind{KindNotTurning}},
		{"trailing on a tripod, as it must", func(e *simulate.Evening) { e.Mount.Tripod = true; e.Exposure = 10 * time.Second }, KindNotTurning, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := pocket(t)
			c.set(&e)
			q := renderedOf(t, e)
			_, found := judge(t, e, q)
			hit := c.want == ""
			for _, s := range found {
				switch {
				case s.Kind == c.want:
					hit = hit || s.Files[0] == e.File(c.first)
				case s.Kind == KindTooShort || s.Kind == KindWeakDirection || slices.Contains(c.also, s.Kind):
				default:
					t.Errorf("%s was named", s.Kind)
				}
			}
			if !hit {
				t.Errorf("not named: %s from %s", c.want, e.File(c.first))
			}
			for _, s := range q.Shots {
				t.Logf("%s: %d stars, width %.2f, elongation %.2f, sky %.4f, %v, %v", s.File, len(s.Field.Stars), s.Field.FWHM, s.Field.Elongation, s.Field.Background, s.Field.Condition, s.Err)
			}
			t.Log(texts(found))
		})
	}
}
