package main

import (
	"math"
	"testing"
	"time"
)

// A course that falls by a law of powers is read rightly between its steps; goals before the first step are "at most", after
// the last unknown.
func TestMinutesUntil(t *testing.T) {
	const rounding = 1e-12
	at := func(minutes float64) float64 { return 20 * math.Pow(minutes, -1.5) }
	var course []known
	for _, pictures := range []int{4, 10, 31} {
		k := known{pictures: pictures}
		k.miss = at(k.minutes(20 * time.Second))
		course = append(course, k)
	}
	for _, goal := range []float64{19, 3, 1} {
		want := math.Pow(20/goal, 2./3)
		if got, atMost := minutesUntil(course, 20*time.Second, goal, trueMiss); atMost || math.Abs(got-want) > rounding {
			t.Errorf("to %g′: %.6f minutes (at most: %v), want %.6f", goal, got, atMost, want)
		}
	}
	if got, atMost := minutesUntil(course, 20*time.Second, 25, trueMiss); !atMost || got != 1 {
		t.Errorf("a goal met by the first step: %g minutes (at most: %v)", got, atMost)
	}
	if got, _ := minutesUntil(course, 20*time.Second, 0.1, trueMiss); !math.IsNaN(got) {
		t.Errorf("a goal never met: %g minutes", got)
	}
}

// The variances along and across a covariance's axes are its eigenvalues: a matrix made of known ones, turned by 30°.
func TestAxisAlong(t *testing.T) {
	const rounding = 1e-12
	cos, sin := math.Sqrt(3)/2, 0.5
	c := [2][2]float64{{9*cos*cos + 4*sin*sin, 5 * sin * cos}, {5 * sin * cos, 9*sin*sin + 4*cos*cos}}
	miss := [2]float64{2*cos - 7*sin, 2*sin + 7*cos}
	off, sigma := axisAlongWeak(miss, c)
	if math.Abs(off-2) > rounding || math.Abs(sigma-3) > rounding {
		t.Errorf("weak: %g off, σ %g; want 2 and 3", off, sigma)
	}
	if off, sigma = axisAlongStrong(miss, c); math.Abs(off-7) > rounding || math.Abs(sigma-2) > rounding {
		t.Errorf("strong: %g off, σ %g; want 7 and 2", off, sigma)
	}
}
