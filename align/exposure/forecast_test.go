package exposure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/drift/frame"
	"trueturn/drift/star"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

const fwhm = 2.4

// tele is a lens of 135 mm before pixels of 3.9 µm.
func tele(t testing.TB) Lens {
	t.Helper()
	l, err := Optics{FocalLengthMM: 135, PixelPitchUM: 3.9, Width: 6000, Height: 4000}.Lens()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func toward(t testing.TB, l Lens, decDeg, hourAngleH float64) View {
	t.Helper()
	v, err := Toward(l, unit.AngleFromDeg(decDeg), unit.HourAngleFromHour(hourAngleH), 0)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func forecast(t testing.TB, p Plan) Forecast {
	t.Helper()
	f, err := Longest(p)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got-want) > share*math.Abs(want) {
		t.Errorf("%s: got %.5g, want %.5g to %g %%", what, got, want, 100*share)
	}
}

// closedForm: the forecast against a line convolved with a Gaussian, design §7.
const closedForm = 0.02

// TestTripodClosedForm: on a tripod a star at declination δ trails by ωT cos δ; in the middle of the picture the elongation is that
// of a line convolved with a Gaussian, √(1+L²/12σ²) (own derivation: the variance of a line of length L is L²/12).
func TestTripodClosedForm(t *testing.T) {
	l := tele(t)
	l.Width, l.Height = 0, 0
	for _, dec := range []float64{0, 35, -60, 80} {
		p := Plan{View: toward(t, l, dec, 2), Mount: Mount{Tripod: true}, FWHM: fwhm}
		f := forecast(t, p)
		speed := omega * math.Cos(dec*math.Pi/180) * l.FocalPx
		sigma := fwhm / 2.3548
		want := sigma * math.Sqrt(12*(1.25*1.25-1)) / speed
		near(t, fmt.Sprintf("longest at %g°", dec), f.LongestS, want, closedForm)
		if f.LimitedBy != LimitSky {
			t.Errorf("limited by %q", f.LimitedBy)
		}
		for _, c := range f.Curve {
			trail := speed * c.ExposureS
			if trail > 200 {
				continue // beyond what anyone calls a star
			}
			near(t, "elongation", c.Elongation, math.Sqrt(1+trail*trail/(12*sigma*sigma)), closedForm)
			near(t, "trail", c.TrailPx, trail, closedForm)
		}
	}
}

// TestToleranceInWidths: an elongation of 1.25 is a trail of 1.10 FWHM (design §4).
func TestToleranceInWidths(t *testing.T) {
	near(t, "trail", TrailOf(1.25, 1), 1.10, 0.005)
	near(t, "back", ElongationOf(TrailOf(1.7, 3), 3), 1.7, 1e-12)
}

// TestDriftOfAxis against the first-order formulas of design §4, which are common practice: an axis 1° off makes stars drift
// by up to 15.75″ a minute.
func TestDriftOfAxis(t *testing.T) {
	l := tele(t)
	l.Width, l.Height = 0, 0
	p := Plan{View: toward(t, l, 20, 0), Mount: Mount{Axis: Axis{Size: unit.AngleFromMin(60)}}, FWHM: fwhm}
	f := forecast(t, p)
	perSecond := 15.75 / 60 / (180 / math.Pi * 3600) * l.FocalPx
	near(t, "longest", f.LongestS, TrailOf(1.25, fwhm)/perSecond, 0.01) // the worst of 24 directions is within 1 % of the worst of all
	if f.LimitedBy != LimitAxis {
		t.Errorf("limited by %q", f.LimitedBy)
	}
}

// TestWobbleMoments against sums over the exposure, step by step.
func TestWobbleMoments(t *testing.T) {
	form := []sine{{1, 0.2, 0.3}, {3, -0.1, 0.05}}
	for _, length := range []float64{0.5, 7, 60, 480, 1111} {
		for i, m := range over(nil, phases(form, 8), 480, length) {
			var w, wt, wtt, ww, tt float64
			const steps = 20000
			for k := range steps {
				at := ((float64(k)+0.5)/steps - 0.5) * length
				y := 0.0
				for _, s := range form {
					sn, cs := math.Sincos(s.order * (2*math.Pi*at/480 + 2*math.Pi*(float64(i)+0.5)/8))
					y += s.a*cs + s.b*sn
				}
				w, wt, wtt, ww, tt = w+y, wt+y*at, wtt+y*at*at, ww+y*y, tt+at*at
			}
			const n = steps
			scale := 0.3 * length
			if d := m.variance - (ww/n - w*w/n/n); math.Abs(d) > 1e-7 {
				t.Errorf("length %g phase %d: variance off by %g", length, i, d)
			}
			if d := m.withT - wt/n; math.Abs(d) > 1e-7*scale {
				t.Errorf("length %g phase %d: with t off by %g", length, i, d)
			}
			if d := m.withT2 - (wtt/n - w/n*tt/n); math.Abs(d) > 1e-7*scale*length {
				t.Errorf("length %g phase %d: with t² off by %g", length, i, d)
			}
		}
	}
}

// TestWobbleShare: with a sine of the gear and nothing else, short exposures trail by the wobble's rate at their middle; nine in ten phases
// are slower than cos(0.05·2π·…) of the fastest. Own derivation: |cos φ| ≤ sin(0.9·π/2) in 90 % of the phases.
func TestWobbleShare(t *testing.T) {
	l := tele(t)
	l.Width, l.Height = 0, 0
	p2p := unit.AngleFromSec(440)
	p := Plan{View: toward(t, l, 0, 0), FWHM: fwhm, Mount: Mount{Wobble: &Wobble{PeriodS: 24000, PeakToPeak: p2p}}}
	f := forecast(t, p)
	fastest := math.Pi * p2p.Rad() / 24000 * l.FocalPx
	want := TrailOf(1.25, fwhm) / (fastest * math.Sin(0.9*math.Pi/2))
	near(t, "longest", f.LongestS, want, 0.02) // 256 phases; the exposure is a fortieth of the period
	if f.LimitedBy != LimitWobble || len(f.Gains) != 0 {
		t.Errorf("limited by %q, gains %v", f.LimitedBy, f.Gains)
	}
	p.Share = 0.5
	near(t, "for half of them", forecast(t, p).LongestS, TrailOf(1.25, fwhm)/(fastest*math.Sin(0.5*math.Pi/2)), 0.02)
}

// TestLimits: each fault is named when it is the one that ends the exposure.
func TestLimits(t *testing.T) {
	site, _ := ephem.NewSite(46, 7, 500)
	air := ephem.StandardAir(500)
	at := time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)
	sky, err := ephem.NewSky(site, air, at)
	if err != nil {
		t.Fatal(err)
	}
	over := func(azimuth, altitude float64) View {
		icrs := sky.ICRS(ephem.Horizontal{Azimuth: unit.AngleFromDeg(azimuth), Altitude: unit.AngleFromDeg(altitude)}.Direction())
		ra, dec := ephem.RADec(icrs)
		v, err := Above(tele(t), site, air, at, align.Target{RA: ra, Dec: dec}, 0)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	south, polar := over(180, 50), over(0, 46.05)
	arcmin := unit.AngleFromMin
	gear := &Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(30)}
	for _, c := range []struct {
		name  string
		view  View
		mount Mount
		want  Limit
	}{
		{"azimuth off, star on the meridian", south, Mount{Axis: south.Off(arcmin(3), arcmin(60))}, LimitAxis},
		{"gear", south, Mount{Axis: south.Off(0, arcmin(1)), Wobble: gear}, LimitWobble},
		{"lunar rate", south, Mount{Axis: south.Off(0, arcmin(1)), RateError: -0.0365}, LimitRate},
		{"low in the east", over(90, 4), Mount{Axis: south.Off(0, 0)}, LimitRefraction},
		{"axis off in azimuth, star six hours off it", over(90, 40), Mount{Axis: south.Off(0, arcmin(60))}, LimitAxis},
		{"tripod", south, Mount{Tripod: true}, LimitSky},
		{"rate at the pole, where only the field turns", polar, Mount{Axis: south.Off(0, 0), RateError: -1}, LimitRate},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := forecast(t, Plan{View: c.view, Mount: c.mount, FWHM: fwhm})
			if f.LimitedBy != c.want {
				t.Errorf("limited by %q at %.3g s, want %q; %s", f.LimitedBy, f.LongestS, c.want, f.Advice)
			}
			t.Log(f.LongestS, f.LowS, f.HighS, f.Worst, f.Advice)
		})
	}
}

