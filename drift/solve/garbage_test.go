package solve

import (
	"context"
	"math/rand/v2"
	"testing"
)

// BenchmarkGarbage is what a picture of nothing but false stars costs, the lens
// unknown: the whole search, to the end.
func BenchmarkGarbage(b *testing.B) {
	for _, spots := range []int{20, 100, 400} {
		b.Run("", func(b *testing.B) {
			r := rand.New(rand.NewPCG(31, uint64(spots)))
			d := scenery{4032, 3024, 30, 0, 0, spots, 0.2, 0.3, 0, false, 0}.draw(r)
			Solve(context.Background(), d.field, Hint{})
			for b.Loop() {
				Solve(context.Background(), d.field, Hint{})
			}
		})
	}
}
