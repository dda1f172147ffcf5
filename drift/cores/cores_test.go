package cores

import (
	"sync/atomic"
	"testing"
)

// TestInTurn: every part is done once, however many work, and a panic reaches the caller.
func TestInTurn(t *testing.T) {
	for _, workers := range []int{0, 1, 2, 7} {
		for _, n := range []int{0, 1, 5, 100} {
			done := make([]atomic.Int32, n)
			InTurn(n, workers, func(i int) { done[i].Add(1) })
			for i := range done {
				if got := done[i].Load(); got != 1 {
					t.Errorf("%d workers: part %d of %d done %d times", workers, i, n, got)
				}
			}
		}
		func() {
			defer func() {
				if r := recover(); r != "fault" {
					t.Errorf("%d workers: %v came out, want the fault", workers, r)
				}
			}()
			InTurn(10, workers, func(i int) {
				if i == 3 {
					panic("fault")
				}
			})
		}()
	}
}
