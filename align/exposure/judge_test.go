package exposure

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
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
	"trueturn/ephem/say"
)

// shapeNoise is the standard deviation of a star's second moments in the synthesis, as a share of σ²: of a S/N of some 30.
const shapeNoise = 0.05

// drawing draws star shapes from exact moments, in place of rendering and measuring.
type drawing struct {
	fwhm   float64
	extra  func(x, y float64, i int) (xx, xy, yy float64) // moments on top of the path, pixels²; may be nil
	random *rand.Rand
}

func (d drawing) star(x, y, trailX, trailY float64, i int) star.Star {
	own := sigmaOf(d.fwhm)
	xx, xy, yy := own*own+trailX*trailX/12, trailX*trailY/12, own*own+trailY*trailY/12
	if d.extra != nil {
		a, b, c := d.extra(x, y, i)
		xx, xy, yy = xx+a, xy+b, yy+c
	}
	s := shapeNoise * own * own
	n := s * d.random.NormFloat64() / 2
	xx, yy, xy = xx+n, yy-n, xy+s*d.random.NormFloat64()/2
	half, diff := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	q := math.Sqrt((half + diff) / (half - diff))
	angle := math.Mod(math.Atan2(2*xy, xx-yy)/2+math.Pi, math.Pi)
	return star.Star{X: x, Y: y, XErr: 0.05, YErr: 0.05, Flux: 1, FluxErr: 0.02, FWHM: 2.3548 * math.Pow(half*half-diff*diff, 0.25), FWHMErr: 0.03,
		Elongation: q, ElongationErr: s / (own * own * (1 + 1/(q*q))), Angle: unit.Angle(angle), AngleErr: unit.Angle(math.Min(s/(4*diff), 0.9))}
}

func shotsOf(t testing.TB, e simulate.Evening, d drawing) []Shot {
	t.Helper()
	return Shots(sequenceOf(t, e, d))
}

// sequenceOf are a run's exposures with shapes drawn instead of rendered; places and attitudes are solved from the stars.
func sequenceOf(t testing.TB, e simulate.Evening, d drawing) (q drift.Sequence) {
	t.Helper()
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	for i := range e.Count {
		s := drift.Shot{File: e.File(i), Clock: &frame.Clock{Start: e.StartOf(i), Exposure: e.Exposure}, Width: e.Camera.Width, Height: e.Camera.Height}
		s.Field = star.Field{Width: s.Width, Height: s.Height}
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range lit[:min(60, len(lit))] {
			st := d.star(l.MeanX, l.MeanY, l.TrailX, l.TrailY, i)
			st.Flux *= l.Electrons
			st.FluxErr *= l.Electrons
			s.Field.Stars = append(s.Field.Stars, st)
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx})
		if err != nil {
			t.Fatalf("picture %d: %v", i, err)
		}
		s.Solution = &sol
		q.Shots = append(q.Shots, s)
	}
	return q
}

// evening is one with pictures of one megapixel, 18″ a pixel, aimed at a place of the sky.
func evening(t testing.TB, azimuth, altitude float64) simulate.Evening {
	t.Helper()
	site, _ := ephem.NewSite(46, 7, 500)
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = simulate.Small(135, 2.8, 12, 1200, 800)
	e.Camera.FWHM, e.Camera.CornerStretch = 2.5, 0
	e.Mount, e.Handling = simulate.Mount{Rate: simulate.RateSidereal}, simulate.Handling{}
	e.Count, e.Exposure, e.Every = 6, 60*time.Second, 70*time.Second
	if e, err = e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuth), Altitude: unit.AngleFromDeg(altitude)}); err != nil {
		t.Fatal(err)
	}
	return e
}

func knownAxis(t testing.TB, e simulate.Evening, sigma unit.Angle) *KnownAxis {
	t.Helper()
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	s := sigma.Rad()
	return &KnownAxis{Site: e.Site, Air: e.Air, Axis: align.Axis{Direction: run.Axis(0).Direction(), Covariance: [2][2]float64{{s * s, 0}, {0, s * s}}}}
}

