package catalog

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// edge is how near the edge of a circle, in radians, rounding may decide.
const edge = 1e-14

// bruteForce looks at every star, and says if one is on the edge. The cosine
// settles all but the few stars near the edge.
func bruteForce(center r3.Vec, radius float64) (near []int32, onEdge bool) {
	center = r3.Unit(center)
	cosRadius := math.Cos(radius)
	for i, s := range Stars() {
		if cos := r3.Dot(center, s.Direction); math.Abs(cos-cosRadius) > 1e-9 {
			if cos > cosRadius {
				near = append(near, int32(i))
			}
			continue
		}
		d := separation(center, s.Direction)
		onEdge = onEdge || math.Abs(d-radius) < edge
		if d <= radius {
			near = append(near, int32(i))
		}
	}
	return near, onEdge
}

func checkNear(t *testing.T, center r3.Vec, radius float64, limits ...int) {
	t.Helper()
	all, onEdge := bruteForce(center, radius)
	for _, limit := range limits {
		want := all[:min(limit, len(all))]
		got := Near(nil, center, unit.Angle(radius), limit)
		if !slices.Equal(got, want) && !onEdge {
			t.Fatalf("Near(%v, %.9g rad, %d) gives %d stars %v…, want %d %v…", center, radius, limit,
				len(got), got[:min(9, len(got))], len(want), want[:min(9, len(want))])
		}
	}
}

func TestNearPlaces(t *testing.T) {
	places := map[string]r3.Vec{
		"north pole": {Z: 1}, "south pole": {Z: -1}, "long vector": {X: 3, Y: -4, Z: 12},
		"beside the pole": direction(10, 89.9), "across 0 h": direction(359.9, 40), "at 0 h": {X: 1},
		"just before 0 h": {X: 1, Y: -1e-17}, "Polaris": direction(37.9545, 89.2641), "12 h": {X: -1},
	}
	for name, center := range places {
		t.Run(name, func(t *testing.T) {
			for _, deg := range []float64{0, 0.01, 0.7, 1, 10, 45, 49.9, 50.1, 89, 90, 91, 135, 179.5, 180} {
				checkNear(t, center, deg*math.Pi/180, 1, 20, 1<<20)
			}
		})
	}
}

// A direction may have any length.
func TestNearLength(t *testing.T) {
	want := Near(nil, r3.Vec{X: 1, Y: 1}, 0.3, 50)
	for _, length := range []float64{1e-300, 1e-9, 1e9, 1e300} {
		if got := Near(nil, r3.Vec{X: length, Y: length}, 0.3, 50); !slices.Equal(got, want) {
			t.Errorf("length %g: other stars", length)
		}
	}
}

func TestNearRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		// Now and then stretched along z by e⁴ or e⁸, so as to come near a pole.
		center := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64() * math.Exp(4*r.NormFloat64())}
		radius := math.Pi * math.Pow(r.Float64(), 4)
		checkNear(t, center, radius, 1+r.IntN(1<<r.IntN(18)))
	}
}

func TestNearNothing(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, row := range []struct {
		name   string
		center r3.Vec
		radius unit.Angle
		limit  int
	}{
		{"negative radius", r3.Vec{Z: 1}, -1e-9, 10},
		{"radius not a number", r3.Vec{Z: 1}, unit.Angle(nan), 10},
		{"zero direction", r3.Vec{}, 1, 10},
		{"direction not a number", r3.Vec{X: nan, Z: 1}, 1, 10},
		{"infinite direction", r3.Vec{X: inf}, 1, 10},
		{"infinite and not a number", r3.Vec{X: inf, Y: nan}, 1, 10},
		{"no limit left", r3.Vec{Z: 1}, 1, 0},
		{"negative limit", r3.Vec{Z: 1}, 1, -5},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := Near([]int32{7}, row.center, row.radius, row.limit); !slices.Equal(got, []int32{7}) {
				t.Errorf("got %v, want only what was there", got)
			}
		})
	}
}

func TestNearWholeSky(t *testing.T) {
	for _, radius := range []float64{math.Pi, 4, math.Inf(1)} {
		if n := len(Near(nil, r3.Vec{X: 1, Y: 2, Z: 3}, unit.Angle(radius), math.MaxInt)); n != len(Stars()) {
			t.Errorf("radius %v: %d stars, want all %d", radius, n, len(Stars()))
		}
	}
}

// Circles from a milliarcsecond to degrees around places close to a star.
func TestNearSmall(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		s := Stars()[r.IntN(len(Stars()))]
		radius := math.Exp(math.Log(5e-9) + r.Float64()*16)
		shift := r3.Scale(radius, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		checkNear(t, r3.Add(s.Direction, shift), radius, 3, 1<<20)
	}
}

// Every star is within no distance of itself.
func TestNearItself(t *testing.T) {
	for i := 0; i < len(Stars()); i += 97 {
		if got := Near(nil, Stars()[i].Direction, 0, 5); !slices.Contains(got, int32(i)) {
			t.Fatalf("star %d is not found at its own place: %v", i, got)
		}
	}
}

func TestNearAllocates(t *testing.T) {
	dst := make([]int32, 0, 100)
	Stars()
	if n := testing.AllocsPerRun(100, func() { Near(dst, r3.Vec{X: 1}, 0.5, 100) }); n != 0 {
		t.Errorf("%v allocations with room in dst, want none", n)
	}
}

func BenchmarkNear(b *testing.B) {
	for _, q := range []struct {
		deg   float64
		limit int
	}{{1, 100}, {5, 20}, {5, 1000}, {20, 100}, {20, 5000}, {45, 500}, {90, 500}} {
		b.Run(fmt.Sprintf("%v°/%d", q.deg, q.limit), func(b *testing.B) {
			r := rand.New(rand.NewPCG(3, 4))
			centers := make([]r3.Vec, 1024)
			for i := range centers {
				centers[i] = r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
			}
			dst := make([]int32, 0, q.limit)
			Stars()
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				Near(dst, centers[i%len(centers)], unit.AngleFromDeg(q.deg), q.limit)
			}
		})
	}
}
