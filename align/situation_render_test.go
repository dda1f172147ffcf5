package align

import (
	"context"
	"os"
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
	e.Camera = simulate.Phone(50, 0.7)
	e.Count = 6
	e, err := e.Aimed(horizontal(180, 48))
	if err != nil {
		t.Fatal(err)
	}
	return restless(e, 3)
}

// rendered is a trouble that shows in the stars' shapes and numbers.
type rendered struct {
	name  string
	set   func(e *simulate.Evening)
	want  map[Kind]int // kind → first picture
	brief bool         // runs without TRUETURN_STUDY
}

func renderedTroubles() []rendered {
	return []rendered{
		{"nothing amiss", func(*simulate.Evening) {}, nil, false},
		{"hot pixels on a turning mount", func(e *simulate.Evening) { e.Camera.HotPixels = 1500 }, nil, false},
		{"hot pixels on a standing one", func(e *simulate.Evening) {
			e.Camera.HotPixels, e.Mount.Tripod, e.Exposure, e.Count = 1500, true, 4*time.Second, 3
		}, map[Kind]int{KindNotTurning: 0}, true},
		{"lost focus", func(e *simulate.Evening) { e.Handling.FocusLoss = 0.6 }, map[Kind]int{KindFocus: 3}, true},
		{"dew", func(e *simulate.Evening) { e.Handling.Dew, e.Handling.FocusLoss = 2, 0.2 }, map[Kind]int{KindFocus: 3}, false},
		{"cloud gap, then the cap", func(e *simulate.Evening) {
			e.Conditions.Clouds.Gaps, e.Handling.Capped = []int{2}, []int{4}
		}, map[Kind]int{KindCloud: 2, KindDaylight: 4}, true},
		{"daylight", func(e *simulate.Evening) { e.Conditions.Brightness = 8 }, map[Kind]int{KindDaylight: 0}, true},
		{"stacked inside, on a tripod", func(e *simulate.Evening) {
			e.Mount.Tripod, e.Handling.Stacked, e.Exposure, e.Every, e.Count = true, simulate.StackedRound, 50*time.Second, 55*time.Second, 5
		}, map[Kind]int{KindStacked: 1, KindNotTurning: 0}, true},
		{"trailing on a tripod, as it must", func(e *simulate.Evening) {
			e.Mount.Tripod, e.Exposure, e.Every = true, 50*time.Second, 55*time.Second
		}, map[Kind]int{KindNotTurning: 0}, false},
	}
}

// TestRenderedTroubles goes by way of pictures; with TRUETURN_STUDY set it renders all of them.
func TestRenderedTroubles(t *testing.T) {
	for _, c := range renderedTroubles() {
		if !c.brief && os.Getenv("TRUETURN_STUDY") == "" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			e := pocket(t)
			c.set(&e)
			q := renderedOf(t, e)
			_, found := judge(t, e, q)
			seen := map[Kind]bool{}
			for _, s := range found {
				first, wanted := c.want[s.Kind]
				if wanted && s.Files[0] == e.File(first) {
					seen[s.Kind] = true
				} else if s.Kind.Of() != OfMeasure {
					t.Errorf("%s from %s was named", s.Kind, s.Files[0])
				}
			}
			if len(seen) != len(c.want) {
				t.Errorf("want %v, found%s", c.want, texts(found))
			}
			for _, s := range q.Shots {
				t.Logf("%s: %d stars, width %.2f, elongation %.2f, sky %.4f, %v, %v", s.File, len(s.Field.Stars), s.Field.FWHM, s.Field.Elongation, s.Field.Background, s.Field.Condition, s.Err)
			}
		})
	}
}