func judge(t testing.TB, shots []Shot, q Question) Verdict {
	t.Helper()
	v, err := Judge(shots, q)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// malady is one trouble, as drawn shapes show it.
type malady struct {
	name      string
	set       func(t *testing.T, e *simulate.Evening, d *drawing)
	azimuth   float64
	altitude  float64
	axisKnown bool
	want      Cause
	behind    []Origin
	unsolved  bool
	round     int
}

func troubles() []malady {
	arcmin := unit.AngleFromMin
	seconds := func(e *simulate.Evening, s float64) {
		e.Exposure = time.Duration(s * float64(time.Second))
		e.Every = e.Exposure + 10*time.Second
	}
	turned := func(x0, y0, perPx float64) func(x, y float64, i int) (xx, xy, yy float64) {
		return func(x, y float64, _ int) (xx, xy, yy float64) {
			vx, vy := -perPx*(y-y0), perPx*(x-x0)
			return vx * vx / 12, vx * vy / 12, vy * vy / 12
		}
	}
	return []malady{
		{"nothing", func(*testing.T, *simulate.Evening, *drawing) {}, 180, 50, false, CauseNone, nil, false, 6},
		{"nothing, not recognised", func(*testing.T, *simulate.Evening, *drawing) {}, 180, 50, false, CauseNone, nil, true, 6},
		{"axis off in azimuth, star on the meridian: two widths", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.AzimuthError = arcmin(240)
			seconds(e, 140)
		}, 176, 40, false, CauseDec, []Origin{OriginAxis}, false, 0},
		{"the same, axis known", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.AzimuthError = arcmin(240)
			seconds(e, 140)
		}, 176, 40, true, CauseDec, []Origin{OriginAxis}, false, 0},
		{"trailing along declination, axis known to be right", func(_ *testing.T, _ *simulate.Evening, d *drawing) {
			d.extra = func(_, _ float64, _ int) (xx, xy, yy float64) { return 0, 0, 25. / 12 } // up is north there
		}, 180, 44, true, CauseDec, []Origin{OriginGives}, false, 0},
		{"lunar rate at the equator", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Rate = simulate.RateLunar
			seconds(e, 160)
		}, 180, 44, false, CauseRA, []Origin{OriginRate, OriginWobble}, false, 0},
		{"lunar rate, axis known", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Rate = simulate.RateLunar
			seconds(e, 160)
		}, 180, 60, true, CauseRA, []Origin{OriginRate, OriginWobble}, false, 0},
		{"gear", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(240), Period: 900 * time.Second}
			seconds(e, 100)
			e.Count = 10
		}, 180, 44, false, CauseRA, []Origin{OriginWobble, OriginRate}, false, -1},
		{"altitude off at declination 60°, axis known", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.AltitudeError = arcmin(120)
			seconds(e, 220)
		}, 1, 76, true, CauseRA, []Origin{OriginAxis}, false, 0},
		{"altitude off at declination 60°, axis not known", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.AltitudeError = arcmin(120)
			seconds(e, 220)
		}, 1, 76, false, CauseRA, []Origin{OriginRate, OriginWobble, OriginAxis}, false, 0},
		{"motor off", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Tripod = true
			seconds(e, 8)
		}, 180, 50, false, CauseRA, []Origin{OriginStill}, false, 0},
		{"motor off, the pole in the picture", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Tripod = true
			seconds(e, 180)
		}, 0, 44.5, false, CauseRA, []Origin{OriginStill}, false, 0},
		{"turning about the middle", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = turned(600, 400, 0.012) }, 180, 50, false, CauseRotation, nil, false, 0},
		{"turning about another point", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = turned(200, 300, 0.012) }, 180, 50, false, CauseRotation, nil, false, 0},
		{"turning, not recognised", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = turned(900, 500, 0.012) }, 180, 50, false, CauseRotation, nil, true, 0},
		{"lens", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = stretched(6) }, 180, 50, false, CauseLens, nil, false, 0},
		{"lens, not recognised", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = stretched(6) }, 180, 50, false, CauseLens, nil, true, 0},
		{"focus lost in the middle of the set", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = softened(3, 3) }, 180, 50, false, CauseFocus, nil, false, 6},
		{"never in focus", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.fwhm = 7 }, 180, 50, false, CauseFocus, nil, false, 6},
		{"wind", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = shaken(d.random, 6) }, 180, 50, false, CauseShake, nil, false, -1},
		{"wind, not recognised", func(_ *testing.T, _ *simulate.Evening, d *drawing) { d.extra = shaken(d.random, 6) }, 180, 50, false, CauseShake, nil, true, -1},
		{"one way, not recognised", func(_ *testing.T, e *simulate.Evening, _ *drawing) {
			e.Mount.Rate = simulate.RateLunar
			seconds(e, 160)
		}, 180, 44, false, CauseUnexplained, nil, true, 0},
	}
}

