package drift

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// exposed is a picture of 50 stars with a clock.
func exposed(t *testing.T, file string, seed uint64, clock frame.Clock) Shot {
	t.Helper()
	s := solved(t, view{attitude: looking(80, 10), at: evening, stars: 50, noisePx: 0.1, seed: seed}.shot())
	s.File, s.Clock, s.Signal = file, &clock, "luma"
	return s
}

// developedFrom is the same exposure in another file: its stars share all noise but own, pixels of a picture shrunk so many times
// and quarters turned.
func developedFrom(t *testing.T, s Shot, file string, ownPx float64, shrunk float64, quarters int, shiftPx float64) Shot {
	t.Helper()
	r := rand.New(rand.NewPCG(1, uint64(1000*ownPx)))
	s.File, s.Err, s.Solution, s.Field.Stars = file, nil, nil, slices.Clone(s.Field.Stars)
	for i := range s.Field.Stars {
		o := &s.Field.Stars[i]
		o.X, o.Y = (o.X+shiftPx)/shrunk+ownPx*r.NormFloat64(), o.Y/shrunk+ownPx*r.NormFloat64()
		o.XErr, o.YErr = o.XErr/shrunk, o.YErr/shrunk
	}
	s.Width, s.Height = int(float64(s.Width)/shrunk), int(float64(s.Height)/shrunk)
	for range quarters {
		for i := range s.Field.Stars {
			o := &s.Field.Stars[i]
			o.X, o.Y = float64(s.Height-1)-o.Y, o.X
		}
		s.Width, s.Height = s.Height, s.Width
	}
	s.Field.Width, s.Field.Height = s.Width, s.Height
	s.solve(context.Background(), solve.Hint{FocalPx: viewFocalPx / shrunk})
	if s.Solution == nil {
		t.Fatal(s.Err)
	}
	return s
}

func TestSameExposure(t *testing.T) {
	second, long := time.Second, 10*time.Second
	whole := frame.Clock{Start: evening, Exposure: long, Step: second}
	quick := frame.Clock{Start: evening, Exposure: second / 3, Step: second}
	first, burst := exposed(t, "a.jpg", 1, whole), exposed(t, "a.jpg", 1, quick)
	at := func(s Shot, start time.Duration, exposure, step time.Duration) Shot {
		s.Clock = &frame.Clock{Start: evening.Add(start), Exposure: exposure, Step: step}
		return s
	}
	raw := func(s Shot) Shot { s.Signal = "the two greens of each cell"; return s }
	named := func(s Shot, model string) Shot { s.Lens.Model = model; return s }
	copied := func(s Shot) Shot { return developedFrom(t, s, "b.jpg", 0.02, 1, 0, 0) }
	for _, c := range []struct {
		name string
		a, b Shot
		want bool
	}{
		{"written once more", first, copied(first), true},
		{"a stamp with fractions of the second", first, at(copied(first), 370*time.Millisecond, long, time.Millisecond), true},
		{"a stamp of the next second", first, at(copied(first), second, long, second), false},
		{"stamps apart by more than they are fine", at(first, 0, long, time.Millisecond), at(copied(first), 2*time.Millisecond, long, time.Millisecond), false},
		{"an exposure time not told", first, at(copied(first), 0, 0, second), true},
		{"an exposure time rounded", burst, at(copied(burst), 0, 330*time.Millisecond, second), true},
		{"another exposure time", first, at(copied(first), 0, 2*second, second), false},
		{"another camera's name", named(first, "Lantern P1"), named(copied(first), "Fernhill 24"), false},
		{"a name one file has lost", named(first, "Lantern P1"), copied(first), true},
		{"half the size", first, developedFrom(t, first, "b.jpg", 0.02, 2, 0, 0), true},
		{"turned", first, developedFrom(t, first, "b.jpg", 0.02, 1, 1, 0), true},
		{"half the size and turned", burst, developedFrom(t, burst, "b.jpg", 0.02, 2, 3, 0), true},
		{"a raw file with a margin", first, raw(developedFrom(t, first, "b.dng", 0.06, 1, 0, 16)), true},
		{"a raw file that shares half the noise, of a quick series", burst, raw(developedFrom(t, burst, "b.dng", 0.1, 1, 0, 0)), true},
		{"another of a quick series", burst, exposed(t, "b.jpg", 2, quick), false},
		{"another of a quick series, raw", burst, raw(exposed(t, "b.dng", 2, quick)), false},
		{"the same stamp and all stars moved by a third of a pixel", first, developedFrom(t, first, "b.jpg", 0.02, 1, 0, 0.33), false},
		{"the same stamp and another's noise and place", first, developedFrom(t, exposed(t, "b.jpg", 2, whole), "b.jpg", 0.02, 1, 0, 0.2), false},
		{"another camera that looks aside", first, raw(developedFrom(t, first, "b.dng", 0.02, 1, 0, 200)), false},
	} {
		if got := SameExposure(c.a, c.b); got != c.want || SameExposure(c.b, c.a) != c.want {
			l, ok := Compare(c.a, c.b)
			t.Errorf("%s: %v, want %v (%+v, %v)", c.name, got, c.want, l, ok)
		}
	}
	if noClock := (Shot{}); SameExposure(noClock, noClock) {
		t.Error("pictures without a clock are one exposure")
	}
}

