package align

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/simulate"
	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// The Cramér–Rao bound of the axis, worked out here from the stars' pixels and by
// differences, with nothing of model.go or drift/solve: the least standard error any
// unbiased estimator can have that knows the noise, but leaves free the angle about the axis and
// the scale of every picture, the aim of the camera in every group, four terms of distortion, and the
// optical centre, the catalogue and the air within their scatters.

// boundOf is what the bound rests on.
type boundOf struct {
	noisePx, wanderPx float64
	catalog           float64 // scatter of the catalogue's places, radians
	airShare          float64 // scatter of the refraction
}

// Unknowns: axis, distortion, air; then three for every group; then four for every picture.
const (
	boundAxis   = 0
	boundLens   = 2
	boundAir    = 6
	boundGroups = 7
)

// bench is one session as the bound sees it.
type bench struct {
	run    *simulate.Run
	stars  [][]simulate.TrueStar
	skies  []ephem.Sky
	theta  []unit.Angle
	axis   r3.Vec // north end
	c0     []turn.Turn
	group  []int
	size   int
	frames int
}

func newBench(t testing.TB, run *simulate.Run, stars [][]simulate.TrueStar) *bench {
	t.Helper()
	e := run.Evening()
	b := &bench{run: run, stars: stars, axis: run.Axis(0).Direction(), frames: len(stars)}
	if e.Site.Latitude < 0 {
		b.axis = r3.Scale(-1, b.axis)
	}
	starts := map[int]bool{0: true}
	for _, a := range e.Handling.ReAims {
		starts[a.Frame] = true
	}
	for i := range stars {
		sky, err := ephem.NewSky(e.Site, e.Air, e.MidOf(i))
		if err != nil {
			t.Fatal(err)
		}
		b.skies = append(b.skies, sky)
		b.theta = append(b.theta, run.Angle(i, e.MidOf(i)))
		if starts[i] {
			b.c0 = append(b.c0, turn.About(b.axis, -b.theta[i]).Then(run.Attitude(i, e.MidOf(i))))
		}
		b.group = append(b.group, len(b.c0)-1)
	}
	b.size = boundGroups + 3*len(b.c0) + 4*b.frames
	return b
}

// at is where a direction (east, north, up) falls in picture i with the unknowns moved by x.
func (b *bench) at(i int, s r3.Vec, x map[int]float64) [2]float64 {
	cam := b.run.Evening().Camera
	east := r3.Unit(r3.Vec{X: b.axis.Y, Y: -b.axis.X})
	up := r3.Cross(east, b.axis)
	axis := r3.Unit(r3.Add(b.axis, r3.Add(r3.Scale(x[boundAxis], east), r3.Scale(x[boundAxis+1], up))))
	g, own := boundGroups+3*b.group[i], boundGroups+3*len(b.c0)+4*i
	c := turn.About(axis, b.theta[i]+unit.Angle(x[own])).Then(b.c0[b.group[i]]).Then(turn.Exp(r3.Vec{X: x[g], Y: x[g+1], Z: x[g+2]}))
	// More air lifts a star by 58.3″ cot a times its share (common practice, from memory; the
	// term falls out of all but the lowest stars).
	if lift := x[boundAir]; lift != 0 {
		h := ephem.HorizontalOf(s)
		h.Altitude += unit.Angle(lift * 58.3 / 206265 / math.Tan(math.Max(h.Altitude.Rad(), 0.1)))
		s = h.Direction()
	}
	d := c.Apply(s)
	half := math.Hypot(float64(cam.Width), float64(cam.Height)) / 2
	f := cam.FocalPx * math.Exp(x[own+1]) / half
	u, v := f*d.X/d.Z, f*d.Y/d.Z
	r2 := u*u + v*v
	k := 1 + r2*(cam.K1+x[boundLens]+r2*(cam.K2+x[boundLens+1]))
	p1, p2 := x[boundLens+2], x[boundLens+3]
	return [2]float64{half*(u*k+2*p1*u*v+p2*(r2+2*u*u)) + x[own+2], half*(v*k+p1*(r2+2*v*v)+2*p2*u*v) + x[own+3]}
}

// slope is the derivative of a star's pixel by one unknown.
func (b *bench) slope(i int, s r3.Vec, unknown int) [2]float64 {
	const h = 1e-5
	p, m := b.at(i, s, map[int]float64{unknown: h}), b.at(i, s, map[int]float64{unknown: -h})
	return [2]float64{(p[0] - m[0]) / (2 * h), (p[1] - m[1]) / (2 * h)}
}

// unknownsOf are those picture i depends on.
func (b *bench) unknownsOf(i int) []int {
	var list []int
	for k := range boundGroups {
		list = append(list, k)
	}
	g, own := boundGroups+3*b.group[i], boundGroups+3*len(b.c0)+4*i
	return append(list, g, g+1, g+2, own, own+1, own+2, own+3)
}