// TestAdvice: the knob that matters is named, with figures that hold when it is turned.
func TestAdvice(t *testing.T) {
	v := meridian(t)
	arcmin := unit.AngleFromMin
	gear := &Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(30)}
	p := Plan{View: v, FWHM: fwhm, Mount: Mount{Axis: v.Off(arcmin(4), arcmin(30)), Wobble: gear}}
	f := forecast(t, p)
	g := f.simplest()
	if g == nil || g.What != TurnAzimuth || math.Abs(g.Turn.Min()+30) > 0.5 {
		t.Fatalf("advice %q, gains %+v", f.Advice, f.Gains)
	}
	p.Mount.Axis = v.Off(arcmin(4), 0)
	near(t, "longest after the turn", forecast(t, p).LongestS, g.ToS, 0.03) // advice is compared at 32 phases, the answer at 256
	if g.ThenLimitedBy != LimitWobble {
		t.Errorf("then limited by %q", g.ThenLimitedBy)
	}
	from, to := say.Seconds(f.LongestS), say.LongestOf(g.ToS)
	if want := say.Of("gain up to a limit", say.Of("turning the base", unit.Angle(math.Abs(g.Turn.Rad()))), from, to, say.Of("limit: the gear")); !f.Advice.Same(want) {
		t.Errorf("%v, want %v", f.Advice, want)
	}
}

