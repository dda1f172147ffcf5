package knobs

import (
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/ephem/turn"
)

func sum(a, b Matrix3) Matrix3 {
	for r := range 3 {
		for c := range 3 {
			a[r][c] += b[r][c]
		}
	}
	return a
}

// spread is the covariance of x·f(e₀) + y·f(e₁) + z·f(e₂) for (x, y, z) with covariance m.
func spread(m Matrix3, f func(r3.Vec) r3.Vec) (out Matrix3) {
	var by, s r3.Mat
	for k, e := range [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		w := f(e)
		by.Set(0, k, w.X)
		by.Set(1, k, w.Y)
		by.Set(2, k, w.Z)
	}
	s.Mul(&by, turn.Mat(m))
	s.Mul(&s, by.T())
	for r := range 3 {
		copy(out[r][:], s.RawMatrix().Data[3*r:])
	}
	return out
}

// carried is a covariance in the frame t leads to.
func carried(t turn.Turn, m Matrix3) Matrix3 { return spread(m, t.Apply) }

// crossed is the covariance of the direction u when the frame it is seen in turns a little.
func crossed(m Matrix3, u r3.Vec) Matrix3 {
	return spread(m, func(v r3.Vec) r3.Vec { return r3.Cross(v, u) })
}

// tangential is an axis's covariance as one of vectors, horizon frame.
func tangential(a align.Axis) Matrix3 {
	across, up := turn.Tangent(a.Direction)
	pair := [2]r3.Vec{across, up}
	var m Matrix3
	for r := range 2 {
		for c := range 2 {
			m[r][c] = a.Covariance[r][c]
		}
	}
	return spread(m, func(v r3.Vec) r3.Vec {
		return r3.Add(r3.Scale(v.X, pair[0]), r3.Scale(v.Y, pair[1]))
	})
}
