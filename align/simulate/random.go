package simulate

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// dice gives the random numbers of one purpose and one picture. They depend on
// nothing else, so that a picture is the same whichever others are rendered.
func (e Evening) dice(purpose string, i int) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose)) // never fails
	return rand.New(rand.NewPCG(e.Seed^h.Sum64(), uint64(i)*0x9e3779b97f4a7c15+1))
}

// across is a random unit vector square to axis.
func across(r *rand.Rand, axis r3.Vec) r3.Vec {
	for {
		v := r3.Cross(axis, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		if r3.Norm(v) > 0.1 {
			return r3.Unit(v)
		}
	}
}

// normalBits is the size of the table of normal deviates, as a power of two.
const normalBits = 16

// normals holds the normal law's quantiles at the middle of equal shares.
// Adding two draws and dividing by √2 fills the gaps and carries the tails to
// six standard deviations, at a price of two look-ups.
type normals [1 << normalBits]float32

func newNormals() *normals {
	t := new(normals)
	sum := 0.0
	for i := range t {
		p := (float64(i) + 0.5) / float64(len(t))
		z := math.Sqrt2 * math.Erfinv(2*p-1)
		t[i] = float32(z)
		sum += z * z
	}
	// Quantiles at the middles fall short of unit variance by 2×10⁻⁵; make good
	// for that, and for the √2 of the sum of two.
	k := float32(1 / math.Sqrt(2*sum/float64(len(t))))
	for i := range t {
		t[i] *= k
	}
	return t
}

// pair draws two normal deviates.
func (t *normals) pair(r *rand.PCG) (float32, float32) {
	u := r.Uint64()
	const mask = 1<<normalBits - 1
	return t[u&mask] + t[u>>16&mask], t[u>>32&mask] + t[u>>48]
}

// onSphere is a random unit vector.
func onSphere(r *rand.Rand) r3.Vec {
	for {
		v := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
		if r3.Norm(v) > 0.1 {
			return r3.Unit(v)
		}
	}
}