func meridian(t testing.TB) View {
	t.Helper()
	site, _ := ephem.NewSite(46, 7, 500)
	air := ephem.StandardAir(500)
	at := time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC)
	sky, err := ephem.NewSky(site, air, at)
	if err != nil {
		t.Fatal(err)
	}
	ra, dec := ephem.RADec(sky.ICRS(ephem.Horizontal{Azimuth: unit.AngleFromDeg(180), Altitude: unit.AngleFromDeg(50)}.Direction()))
	v, err := Above(tele(t), site, air, at, align.Target{RA: ra, Dec: dec}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestDoubt: what is not known of the axis shortens the exposure, and the range covers what the truth allows.
func TestDoubt(t *testing.T) {
	v := meridian(t)
	s := unit.AngleFromMin(10).Rad()
	p := Plan{View: v, FWHM: fwhm, PlannedS: 250, Mount: Mount{Axis: v.Off(0, unit.AngleFromMin(5))}}
	sure := forecast(t, p)
	p.Mount.Axis.Covariance = [2][2]float64{{s * s, 0}, {0, s * s}}
	f := forecast(t, p)
	if f.LongestS >= sure.LongestS || f.EstimateS != sure.LongestS || f.LowS >= f.HighS {
		t.Errorf("with doubt %.4g (%.4g … %.4g, estimate %.4g), without %.4g", f.LongestS, f.LowS, f.HighS, f.EstimateS, sure.LongestS)
	}
	if f.Gains[0].What != MeasureAxis {
		t.Errorf("gains %+v", f.Gains)
	}
	// Own derivation: on the meridian the drift is ω times the axis error across, here |N(5′cos 46°, 10′)|·1.
	edge := TrailOf(1.25, fwhm) / (omega * v.Lens.FocalPx) / 250 // radians across that 250 s stand
	phi := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	m := unit.AngleFromMin(5).Rad() * math.Cos(46.05*math.Pi/180)
	want := phi((edge-m)/s) - phi((-edge-m)/s)
	if d := f.Planned.ShareRound - want; math.Abs(d) > 0.08 { // 64 draws: 0.06 rms
		t.Errorf("250 s stay round with %.2f, want %.2f", f.Planned.ShareRound, want)
	}
	t.Log(f.Advice, f.LongestS, f.LowS, f.HighS, f.Planned, want)
}

// TestRefusals: nonsense is refused with its cause and a way out.
func TestRefusals(t *testing.T) {
	nan := math.NaN()
	good := Plan{View: toward(t, tele(t), 20, 0), FWHM: fwhm}
	with := func(change func(*Plan)) error {
		p := good
		change(&p)
		_, err := Longest(p)
		return err
	}
	optics := func(o Optics) error { _, err := o.Lens(); return err }
	place := func(dec, ha float64) error {
		_, err := Toward(tele(t), unit.AngleFromDeg(dec), unit.HourAngleFromHour(ha), 0)
		return err
	}
	rules := func(o Optics, dec float64) error { _, err := RulesOfThumb(o, unit.AngleFromDeg(dec)); return err }
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"no lens", optics(Optics{}), ErrLens},
		{"lens of zero length in a view", with(func(p *Plan) { p.View.Lens.FocalPx = 0 }), ErrLens},
		{"negative lens", optics(Optics{FocalLengthMM: -50, PixelPitchUM: 4}), ErrLens},
		{"lens NaN", optics(Optics{FocalLengthMM: nan, PixelPitchUM: 4}), ErrLens},
		{"infinite scale", optics(Optics{ScaleArcsecPerPx: math.Inf(1)}), ErrLens},
		{"equivalent without size", optics(Optics{EquivalentMM: 24}), ErrLens},
		{"picture too large", optics(Optics{EquivalentMM: 24, Width: 1 << 20, Height: 1 << 20}), ErrLens},
		{"half a size", optics(Optics{ScaleArcsecPerPx: 10, Width: 100}), ErrLens},
		{"declination 91°", place(91, 0), ErrPlace},
		{"declination NaN", place(nan, 0), ErrPlace},
		{"hour angle NaN", place(0, nan), ErrPlace},
		{"stars of no width", with(func(p *Plan) { p.FWHM = 0 }), ErrWidth},
		{"negative width", with(func(p *Plan) { p.FWHM = -2 }), ErrWidth},
		{"width NaN", with(func(p *Plan) { p.FWHM = nan }), ErrWidth},
		{"tolerance below round", with(func(p *Plan) { p.MaxElongation = 0.9 }), ErrAsked},
		{"share above one", with(func(p *Plan) { p.Share = 1.2 }), ErrAsked},
		{"planned NaN", with(func(p *Plan) { p.PlannedS = nan }), ErrAsked},
		{"negative axis error", with(func(p *Plan) { p.Mount.Axis.Size = -1 }), ErrMount},
		{"wobble without period", with(func(p *Plan) { p.Mount.Wobble = &Wobble{PeakToPeak: 1e-4} }), ErrMount},
		{"rate NaN", with(func(p *Plan) { p.Mount.RateError = nan }), ErrMount},
		{"rules beyond the pole", rules(Optics{FocalLengthMM: 20, PixelPitchUM: 4, FNumber: 2}, 95), ErrPlace},
		{"rules of a negative f-number", rules(Optics{FocalLengthMM: 20, PixelPitchUM: 4, FNumber: -2}, 5), ErrLens},
	} {
		if !errors.Is(c.err, c.want) || amiss.Ways(c.err) == nil {
			t.Errorf("%s: got %v, want %v with a hint", c.name, c.err, c.want)
		}
	}
}

