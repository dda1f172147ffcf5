package main

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trueturn/cmd/study/scene"
	"trueturn/drift/star"
)

// runStudy runs the program and returns its exit code and what it said on its error output.
func runStudy(ctx context.Context, args ...string) (code int, said string) {
	var out, status bytes.Buffer
	code = run(ctx, args, &out, &status)
	return code, status.String()
}

// TestQuickStars: the page is written, names its targets, and does not depend on how the work is shared.
func TestQuickStars(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	page := func(workers string) (string, string) {
		dir := t.TempDir()
		if code, said := runStudy(t.Context(), "--quick", "--trials", "14", "--part", "stars", "--workers", workers, "--out", dir); code != 0 || said != "" {
			t.Fatalf("exit code %d, %q on the error output, want 0 and nothing: it is no terminal", code, said)
		}
		md, err := os.ReadFile(filepath.Join(dir, "study.md"))
		if err != nil {
			t.Fatal(err)
		}
		svg, err := os.ReadFile(filepath.Join(dir, "stars-gaussian-0.svg"))
		if err != nil {
			t.Fatal(err)
		}
		_, body, _ := strings.Cut(string(md), "## Targets") // above stand machine and cores
		return body, string(svg)
	}
	one, chart := page("1")
	two, chart2 := page("2")
	if one != two || chart != chart2 {
		t.Error("one worker and two write different pages")
	}
	for _, want := range []string{"≤ 1.15", "< 0.01", "Scatter over bound.", "Gaussian, 3 px, trail 10 px", "](stars-gaussian-0.svg)"} {
		if !strings.Contains(one, want) {
			t.Errorf("the page has no %q", want)
		}
	}
}

// TestInterruptLeavesNothing: an ended run leaves no file.
func TestInterruptLeavesNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	dir := filepath.Join(t.TempDir(), "out")
	if code, _ := runStudy(ctx, "--quick", "--out", dir); code != 130 {
		t.Errorf("exit code %d, want 130", code)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("the folder was made")
	}
}

func TestUsage(t *testing.T) {
	for _, args := range [][]string{{"--part", "moons"}, {"--trials", "-1"}, {"--workers", "0"}, {"stars"}, {"--nothing"}} {
		if code, said := runStudy(t.Context(), args...); code != 2 || !strings.Contains(said, "error: ") {
			t.Errorf("%v: exit code %d, said %q, want 2 and an error", args, code, said)
		}
	}
}

// sampled is what the pixel's box does to the bound of a Gaussian of σ = 1.3 px beyond widening it by its own moments, by numbers:
// the next term is of the order (1/12σ²)².
const sampled = 0.01

// TestStarBoundClosedForm: a star of signal-to-noise R under sky noise alone has σ_x = √2 σ/R (K. A. Winick, J. Opt. Soc. Am. A
// 3 (1986) 1809, and I. King, Publ. Astron. Soc. Pac. 95 (1983) 163, both from memory; derived in package scene's test).
func TestStarBoundClosedForm(t *testing.T) {
	k := starKind{fwhm: 3, sky: 1e8} // a sky beside which the star's photons are nothing
	poses := starPoses(k, starPhases, rand.New(rand.NewPCG(1, 1)))
	for i := range poses {
		p := &poses[i]
		p.draw(k, starLevels)
		for l, snr := range starLevels {
			want := math.Sqrt2 * math.Sqrt(sq(3/scene.FWHMOfSigma)+1.0/12) / snr
			for _, v := range []float64{p.bound[l].XX, p.bound[l].YY} {
				if math.Abs(math.Sqrt(v)/want-1) > sampled {
					t.Errorf("phase %.2f %.2f, S/N %g: bound %.5f px, want %.5f", p.x, p.y, snr, math.Sqrt(v), want)
				}
			}
		}
	}
}

func sq(x float64) float64 { return x * x }