// stretched draws stars out from the middle by a length that grows to px in the corner with the square of the distance.
func stretched(px float64) func(x, y float64, i int) (xx, xy, yy float64) {
	return func(x, y float64, _ int) (xx, xy, yy float64) {
		dx, dy := x-599.5, y-399.5
		r := math.Hypot(dx, dy)
		if r == 0 {
			return 0, 0, 0
		}
		l := px * r * r / (721 * 721)
		return l * l * dx * dx / (12 * r * r), l * l * dx * dy / (12 * r * r), l * l * dy * dy / (12 * r * r)
	}
}

// softened widens stars by some px² of variance from a picture on.
func softened(from int, variance float64) func(x, y float64, i int) (xx, xy, yy float64) {
	return func(_, _ float64, i int) (xx, xy, yy float64) {
		if i < from {
			return 0, 0, 0
		}
		return variance, 0, variance
	}
}

// shaken trails every picture another way.
func shaken(r *rand.Rand, px float64) func(x, y float64, i int) (xx, xy, yy float64) {
	ways := make([][2]float64, 32)
	for i := range ways {
		sn, cs := math.Sincos(2 * math.Pi * r.Float64())
		l := px * (0.7 + 0.6*r.Float64())
		ways[i] = [2]float64{l * cs, l * sn}
	}
	return func(_, _ float64, i int) (xx, xy, yy float64) {
		w := ways[i%len(ways)]
		return w[0] * w[0] / 12, w[0] * w[1] / 12, w[1] * w[1] / 12
	}
}

// TestCauses: each trouble is named, and no other.
func TestCauses(t *testing.T) {
	for _, c := range troubles() {
		t.Run(c.name, func(t *testing.T) {
			v, e := c.judged(t, 1)
			c.check(t, v)
			for _, f := range v.Frames[:min(3, len(v.Frames))] {
				t.Logf("%s fwhm %.2f elongation %.3f±%.3f corner %.3f trail %.2f±%.2f angle %.0f %v %q", f.File, f.FWHM, f.Elongation, f.ElongationErr, f.Corner, f.TrailPx, f.TrailPxErr, f.Angle.Deg(), f.Round, f.Cause)
			}
			t.Log(v.Causes, v.Advice, v.Lengths, e.Exposure)
		})
	}
}

func (c malady) judged(t *testing.T, seed uint64) (Verdict, simulate.Evening) {
	t.Helper()
	e := evening(t, c.azimuth, c.altitude)
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(seed, 3))}
	c.set(t, &e, &d)
	shots := shotsOf(t, e, d)
	if c.unsolved {
		for i := range shots {
			shots[i].Attitude, shots[i].FocalPx = nil, 0
		}
	}
	var q Question
	if c.axisKnown {
		q.Axis = knownAxis(t, e, unit.AngleFromMin(3))
	}
	return judge(t, shots, q), e
}

func (c malady) check(t *testing.T, v Verdict) {
	t.Helper()
	if c.want == CauseNone {
		if len(v.Causes) != 0 {
			t.Errorf("false causes %+v", v.Causes)
		}
	} else if len(v.Causes) == 0 || v.Causes[0].Cause != c.want || v.Causes[0].Share < 0.75 {
		t.Errorf("causes %+v, want %q", v.Causes, c.want)
	} else if c.behind != nil && !slices.Equal(v.Causes[0].Behind, c.behind) {
		t.Errorf("behind %v, want %v", v.Causes[0].Behind, c.behind)
	}
	if c.round >= 0 && v.Round != c.round {
		t.Errorf("%d round, want %d", v.Round, c.round)
	}
}

