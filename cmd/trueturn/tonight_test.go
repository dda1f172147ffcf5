package main

import "testing"

func TestRounded(t *testing.T) {
	for n, want := range map[int]int{0: 0, 7: 7, 99: 99, 346: 350, 46137: 46000, 1_249_000: 1_200_000, 999: 1000} {
		if got := rounded(n); got != want {
			t.Errorf("rounded(%d) = %d, want %d", n, got, want)
		}
	}
}

func TestToward(t *testing.T) {
	for deg, want := range map[float64]string{0: "north", 22: "north", 23: "north-east", 90: "east", 180: "south", 315: "north-west", 350: "north", 360: "north"} {
		if got := toward(deg); got != want {
			t.Errorf("toward(%g) = %q, want %q", deg, got, want)
		}
	}
}
