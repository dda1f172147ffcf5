package drift

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// erfaNarrow is a run of pictures 0.9° across whose stars' places ERFA worked out, the first ones with the motor off
// (drift/track/testdata/narrow.py), as they would be measured.
type erfaNarrow struct {
	site     ephem.Site
	air      ephem.Air
	axis     r3.Vec
	given    Narrow
	rollDeg  float64
	scale    float64
	pictures int
	still    int // of them with the motor off
	known    map[string]Shot
}

func narrowScene(t *testing.T, sigmaPx float64) erfaNarrow {
	t.Helper()
	file, err := os.Open("track/testdata/narrow_north.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	s := erfaNarrow{known: map[string]Shot{}}
	dice := rand.New(rand.NewPCG(5, 5))
	start := time.Date(2026, 11, 25, 20, 30, 0, 0, time.UTC)
	var width, height int
	var exposure time.Duration
	for lines := bufio.NewScanner(file); lines.Scan(); {
		fields := strings.Split(lines.Text(), ",")
		v := make([]float64, len(fields))
		for i, f := range fields {
			v[i], _ = strconv.ParseFloat(f, 64)
		}
		switch {
		case fields[0] == "# truth":
			s.axis = ephem.Horizontal{Altitude: unit.AngleFromDeg(v[1]), Azimuth: unit.AngleFromDeg(v[2])}.Direction()
		case fields[0] == "# given":
			if s.site, err = ephem.NewSite(v[1], v[2], v[3]); err != nil {
				t.Fatal(err)
			}
			s.air = ephem.Air{PressureHPa: v[11], TemperatureC: v[12]}
			s.given = Narrow{RA: unit.RAFromDeg(v[4]), Dec: unit.AngleFromDeg(v[5])}
			s.rollDeg, s.scale, s.still = v[6], v[9], 1
			width, height, exposure = int(v[7]), int(v[8]), time.Duration(v[10]*float64(time.Second))
		case len(fields) == 10 && fields[0] != "picture":
			name := fmt.Sprintf("narrow-%02d", int(v[0]))
			shot, seen := s.known[name]
			if !seen {
				s.pictures++
				shot = Shot{File: name, Width: width, Height: height, Field: star.Field{Width: width, Height: height, FWHM: 2.5, Elongation: 1},
					Clock: &frame.Clock{Start: start.Add(time.Duration(v[1] * float64(time.Second))), Exposure: exposure, Step: time.Millisecond}}
			}
			dx, dy := v[8]-v[4], v[9]-v[5]
			one := star.Star{X: v[6] + sigmaPx*dice.NormFloat64(), Y: v[7] + sigmaPx*dice.NormFloat64(), XErr: sigmaPx, YErr: sigmaPx,
				Flux: math.Pow(10, -0.4*v[3]), FWHM: 2.5, Elongation: 1, TrailPx: math.Hypot(dx, dy), TrailPxErr: 0.3,
				Angle: unit.Angle(math.Mod(math.Atan2(dy, dx)+2*math.Pi, math.Pi)), AngleErr: 0.01}
			if one.TrailPx > 5 {
				one.Flags, one.Elongation = star.Trailed, 8
			}
			if one.X > 0 && one.Y > 0 && one.X < float64(width-1) && one.Y < float64(height-1) {
				shot.Field.Stars = append(shot.Field.Stars, one)
			}
			s.known[name] = shot
		}
	}
	return s
}

func (s erfaNarrow) measure(t *testing.T, o Options) Sequence {
	t.Helper()
	var sources []Source
	for i := range s.pictures {
		sources = append(sources, Source{Name: fmt.Sprintf("narrow-%02d", i)})
	}
	o.Known = s.known
	q, err := Measure(context.Background(), sources, o)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// Pictures no catalogue recognises get attitudes by their own stars: which way is up is shown by those taken with the motor off,
// which take no further part, and all others turn about ERFA's axis.
func TestNarrowFieldsAreFollowed(t *testing.T) {
	const (
		sigmaPx = 0.02
		// Places to 0.03″, the scale and where the field lies as told; both turn what is small.
		middleArcsec = 2
	)
	s := narrowScene(t, sigmaPx)
	q := s.measure(t, Options{Narrow: &s.given, Lens: LensFlags{ScaleArcsecPerPx: s.scale}})
	if q.Followed == nil || q.FollowErr != nil {
		t.Fatalf("not followed: %v", q.FollowErr)
	}
	if off := math.Abs(q.Followed.Roll.Deg() - s.rollDeg); off > 4*q.Followed.RollSigma.Deg() || !q.Followed.RollShown {
		t.Errorf("roll %.2f° ± %.2f°, ERFA's is %g°; shown: %v", q.Followed.Roll.Deg(), q.Followed.RollSigma.Deg(), s.rollDeg, q.Followed.RollShown)
	}
	still := 0
	for _, shot := range q.Shots {
		switch {
		case shot.MotorOff != (shot.LeftOut != ""):
			t.Errorf("%s: motor off %v, left out %q", shot.File, shot.MotorOff, shot.LeftOut)
		case shot.MotorOff:
			still++
		case shot.Solution == nil || shot.Err != nil:
			t.Errorf("%s: no attitude: %v", shot.File, shot.Err)
		}
	}
	if still == 0 || still > 3 {
		t.Errorf("%d pictures are taken for standing ones", still)
	}
	h, err := q.Horizon(s.site, s.air)
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Common) != len(h.Sights) || len(h.Common[0]) != 4 {
		t.Errorf("%d sights have common errors of %d kinds, want all and four", len(h.Common), len(h.Common[0]))
	}
	first := h.Sights[0].Attitude.Pose
	for _, x := range h.Sights[1:] {
		if off := math.Acos(r3.Dot(x.Attitude.Pose.Centre(), s.axis)) - math.Acos(r3.Dot(first.Centre(), s.axis)); math.Abs(off)*206265 > middleArcsec {
			t.Errorf("the middle's distance from the axis changes by %.2f″", off*206265)
		}
	}
}

// What keeps pictures from being followed is said with each of them.
func TestNotFollowed(t *testing.T) {
	s := narrowScene(t, 0.05)
	for _, c := range []struct {
		name  string
		spoil func(o *Options, s *erfaNarrow)
		want  error
	}{
		{"no scale", func(o *Options, s *erfaNarrow) { o.Lens = LensFlags{} }, track.ErrNoScale},
		{"no roll", func(o *Options, s *erfaNarrow) { s.pictures = 0; s.keepTracked() }, track.ErrNoRoll},
	} {
		spoilt := s
		o := Options{Narrow: &s.given, Lens: LensFlags{ScaleArcsecPerPx: s.scale}}
		c.spoil(&o, &spoilt)
		q := spoilt.measure(t, o)
		if !errors.Is(q.FollowErr, c.want) || q.Followed != nil {
			t.Errorf("%s: %v, want %v", c.name, q.FollowErr, c.want)
		}
		for _, shot := range q.Shots {
			if !errors.Is(shot.Err, c.want) {
				t.Errorf("%s: %s says %v", c.name, shot.File, shot.Err)
			}
		}
	}
}

// keepTracked leaves the pictures without trails.
func (s *erfaNarrow) keepTracked() {
	tracked := map[string]Shot{}
	for i := range len(s.known) {
		shot := s.known[fmt.Sprintf("narrow-%02d", i)]
		if shot.Field.Stars[0].TrailPx < 2 {
			shot.File = fmt.Sprintf("narrow-%02d", s.pictures)
			tracked[shot.File] = shot
			s.pictures++
		}
	}
	s.known = tracked
}

// One picture recognised is enough for the others to be solved from: nothing is followed then.
func TestRecognisedFieldsAreNotFollowed(t *testing.T) {
	first := solved(t, view{attitude: looking(80, 10), at: evening, stars: 60, noisePx: 0.15}.shot())
	q := Sequence{Shots: []Shot{first}}
	if err := q.follow(context.Background(), Options{Narrow: &Narrow{}}); err != nil || q.Followed != nil || q.FollowErr != nil {
		t.Errorf("followed: %v, %v, %v", q.Followed, q.FollowErr, err)
	}
}

// A lens known to see less than 3.5° is not searched for over the whole sky; one that may see more is.
func TestNarrowLenses(t *testing.T) {
	for _, c := range []struct {
		diagonalDeg, share float64
		want               bool
	}{{3, 0.05, true}, {3.4, 0.05, false}, {3.4, 0.01, true}, {20, 0.05, false}} {
		s := Shot{Width: 4000, Height: 3000}
		h := solve.Hint{FocalPx: 2500 / math.Tan(c.diagonalDeg/2*math.Pi/180), FocalShare: c.share}
		if got := s.narrow(h); got != c.want {
			t.Errorf("%g° to %g: narrow is %v", c.diagonalDeg, c.share, got)
		}
	}
	if (Shot{Width: 4000, Height: 3000}).narrow(solve.Hint{}) {
		t.Error("an unknown lens is taken for a narrow one")
	}
}

// Every condition in which a picture shows no stars has a cause and a way out of its own.
func TestConditionsAreTold(t *testing.T) {
	causes := map[string]star.Condition{}
	for _, c := range []star.Condition{star.Dark, star.TooBright, star.Featureless, star.NoStars} {
		e := starless(c)
		if other, told := causes[e.Error()]; told || e.Error() == "" || amiss.Ways(e) == nil {
			t.Errorf("condition %v says %q as %v does, hint %q", c, e.Error(), other, amiss.Ways(e))
		}
		causes[e.Error()] = c
	}
	if slices.Equal(amiss.Ways(starless(star.Dark)), amiss.Ways(starless(star.TooBright))) {
		t.Error("a black picture and a white one are helped alike")
	}
	if e := Fault("x"); e.Error() == "" || amiss.Ways(e) == nil {
		t.Error("a fault has no words")
	}
}

// Pictures share the machine: not more at once than memory allows, and no core idle.
func TestCoresAreShared(t *testing.T) {
	sources := []Source{{Name: "a"}, {Name: "b"}, {Name: "c"}}
	o := Options{Workers: 2, Known: map[string]Shot{"b": {}}}
	if got := o.coresEach(sources[:2]); got < 1 {
		t.Errorf("%d cores for one fresh picture", got)
	}
	if one, two := o.coresEach(sources[:1]), o.coresEach([]Source{{Name: "a"}, {Name: "c"}}); one < two {
		t.Errorf("one picture gets %d cores, each of two %d", one, two)
	}
	if got := (Options{Cores: 3}).coresEach(sources); got != 3 {
		t.Errorf("%d cores, want the 3 asked for", got)
	}
	if got := (Options{}).workers(); got < 1 || got > mostAtOnce {
		t.Errorf("%d at once", got)
	}
}
