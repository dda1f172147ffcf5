//go:build unix

package star

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"trueturn/drift/frame"
)

// drawnSky is a picture with its truth.
type drawnSky struct {
	name  string
	plane frame.Plane
	truth map[string][]float64 // x, y, snr (matched filter, noise of the local sky); nil of real pictures
}

// sideSky renders 12 megapixels: count stars whose numbers grow as those of the sky do (10^0.5 a magnitude), down to a
// signal-to-noise of about three. A hillside covers what is under horizon (a share of the height; 1: none).
func sideSky(name string, count int, horizon float64, seed uint64) drawnSky {
	const w, h, sigma, read, well = 4000, 3000, 1.3, 5, 20000
	sky := func(x, y float64) float64 {
		dx, dy := x/w-0.5, y/h-0.5
		v := 400 * (1 - 0.8*(dx*dx+dy*dy))
		if horizon < 1 {
			v *= 0.6 + 1.2*y/h // the glow of a town over the horizon
		}
		if y > h*(horizon+0.03*math.Sin(x/300)) {
			v = 40 + 25*math.Sin(x/7)*math.Sin(y/9) // trees
		}
		return v
	}
	s := newScene(w, h, seed, sky)
	truth := map[string][]float64{}
	for range count {
		e := math.Min(350*math.Pow(1-s.rng.Float64(), -1/1.25), 3e5)
		x, y := s.rng.Float64()*(w-1), s.rng.Float64()*(h*math.Min(horizon-0.05, 1)-1)
		s.add(gauss{sigma}, x, y, e)
		// Σ of the squared profile is 1/4πσ².
		snr := e / math.Sqrt(4*math.Pi*sigma*sigma*(sky(x, y)+read*read))
		truth["x"], truth["y"], truth["snr"] = append(truth["x"], x), append(truth["y"], y), append(truth["snr"], snr)
	}
	return drawnSky{name, s.develop(read, well), truth}
}

// realPictures are those of ../shared/frames, where the folder is there, but for those of hot pixels alone: sep runs out of
// memory over them.
func realPictures() []drawnSky {
	var all []drawnSky
	for _, pattern := range []string{"lyra-tripod/*_58.jpg", "star-sensor/*Alt60_Azi45*"} {
		names, _ := filepath.Glob("../../../shared/frames/" + pattern)
		for _, n := range names {
			r, err := os.Open(n)
			if err != nil {
				continue
			}
			f, err := frame.Decode(r, frame.Options{})
			r.Close()
			if err == nil {
				all = append(all, drawnSky{name: filepath.Base(filepath.Dir(n)), plane: f.Plane})
			}
		}
	}
	return all
}

