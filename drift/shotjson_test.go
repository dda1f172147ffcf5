package drift

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/mat"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// readBack is a shot after a trip through JSON.
func readBack(t *testing.T, s Shot) Shot {
	t.Helper()
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsRune(string(text), '\n') {
		t.Fatal("a shot must fit one line")
	}
	var got Shot
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	return got
}

func fullShot(t *testing.T) Shot {
	t.Helper()
	s := solved(t, view{attitude: looking(80, 10), at: evening, stars: 60, hot: []spot{{100.123456789, 200.987654321}}, noisePx: 0.15}.shot())
	site, err := ephem.NewSite(-90, 180, 2835)
	if err != nil {
		t.Fatal(err)
	}
	s.Altered, s.Instead = "a copy", "a JPEG inside"
	s.Place, s.Notes, s.LeftOut, s.RowOrderFree = &site, []string{"a doubt"}, "touched", true
	s.Lens = frame.Lens{FocalLengthMM: 6.8, EquivalentMM: 115, FNumber: 2.8, Make: "Meadow", Model: "One"}
	s.Clock = &frame.Clock{Start: evening, Exposure: 15 * time.Second, Step: time.Millisecond, Source: "EXIF",
		Told: frame.Told{Zone: frame.ZoneInFile, Offset: time.Hour, Against: true, Changed: true, Other: -time.Hour, HasFix: true, Ahead: -3}}
	s.Field.Stars[3].TrailPxErr, s.Field.Stars[4].FWHMErr, s.Field.Noise = math.NaN(), math.Inf(1), 0.002
	s.Field.Stars[5].Flags = star.Saturated | star.Blend
	return s
}

// What is read back is what was written: to the last digit where the solution rests on it.
func TestShotSurvivesJSON(t *testing.T) {
	const (
		ulps  = 1e-15 // of an attitude, which is written as a rotation vector
		seven = 1e-7  // relative, of stars the solution did not recognise
	)
	want := fullShot(t)
	got := readBack(t, want)
	// Compared one by one: the turn holds its numbers to itself, so does the matrix.
	if off := want.Solution.Attitude.Inverse().Then(got.Solution.Attitude).Angle().Rad(); off > ulps {
		t.Errorf("the attitude is off by %g", off)
	}
	if !mat.Equal(want.Solution.Covariance, got.Solution.Covariance) {
		t.Error("the covariance differs")
	}
	matched := want.matched()
	for i, s := range want.Field.Stars {
		if matched[i] && cmp.Diff(s, got.Field.Stars[i], cmpopts.EquateNaNs()) != "" {
			t.Errorf("star %d, recognised, is %+v, was %+v", i, got.Field.Stars[i], s)
		}
	}
	if len(matched) == len(want.Field.Stars) {
		t.Error("no star is left to be kept short")
	}
	opt := cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateApprox(seven, 0), cmp.Comparer(func(a, b turn.Turn) bool { return true }),
		cmp.Comparer(func(a, b *mat.SymDense) bool { return true })}
	if diff := cmp.Diff(want, got, opt); diff != "" {
		t.Errorf("(-written +read)\n%s", diff)
	}
	if diff := cmp.Diff(want.Solution.Sightings, got.Solution.Sightings); diff != "" {
		t.Errorf("sightings (-written +read)\n%s", diff)
	}
}

// Sequences of shots read back give the attitudes of those written.
func TestHorizonOfShotsReadBack(t *testing.T) {
	const same = 1e-12 // radians: two millionths of an arcsecond, sums being formed of numbers an ulp apart
	site, err := ephem.NewSite(46, 7.75, 1600)
	if err != nil {
		t.Fatal(err)
	}
	var before, after Sequence
	for i := range 4 {
		at := evening.Add(time.Duration(i) * time.Minute)
		s := solved(t, view{attitude: looking(80+float64(i), 10), at: at, stars: 50, noisePx: 0.1, seed: uint64(i)}.shot())
		before.Shots, after.Shots = append(before.Shots, s), append(after.Shots, readBack(t, s))
	}
	a, err := before.Horizon(site, ephem.StandardAir(1600))
	if err != nil {
		t.Fatal(err)
	}
	b, err := after.Horizon(site, ephem.StandardAir(1600))
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Sights {
		x, y := a.Sights[i].Attitude.Pose.Attitude, b.Sights[i].Attitude.Pose.Attitude
		if off := x.Inverse().Then(y).Angle().Rad(); off > same {
			t.Errorf("picture %d is off by %g", i, off)
		}
	}
}

