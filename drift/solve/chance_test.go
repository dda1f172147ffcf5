package solve

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"trueturn/drift/star"
	"trueturn/ephem/turn"
)

// What a pose sought over the whole sky must gain grows with how finely it is told: a longer lens has more poses to be lucky
// with. Five agreements among sixteen spots, found once among 2500 random fields of the study at 46.7 nats, are luck.
func TestFreedomGrowsWithTheLens(t *testing.T) {
	f := star.Field{Width: 4032, Height: 3024}
	for range 16 {
		f.Stars = append(f.Stars, star.Star{X: 1, Y: 1, XErr: 1, YErr: 1})
	}
	sc := newScene(f)
	at := func(focalPx float64) float64 {
		return sc.freedom(Pose{Attitude: turn.Identity(), Lens: Lens{Width: 4032, Height: 3024, FocalPx: focalPx}}, 5, 0.7)
	}
	if ten := at(50000) - at(5000); math.Abs(ten-2*math.Ln10) > 1e-9 {
		t.Errorf("ten times the focal length costs %.3f nats more, want ln 100: two turns across the view are ten times as fine", ten)
	}
	if need := at(59677) - math.Log(falseMatch); need < 46.7+10 {
		t.Errorf("five agreements of a narrow field pass at %.1f nats", need)
	}
}

// Spots strewn at random are recognised as no part of the sky, whatever the hint says.
func TestRandomSpotsAreNoSky(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	for range 40 {
		f := star.Field{Width: 4032, Height: 3024}
		for range 12 + r.IntN(13) {
			f.Stars = append(f.Stars, star.Star{X: 4031 * r.Float64(), Y: 3023 * r.Float64(), XErr: 1, YErr: 1, Flux: r.Float64()})
		}
		if sol, err := Solve(context.Background(), f, Hint{FocalPx: 3000 + 50000*r.Float64()}); err == nil {
			t.Errorf("%d random spots taken for stars: %d matched, log odds %.1f", len(f.Stars), len(sol.Sightings), sol.LogOdds)
		}
	}
}
