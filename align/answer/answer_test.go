package answer

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// contract is the object of design §6, as printed there.
const contract = `
{"aim":{"kind":"refracted","altitude_deg":0,"azimuth_deg":0},
 "axis":{"altitude_deg":0,"azimuth_deg":0,"altitude_sigma_arcmin":0,"azimuth_sigma_arcmin":0,"correlation":0},
 "error":{"altitude_arcmin":0,"azimuth_arcmin":0,"total_arcmin":0,"total_sigma_arcmin":0},
 "advice":{"next":"shoot|turn|measure|swing","next_text":"","altitude":"lower 12.3′",
           "azimuth":"turn 48′ anticlockwise seen from above (toward west)","turn_altitude_arcmin":0,
           "turn_azimuth_arcmin":0,"trustworthy":true,"notes":[]},
 "situations":[{"kind":"","files":[""],"text":""}],
 "rate":{"sidereal_ratio":1.0,"sigma":0},
 "periodic_error":{"state":"measured|bounded|unseen","period_s":0,"peak_to_peak_arcsec":0,
                   "max_rate_arcsec_per_s":0,"note":""},
 "exposure":{"longest_s":0,"planned_s":30,"planned_stays_round":true,"share_round":1.0},
 "frames":[{"file":"","mid_utc":"","exposure_s":0,"used":true,"why_not":"","stars":0,"matched":0,
            "rms_px":0,"ra_deg":0,"dec_deg":0,"roll_deg":0,"scale_arcsec_px":0,"fwhm_px":0,"elongation":1.0}]}`

// keysOf lists all keys of a JSON value with their paths; of lists, those of the first element.
func keysOf(v any, path string) []string {
	var keys []string
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			keys = append(keys, path+k)
			keys = append(keys, keysOf(inner, path+k+".")...)
		}
	case []any:
		if len(v) > 0 {
			keys = keysOf(v[0], path)
		}
	}
	slices.Sort(keys)
	return keys
}

func TestJSONHasTheKeysOfTheContract(t *testing.T) {
	var want any
	if err := json.Unmarshal([]byte(contract), &want); err != nil {
		t.Fatal(err)
	}
	x, s := 1.0, "x"
	full := Answer{Aim: &AimJSON{}, Axis: &AxisJSON{}, Error: &ErrorJSON{}, Rate: &RateJSON{},
		PeriodicError: &PeriodicJSON{}, Exposure: &ExposureJSON{LongestS: &x},
		Advice:     AdviceJSON{Next: &s, Notes: []string{"x"}},
		Situations: []Situation{{Files: []string{"x"}}}, Frames: []FrameJSON{{File: "x"}}}
	text, err := json.Marshal(full)
	if err != nil {
		t.Fatal(err)
	}
	var got any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if g, w := keysOf(got, ""), keysOf(want, ""); !slices.Equal(g, w) {
		t.Errorf("keys\n%v\nwant\n%v", g, w)
	}
}

// realFiles are real pictures kept beside the repository; the test skips where
// they are not.
func realFiles(t *testing.T, pattern string, o drift.Options) drift.Sequence {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join("..", "..", "..", "shared", "frames", pattern))
	if len(files) == 0 {
		t.Skip("the real pictures are not on this machine (../shared/frames)")
	}
	var srcs []drift.Source
	for _, f := range files {
		srcs = append(srcs, drift.Source{Name: filepath.Base(f), Open: func() (io.ReadSeekCloser, error) { return os.Open(f) }})
	}
	q, err := drift.Measure(context.Background(), srcs, o)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func kinds(a Answer) []string {
	seen := map[string]bool{}
	for _, s := range a.Situations {
		seen[s.Kind] = true
	}
	return slices.Sorted(maps.Keys(seen))
}