// TestRulesOfThumb by hand: 500/36 = 13.9 s; (16.856·2.8 + 0.0997·24 + 13.713·6)/(24 cos 60°) = 131.87/12 = 10.99 s.
func TestRulesOfThumb(t *testing.T) {
	r, err := RulesOfThumb(Optics{FocalLengthMM: 24, PixelPitchUM: 6, FNumber: 2.8, Width: 4006, Height: 2671}, unit.AngleFromDeg(60))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "500 rule", *r.Rule500S, 500/(24*43.2666/(math.Hypot(4006, 2671)*0.006)), 1e-5)
	near(t, "NPF", *r.NPFS, 131.8717/12, 1e-4)
	phone, err := RulesOfThumb(Optics{EquivalentMM: 115, Width: 4032, Height: 3024}, 0)
	if err != nil || phone.NPFS != nil || math.Abs(*phone.Rule500S-500./115) > 1e-9 {
		t.Errorf("phone: %+v %v", phone, err)
	}
}

// renderedCases are cases measured in noise-free pictures.
var renderedCases = []string{"tracked 60 s", "tripod 5 s", "tripod 15 s", "axis off 300 s", "lunar rate 60 s", "gear and lunar rate 90 s"}

func renderedCase(t testing.TB, name string) (simulate.Evening, func(View) Mount) {
	t.Helper()
	site, _ := ephem.NewSite(46, 7, 500)
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = simulate.Small(135, 2.8, 12, 1200, 800)
	e.Camera.K1, e.Camera.K2, e.Camera.P1, e.Camera.P2 = 0, 0, 0, 0
	e.Camera.CornerStretch, e.Camera.Vignetting, e.Camera.Moffat = 0, 0, 0
	e.Camera.OffsetX, e.Camera.OffsetY, e.Camera.HotPixels = 0, 0, 0
	e.Camera.FWHM, e.Camera.Noiseless, e.Camera.FullScale = 2.6, true, 1e9
	e.Mount, e.Handling = simulate.Mount{Rate: simulate.RateSidereal}, simulate.Handling{}
	e.Conditions = simulate.Conditions{Brightness: 21}
	e.Count = 1
	e, err = e.Aimed(ephem.Horizontal{Azimuth: unit.AngleFromDeg(200), Altitude: unit.AngleFromDeg(50)})
	if err != nil {
		t.Fatal(err)
	}
	arcmin := unit.AngleFromMin
	switch name {
	case "tripod 5 s":
		e.Mount.Tripod, e.Exposure = true, 5*time.Second
		return e, func(View) Mount { return Mount{Tripod: true} }
	case "tripod 15 s":
		e.Mount.Tripod, e.Exposure = true, 15*time.Second
		return e, func(View) Mount { return Mount{Tripod: true} }
	case "gear and lunar rate 90 s":
		e.Mount.Rate, e.Exposure = simulate.RateLunar, 90*time.Second
		e.Mount.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(120), Period: 200 * time.Second, Phase: 0.7, Third: 0.3}
		return e, func(v View) Mount { return Mount{Axis: v.Off(0, 0), RateError: simulate.RateLunar - 1} }
	case "axis off 300 s":
		e.Mount.AltitudeError, e.Mount.AzimuthError, e.Exposure = arcmin(20), arcmin(40), 300*time.Second
		return e, func(v View) Mount { return Mount{Axis: v.Off(arcmin(20), arcmin(40))} }
	case "lunar rate 60 s":
		e.Mount.Rate, e.Exposure = simulate.RateLunar, 60*time.Second
		return e, func(v View) Mount { return Mount{Axis: v.Off(0, 0), RateError: simulate.RateLunar - 1} }
	}
	e.Exposure = 60 * time.Second
	return e, func(v View) Mount { return Mount{Axis: v.Off(0, 0)} }
}

