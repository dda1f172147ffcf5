package face

import "testing"

func TestRounded(t *testing.T) {
	for n, want := range map[int]int{0: 0, 7: 7, 99: 99, 346: 350, 46137: 46000, 1_249_000: 1_200_000, 999: 1000} {
		if got := rounded(n); got != want {
			t.Errorf("rounded(%d) = %d, want %d", n, got, want)
		}
	}
}
