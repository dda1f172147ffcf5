package guide

import (
	"context"
	"fmt"
	"testing"

	"trueturn/align/answer"
)

// TestFits: a live picture costs the joint fit that shows what it did, and one more where it joins a measurement that is full; nothing
// fits the same pictures twice.
func TestFits(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{46, -33} {
		for _, swung := range []bool{false, true} {
			t.Run(fmt.Sprintf("latitude %.0f°, swung %v", latitude, swung), func(t *testing.T) {
				g := newRig(t, latitude, 31, tilted(1, 90))
				o := g.options()
				o.Answer.Memory = &answer.Memory{}
				guide, most := New(o), 0
				for n := 0; n < 44; n++ {
					if k := usedIn(guide.base); swung && guide.View().Live.Phase == Measuring && k < len(swings) {
						g.swing(swings[k])
					}
					if v := guide.View(); v.Live.Phase == Turning {
						g.obey(guide, 0.95)
					}
					s := g.shoot()
					before := o.Answer.Memory.Fits()
					if err := guide.Add(context.Background(), s); err != nil {
						t.Fatal(err)
					}
					fits := o.Answer.Memory.Fits() - before
					if most = max(most, fits); fits > 2 {
						t.Errorf("picture %d, %s: %d fits", n+1, guide.View().Live.Phase, fits)
					}
				}
				t.Logf("%d fits for 44 pictures, %d at most for one", o.Answer.Memory.Fits(), most)
			})
		}
	}
}