// trailWithin is the error allowed of a trail of two widths (the issue's own figure).
const trailWithin = 0.15

// TestTrailLength: trails of about two star widths are measured.
func TestTrailLength(t *testing.T) {
	c := troubles()[2] // the axis off in azimuth
	e := evening(t, c.azimuth, c.altitude)
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 3))}
	c.set(t, &e, &d)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	lit, err := run.Stars(0)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Hypot(lit[0].TrailX, lit[0].TrailY)
	if want < 1.5*d.fwhm || want > 2.5*d.fwhm {
		t.Fatalf("the trail put in is %.2f px", want)
	}
	v := judge(t, shotsOf(t, e, d), Question{})
	// 1.25 is a trail of 1.10 widths: the exposure may be that share of its length.
	stands := 1.10 * d.fwhm / want
	for _, l := range v.Lengths {
		if round := map[bool]int{true: v.Of}[l.Factor < stands]; l.Round != round {
			t.Errorf("%g of the length: %d round, want %d", l.Factor, l.Round, round)
		}
	}
	for _, f := range v.Frames {
		near(t, "trail", f.TrailPx, want, trailWithin)
		if math.Abs(f.TrailPx-want) > 4*f.TrailPxErr+0.03*want { // other stars' trails differ by some percent
			t.Errorf("trail %.3f ± %.3f, put in %.3f", f.TrailPx, f.TrailPxErr, want)
		}
	}
}

// TestNoFalseCause: sound sets stay without a cause whatever the noise.
func TestNoFalseCause(t *testing.T) {
	e := evening(t, 180, 50)
	e.Count = 4
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(9, 9))}
	shots := shotsOf(t, e, d)
	for n := range 100 {
		for i := range shots {
			shots[i].Stars = slices.Clone(shots[i].Stars)
			for k, s := range shots[i].Stars {
				shots[i].Stars[k] = d.star(s.X, s.Y, 0.5, 0.5, i)
			}
		}
		if v := judge(t, shots, Question{}); len(v.Causes) != 0 || v.Round != 4 {
			t.Errorf("set %d: %d round, %+v", n, v.Round, v.Causes)
		}
	}
}

// TestNothingToJudge: no pictures, no stars, nonsense.
func TestNothingToJudge(t *testing.T) {
	if v := judge(t, nil, Question{}); v.Of != 0 || v.Advice.None() || len(v.Causes) != 0 {
		t.Errorf("no pictures: %+v", v)
	}
	v := judge(t, []Shot{{File: "a", WhyNone: "broken"}, {File: "b", Width: 10, Height: 10, Stars: []star.Star{{FWHM: math.NaN()}}}}, Question{})
	if v.Round != 0 || v.Frames[0].Cause != CauseUnexplained || v.Causes[0].Cause != CauseUnexplained {
		t.Errorf("no stars: %+v", v)
	}
	if _, err := Judge(nil, Question{MaxElongation: math.NaN()}); !errors.Is(err, ErrAsked) {
		t.Errorf("tolerance NaN: %v", err)
	}
}

// TestJSON: keys as the contract has them, null for what is not known, and no null for lists.
func TestJSON(t *testing.T) {
	v := judge(t, []Shot{{File: "a.jpg"}}, Question{})
	text, err := json.Marshal(v.JSON(say.Voice{}))
	if err != nil {
		t.Fatal(err)
	}
	want := `{"round":0,"of":1,"causes":[{"cause":"unknown","share":1,"behind":[],"text":"no stars measured []"}],` +
		`"advice":"one after another [[so many are round [0] [1] no stars measured []]]","frames":[{"file":"a.jpg","stars":0,"fwhm_px":null,"elongation":null,` +
		`"elongation_sigma":null,"angle_deg":null,"angle_sigma_deg":null,"trail_px":null,"trail_sigma_px":null,"round":false,"cause":"unknown"}]`
	if got := string(text); !strings.HasPrefix(got, want) {
		t.Errorf("got  %s\nwant %s…", got, want)
	}
	empty, err := json.Marshal(judge(t, nil, Question{}).JSON(say.Voice{}))
	if err != nil || !strings.HasPrefix(string(empty), `{"round":0,"of":0,"causes":[],`) || !strings.Contains(string(empty), `"frames":[],`) {
		t.Errorf("%s %v", empty, err)
	}
}