func TestErrorsSurviveJSON(t *testing.T) {
	_, tooFew := solve.Solve(t.Context(), star.Field{}, solve.Hint{})
	for _, c := range []struct {
		name   string
		err    error
		is     error
		unread bool
	}{
		{"damaged", unreadError{amiss.New(frame.ErrBroken, "the file ends too early", "another picture")}, frame.ErrBroken, true},
		{"unsupported", unreadError{amiss.New(frame.ErrUnsupported, "a raw file", "another picture")}, frame.ErrUnsupported, true},
		{"too large", unreadError{amiss.New(frame.ErrTooLarge, "201 megapixels", "another picture")}, frame.ErrTooLarge, true},
		{"few stars", tooFew, solve.ErrFewStars, false},
		{"daylight", starless(star.TooBright), ErrNoStars, false},
		{"a fault", unreadError{Fault(1)}, nil, true},
		{"a thing to give", &amiss.Error{Kind: frame.ErrNoClock, Text: "no zone", Ways: []amiss.Way{{Act: "wait"}, {Thing: amiss.Zone, Value: "+02:00"}}}, frame.ErrNoClock, false},
		{"no cause", errors.New("the disk sighed"), nil, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := readBack(t, Shot{File: "a.jpg", Err: c.err, ClockErr: c.err})
			for _, err := range []error{got.Err, got.ClockErr} {
				if err.Error() != c.err.Error() || !slices.Equal(amiss.Ways(err), amiss.Ways(c.err)) {
					t.Errorf("%q with %v, was %q with %v", err, amiss.Ways(err), c.err, amiss.Ways(c.err))
				}
				if c.is != nil && !errors.Is(err, c.is) {
					t.Errorf("%v is no longer of its kind", err)
				}
			}
			if got.Unread() != c.unread {
				t.Errorf("unread %v", got.Unread())
			}
		})
	}
	if got := readBack(t, Shot{File: "a.jpg"}); got.Err != nil || got.ClockErr != nil || got.Clock != nil || got.Solution != nil || got.Place != nil {
		t.Errorf("out of nothing came %+v", got)
	}
}

// TestEarlierErrorJSON: before ways out were values they were written in words, and a picture without stars as its condition.
func TestEarlierErrorJSON(t *testing.T) {
	for _, c := range []struct {
		text string
		is   error
		ways []amiss.Way
	}{
		{`{"text":"no stars: the picture is too bright","hint":"wait for the dark","condition":2}`, ErrNoStars, amiss.Do("wait for the dark")},
		{`{"text":"damaged","hint":"copy it again","kinds":["broken"],"unread":true}`, frame.ErrBroken, amiss.Do("copy it again")},
	} {
		var s Shot
		if err := json.Unmarshal([]byte(`{"file":"a.jpg","lens":{"numbers":[0,0,0,0,0]},"error":`+c.text+`}`), &s); err != nil {
			t.Fatal(err)
		}
		if !errors.Is(s.Err, c.is) || !slices.Equal(amiss.Ways(s.Err), c.ways) || s.Unread() != strings.Contains(c.text, "unread") {
			t.Errorf("%s is %v with %v", c.text, s.Err, amiss.Ways(s.Err))
		}
	}
}