// TestQuickSeriesAreSeldomMixedUp: of pairs of pictures of one second, nothing moved, next to none is taken for one exposure.
func TestQuickSeriesAreSeldomMixedUp(t *testing.T) {
	const trials, most = 300, 1 // a thousand to one by copyOdds
	clock := frame.Clock{Start: evening, Exposure: time.Second / 3, Step: time.Second}
	a, mixed := exposed(t, "a.jpg", 1, clock), 0
	for i := range uint64(trials) {
		b := a
		b.File, b.Solution = "b.jpg", nil
		b.Field.Stars = slices.Clone(view{attitude: looking(80, 10), at: evening, stars: 50, noisePx: 0.1, seed: 10 + i}.shot().Field.Stars)
		sol := *a.Solution
		sol.Sightings = slices.Clone(sol.Sightings)
		for k := range sol.Sightings {
			g := &sol.Sightings[k]
			g.X, g.Y = b.Field.Stars[g.Star].X, b.Field.Stars[g.Star].Y
		}
		if b.Solution = &sol; SameExposure(a, b) {
			mixed++
		}
	}
	if mixed > most {
		t.Errorf("%d of %d", mixed, trials)
	}
}

func TestBetter(t *testing.T) {
	shot := func(file, signal string, sigma float64, stars int) Shot {
		s := Shot{File: file, Signal: signal, Solution: &solve.Solution{Covariance: mat.NewSymDense(3, []float64{sigma, 0, 0, 0, sigma, 0, 0, 0, sigma})}}
		s.Field.Stars = append(s.Field.Stars, make([]star.Star, stars)...)
		return s
	}
	jpeg, png, raw := shot("a.jpg", "luma", 2, 50), shot("a.png", "luma", 1, 40), shot("a.dng", "greens", 1, 60)
	jpegs := []Shot{jpeg, raw, shot("b.jpg", "luma", 1, 50), shot("c.jpg", "luma", 1, 50), shot("c.dng", "greens", 1, 50)}
	unsolved := shot("d.jpg", "luma", 1, 500)
	unsolved.Solution = nil
	for _, c := range []struct {
		name   string
		a, b   Shot
		beside []Shot
		want   bool
	}{
		{"the smaller error", png, jpeg, nil, true},
		{"the smaller error, two forms", raw, jpeg, nil, true},
		{"more of its form beside it", raw, jpeg, jpegs, false},
		{"the form matters not where both are alike", png, jpeg, jpegs, true},
		{"more stars at equal errors", raw, shot("e.dng", "greens", 1, 30), nil, true},
		{"recognised", jpeg, unsolved, nil, true},
	} {
		if Better(c.a, c.b, c.beside) != c.want || Better(c.b, c.a, c.beside) == c.want {
			t.Errorf("%s: not so", c.name)
		}
	}
}