// TestCloud: pictures that lost their stars are clouded.
func TestCloud(t *testing.T) {
	e := evening(t, 180, 50)
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(5, 5))}
	q := sequenceOf(t, e, d)
	for i, stars := range map[int]int{2: 10, 4: 0} {
		q.Shots[i].Field.Stars, q.Shots[i].Solution = q.Shots[i].Field.Stars[:stars], nil
	}
	v := judge(t, Shots(q), Question{})
	if len(v.Causes) != 1 || v.Causes[0].Cause != CauseCloud || !slices.Equal(v.LeaveOut, []string{e.File(2), e.File(4)}) {
		t.Errorf("%+v, leave out %v", v.Causes, v.LeaveOut)
	}
}

// TestRenderedCauses goes by way of pictures, stars found and fields recognised.
func TestRenderedCauses(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(e *simulate.Evening)
		want Cause
	}{
		{"nothing", func(*simulate.Evening) {}, CauseNone},
		{"axis off", func(e *simulate.Evening) {
			e.Mount.AzimuthError, e.Exposure = unit.AngleFromMin(240), 140*time.Second
		}, CauseDec},
		{"lunar rate", func(e *simulate.Evening) { e.Mount.Rate, e.Exposure = simulate.RateLunar, 160*time.Second }, CauseRA},
		{"wind", func(e *simulate.Evening) { e.Mount.Shake, e.Count = 1.8, 4 }, CauseShake},
		{"focus", func(e *simulate.Evening) { e.Handling.FocusLoss, e.Count = 1, 3 }, CauseFocus},
		{"lens", func(e *simulate.Evening) { e.Camera.CornerStretch = 8 }, CauseLens},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := evening(t, 176, 44)
			e.Camera = simulate.Small(135, 2.8, 15, 960, 640)
			e.Camera.FWHM, e.Camera.CornerStretch = 2.5, 0
			e.Camera.FullScale *= 20 // minutes of a village's sky
			e.Count = 2
			c.set(&e)
			e.Every = e.Exposure + 10*time.Second
			v := judge(t, Shots(renderedSequence(t, e)), Question{})
			for _, f := range v.Frames {
				t.Logf("%s %d stars fwhm %.2f elongation %.3f±%.3f corner %.3f trail %.2f±%.2f %v %q", f.File, f.Stars, f.FWHM, f.Elongation, f.ElongationErr, f.Corner, f.TrailPx, f.TrailPxErr, f.Round, f.Cause)
			}
			t.Log(v.Causes, v.Advice)
			malady{want: c.want, round: -1}.check(t, v)
		})
	}
}

func renderedSequence(t testing.TB, e simulate.Evening) (q drift.Sequence) {
	t.Helper()
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	for i := range e.Count {
		plane, meta, err := run.Frame(context.Background(), i)
		if err != nil {
			t.Fatal(err)
		}
		s := drift.Shot{File: e.File(i), Clock: &meta.Clock, Width: plane.Width, Height: plane.Height}
		if s.Field, err = star.Find(context.Background(), plane, star.Options{MaxStars: 150}); err != nil {
			t.Fatal(err)
		}
		if sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx}); err != nil {
			s.Err = err
		} else {
			s.Solution = &sol
		}
		q.Shots = append(q.Shots, s)
	}
	return q
}

