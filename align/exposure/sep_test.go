package exposure

import (
	"context"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"trueturn/align/simulate"
	"trueturn/ephem"
)

// sepFile is what sep 1.2.1 (Debian python3-sep; K. Barbary, J. Open Source Software 1(6), 58, 2016) measured in the noise-free
// renderings of the cases below and in stars drawn from the forecast's moments; exposure_sep.py made it.
const sepFile = "../../testdata/authorities/exposure_sep.csv"

// foretold is one star of a rendered case and the moments of the path forecast for it.
type foretold struct {
	x, y, electrons, xx, xy, yy float64
	path                        []vec // at even steps of time
}

// pathSteps are the points of a path written down.
const pathSteps = 101

// foretell is a case's run and its brightest lone stars.
func foretell(t *testing.T, name string) (*simulate.Run, Plan, []foretold) {
	t.Helper()
	e, mount := renderedCase(t, name)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	lit, err := run.Stars(0)
	if err != nil {
		t.Fatal(err)
	}
	sky, _ := ephem.NewSky(e.Site, e.Air, e.MidOf(0))
	l := Lens{FocalPx: e.Camera.FocalPx, Width: e.Camera.Width, Height: e.Camera.Height}
	v, err := Seen(l, sky, run.Attitude(0, e.MidOf(0)))
	if err != nil {
		t.Fatal(err)
	}
	p := Plan{View: v, Mount: mount(v), FWHM: roundWidth(e.Camera.FWHM)}.filled()
	var list []foretold
	for _, s := range lit {
		inside := s.MeanX > 30 && s.MeanY > 30 && s.MeanX < float64(l.Width)-30 && s.MeanY < float64(l.Height)-30
		if !inside || !alone(lit, s.MeanX, s.MeanY) || len(list) == 12 {
			continue
		}
		f := foretold{x: s.MeanX, y: s.MeanY, electrons: s.Electrons}
		c, half := p.courseAt(s.MeanX, s.MeanY), e.Exposure.Seconds()/2
		form, nu := wobblingOf(e)
		laid := c.over(2*half, 1)
		f.xx, f.xy, f.yy = laid.covariance(newWindow(form, nu, half).moments(form))
		f.path = c.path(form, nu, half)
		list = append(list, f)
	}
	return run, p, list
}

// path is the course itself, about its middle in time.
func (c course) path(form []sine, nu, half float64) (list []vec) {
	var mean vec
	for i := range pathSteps {
		t := (2*(float64(i)+0.5)/pathSteps - 1) * half
		w := 0.0
		for _, s := range form {
			sn, cs := math.Sincos(s.order * nu * t)
			w += s.a*cs + s.b*sn
		}
		at := c.v.times(t).plus(c.a.times(t * t / 2)).plus(c.g.times(w))
		list, mean = append(list, at), mean.plus(at.times(1./pathSteps))
	}
	for i := range list {
		list[i] = list[i].minus(mean)
	}
	return list
}

// TestSepPictures writes what exposure_sep.py measures, where TRUETURN_SEP_DIR names a folder.
func TestSepPictures(t *testing.T) {
	dir := os.Getenv("TRUETURN_SEP_DIR")
	if dir == "" {
		t.Skip("TRUETURN_SEP_DIR is not set: nothing to write")
	}
	for i, name := range renderedCases {
		run, _, list := foretell(t, name)
		plane, _, err := run.Frame(context.Background(), 0)
		if err != nil {
			t.Fatal(err)
		}
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("case%d.f32", i)))
		if err != nil {
			t.Fatal(err)
		}
		if err := binary.Write(f, binary.LittleEndian, plane.Pix); err != nil {
			t.Fatal(err)
		}
		f.Close()
		text := fmt.Sprintf("%s,%d,%d,%g\n", name, plane.Width, plane.Height, run.Evening().Camera.FWHM)
		for _, s := range list {
			text += fmt.Sprintf("%.4f,%.4f,%.6g,%.8g,%.8g,%.8g", s.x, s.y, s.electrons/run.Evening().Camera.FullScale, s.xx, s.xy, s.yy)
			for _, at := range s.path {
				text += fmt.Sprintf(",%.6g,%.6g", at.x, at.y)
			}
			text += "\n"
		}
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("case%d.csv", i)), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestSep: forecast, drawn and measured by sep, against renderings measured by sep: both lose the same to its threshold.
// The columns are case, x, y, xx, xy, yy (the forecast's moments), a/b in the rendering, a/b in the drawing.
func TestSep(t *testing.T) {
	f, err := os.Open(sepFile)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, name := range renderedCases {
		_, _, list := foretell(t, name)
		for _, row := range rows[1:] {
			if row[0] != name {
				continue
			}
			v := numbers(t, row[1:])
			near(t, name+": sep's a/b", v[5], v[6], likeRendering)
			want := list[seen[name]]
			seen[name]++
			// The forecast must still be the one drawn; the file holds seven digits.
			if math.Hypot(v[2]-want.xx, v[4]-want.yy) > 1e-4*(1+want.xx+want.yy) || math.Abs(v[3]-want.xy) > 1e-4*(1+want.xx+want.yy) {
				t.Errorf("%s at %.0f,%.0f: moments %.5g %.5g %.5g, in the file %v: run exposure_sep.py again", name, want.x, want.y, want.xx, want.xy, want.yy, v[2:5])
			}
		}
		if seen[name] < 8 {
			t.Errorf("%s: %d stars", name, seen[name])
		}
	}
}

func numbers(t *testing.T, row []string) (list []float64) {
	t.Helper()
	for _, s := range row {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, v)
	}
	return list
}