func TestRealStandingCameraIsNotTurning(t *testing.T) {
	o := drift.Options{}
	o.Frame.Zone = time.FixedZone("", -4*3600)
	q := realFiles(t, "lyra-tripod/*.jpg", o)
	site, _ := ephem.NewSite(43.13, -70.93, 30)
	a := New(q, Options{Site: &site})
	if !errors.Is(a.Err, align.ErrNotTurning) || a.Axis != nil || a.Error != nil {
		t.Errorf("axis %v, error %v; want none, and ErrNotTurning", a.Axis, a.Err)
	}
	if !slices.Contains(kinds(a), "not turning") {
		t.Errorf("situations %v do not name it", kinds(a))
	}
	if len(a.Frames) != 3 || a.Frames[0].RADeg == nil || a.Frames[0].Matched < 100 {
		t.Errorf("frames are not filled: %+v", a.Frames)
	}
	if len(a.Advice.Notes) == 0 || !strings.Contains(a.Advice.Notes[0], "motor") {
		t.Errorf("notes %q do not say what to do", a.Advice.Notes)
	}
	without := New(q, Options{})
	if !errors.Is(without.Err, ErrNoSite) || without.Frames[0].RADeg == nil || without.Frames[0].Used {
		t.Errorf("without a site: %v, %+v; want ErrNoSite and solved pictures", without.Err, without.Frames[0])
	}
}

func TestRealHotPixelsAreNoTracking(t *testing.T) {
	site, _ := ephem.NewSite(43.13, -70.93, 30)
	a := New(realFiles(t, "no-stars/*.png", drift.Options{}), Options{Site: &site})
	if a.Err == nil || a.Axis != nil || a.Advice.Trustworthy || a.Advice.Next != nil {
		t.Errorf("a capped camera gave axis %v, advice %+v", a.Axis, a.Advice)
	}
	for _, f := range a.Frames {
		if f.Used || f.WhyNot == "" || f.RADeg != nil {
			t.Errorf("%s: used %v, %q", f.File, f.Used, f.WhyNot)
		}
	}
}

// placed makes a sequence of a run's exact star places with noise, in place of pictures.
func placed(t testing.TB, run *simulate.Run, noisePx float64) drift.Sequence {
	return brightest(t, run, noisePx, 80)
}

// brightest places so many of a run's stars.
func brightest(t testing.TB, run *simulate.Run, noisePx float64, most int) drift.Sequence {
	t.Helper()
	r := rand.New(rand.NewPCG(1, 2))
	e := run.Evening()
	var q drift.Sequence
	for i := range e.Count {
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		c := run.Clock(i)
		s := drift.Shot{File: e.File(i), Clock: &c, Width: e.Camera.Width, Height: e.Camera.Height,
			Field: star.Field{Width: e.Camera.Width, Height: e.Camera.Height, FWHM: 3, Elongation: 1.02}}
		for _, l := range lit[:min(most, len(lit))] {
			s.Field.Stars = append(s.Field.Stars, star.Star{X: l.MeanX + noisePx*r.NormFloat64(), Y: l.MeanY + noisePx*r.NormFloat64(),
				XErr: noisePx, YErr: noisePx, Flux: l.Electrons, FWHM: 3, Elongation: 1.02})
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx})
		if err != nil {
			t.Fatal(err)
		}
		s.Solution = &sol
		q.Shots = append(q.Shots, s)
	}
	return q
}