func ExampleJudge() {
	round := star.Star{FWHM: 2.5, FWHMErr: 0.02, Elongation: 1.03, ElongationErr: 0.02, AngleErr: 0.9, Flux: 1, FluxErr: 0.01}
	var s Shot
	s.File, s.Width, s.Height = "a.jpg", 1200, 800
	for i := range 20 {
		round.X, round.Y = float64(57*i), float64(37*i%800)
		s.Stars = append(s.Stars, round)
	}
	v, err := Judge([]Shot{s}, Question{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(v.Round, "of", v.Of, "–", v.Advice.Key)
	// Output: 1 of 1 – the one is round
}

// TestGearWithAxis: a gear along right ascension and an axis along declination trail each picture another way, and still are no wind.
func TestGearWithAxis(t *testing.T) {
	for seed := range uint64(10) {
		e := evening(t, 176, 44)
		e.Mount.AzimuthError, e.Mount.Wobble = unit.AngleFromMin(150), simulate.Wobble{PeakToPeak: unit.AngleFromSec(300), Period: 900 * time.Second, Phase: unit.Angle(seed)}
		e.Exposure, e.Every, e.Count = 120*time.Second, 130*time.Second, 7
		v := judge(t, shotsOf(t, e, drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(seed, 3))}), Question{})
		for _, c := range v.Causes {
			if c.Cause != CauseRA && c.Cause != CauseDec {
				t.Errorf("seed %d: %+v", seed, v.Causes)
			}
		}
		if len(v.Causes) != 2 {
			t.Errorf("seed %d: %+v", seed, v.Causes)
		}
	}
}

// TestAxisPictures: what the pictures that the axis was measured by say of rate and holder stands beside what the stars are drawn out by.
func TestAxisPictures(t *testing.T) {
	list := troubles()
	find := func(name string) malady {
		return list[slices.IndexFunc(list, func(c malady) bool { return c.name == name })]
	}
	gear, lunar, pushed := find("gear"), find("lunar rate, axis known"), find("trailing along declination, axis known to be right")
	slips := []align.Situation{{Kind: align.KindSlipping}}
	for _, c := range []struct {
		name string
		of   malady
		say  func(k *KnownAxis)
		want []Origin
	}{
		{"a gear, the rate known to be sound", gear, func(k *KnownAxis) { k.Rate = &align.Rate{SiderealRatio: 1.0001, Sigma: 0.0005} }, []Origin{OriginWobble}},
		{"a gear, the rate hardly known", gear, func(k *KnownAxis) { k.Rate = &align.Rate{SiderealRatio: 1, Sigma: 0.1} }, []Origin{OriginWobble, OriginRate}},
		{"lunar rate, measured", lunar, func(k *KnownAxis) { k.Rate = &align.Rate{SiderealRatio: 0.9635, Sigma: 0.001} }, []Origin{OriginRate}},
		{"jumps, a clutch known to slip", gear, func(k *KnownAxis) { k.Faults = slips }, []Origin{OriginGives}},
		{"pushed, the holder known to be stiff", pushed, func(k *KnownAxis) { k.Axis.Gave.Rigid = 0.9 }, []Origin{}},
		{"pushed, the holder known to give", pushed, func(k *KnownAxis) { k.Axis.Gave.Rigid = 0.001 }, []Origin{OriginGives}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := evening(t, c.of.azimuth, c.of.altitude)
			d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 3))}
			c.of.set(t, &e, &d)
			k := knownAxis(t, e, unit.AngleFromMin(3))
			c.say(k)
			v := judge(t, shotsOf(t, e, d), Question{Axis: k})
			if len(v.Causes) == 0 || !slices.Equal(v.Causes[0].Behind, c.want) || v.Causes[0].Behind == nil {
				t.Errorf("%+v, want %v behind", v.Causes, c.want)
			}
			t.Log(v.Causes[0].Says, v.Advice)
		})
	}
}

