package scene

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// oversampling is how far the reference may be off: it samples a pixel at 301 × 301 points, an error of the order of
// (1/301)²/24 of the brightness' curvature; the Gaussians of a Moffat profile leave out 10⁻⁶ of its light.
const oversampling = 1e-5 // of the brightest pixel

// TestLight holds pixels to astropy's models (testdata/light_astropy.py).
func TestLight(t *testing.T) {
	file, err := os.Open("testdata/light_astropy.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, n, worst := bufio.NewScanner(file), 0, 0.0
	for lines.Scan() {
		var fwhm, beta, x, y, want float64
		var i, j int
		name, rest, _ := strings.Cut(lines.Text(), ",")
		if _, err := fmt.Sscanf(strings.ReplaceAll(rest, ",", " "), "%g %g %g %g %d %d %g", &fwhm, &beta, &x, &y, &i, &j, &want); err != nil {
			continue // the two lines of heading
		}
		p := Gaussian(fwhm)
		if name == "moffat" {
			p = Moffat(fwhm, beta)
		}
		c := NewCanvas(41, 41, 0)
		c.Star(p, Still(20+x, 20+y), 1)
		off := math.Abs(c.Electrons[(20+j)*41+20+i]-want) / c.Electrons[20*41+20]
		worst = math.Max(worst, off)
		n++
	}
	t.Logf("%d pixels, worst %.1e of the brightest", n, worst)
	if n != 540 || worst > oversampling {
		t.Errorf("%d pixels (want 540) off by up to %.1e of the brightest, want under %.0e", n, worst, oversampling)
	}
}

// TestStraight: light keeps its sum along a path, and its second moments are those of the profile, the pixel's box (1/12)
// and the path (L²/12), whatever the direction: moments of independent distributions add.
func TestStraight(t *testing.T) {
	const sigma, l, direction = 1.3, 12.0, 0.7
	c := NewCanvas(80, 80, 0)
	c.Star(Gaussian(sigma*FWHMOfSigma), Straight(40.2, 39.7, l, direction, 0.5), 1)
	var sum, mx, my, xx, xy, yy float64
	for i, e := range c.Electrons {
		x, y := float64(i%80)-40.2, float64(i/80)-39.7
		sum, mx, my = sum+e, mx+e*x, my+e*y
		xx, xy, yy = xx+e*x*x, xy+e*x*y, yy+e*y*y
	}
	sin, cos := math.Sincos(direction)
	const cut = 2e-4 // the light drawn no farther than 10⁻⁶ of the brightness, at 5.3 σ
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"light", sum, 1}, {"x", mx, 0}, {"y", my, 0},
		{"xx", xx, sigma*sigma + 1.0/12 + l*l/12*cos*cos}, {"xy", xy, l * l / 12 * sin * cos},
		{"yy", yy, sigma*sigma + 1.0/12 + l*l/12*sin*sin},
	} {
		// A path of n points in the middle of its pieces has a moment short by (L/n)²/12.
		if math.Abs(v.got-v.want) > cut+0.5*0.5/12 {
			t.Errorf("%s = %.5f, want %.5f", v.name, v.got, v.want)
		}
	}
}

// TestPoisson holds draws to the distribution by χ² (gonum's distuv.Poisson has the probabilities).
func TestPoisson(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, mean := range []float64{0.3, 4, 9.99, 10, 31.4, 400, 1e5} {
		const n = 40000
		dist := distuv.Poisson{Lambda: mean}
		low, width := math.Max(0, math.Floor(mean-3*math.Sqrt(mean))), math.Max(1, math.Round(math.Sqrt(mean)/3))
		const bins = 20
		var count, want [bins + 1]float64
		for k := range bins {
			a := low + float64(k)*width - 1
			want[k] = n * (dist.CDF(a+width) - dist.CDF(a))
		}
		for range n {
			k := int(math.Floor((Poisson(mean, rng) - low) / width))
			if k < 0 || k >= bins {
				k = bins
			}
			count[k]++
		}
		want[bins] = n
		for _, w := range want[:bins] {
			want[bins] -= w
		}
		var chi2, dof float64
		for k := range want {
			if want[k] > 10 {
				chi2 += (count[k] - want[k]) * (count[k] - want[k]) / want[k]
				dof++
			}
		}
		if limit := dof + 4*math.Sqrt(2*dof); chi2 > limit { // four standard errors of χ²
			t.Errorf("mean %v: χ² %.1f in %v bins, want under %.1f", mean, chi2, dof, limit)
		}
	}
}

// TestBoundClosedForm: under sky noise alone a well sampled Gaussian can be placed to
//
//	σ_x = √2 σ / SNR,   SNR = F/(2σ√π n)
//
// F its light, n the noise of a pixel: the information is F²/n² ∫(∂P/∂x)² = F²/(8πσ⁴n²). So K. A. Winick, J. Opt. Soc. Am. A
// 3 (1986) 1809, and I. King, Publ. Astron. Soc. Pac. 95 (1983) 163 have it (both from memory; the integral is here to be
// checked by hand).
func TestBoundClosedForm(t *testing.T) {
	const sigma, noise = 2.0, 100.0
	b := NewProspect(Source{Gaussian(sigma * FWHMOfSigma), Still(0.3, 0.4)}).Bound([]float64{1}, noise*noise, Sensor{})
	s2 := sigma*sigma + 1.0/12 // a pixel's box widens the star by its own moments, to the next order
	snr := 1 / (2 * math.Sqrt(math.Pi*s2) * noise)
	const sampled = 2e-3 // what the box does beyond its moments at σ = 2 px
	if math.Abs(b.SNR/snr-1) > sampled {
		t.Errorf("signal-to-noise %g, want %g", b.SNR, snr)
	}
	for _, v := range []float64{b.XX, b.YY} {
		if want := math.Sqrt2 * math.Sqrt(s2) / snr; math.Abs(math.Sqrt(v)/want-1) > sampled {
			t.Errorf("σ of the place %g, want %g", math.Sqrt(v), want)
		}
	}
	if math.Abs(b.XY) > 1e-3*b.XX {
		t.Errorf("covariance %g beside a variance of %g", b.XY, b.XX)
	}
}

// A neighbour must cost, a far one nothing; photons of the star itself make the bound 1/√N of σ where there is no sky: the
// mean of N places (by hand: the information is N/σ²).
func TestBoundNeighboursAndPhotons(t *testing.T) {
	star := func(x float64) Source { return Source{Gaussian(4), Still(x, 0.2)} }
	s := Sensor{ReadNoise: 5}
	lone := NewProspect(star(0)).Bound([]float64{2000}, 300, s)
	near := NewProspect(star(0), star(6)).Bound([]float64{2000, 2000}, 300, s)
	far := NewProspect(star(0), star(60)).Bound([]float64{2000, 2000}, 300, s)
	if !(near.XX > 1.05*lone.XX) || !(near.YY < near.XX) || math.Abs(far.XX/lone.XX-1) > 1e-3 {
		t.Errorf("variance along the line %.5f alone, %.5f with a neighbour, %.5f with a far one", lone.XX, near.XX, far.XX)
	}
	sigma, n := 2.0, 1e4
	dark := NewProspect(Source{Gaussian(sigma * FWHMOfSigma), Still(0, 0)}).Bound([]float64{n}, 1e-6, Sensor{})
	if got, want := math.Sqrt(dark.XX), math.Sqrt((sigma*sigma+1.0/12)/n); math.Abs(got/want-1) > 5e-3 {
		t.Errorf("without sky %.5f px, want %.5f", got, want)
	}
}
