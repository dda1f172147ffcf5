package star

import (
	"encoding/csv"
	"image"
	"image/png"
	"math"
	"os"
	"strconv"
	"testing"

	"trueturn/drift/frame"
)

// linearPNG reads a 16-bit grey picture whose values are linear.
func linearPNG(t *testing.T, name string) frame.Plane {
	t.Helper()
	h, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	img, err := png.Decode(h)
	if err != nil {
		t.Fatal(err)
	}
	grey, ok := img.(*image.Gray16)
	if !ok {
		t.Fatalf("%s holds %T", name, img)
	}
	b := grey.Bounds()
	p := frame.Plane{Width: b.Dx(), Height: b.Dy(), Saturation: 65535}
	for y := range b.Dy() {
		for x := range b.Dx() {
			p.Pix = append(p.Pix, float32(grey.Gray16At(x, y).Y))
		}
	}
	return p
}

// table reads a file of numbers with a header into columns.
func table(t *testing.T, name string) map[string][]float64 {
	t.Helper()
	h, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	rows, err := csv.NewReader(h).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for i, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[rows[0][i]] = append(out[rows[0][i]], v)
		}
	}
	return out
}

// against compares lists of places with the truth: how many are met, how many of the list are not true, the rms error.
type against struct {
	met, strange int
	rms          float64
}

func compare(x, y []float64, truth map[string][]float64) against {
	const r = 1.5
	var a against
	for i := range truth["x"] {
		best := r
		for k := range x {
			best = math.Min(best, math.Hypot(x[k]-truth["x"][i], y[k]-truth["y"][i]))
		}
		if best < r {
			a.met++
			a.rms += best * best / 2
		}
	}
	a.strange = len(x) - a.met
	a.rms = math.Sqrt(a.rms / float64(a.met))
	return a
}

// Against SEP 1.2.1 on the same pictures: raw output, pictures and truth in testdata/authorities, made by star_sep.py.
func TestAgainstSEP(t *testing.T) {
	for _, name := range []string{"star_field", "star_trails"} {
		t.Run(name, func(t *testing.T) {
			base := "testdata/authorities/" + name
			f := find(t, linearPNG(t, base+".png"), Options{})
			truth, sep := table(t, base+"_truth.csv"), table(t, base+"_sep.csv")
			var x, y []float64
			for _, s := range f.Stars {
				x, y = append(x, s.X), append(y, s.Y)
			}
			ours, theirs := compare(x, y, truth), compare(sep["xwin"], sep["ywin"], truth)
			t.Logf("found %d of %d (SEP %d), false %d (SEP %d), rms %.4f px (SEP %.4f)",
				ours.met, len(truth["x"]), theirs.met, ours.strange, theirs.strange, ours.rms, theirs.rms)
			if ours.met < theirs.met || ours.strange > theirs.strange {
				t.Errorf("less complete or less clean than SEP")
			}
			if ours.rms > theirs.rms*1.03 { // both stand near the bound: a few per cent are chance
				t.Errorf("rms error %.4f px, SEP's windowed positions have %.4f", ours.rms, theirs.rms)
			}
			agree(t, f, sep)
		})
	}
}

// agree: matched positions differ by less than 3.5 combined errors, widths of bright round stars by 3 %: twice the
// half-light radius of a Gaussian is its FWHM.
func agree(t *testing.T, f Field, sep map[string][]float64) {
	t.Helper()
	var ratio []float64
	for i, flux := range sep["flux"] {
		s := at(f.Stars, sep["xwin"][i], sep["ywin"][i], 1.5)
		if s == nil || flux < 8*sep["fluxerr"][i] {
			continue
		}
		ex, ey := math.Hypot(s.XErr, sep["xerr"][i]), math.Hypot(s.YErr, sep["yerr"][i])
		if dx, dy := s.X-sep["xwin"][i], s.Y-sep["ywin"][i]; math.Abs(dx) > 3.5*ex || math.Abs(dy) > 3.5*ey {
			t.Errorf("star at %.2f %.2f: SEP differs by %.3f %.3f px, errors %.3f %.3f", s.X, s.Y, dx, dy, ex, ey)
		}
		if s.Flags == 0 && flux > 30*sep["fluxerr"][i] {
			ratio = append(ratio, s.FWHM/(2*sep["halflight"][i]))
		}
	}
	if len(ratio) == 0 {
		return
	}
	if m := median(ratio); math.Abs(m-1) > 0.03 {
		t.Errorf("widths are %.3f of SEP's", m)
	}
}