// handOver writes a picture where side_by_side.py reads it.
func (d drawnSky) handOver(t *testing.T, folder string) {
	t.Helper()
	raw := make([]byte, 0, 4*len(d.plane.Pix))
	for _, v := range d.plane.Pix {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	size := fmt.Sprintln(d.plane.Width, d.plane.Height)
	for ending, data := range map[string][]byte{".f32": raw, ".size": []byte(size)} {
		if err := os.WriteFile(filepath.Join(folder, d.name+ending), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// processorSeconds is what this process has used of all cores.
func processorSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// timed finds three times and gives the median by the processor.
func (d drawnSky) timed(t *testing.T, o Options) (Field, float64) {
	t.Helper()
	var took []float64
	var f Field
	for range 3 {
		start := processorSeconds()
		var err error
		if f, err = Find(context.Background(), d.plane, o); err != nil {
			t.Fatal(err)
		}
		took = append(took, processorSeconds()-start)
	}
	slices.Sort(took)
	return f, took[1]
}

// beside is how a list of places compares with the truth: of stars by signal-to-noise, and of what is no star.
type beside struct {
	met, of [4]int // in the bins of snrBins
	strange int
	rms     float64 // of one coordinate, over stars of signal-to-noise 20 to 200 without a neighbour
}

var snrBins = [...]float64{5, 7, 10, 20, math.Inf(1)}

// besideOf takes every detection for the nearest star within two pixels; each star counts once. xw, yw are the places as
// well as they are known, for their scatter.
func besideOf(x, y, xw, yw []float64, truth map[string][]float64) beside {
	var a beside
	near := newNearest(truth["x"], truth["y"])
	met, off := make([]float64, len(truth["x"])), make([]float64, len(truth["x"]))
	for i := range met {
		met[i] = math.Inf(1)
	}
	for k := range x {
		i, d := near.find(x[k], y[k], 2)
		if i < 0 {
			a.strange++
			continue
		}
		if d < met[i] {
			met[i], off[i] = d, math.Hypot(xw[k]-truth["x"][i], yw[k]-truth["y"][i])
		}
	}
	var sum, n float64
	for i, d := range met {
		snr := truth["snr"][i]
		for b := range a.of {
			if snr >= snrBins[b] && snr < snrBins[b+1] {
				a.of[b]++
				if d < 2 {
					a.met[b]++
				}
			}
		}
		if d < 2 && snr > 20 && snr < 200 && near.alone(i, 12) {
			sum, n = sum+sq(off[i])/2, n+1
		}
	}
	a.rms = math.Sqrt(sum / n)
	return a
}

func (a beside) String() string {
	var b strings.Builder
	for i := range a.of {
		fmt.Fprintf(&b, " %5.1f%%", 100*float64(a.met[i])/float64(max(a.of[i], 1)))
	}
	return fmt.Sprintf("%s  %5d  %.4f", b.String(), a.strange, a.rms)
}

// nearest finds places by buckets of 16 pixels.
type nearest struct {
	x, y []float64
	at   map[[2]int][]int
}

func newNearest(x, y []float64) nearest {
	n := nearest{x, y, map[[2]int][]int{}}
	for i := range x {
		k := [2]int{int(x[i]) >> 4, int(y[i]) >> 4}
		n.at[k] = append(n.at[k], i)
	}
	return n
}

func (n nearest) around(x, y float64, use func(i int, d float64)) {
	for j := int(y)>>4 - 1; j <= int(y)>>4+1; j++ {
		for i := int(x)>>4 - 1; i <= int(x)>>4+1; i++ {
			for _, k := range n.at[[2]int{i, j}] {
				use(k, math.Hypot(n.x[k]-x, n.y[k]-y))
			}
		}
	}
}

// find gives the nearest place within reach, −1 if none.
func (n nearest) find(x, y, reach float64) (int, float64) {
	best, d := -1, reach
	n.around(x, y, func(i int, r float64) {
		if r < d {
			best, d = i, r
		}
	})
	return best, d
}

func (n nearest) alone(i int, reach float64) bool {
	count := 0
	n.around(n.x[i], n.y[i], func(_ int, r float64) {
		if r < reach {
			count++
		}
	})
	return count == 1
}

// TestSideBySide sets star.Find beside sep (Debian's python3-sep) on the same pictures, at the same threshold, in one run:
// time, completeness, false detections, scatter of places. It prints; what it asserts is that Find finds what it says: no
// fewer of the stars of signal-to-noise 10 and over than sep does in the pictures without crowding, less slackComplete.
//
//	TRUETURN_SEP=1 go test ./drift/star -run TestSideBySide -v -timeout 30m
//	TRUETURN_SEP=clean,town …     these pictures alone
func TestSideBySide(t *testing.T) {
	if os.Getenv("TRUETURN_SEP") == "" {
		t.Skip("a study of some minutes: set TRUETURN_SEP=1")
	}
	if exec.Command("/usr/bin/python3", "-c", "import sep, numpy").Run() != nil {
		t.Skip("needs Debian's python3-sep")
	}
	folder := t.TempDir()
	all := append([]drawnSky{sideSky("clean", 6000, 1, 11), sideSky("town", 3000, 0.85, 12), sideSky("crowded", 60000, 1, 13)}, realPictures()...)
	if only := os.Getenv("TRUETURN_SEP"); only != "1" {
		all = slices.DeleteFunc(all, func(d drawnSky) bool { return !strings.Contains(only, d.name) })
	}
	for _, d := range all {
		d.handOver(t, folder)
	}
	out, err := exec.Command("/usr/bin/python3", "testdata/side_by_side.py", folder).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	seconds := sepSeconds(t, string(out))
	t.Log("ms of the processor a megapixel; completeness at signal-to-noise 5–7, 7–10, 10–20, over 20; false; rms px")
	for _, d := range all {
		d.report(t, folder, seconds[d.name])
	}
}

// sepTimes are seconds by the processor: as sep does it unasked, and with the filter of the lists.
type sepTimes struct{ plain, matched float64 }

func sepSeconds(t *testing.T, out string) map[string]sepTimes {
	t.Helper()
	m := map[string]sepTimes{}
	for line := range strings.Lines(out) {
		var name string
		var s sepTimes
		var n int
		if _, err := fmt.Sscan(line, &name, &s.plain, &s.matched, &n); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		m[name] = s
	}
	return m
}

// slackComplete: two in a hundred, what chance leaves of some hundred stars a bin.
const slackComplete = 0.02

func (d drawnSky) report(t *testing.T, folder string, sep sepTimes) {
	t.Helper()
	_, one := d.timed(t, Options{Workers: 1})
	_, two := d.timed(t, Options{Workers: 2})
	f, every := d.timed(t, Options{Workers: 1, MaxStars: math.MaxInt32})
	k := 1000 / (float64(len(d.plane.Pix)) / 1e6)
	t.Logf("%-12s ours %6.1f, two workers %6.1f, every star %6.1f; sep %6.1f, matched %6.1f; ratio %.2f, every star ÷ matched %.2f; %d stars",
		d.name, one*k, two*k, every*k, sep.plain*k, sep.matched*k, one/sep.plain, every/sep.matched, len(f.Stars))
	if d.truth == nil {
		return
	}
	var x, y []float64
	for _, s := range f.Stars {
		x, y = append(x, s.X), append(y, s.Y)
	}
	theirs := table(t, filepath.Join(folder, d.name+".sep.csv"))
	ours := besideOf(x, y, x, y, d.truth)
	other := besideOf(theirs["x"], theirs["y"], theirs["xwin"], theirs["ywin"], d.truth)
	t.Logf("%-12s ours %v", d.name, ours)
	t.Logf("%-12s sep  %v", d.name, other)
	d.noWorse(t, ours, other)
}

func (d drawnSky) noWorse(t *testing.T, ours, sep beside) {
	t.Helper()
	if d.name == "crowded" {
		return
	}
	share := func(a beside, b int) float64 { return float64(a.met[b]) / float64(max(a.of[b], 1)) }
	for b := range ours.of {
		if snrBins[b] >= 10 && share(ours, b) < share(sep, b)-slackComplete {
			t.Errorf("%s: %.3f of the stars of signal-to-noise %.0f and over, sep %.3f", d.name, share(ours, b), snrBins[b], share(sep, b))
		}
	}
}
