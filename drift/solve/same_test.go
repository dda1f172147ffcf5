package solve

import (
	"context"
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// onCores runs a piece of work many times, with one core and with more, and asks for the same result to the last bit. It
// changes GOMAXPROCS: no test that calls it runs beside others.
func onCores[T any](t *testing.T, times int, work func() T) {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var first T
	for i, cores := range []int{1, 2, 4} {
		runtime.GOMAXPROCS(cores)
		for k := range times {
			got := work()
			if i == 0 && k == 0 {
				first = got
			}
			if !reflect.DeepEqual(got, first) { // of floating numbers the same as ==, and there is no NaN
				t.Fatalf("%d cores, run %d: another result than at first:\n%+v\n%+v", cores, k, got, first)
			}
		}
	}
}

// A picture solved again is solved the same, to the last bit: sums are taken in an order that is fixed, whatever
// maps and cores do.
func TestSolveIsTheSameToTheLastBit(t *testing.T) {
	r := rand.New(rand.NewPCG(71, 1))
	d := scenery{4032, 3024, 60, 200, 0.1, 20, 0.2, 0.3, 0.01, false, 0}.draw(r)
	onCores(t, 20, func() Solution {
		sol, err := Solve(context.Background(), d.field, Hint{FocalPx: d.focalPx})
		if err != nil {
			t.Fatal(err)
		}
		return sol
	})
}

// So is a picture solved from its neighbour's place.
func TestSolveNearIsTheSameToTheLastBit(t *testing.T) {
	r := rand.New(rand.NewPCG(72, 2))
	d := scenery{4032, 3024, 20, 60, 0.1, 10, 0.2, 0.3, 0, false, 0}.draw(r)
	h := Hint{Near: []Pose{{d.attitude, Lens{Width: 4032, Height: 3024, FocalPx: d.focalPx}}}, NearWithin: 0.01, NeighbourOnly: true}
	onCores(t, 20, func() Solution {
		sol, err := Solve(context.Background(), d.field, h)
		if err != nil {
			t.Fatal(err)
		}
		return sol
	})
}

// And a group fitted together, of two fields, its pictures shared among the cores.
func TestJointIsTheSameToTheLastBit(t *testing.T) {
	r := rand.New(rand.NewPCG(73, 3))
	g := rig{lens: phone(), attitudes: append(around(4, 2, r), around(5, 2, r)...), noisePx: 0.2, sky: randomTurn(r)}
	for i := range g.attitudes[4:] {
		g.attitudes[4+i] = turn.Exp(r3.Vec{X: 0.6}).Then(g.attitudes[4+i])
	}
	wide := g.lens
	wide.FocalPx /= 2
	g.stars = skyOver(wide, 300, r)
	views := g.views(r)
	onCores(t, 10, func() Joint { return NewJoint(views) })
}
