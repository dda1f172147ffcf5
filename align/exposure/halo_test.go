package exposure

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"trueturn/align/simulate"
	"trueturn/drift/frame"
	"trueturn/drift/star"
	"trueturn/ephem"
)

const (
	// zeroSigmas: a trail that is not there must be stated consistent with nothing.
	zeroSigmas = 2
	// likeForecast: elongation in the pictures against the closed form by which expose reckons it.
	likeForecast = 0.03
	// wingSigmas: with other wings than a usual lens's the width of a round star under a trail is not known so well, and
	// the stated error has to say it.
	wingSigmas = 2
)

// usualWings is the exponent of the wings that the corrections were made for; common practice, no source: stars through air and
// lenses have 2.5 to 4.7.
const usualWings = 4

// jpegShot is a picture of three megapixels at 115 mm equivalent, of stars trailed by a rate that is wrong, rendered, written as a JPEG,
// read again and its stars found. Also returned is the rms path put in, pixels.
func jpegShot(t *testing.T, wings, widths float64, seed uint64) (Shot, float64) {
	t.Helper()
	site, _ := ephem.NewSite(46, 7, 500)
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = simulate.Phone(115, 3)
	e.Camera.Moffat, e.Camera.CornerStretch = wings, 0
	e.Handling, e.Seed = simulate.Handling{}, seed
	e.Exposure, e.Every, e.Count = 30*time.Second, 40*time.Second, 1
	e.Roll += 0.4 // along no row
	e.Mount = simulate.Mount{Rate: 1 - widths*e.Camera.FWHM/(e.Camera.FocalPx*omega*30*math.Cos(e.Target.Dec.Rad()))}
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	lit, err := run.Stars(0)
	if err != nil {
		t.Fatal(err)
	}
	square := 0.0
	for _, s := range lit {
		square += (s.TrailX*s.TrailX + s.TrailY*s.TrailY) / float64(len(lit))
	}
	return throughJPEG(t, run), math.Sqrt(square)
}

func throughJPEG(t *testing.T, run *simulate.Run) Shot {
	t.Helper()
	p, meta, err := run.Frame(context.Background(), 0)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := frame.Encode(&b, p, meta, frame.JPEG); err != nil {
		t.Fatal(err)
	}
	f, err := frame.Decode(bytes.NewReader(b.Bytes()), frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	field, err := star.Find(context.Background(), f.Plane, star.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return Shot{Width: f.Plane.Width, Height: f.Plane.Height, Stars: field.Stars}
}

// TestRenderedTrails: trails of half a width to two, of stars with and without wings, out of JPEG pictures.
func TestRenderedTrails(t *testing.T) {
	for _, wings := range []float64{0, 2.5, usualWings} {
		for _, widths := range []float64{0.5, 1, 1.5, 2} {
			t.Run(fmt.Sprintf("wings %g, %g widths", wings, widths), func(t *testing.T) {
				shot, put := jpegShot(t, wings, widths, 1)
				j := judge(t, []Shot{shot}, Question{}).Frames[0]
				t.Logf("trail %.3f ± %.3f, put in %.3f; elongation %.3f ± %.3f; width %.2f", j.TrailPx, j.TrailPxErr, put, j.Elongation, j.ElongationErr, FormOf(shot.Stars).RoundPx)
				near(t, "trail", j.TrailPx, put, trailWithin)
				within(t, "trail", j.TrailPx, put, zeroSigmas*j.TrailPxErr)
				width := roundWidth(simulate.Phone(115, 3).FWHM)
				want := math.Sqrt(1 + put*put/(12*sigmaOf(width)*sigmaOf(width)))
				within(t, "elongation", j.Elongation, want, wingSigmas*j.ElongationErr)
				if wings == usualWings {
					near(t, "elongation as expose has it", j.Elongation, want, likeForecast)
					near(t, "width", FormOf(shot.Stars).RoundPx, width, wingSigmas*widthLeft/2) // half: of the variance
				}
				// 1.25 is 1.10 widths (closed form).
				if round := widths < 1.05; j.Round != round {
					t.Errorf("%g widths: round %v", widths, j.Round)
				}
			})
		}
	}
}

// TestRenderedRound: pictures without a trail are round, their elongation is 1, and the trail stated is none within its error.
func TestRenderedRound(t *testing.T) {
	for _, wings := range []float64{0, 2.5, usualWings} {
		var shots []Shot
		for seed := range uint64(2) {
			shot, _ := jpegShot(t, wings, 0, seed+1)
			shots = append(shots, shot)
		}
		v := judge(t, shots, Question{})
		if v.Round != v.Of || len(v.Causes) != 0 {
			t.Errorf("wings %g: %d of %d round, %+v", wings, v.Round, v.Of, v.Causes)
		}
		for i, j := range v.Frames {
			what := fmt.Sprintf("wings %g: ", wings)
			t.Logf("%s trail %.3f ± %.3f, elongation %.4f ± %.4f", what, j.TrailPx, j.TrailPxErr, j.Elongation, j.ElongationErr)
			within(t, what+"trail", j.TrailPx, 0, zeroSigmas*j.TrailPxErr)
			within(t, what+"elongation", j.Elongation, 1, math.Min(0.02, zeroSigmas*j.ElongationErr))
			if e := FormOf(shots[i].Stars).Elongation; math.Abs(e-j.Elongation) > 0.01 {
				t.Errorf("%salone the picture's elongation is %.4f, in the set %.4f", what, e, j.Elongation)
			}
		}
	}
}

// TestHaloOfProfiles: the wings are read off the brightest pixel; of the fitted profile R = (1−κ)k(κ), closed form.
func TestHaloOfProfiles(t *testing.T) {
	for _, kappa := range []float64{0, 0.25, 0.4} {
		want := 1.0
		if kappa > 0 {
			want = (1 - kappa) * (math.Pow(2, kappa) - 1) / kappa / math.Ln2
		}
		var stars []star.Star
		for range 9 {
			s := star.Star{FWHM: 3, Elongation: 1, Flux: 1000, FluxErr: 1, X: 10, Y: 10}
			// Light of a round spot of that width: peak × (area of a Gaussian)/R.
			s.Peak = s.Flux * want / (2 * math.Pi * sigmaOf(3) * sigmaOf(3))
			stars = append(stars, s)
		}
		within(t, "peak share", peakShare(stars[0]), want, 1e-9)
		loss := (9*(1-want) + usualCount*usualLoss) / (9 + usualCount)
		within(t, "kept", haloOf(stars).kept, 1-keptSlope*loss, 1e-9)
	}
	if h := haloOf(nil); h != (halo{kept: 1}) {
		t.Errorf("no stars: %+v", h)
	}
}

// TestFormOf: noise of single stars does not lengthen the picture's; nonsense gives nothing.
func TestFormOf(t *testing.T) {
	if x := FormOf(nil); x != (Form{}) {
		t.Errorf("no stars: %+v", x)
	}
	if e := FormOf([]star.Star{{FWHM: math.NaN(), X: math.Inf(1)}}).Elongation; e != 0 {
		t.Errorf("nonsense: %g", e)
	}
	shot, put := jpegShot(t, usualWings, 1, 3)
	form := FormOf(shot.Stars)
	w, e := form.FWHM, form.Elongation
	j := judge(t, []Shot{shot}, Question{}).Frames[0]
	if w != j.FWHM || math.Abs(e-j.Elongation) > 0.01 {
		t.Errorf("alone %.3f %.3f, judged %.3f %.3f, put in %.3f", w, e, j.FWHM, j.Elongation, put)
	}
}
