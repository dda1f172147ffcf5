package main

import (
	"errors"
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// The bound of Cramér and Rao on the axis: the least standard error any unbiased estimator can have that knows how large
// noise, wander, breathing and the catalogue's errors are. It is worked out from the study's own model of
// the pictures by differences. Free are
//
//	the axis (2), how the camera sits on it (2), in every picture the angle about the axis,
//	in every picture the scale, within 10⁻³, and the optical axis, within the wander,
//	the air, within its scatter, every star's place, within the catalogue's scatter, and of the lens K1.
//
// Freeing all the lens's terms raises none of the study's figures by more than two in a hundred. What pictures tell of the air
// does matter where they are good: see [bounder.told].
//
// The turn of the camera about the axis is left out: the pictures' own angles take its part.

// How widely what is not known may lie, 1σ.
const (
	boundScale = 1e-3
	boundBend  = 0.05 // K1
)

// The unknowns all pictures share, then four of each picture's own.
const (
	atAxis         = 0 // across, up
	atSeat         = 2 // of the camera, about the same two directions
	atAir          = 4
	atLens         = 5 // K1, K2, T1, T2, OffX, OffY
	sharedUnknowns = 6
	atTurn         = 0 // of the picture's own
	atScale        = 1
	atWander       = 2 // x, y
	ownUnknowns    = 4
)

// slopes are the derivatives of one star's pixel.
type slopes struct {
	star  int32
	by    [sharedUnknowns + ownUnknowns][2]float64
	place [2][2]float64 // by its own place on the sky
}

// bounder holds a night's derivatives, picture by picture.
type bounder struct {
	n      *night
	across r3.Vec
	up     r3.Vec
	end    r3.Vec // the axis' north end
	pics   [][]slopes
}

// newBounder differentiates a night.
func newBounder(n *night) (*bounder, error) {
	_, across, up := n.elevated()
	if n.site.Latitude < 0 { // what moves the elevated end toward growing azimuth or up moves the north end against it
		across, up = r3.Scale(-1, across), r3.Scale(-1, up)
	}
	b := &bounder{n: n, across: across, up: up, end: n.mount.Axis}
	for _, p := range n.pics {
		more, err := b.moreAir(p)
		if err != nil {
			return nil, err
		}
		var list []slopes
		for _, s := range p.stars {
			list = append(list, b.slopes(p, more, s))
		}
		b.pics = append(b.pics, list)
	}
	return b, nil
}

// airStep is the share of air added to see what more air does.
const airStep = 1e-3

// moreAir is a picture's sky under a little more air.
func (b *bounder) moreAir(p nightPicture) (ephem.Sky, error) {
	air := b.n.air
	air.PressureHPa *= 1 + airStep
	return ephem.NewSky(b.n.site, air, b.n.begin.Add(p.after))
}

// at is where a direction (east, north, up) is seen in a picture with one unknown moved by x.
func (b *bounder) at(p nightPicture, enu r3.Vec, unknown int, x float64) [2]float64 {
	m, start, cam, swung := b.n.mount, b.n.start, p.camera, p.swung
	switch unknown {
	case atAxis:
		m.Axis = r3.Unit(r3.Add(b.end, r3.Scale(x, b.across)))
	case atAxis + 1:
		m.Axis = r3.Unit(r3.Add(b.end, r3.Scale(x, b.up)))
	case atSeat:
		start = start.Turned(b.across, unit.Angle(x))
	case atSeat + 1:
		start = start.Turned(b.up, unit.Angle(x))
	case atLens:
		cam.K1 += x
	case sharedUnknowns + atTurn:
		swung += unit.Angle(x)
	case sharedUnknowns + atScale:
		cam.FocalPx *= math.Exp(x)
	case sharedUnknowns + atWander:
		cam.OffX += x
	case sharedUnknowns + atWander + 1:
		cam.OffY += x
	}
	px, py, _ := cam.Pixel(m.Carried(start, p.after, swung), enu)
	return [2]float64{px, py}
}

// slopes by central differences.
func (b *bounder) slopes(p nightPicture, more ephem.Sky, s sighted) slopes {
	const h = 1e-5
	enu := p.sky.Apparent(s.icrs)
	out := slopes{star: s.star}
	difference := func(plus, minus [2]float64, step float64) [2]float64 {
		return [2]float64{(plus[0] - minus[0]) / step, (plus[1] - minus[1]) / step}
	}
	for u := range out.by {
		if u != atAir {
			out.by[u] = difference(b.at(p, enu, u, h), b.at(p, enu, u, -h), 2*h)
		}
	}
	out.by[atAir] = difference(b.at(p, more.Apparent(s.icrs), -1, 0), b.at(p, enu, -1, 0), airStep)
	i, k := squareTo(s.icrs)
	for c, v := range [2]r3.Vec{i, k} {
		plus, minus := r3.Unit(r3.Add(s.icrs, r3.Scale(h, v))), r3.Unit(r3.Add(s.icrs, r3.Scale(-h, v)))
		out.place[c] = difference(b.at(p, p.sky.Apparent(plus), -1, 0), b.at(p, p.sky.Apparent(minus), -1, 0), 2*h)
	}
	return out
}

var errBound = errors.New("the bound's equations cannot be solved")

// bound is the covariance of the axis' elevated end, across and up, radians², from the first few pictures.
func (b *bounder) bound(pictures int) ([2][2]float64, error) {
	s := b.sums(pictures)
	s.prior(atAir, b.n.airOff)
	inverse, err := s.inverse()
	return axisPart(inverse), err
}

// told is the bound for one who takes the air as it is told and does not measure it by the pictures: the error of
// the best estimate in a known air, and what the air's scatter does to that estimate.
func (b *bounder) told(pictures int) (c [2][2]float64, err error) {
	s := b.sums(pictures)
	pull := make([]float64, s.info.SymmetricDim())
	for i := range pull {
		pull[i] = s.info.At(i, atAir)
	}
	pull[atAir] = 0
	s.prior(atAir, 0)
	inverse, err := s.inverse()
	if err != nil {
		return c, err
	}
	c = axisPart(inverse)
	var moved [2]float64 // by all of the air
	for r := range moved {
		for i, p := range pull {
			moved[r] += inverse.At(atAxis+r, i) * p
		}
	}
	for r := range moved {
		for k := range moved {
			c[r][k] += moved[r] * moved[k] * b.n.airOff * b.n.airOff
		}
	}
	return c, nil
}

func axisPart(inverse *mat.SymDense) (c [2][2]float64) {
	if inverse == nil {
		return c
	}
	for r := range c {
		for k := range c {
			c[r][k] = inverse.At(atAxis+r, atAxis+k)
		}
	}
	return c
}

// sums is the information of the first few pictures, but for what is known of the air.
func (b *bounder) sums(pictures int) *boundSums {
	s := newBoundSums(sharedUnknowns+ownUnknowns*pictures, b.n.catalogue/arcsecPerRad)
	w := 1 / (b.n.noisePx * b.n.noisePx)
	for i := range pictures {
		for k := range b.pics[i] {
			s.add(&b.pics[i][k], i, w)
		}
	}
	s.stars()
	for i := range pictures {
		s.prior(sharedUnknowns+ownUnknowns*i+atScale, boundScale)
		s.prior(sharedUnknowns+ownUnknowns*i+atWander, b.n.wanderPx)
		s.prior(sharedUnknowns+ownUnknowns*i+atWander+1, b.n.wanderPx)
	}
	s.prior(atLens, boundBend)
	return s
}

// inverse is the covariance of all unknowns. Each is counted in units of its own information meanwhile, so that radians
// and pixels do not spoil the figures.
func (s *boundSums) inverse() (*mat.SymDense, error) {
	n := s.info.SymmetricDim()
	size := make([]float64, n)
	for i := range size {
		size[i] = 1 / math.Sqrt(s.info.At(i, i))
	}
	scale := func(m *mat.SymDense) {
		for i := range n {
			for k := i; k < n; k++ {
				m.SetSym(i, k, m.At(i, k)*size[i]*size[k])
			}
		}
	}
	scale(s.info)
	var chol mat.Cholesky
	cov := mat.NewSymDense(n, nil)
	if !chol.Factorize(s.info) || chol.InverseTo(cov) != nil {
		return nil, errBound
	}
	scale(cov)
	return cov, nil
}

// boundSums gathers the information.
type boundSums struct {
	info    *mat.SymDense
	scatter float64 // of the catalogue, radians
	places  map[int32]*placeSum
	order   []*placeSum // as they came: sums of floating numbers depend on it
}

// placeSum is what belongs to one star's own two unknowns.
type placeSum struct {
	own   [2][2]float64
	cross [2][]float64
}

func newBoundSums(size int, scatter float64) *boundSums {
	return &boundSums{info: mat.NewSymDense(size, nil), scatter: scatter, places: map[int32]*placeSum{}}
}

// prior holds an unknown within sigma of the truth; zero holds it fast.
func (s *boundSums) prior(at int, sigma float64) {
	if sigma > 0 {
		s.info.SetSym(at, at, s.info.At(at, at)+1/(sigma*sigma))
		return
	}
	for k := range s.info.SymmetricDim() {
		s.info.SetSym(at, k, 0)
	}
	s.info.SetSym(at, at, 1)
}

// add takes in one star of picture i.
func (s *boundSums) add(g *slopes, i int, w float64) {
	place := func(u int) int {
		if u < sharedUnknowns {
			return u
		}
		return u + ownUnknowns*i
	}
	for u := range g.by {
		for v := range u + 1 {
			a, b := place(u), place(v)
			s.info.SetSym(a, b, s.info.At(a, b)+w*(g.by[u][0]*g.by[v][0]+g.by[u][1]*g.by[v][1]))
		}
	}
	if s.scatter == 0 {
		return
	}
	p := s.places[g.star]
	if p == nil {
		n := s.info.SymmetricDim()
		p = &placeSum{cross: [2][]float64{make([]float64, n), make([]float64, n)}}
		p.own[0][0], p.own[1][1] = 1/(s.scatter*s.scatter), 1/(s.scatter*s.scatter)
		s.places[g.star] = p
		s.order = append(s.order, p)
	}
	for k := range 2 {
		for l := range 2 {
			p.own[k][l] += w * (g.place[k][0]*g.place[l][0] + g.place[k][1]*g.place[l][1])
		}
		for u := range g.by {
			p.cross[k][place(u)] += w * (g.place[k][0]*g.by[u][0] + g.place[k][1]*g.by[u][1])
		}
	}
}

// stars eliminates the stars' own places (Schur complement).
func (s *boundSums) stars() {
	raw := s.info.RawSymmetric()
	for _, p := range s.order {
		det := p.own[0][0]*p.own[1][1] - p.own[0][1]*p.own[1][0]
		inv := [2][2]float64{{p.own[1][1] / det, -p.own[0][1] / det}, {-p.own[1][0] / det, p.own[0][0] / det}}
		for r, c0 := range p.cross[0] {
			c1 := p.cross[1][r]
			a, b := c0*inv[0][0]+c1*inv[1][0], c0*inv[0][1]+c1*inv[1][1]
			if a == 0 && b == 0 {
				continue
			}
			row := raw.Data[r*raw.Stride : r*raw.Stride+raw.N]
			for k := r; k < raw.N; k++ { // the upper triangle is what gonum keeps
				row[k] -= a*p.cross[0][k] + b*p.cross[1][k]
			}
		}
	}
}