// likeRendering: the forecast against noise-free renderings measured the same way, design §7.
const likeRendering = 0.03

// TestRenderings: the forecast at each star's place against pictures of package simulate, which shares no code with this one:
// by the bare second moments of a star's pixels, and by star.Find where the path is even, as it takes trails to be.
func TestRenderings(t *testing.T) {
	for _, name := range renderedCases {
		t.Run(name, func(t *testing.T) {
			run, p, list := foretell(t, name)
			plane, _, err := run.Frame(context.Background(), 0)
			if err != nil {
				t.Fatal(err)
			}
			own := sigmaOf(p.FWHM) * sigmaOf(p.FWHM)
			for _, s := range list {
				near(t, fmt.Sprintf("bare moments at %.0f,%.0f", s.x, s.y), bareElongation(plane, s.x, s.y), elongationOf(flatness(s.xx, s.xy, s.yy, own)), likeRendering)
			}
			if run.Evening().Mount.Wobble.PeakToPeak != 0 {
				return
			}
			field, err := star.Find(context.Background(), plane, star.Options{MaxStars: 120})
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range list {
				found := nearest(field.Stars, s.x, s.y)
				near(t, fmt.Sprintf("star.Find at %.0f,%.0f", s.x, s.y), found.Elongation, elongationOf(flatness(s.xx, s.xy, s.yy, own)), likeRendering)
			}
		})
	}
}

func nearest(stars []star.Star, x, y float64) (best star.Star) {
	least := 1.0
	for _, s := range stars {
		if d := math.Hypot(s.X-x, s.Y-y); d < least {
			least, best = d, s
		}
	}
	return best
}

// bareElongation is the ratio of the axes from the second moments of the pixels about a star, the sky's level taken off.
func bareElongation(p frame.Plane, x, y float64) float64 {
	const reach = 22
	x0, y0 := int(math.Round(x)), int(math.Round(y))
	sky := math.Inf(1)
	for i := -reach; i <= reach; i++ {
		for k := -reach; k <= reach; k++ {
			sky = math.Min(sky, float64(p.Pix[(y0+i)*p.Width+x0+k]))
		}
	}
	var sum, mx, my, xx, xy, yy float64
	for i := -reach; i <= reach; i++ {
		for k := -reach; k <= reach; k++ {
			if i*i+k*k > reach*reach {
				continue
			}
			v := float64(p.Pix[(y0+i)*p.Width+x0+k]) - sky
			dx, dy := float64(k), float64(i)
			sum, mx, my = sum+v, mx+v*dx, my+v*dy
			xx, xy, yy = xx+v*dx*dx, xy+v*dx*dy, yy+v*dy*dy
		}
	}
	mx, my = mx/sum, my/sum
	return elongationOf(flatness(xx/sum-mx*mx, xy/sum-mx*my, yy/sum-my*my, 0))
}