// TestStarTally: places drawn from the bound itself score 1; places pulled, and errors stated too small, are seen.
func TestStarTally(t *testing.T) {
	const n, pull, phase, stated = 4000, 0.03, 0.02, 0.5
	rng := rand.New(rand.NewPCG(5, 5))
	var tally starTally
	bound := scene.Placing{XX: 0.01, XY: 0.004, YY: 0.04}
	for range n {
		p := &starPose{x: rng.Float64() - 0.5, y: rng.Float64() - 0.5, direction: 0.5, bound: []scene.Placing{bound}}
		a, b := rng.NormFloat64(), rng.NormFloat64()
		dx := 0.1 * a // the factor of the bound: (0.1, 0; 0.04, √(0.04−0.0016))
		dy := 0.04*a + math.Sqrt(0.04-0.0016)*b
		s := star.Star{X: 7 + dx, Y: 9 + dy, XErr: stated * 0.1, YErr: stated * 0.2, XYCov: stated * stated * 0.004}
		tally.add(starFound{starTruth{x: 7, y: 9, pose: p}, &s})
	}
	for range n {
		tally.add(starFound{truth: starTruth{}})
	}
	near := func(name string, f starFigure, want float64) {
		t.Helper()
		if math.Abs(f.v-want) > 4*f.err { // four standard errors
			t.Errorf("%s %.4f ± %.4f, want %.4f", name, f.v, f.err, want)
		}
	}
	near("scatter over bound", tally.ratio(), 1)
	// The median of n values of an exponential distribution scatters by 1/(ln 2 √n) of itself; the core is its root.
	near("core", starFigure{tally.core(), 1 / (2 * math.Ln2 * math.Sqrt(n))}, 1)
	near("stated over scatter", tally.stated(), stated)
	near("bias along", tally.bias(0), 0)
	if tally.drawn != 2*n || tally.found != n {
		t.Errorf("%d of %d found, want %d of %d", tally.found, tally.drawn, n, 2*n)
	}
	var pulled starTally
	for range n {
		p := &starPose{x: rng.Float64() - 0.5, y: rng.Float64() - 0.5, direction: math.Pi / 2, bound: []scene.Placing{bound}}
		s := star.Star{X: phase*math.Sin(2*math.Pi*p.x) + 0.01*rng.NormFloat64(), Y: pull + phase*math.Sin(2*math.Pi*p.y) + 0.01*rng.NormFloat64(), XErr: 1, YErr: 1}
		pulled.add(starFound{starTruth{pose: p}, &s})
	}
	near("pull along y", pulled.bias(0), pull)
	near("pull by phase", pulled.phaseBias(), phase)
}

// TestStarsReachTheBound: what the study says of round stars 3 px wide must agree with the bound as the design wants it. The
// limit is the design's; a scatter under the bound would be a fault of the study.
func TestStarsReachTheBound(t *testing.T) {
	o := options{Trials: 140, Seed: 3, Workers: 2, part: "stars"}
	row, err := starRunKind(t.Context(), o, starKind{fwhm: 3, sky: starSky}, starLevels)
	if err != nil {
		t.Fatal(err)
	}
	for l, snr := range starLevels[2:6] {
		f := row.levels[l+2].ratio()
		t.Logf("S/N %g: scatter over bound %.3f ± %.3f", snr, f.v, f.err)
		if f.v-2*f.err > starScatterLimit || f.v+4*f.err < 1 {
			t.Errorf("S/N %g: scatter over bound %.3f ± %.3f", snr, f.v, f.err)
		}
		if n := row.levels[l+2]; n.found != n.drawn {
			t.Errorf("S/N %g: %d of %d found", snr, n.found, n.drawn)
		}
	}
}

// faintSlack is how far the stated errors of the faintest stars may be off, a tenth as for all others (drift/star's pullSlack);
// to it come three standard errors of the sample.
const faintSlack = 0.10

// TestStatedErrorsOfFaintStars: among stars as the sky has them, those that look faint must scatter as they say.
func TestStatedErrorsOfFaintStars(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	o := options{Trials: 500, Seed: 2, Workers: 2, part: "stars"}
	row, err := starFaint(t.Context(), o, starKind{fwhm: 3, sky: starSky})
	if err != nil {
		t.Fatal(err)
	}
	var faint starTally
	for b := range starBins[:3] { // light under 8 of its errors
		faint.join(&row.levels[b])
	}
	f := faint.stated()
	t.Logf("%d stars: stated over scatter %.3f ± %.3f, %d wild", faint.found, f.v, f.err, faint.wild)
	if faint.found < 500 || math.Abs(f.v-1) > faintSlack+3*f.err {
		t.Errorf("%d faint stars with %.3f ± %.3f stated over scatter, want 500 and 1", faint.found, f.v, f.err)
	}
}