func practice(t *testing.T, latitude float64, set func(*simulate.Evening)) (*simulate.Run, drift.Sequence, ephem.Site) {
	t.Helper()
	site, err := ephem.NewSite(latitude, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	set(&e)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return run, placed(t, run, 0.05), site
}

// The words of the advice must agree with the error put in: too high and too far
// anticlockwise, seen from above.
func TestAdviceInWords(t *testing.T) {
	for _, c := range []struct {
		latitude float64
		toward   string
	}{{46, "[east]"}, {-33, "[west]"}} {
		_, q, site := practice(t, c.latitude, func(*simulate.Evening) {})
		a := New(q, Options{Site: &site})
		if a.Err != nil {
			t.Fatal(a.Err)
		}
		if *a.Advice.Next != "turn" || !a.Advice.Trustworthy {
			t.Errorf("%v°: next %q, trustworthy %v", c.latitude, *a.Advice.Next, a.Advice.Trustworthy)
		}
		if !strings.HasPrefix(a.Advice.Altitude, "lower [2") {
			t.Errorf("%v°: altitude %q, want to lower about 25′", c.latitude, a.Advice.Altitude)
		}
		if !strings.HasPrefix(a.Advice.Azimuth, "turn the base [4") || !strings.Contains(a.Advice.Azimuth, "[clockwise]") || !strings.HasSuffix(a.Advice.Azimuth, c.toward) {
			t.Errorf("%v°: azimuth %q, want to turn about 48′ clockwise %s", c.latitude, a.Advice.Azimuth, c.toward)
		}
		if *a.Advice.TurnAltitudeArcmin > 0 || *a.Advice.TurnAzimuthArcmin < 0 {
			t.Errorf("%v°: turns %+.1f′, %+.1f′ have the wrong sign", c.latitude, *a.Advice.TurnAltitudeArcmin, *a.Advice.TurnAzimuthArcmin)
		}
	}
}

func TestPicturesBelowTheHorizonAreLeftOut(t *testing.T) {
	_, q, _ := practice(t, 46, func(e *simulate.Evening) { e.Count = 4 })
	far, _ := ephem.NewSite(-46, -173, 0) // the other side of the Earth
	a := New(q, Options{Site: &far})
	if a.Axis != nil || !errors.Is(a.Err, ErrSunk) {
		t.Errorf("axis %+v, error %v; want none, and ErrSunk", a.Axis, a.Err)
	}
	for _, f := range a.Frames {
		if f.Used || !strings.Contains(f.WhyNot, "check site and clock") || f.RADeg == nil {
			t.Errorf("%s: used %v, why not %q", f.File, f.Used, f.WhyNot)
		}
	}
}

// A mirrored picture is measured and said to be so; the axis is the same.
func TestMirroredPicturesAreSaidToBe(t *testing.T) {
	_, q, site := practice(t, 46, func(*simulate.Evening) {})
	for i := range q.Shots {
		s := &q.Shots[i]
		for k := range s.Field.Stars {
			s.Field.Stars[k].X = float64(s.Width-1) - s.Field.Stars[k].X
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{})
		if err != nil {
			t.Fatal(err)
		}
		s.Solution = &sol
	}
	a := New(q, Options{Site: &site})
	if a.Err != nil || !a.Frames[0].Mirrored || !strings.Contains(strings.Join(a.Advice.Notes, " "), "mirrored") {
		t.Fatalf("error %v, frame %+v, notes %q", a.Err, a.Frames[0], a.Advice.Notes)
	}
	if math.Abs(a.Error.AltitudeArcmin-25) > 3*a.Axis.AltitudeSigmaArcmin || math.Abs(a.Error.AzimuthArcmin+48) > 3*a.Axis.AzimuthSigmaArcmin {
		t.Errorf("off by %+v, want 25 and −48", a.Error)
	}
}

func TestOneTimeForAllPicturesIsRefused(t *testing.T) {
	_, q, site := practice(t, 46, func(*simulate.Evening) {})
	first := *q.Shots[0].Clock
	for i := range q.Shots {
		q.Shots[i].Clock = &frame.Clock{Start: first.Start, Exposure: first.Exposure}
	}
	if a := New(q, Options{Site: &site}); !errors.Is(a.Err, align.ErrClockStands) || a.Axis != nil {
		t.Errorf("axis %v, error %v; want ErrClockStands", a.Axis, a.Err)
	}
}

func TestNothingAtAll(t *testing.T) {
	a := New(drift.Sequence{}, Options{})
	if !errors.Is(a.Err, ErrNoPictures) || a.Frames == nil || a.Situations == nil || a.Advice.Notes == nil {
		t.Errorf("%+v", a)
	}
}

// What was measured in place of a picture's own data is said, once for all pictures it holds for.
func TestSaysWhatWasMeasuredInstead(t *testing.T) {
	_, q, site := practice(t, 46, func(*simulate.Evening) {})
	for i := range q.Shots {
		q.Shots[i].Instead = "a HEIC picture: decoded by a friend"
	}
	a := New(q, Options{Site: &site})
	if said := strings.Join(a.Advice.Notes, " "); strings.Count(said, "A HEIC picture: decoded by a friend.") != 1 {
		t.Errorf("notes %q", said)
	}
}