// badShots are lines no shot can be read from.
var badShots = []struct{ name, text string }{
	{"no JSON", `{"file":`},
	{"another thing", `[1,2]`},
	{"negative size", `{"file":"a","width":-1}`},
	{"impossible place", `{"file":"a","place":{"latitude_deg":91}}`},
	{"short star", `{"file":"a","field":{"width":4,"height":4,"numbers":[0,0,0,0],"stars":[[1,2]]}}`},
	{"star nowhere", `{"file":"a","field":{"width":4,"height":4,"numbers":[0,0,0,0],"stars":[[null,2,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0]]}}`},
	{"word for a number", `{"file":"a","field":{"width":4,"height":4,"numbers":[0,0,0,0],"stars":[["x"]]}}`},
	{"sighting of no star", `{"file":"a","field":{"width":4,"height":4,"numbers":[0,0,0,0],"stars":[]},"solution":{"rotation":[0,0,0],"width":4,"height":4,"lens":[1,0,0,0,0,0,0],"numbers":[0,0,0],"sightings":[[0,0,0,0,0,0,0,1,5,0]]}}`},
	{"no focal length", `{"file":"a","solution":{"rotation":[0,0,0],"width":4,"height":4,"lens":[0,0,0,0,0,0,0],"numbers":[0,0,0]}}`},
	{"no attitude", `{"file":"a","solution":{"rotation":[0,null,0],"width":4,"height":4,"lens":[1,0,0,0,0,0,0],"numbers":[0,0,0]}}`},
}

func TestBadShotsAreRefused(t *testing.T) {
	for _, c := range badShots {
		kept := Shot{File: "kept"}
		if err := json.Unmarshal([]byte(c.text), &kept); err == nil || kept.File != "kept" {
			t.Errorf("%s: error %v, shot %+v", c.name, err, kept)
		}
	}
}

// Whatever a line holds: it is refused, or what is read can be written and read again.
func FuzzShotJSON(f *testing.F) {
	for _, c := range badShots {
		f.Add(c.text)
	}
	f.Add(`{"file":"a","error":{"text":"x","kinds":["broken"],"unread":true,"condition":3}}`)
	f.Add(`{"file":"a","field":{"width":4,"height":4,"numbers":[0,0,0,0],"stars":[[1,2,"+Inf",null,0,0,0,0,0,0,0,0,0,0,0,0,3]]},"solution":{"rotation":[0,0,1],"width":4,"height":4,"lens":[1,0,0,0,0,0,0],"numbers":[0,0,0],"sightings":[[0,0,0,0,0,0,0,1,5,0]]}}`)
	f.Fuzz(func(t *testing.T, text string) {
		var s Shot
		if json.Unmarshal([]byte(text), &s) != nil {
			return
		}
		if g := s.Solution; g != nil {
			for _, m := range g.Sightings {
				if m.Star < 0 || m.Star >= len(s.Field.Stars) || m.Catalog < 0 {
					t.Fatalf("star %d of %d, %d of the catalogue", m.Star, len(s.Field.Stars), m.Catalog)
				}
			}
			if w := g.Attitude.Log(); !finite(w.X, w.Y, w.Z) || !(g.Lens.FocalPx > 0) {
				t.Fatalf("attitude %v, focal length %v", w, g.Lens.FocalPx)
			}
		}
		again, err := json.Marshal(s)
		if err != nil {
			t.Skip("a time beyond the year 9999")
		}
		if err := json.Unmarshal(again, &s); err != nil {
			t.Fatalf("%s: %v", again, err)
		}
	})
}

func BenchmarkShotJSON(b *testing.B) {
	s := view{attitude: looking(80, 10), at: evening, stars: 600, noisePx: 0.15}.shot()
	s.solve(b.Context(), solve.Hint{FocalPx: viewFocalPx})
	text, err := json.Marshal(s)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(len(text)), "bytes/shot")
	b.Run("write", func(b *testing.B) {
		for b.Loop() {
			json.Marshal(s)
		}
	})
	b.Run("read", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			var got Shot
			json.Unmarshal(text, &got)
		}
	})
}