// alone is whether no second star was put within ten widths (what cannot be told apart is drawn long by its own pair), and the one
// there is bright: simulate cuts the wings of faint ones.
func alone(lit []simulate.TrueStar, x, y float64) bool {
	near, electrons := 0, 0.0
	for _, s := range lit {
		if math.Hypot(s.MeanX-x, s.MeanY-y) < 26 {
			near++
			electrons = s.Electrons
		}
	}
	return near == 1 && electrons > 25000
}

// roundWidth is the measured width of a star rendered with a width before the pixels: their box adds 1/12 px² of variance.
func roundWidth(before float64) float64 {
	s := sigmaOf(before)
	return 2.3548 * math.Sqrt(s*s+1./12)
}

// courseAt is how a star moves in an evening's first picture.
func (p Plan) courseAt(x, y float64) course {
	hx, hy := p.View.Lens.half()
	return newFollower(p.View, []vec{{x - hx, y - hy}}).courses(p.way(draws{}, 0), nil)[0]
}

// wobblingOf is the wobble an evening has about the middle of its first exposure: (size/2)(sin φ + third·sin 3φ), φ growing with
// the time the motor has run.
func wobblingOf(e simulate.Evening) (form []sine, nu float64) {
	m := e.Mount.Wobble
	if m.PeakToPeak == 0 {
		return nil, 1
	}
	nu = 2 * math.Pi / m.Period.Seconds() * e.Mount.Rate // a slow motor turns its gear slowly
	phase := nu*(e.MidOf(0).Sub(e.Start)).Seconds() + m.Phase.Rad()
	half := m.PeakToPeak.Rad() / 2
	return []sine{
		{1, half * math.Sin(phase), half * math.Cos(phase)},
		{3, half * m.Third * math.Sin(3*phase), half * m.Third * math.Cos(3*phase)},
	}, nu
}

func livePlan(b testing.TB) Plan {
	v := meridian(b)
	s := unit.AngleFromMin(2).Rad()
	a := v.Off(unit.AngleFromMin(4), unit.AngleFromMin(30))
	a.Covariance = [2][2]float64{{s * s, 0}, {0, s * s}}
	w := &Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(44), Sigma: unit.AngleFromSec(5),
		Harmonics: []wobble.Harmonic{{Sin: 1}, {}, {Cos: 0.1, Sin: 0.2}}}
	return Plan{View: v, Mount: Mount{Axis: a, RateSigma: 1e-4, Wobble: w}, FWHM: fwhm, PlannedS: 30}
}

func BenchmarkLongest(b *testing.B) { benchmarkLongest(b, livePlan(b)) }

// BenchmarkLongestUnseen: every mounting has a gear of its own.
func BenchmarkLongestUnseen(b *testing.B) {
	p := livePlan(b)
	p.Mount.Wobble = Reckoned(nil)
	benchmarkLongest(b, p)
}

// BenchmarkLongestEndless: all lengths up to an hour are tried.
func BenchmarkLongestEndless(b *testing.B) {
	p := livePlan(b)
	p.View.Lens.FocalPx /= 30
	p.Mount.Axis = p.View.Off(0, unit.AngleFromMin(1))
	benchmarkLongest(b, p)
}

func benchmarkLongest(b *testing.B, p Plan) {
	for b.Loop() {
		if _, err := Longest(p); err != nil {
			b.Fatal(err)
		}
	}
}

func ExampleLongest() {
	lens, err := Optics{FocalLengthMM: 135, PixelPitchUM: 3.9, Width: 6000, Height: 4000}.Lens()
	if err != nil {
		fmt.Println(err)
		return
	}
	view, err := Toward(lens, unit.AngleFromDeg(20), 0, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	f, err := Longest(Plan{View: view, FWHM: 2.4, Mount: Mount{
		Axis:   Axis{Size: unit.AngleFromMin(60)},
		Wobble: &Wobble{PeriodS: 480, PeakToPeak: unit.AngleFromSec(20)},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	g := f.Gains[0]
	fmt.Printf("%.0f s, limited by %s; %s gains %.0f s, then limited by %s\n", f.LongestS, f.LimitedBy, g.What, g.ToS, g.ThenLimitedBy)
	// Output:
	// 54 s, limited by axis error; axis gains 137 s, then limited by periodic error
}