// cramerRao is the covariance of the elevated end, across and up as in [Axis].
func cramerRao(t testing.TB, run *simulate.Run, stars [][]simulate.TrueStar, o boundOf) [2][2]float64 {
	t.Helper()
	b := newBench(t, run, stars)
	info := mat.NewSymDense(b.size, nil)
	add := func(i, j int, v float64) { info.SetSym(i, j, info.At(i, j)+v) }
	w := 1 / (o.noisePx * o.noisePx)
	shared := map[int32]*starShare{} // of the catalogue
	for i := range stars {
		un := b.unknownsOf(i)
		for _, ts := range stars[i] {
			var cols [][2]float64
			for _, u := range un {
				cols = append(cols, b.slope(i, ts.Apparent, u))
			}
			for p := range un {
				for q := range p + 1 {
					add(un[p], un[q], w*(cols[p][0]*cols[q][0]+cols[p][1]*cols[q][1]))
				}
			}
			if o.catalog > 0 {
				if shared[ts.HIP] == nil {
					shared[ts.HIP] = newStarShare(b.size, b.skies[i].ICRS(ts.Apparent), o.catalog)
				}
				shared[ts.HIP].see(b, i, un, cols, w)
			}
		}
		own := boundGroups + 3*len(b.c0) + 4*i
		wander := 1 / math.Max(o.wanderPx*o.wanderPx, 1e-12)
		add(own+2, own+2, wander)
		add(own+3, own+3, wander)
	}
	for _, s := range shared {
		s.eliminate(info)
	}
	b.priors(info, o)
	var chol mat.Cholesky
	cov := mat.NewSymDense(b.size, nil)
	if !chol.Factorize(info) || chol.InverseTo(cov) != nil {
		t.Fatal("the bound's equations cannot be solved")
	}
	cross := cov.At(0, 1)
	if run.Evening().Site.Latitude < 0 {
		cross = -cross
	}
	return [2][2]float64{{cov.At(0, 0), cross}, {cross, cov.At(1, 1)}}
}

// priors: the lens as lenses are, the air, and that every group's turn about the axis is its pictures'.
func (b *bench) priors(info *mat.SymDense, o boundOf) {
	add := func(i, j int, v float64) { info.SetSym(i, j, info.At(i, j)+v) }
	for k, sigma := range [...]float64{0.05, 0.03, 0.001, 0.001} {
		add(boundLens+k, boundLens+k, 1/(sigma*sigma))
	}
	add(boundAir, boundAir, 1/math.Max(o.airShare*o.airShare, 1e-12))
	for g, c := range b.c0 {
		u := c.Apply(b.axis)
		v := [3]float64{u.X, u.Y, u.Z}
		for r := range 3 {
			for q := range r + 1 {
				add(boundGroups+3*g+r, boundGroups+3*g+q, 1e9*v[r]*v[q])
			}
		}
	}
}

// starShare is one star's two unknowns of place, to be eliminated.
type starShare struct {
	icrs, a, b r3.Vec
	own        [2][2]float64
	cross      [2][]float64
}

func newStarShare(size int, icrs r3.Vec, sigma float64) *starShare {
	s := &starShare{icrs: icrs, a: r3.Unit(r3.Cross(icrs, r3.Vec{X: 0.3, Y: 0.5, Z: 0.8}))}
	s.b = r3.Cross(icrs, s.a)
	s.own[0][0], s.own[1][1] = 1/(sigma*sigma), 1/(sigma*sigma)
	s.cross[0], s.cross[1] = make([]float64, size), make([]float64, size)
	return s
}

// see adds the star's part in picture i.
func (s *starShare) see(b *bench, i int, un []int, cols [][2]float64, w float64) {
	const h = 1e-5
	var d [2][2]float64
	for k, v := range [2]r3.Vec{s.a, s.b} {
		p := b.at(i, b.skies[i].Apparent(r3.Unit(r3.Add(s.icrs, r3.Scale(h, v)))), nil)
		m := b.at(i, b.skies[i].Apparent(r3.Unit(r3.Add(s.icrs, r3.Scale(-h, v)))), nil)
		d[k] = [2]float64{(p[0] - m[0]) / (2 * h), (p[1] - m[1]) / (2 * h)}
	}
	for k := range 2 {
		for l := range 2 {
			s.own[k][l] += w * (d[k][0]*d[l][0] + d[k][1]*d[l][1])
		}
		for n, u := range un {
			s.cross[k][u] += w * (d[k][0]*cols[n][0] + d[k][1]*cols[n][1])
		}
	}
}

func (s *starShare) eliminate(info *mat.SymDense) {
	inv := inverse2(s.own)
	n := info.SymmetricDim()
	for p := range n {
		for q := range p + 1 {
			var v float64
			for k := range 2 {
				for l := range 2 {
					v += s.cross[k][p] * inv[k][l] * s.cross[l][q]
				}
			}
			if v != 0 {
				info.SetSym(p, q, info.At(p, q)-v)
			}
		}
	}
}
