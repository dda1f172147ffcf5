package scene

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Source is one star of a scene whose places are to be bounded.
type Source struct {
	Profile Profile
	Path    Path // the place in question is the path's, carried along as a whole
}

// Placing is the best a place can be known: the Cramér–Rao bound of an unbiased estimate.
type Placing struct {
	XX, XY, YY float64 // covariance, px²
	SNR        float64 // light over its error when everything else is known
}

// Prospect holds how a few stars' light changes with what is unknown of them, to tell the bound for any brightness.
type Prospect struct {
	slopes [][][]float64 // of each star, on the pixels of the first one's stamp
}

// NewProspect is for the place of the first star; the others are its neighbours.
func NewProspect(stars ...Source) Prospect {
	base := NewStamp(stars[0].Profile, stars[0].Path, wings)
	var p Prospect
	for _, s := range stars {
		p.slopes = append(p.slopes, s.slopes(base))
	}
	return p
}

// Bound is the Cramér–Rao bound (H. Cramér, Mathematical Methods of Statistics, 1946, §32.3) of the first star's place,
// from every pixel in which it has light to speak of; each star has so many electrons. Pixels are normal with the variance
// of their photons and read noise: the information in the variance itself is left out, as by every estimate that weights.
// Unknown besides the place, for each star: its light and three moments of its shape (a blur in x, in y and across, as the
// estimate has them); and one level of sky. About a lone star these are even and the place is odd, so that they cost
// nothing; about a star with a neighbour they do.
func (p Prospect) Bound(electrons []float64, sky float64, s Sensor) Placing {
	variance := make([]float64, len(p.slopes[0][0]))
	for i := range variance {
		variance[i] = sky + s.ReadNoise*s.ReadNoise
		for k, d := range p.slopes {
			variance[i] += electrons[k] * d[0][i]
		}
	}
	var slopes [][]float64
	for k, d := range p.slopes {
		slopes = append(slopes, scaled(d, electrons[k])...)
	}
	level := make([]float64, len(variance))
	for i := range level {
		level[i] = 1
	}
	return placed(append(slopes, level), variance, electrons[0])
}

// Electrons are what the first star alone must have for a signal-to-noise ratio.
func (p Prospect) Electrons(snr, sky float64, s Sensor) float64 {
	light, low, high := p.slopes[0][0], 0.0, 1e9
	for range 80 {
		e := (low + high) / 2
		var sum float64
		for _, l := range light {
			sum += e * e * l * l / (sky + s.ReadNoise*s.ReadNoise + e*l)
		}
		if math.Sqrt(sum) < snr {
			low = e
		} else {
			high = e
		}
	}
	return high
}

// slopes of a star's light on a stamp's pixels: by its light, x, y, and the moments xx, xy, yy. A profile blurred by a
// little more changes as heat spreads: by half its second slope in place (xx, yy), by its mixed one (xy).
func (s Source) slopes(on Stamp) [][]float64 {
	const h = 0.02 // px; errors of h²/6 of the third slope, a part in 10⁴ of the narrowest
	at := func(dx, dy float64) []float64 {
		t := Stamp{on.X, on.Y, on.Width, on.Height, make([]float64, len(on.Light))}
		t.draw(s.Profile, s.Path.Moved(dx, dy))
		return t.Light
	}
	mid, e, w, n, so := at(0, 0), at(h, 0), at(-h, 0), at(0, h), at(0, -h)
	ne, nw, se, sw := at(h, h), at(-h, h), at(h, -h), at(-h, -h)
	d := make([][]float64, 6)
	for k := range d {
		d[k] = make([]float64, len(mid))
	}
	for i := range mid {
		d[0][i] = mid[i]
		d[1][i] = (e[i] - w[i]) / (2 * h)
		d[2][i] = (n[i] - so[i]) / (2 * h)
		d[3][i] = (e[i] - 2*mid[i] + w[i]) / (2 * h * h)
		d[4][i] = (ne[i] - nw[i] - se[i] + sw[i]) / (4 * h * h)
		d[5][i] = (n[i] - 2*mid[i] + so[i]) / (2 * h * h)
	}
	return d
}

// scaled gives the slopes by place and shape their light; the first is by the light itself.
func scaled(d [][]float64, electrons float64) [][]float64 {
	out := [][]float64{d[0]}
	for _, v := range d[1:] {
		w := make([]float64, len(v))
		for i := range v {
			w[i] = v[i] * electrons
		}
		out = append(out, w)
	}
	return out
}

// placed inverts the information. Slopes are brought to one size first: light and pixels differ by powers of ten.
func placed(slopes [][]float64, variance []float64, electrons float64) Placing {
	n := len(slopes)
	info, size := mat.NewSymDense(n, nil), make([]float64, n)
	product := func(a, b int) (sum float64) {
		for i, v := range variance {
			sum += slopes[a][i] * slopes[b][i] / v
		}
		return sum
	}
	for a := range n {
		size[a] = math.Sqrt(product(a, a))
	}
	for a := range n {
		for b := a; b < n; b++ {
			info.SetSym(a, b, product(a, b)/(size[a]*size[b]))
		}
	}
	var c mat.Cholesky
	var inverse mat.SymDense
	if !c.Factorize(info) || c.InverseTo(&inverse) != nil {
		return Placing{math.NaN(), math.NaN(), math.NaN(), electrons * size[0]}
	}
	cov := func(a, b int) float64 { return inverse.At(a, b) / (size[a] * size[b]) }
	return Placing{cov(1, 1), cov(1, 2), cov(2, 2), electrons * size[0]}
}