// TestSouth: the same at a southern site, where signs turn over.
func TestSouth(t *testing.T) {
	site, _ := ephem.NewSite(-33, 20, 500)
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	north := evening(t, 180, 50)
	e.Camera, e.Mount, e.Handling, e.Count = north.Camera, north.Mount, north.Handling, 4
	e.Exposure, e.Every = 220*time.Second, 230*time.Second
	e.Mount.AltitudeError = unit.AngleFromMin(120)
	if e, err = e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(181), Altitude: unit.AngleFromDeg(63)}); err != nil { // δ = −60°, on the meridian
		t.Fatal(err)
	}
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 3))}
	v := judge(t, shotsOf(t, e, d), Question{Axis: knownAxis(t, e, unit.AngleFromMin(3))})
	malady{want: CauseRA, behind: []Origin{OriginAxis}}.check(t, v)
	e.Mount.AltitudeError, e.Mount.Rate = 0, simulate.RateWrongHemisphere
	e.Exposure, e.Every = 4*time.Second, 10*time.Second
	malady{want: CauseRA, behind: []Origin{OriginWrong}}.check(t, judge(t, shotsOf(t, e, d), Question{}))
}

// TestAxisSign: the part the known axis plays has its sign. Here, at declination 60°, it drifts stars by 27″ a minute along right
// ascension, as a motor does that is 6 % off: one way the two cancel, the other way they add.
func TestAxisSign(t *testing.T) {
	for _, c := range []struct {
		name string
		rate float64
		want Cause
		both []Origin
	}{
		{"fast motor", 1.0608, CauseNone, nil},
		{"slow motor", 0.9392, CauseRA, []Origin{OriginAxis, OriginRate, OriginWobble}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := evening(t, 1, 76)
			e.Mount.AltitudeError, e.Mount.Rate = unit.AngleFromMin(120), c.rate
			e.Exposure, e.Every = 220*time.Second, 230*time.Second
			v := judge(t, shotsOf(t, e, drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 3))}), Question{Axis: knownAxis(t, e, unit.AngleFromMin(3))})
			malady{want: c.want, behind: c.both, round: -1}.check(t, v)
		})
	}
}

// TestMirrored: a mirrored picture has the same causes and turns its angles back.
func TestMirrored(t *testing.T) {
	e := evening(t, 176, 40)
	e.Mount.AzimuthError, e.Exposure, e.Every, e.Roll = unit.AngleFromMin(240), 140*time.Second, 150*time.Second, e.Roll+unit.AngleFromDeg(30)
	e.Count = 3
	shots := shotsOf(t, e, drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 3))})
	straight := judge(t, shots, Question{})
	for i := range shots {
		shots[i].Mirrored, shots[i].Stars = true, slices.Clone(shots[i].Stars)
		for k := range shots[i].Stars {
			s := &shots[i].Stars[k]
			s.X, s.Angle = float64(shots[i].Width-1)-s.X, unit.Angle(math.Pi)-s.Angle
		}
	}
	v := judge(t, shots, Question{})
	malady{want: CauseDec, round: 0}.check(t, v)
	a, b := straight.Frames[0].Angle.Deg(), v.Frames[0].Angle.Deg()
	if math.Abs(a+b-180) > 0.01 {
		t.Errorf("angle %.2f°, mirrored %.2f°", a, b)
	}
}

// TestWidthOf: a trail does not widen the width of a round star.
func TestWidthOf(t *testing.T) {
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(1, 2))}
	var list []star.Star
	for i := range 200 {
		list = append(list, d.star(float64(i), 0, 4, 3, 0))
	}
	near(t, "width", FormOf(list).RoundPx, 2.7, 0.01)
	if FormOf(nil).RoundPx != 0 {
		t.Error("no stars have a width")
	}
}

func BenchmarkJudge(b *testing.B) {
	d := drawing{fwhm: 2.7, extra: stretched(6), random: rand.New(rand.NewPCG(1, 2))}
	var shots []Shot
	for i := range 10 {
		s := Shot{File: fmt.Sprint(i), Width: 1200, Height: 800}
		for range 600 {
			s.Stars = append(s.Stars, d.star(1200*d.random.Float64(), 800*d.random.Float64(), 4, 3, i))
		}
		shots = append(shots, s)
	}
	for b.Loop() {
		judge(b, shots, Question{})
	}
}
