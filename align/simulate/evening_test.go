package simulate

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog"
)

// At the middle of the first exposure the target stands in the middle of the
// picture, "up" at the position angle asked for – whatever the lens, the errors
// and the hemisphere.
func TestFirstPictureIsFramed(t *testing.T) {
	for _, c := range []struct {
		name    string
		lat     float64
		toward  ephem.Horizontal
		rollDeg float64
		change  func(*Evening)
	}{
		{"plain", 47, degrees(180, 48), 0, func(e *Evening) {}},
		{"rolled, axis far off", 47, degrees(80, 30), 137, func(e *Evening) { e.Mount.AzimuthError = unit.AngleFromDeg(12) }},
		{"south", -34, degrees(300, 60), 251, func(e *Evening) { e.Mount.AltitudeError = unit.AngleFromDeg(-5) }},
		{"bad lens, swung, bending", 60, degrees(10, 55), 300, func(e *Evening) {
			e.Camera.K1, e.Camera.P2, e.Camera.OffsetX = -0.08, 0.004, 60
			e.Mount.Swings = []unit.Angle{1}
			e.Mount.Flexure, e.Mount.BallSlip, e.Mount.Sag = unit.AngleFromDeg(1), unit.AngleFromDeg(2), unit.AngleFromMin(3)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := airless(t, c.lat, c.toward)
			e.Air = ephem.StandardAir(300)
			e.Roll = unit.AngleFromDeg(c.rollDeg)
			c.change(&e)
			truth, err := begin(t, e).Truth()
			if err != nil {
				t.Fatal(err)
			}
			f := truth.Frames[0]
			want := e.Target.direction()
			got := ephem.Direction(unit.RAFromDeg(f.RADeg), unit.AngleFromDeg(f.DecDeg))
			const sagSquaredArcsec = 0.3 // sagging of 3′ is undone to first order; see c0
			if d := between(got, want).Sec(); d > sagSquaredArcsec {
				t.Errorf("centre off by %.3f″", d)
			}
			if d := math.Remainder(f.RollDeg-c.rollDeg, 360); math.Abs(d) > 0.003 { // refraction bends "up" over a pixel
				t.Errorf("roll %.4f°, want %.4f°", f.RollDeg, c.rollDeg)
			}
		})
	}
}

// An ideal camera shows the sky in the gnomonic projection: M. R. Calabretta and
// E. W. Greisen, "Representations of celestial coordinates in FITS", Astronomy &
// Astrophysics 395 (2002) 1077, section 5.1.3 (TAN). Seen from inside the sphere
// east is to the left when north is up.
func TestStarsLieInTheGnomonicProjection(t *testing.T) {
	// Aberration, which the formula leaves out, shrinks or widens the field by
	// up to 10⁻⁴: 0.13 px at 1300 px from the centre.
	const aberrationPx = 0.15
	e := airless(t, 47, degrees(140, 50))
	e.Camera = Phone(80, 3)
	e.Camera.K1, e.Camera.K2, e.Camera.OffsetX, e.Camera.OffsetY = 0, 0, 0, 0
	e.Roll = unit.AngleFromDeg(33)
	stars, err := begin(t, e).Stars(0)
	if err != nil {
		t.Fatal(err)
	}
	if len(stars) < 200 {
		t.Fatalf("only %d stars", len(stars))
	}
	for _, s := range stars {
		i, _ := catalog.Index(s.HIP)
		x, y := gnomonic(e, catalog.Stars()[i])
		if d := math.Hypot(s.X-x, s.Y-y); d > aberrationPx {
			t.Fatalf("HIP %d at %.2f, %.2f, the projection gives %.2f, %.2f", s.HIP, s.X, s.Y, x, y)
		}
	}
}

func gnomonic(e Evening, s catalog.Star) (x, y float64) {
	ra, dec := ephem.RADec(s.Direction)
	sd, cd := dec.Sincos()
	s0, c0 := e.Target.Dec.Sincos()
	sa, ca := math.Sincos(ra.Rad() - e.Target.RA.Rad())
	w := sd*s0 + cd*c0*ca
	east, north := cd*sa/w, (sd*c0-cd*s0*ca)/w
	sin, cos := e.Roll.Sincos()
	up, left := north*cos+east*sin, east*cos-north*sin
	return float64(e.Camera.Width-1)/2 - left*e.Camera.FocalPx, float64(e.Camera.Height-1)/2 - up*e.Camera.FocalPx
}

func TestRayUndoesPixel(t *testing.T) {
	for _, c := range []Camera{Phone(24, 12), Phone(115, 12), Small(300, 4, 3.9, 6000, 4000),
		{Width: 4000, Height: 3000, FocalPx: 2600, OffsetX: 40, K1: -0.1, K2: 0.03, P1: 0.01, P2: -0.01}} {
		o := c.optics(1, 0, 0)
		for _, x := range []float64{0, 1200.3, float64(c.Width)} {
			for _, y := range []float64{0, 77.7, float64(c.Height)} {
				gx, gy, ok := o.pixel(o.ray(x, y))
				if !ok || math.Hypot(gx-x, gy-y) > 1e-6 {
					t.Errorf("%s: %g, %g comes back as %g, %g", c.Model, x, y, gx, gy)
				}
			}
		}
	}
}

// Worked by hand from the formula in Camera's description: half diagonal 2500 px,
// focal length 5000 px, so the direction (0.3, 0.2, 1) lies at u = (0.6, 0.4),
// r² = 0.52.
func TestDistortion(t *testing.T) {
	c := Camera{Width: 4000, Height: 3000, FocalPx: 5000, OffsetX: 10, OffsetY: -20}
	const cx, cy = 1999.5 + 10, 1499.5 - 20
	for _, d := range []struct {
		name           string
		k1, k2, p1, p2 float64
		x, y           float64 // half diagonals
	}{
		{"none", 0, 0, 0, 0, 0.6, 0.4},
		{"K1", 0.1, 0, 0, 0, 0.6 * 1.052, 0.4 * 1.052},
		{"K2", 0, 0.1, 0, 0, 0.6 * 1.02704, 0.4 * 1.02704},
		{"P1", 0, 0, 0.01, 0, 0.6 + 0.0048, 0.4 + 0.0084},
		{"P2", 0, 0, 0, 0.01, 0.6 + 0.0124, 0.4 + 0.0048},
	} {
		c.K1, c.K2, c.P1, c.P2 = d.k1, d.k2, d.p1, d.p2
		x, y, ok := c.optics(1, 0, 0).pixel(r3.Vec{X: 0.3, Y: 0.2, Z: 1})
		if !ok || math.Hypot(x-cx-2500*d.x, y-cy-2500*d.y) > 1e-9 {
			t.Errorf("%s: at %.6f, %.6f, want %.6f, %.6f", d.name, x, y, cx+2500*d.x, cy+2500*d.y)
		}
	}
	if _, _, ok := c.optics(1, 0, 0).pixel(r3.Vec{X: 0.3, Y: 0.2, Z: -1}); ok {
		t.Error("what lies behind the camera is seen")
	}
}

// Equivalent focal lengths count by the diagonal: 43.27 mm have 53.13° between
// the corners (2·atan ½), whatever the shape of the sensor.
func TestPhoneFieldOfView(t *testing.T) {
	c := Phone(43.2666, 12)
	if c.Width != 4000 || c.Height != 3000 {
		t.Errorf("12 megapixels are %d×%d", c.Width, c.Height)
	}
	half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	if field := 2 * math.Atan(half/c.FocalPx) * 180 / math.Pi; math.Abs(field-53.130) > 0.001 {
		t.Errorf("diagonal of %.4f°", field)
	}
}

// What the camera does wrong shows in the places of the stars by the size asked
// for.
func TestHandling(t *testing.T) {
	base := func(t *testing.T) Evening {
		e := small(t)
		e.Camera.K1, e.Camera.K2 = 0, 0
		return e
	}
	for _, c := range []struct {
		name   string
		change func(*Evening)
		shift  float64 // px the middle of the last picture moves against the undisturbed one; −1: some
		scale  float64
	}{
		{"nothing", func(e *Evening) {}, 0, 1},
		{"wander", func(e *Evening) { e.Handling.Wander = 0.4 }, -1, 1},
		{"breathing", func(e *Evening) { e.Handling.Breathing = 1e-3 }, 0, 1 + 1e-3*180/195},
		{"crop", func(e *Evening) { e.Handling.Crops = []Crop{{5, 1.4}} }, -1, 1.4},
		{"camera knock of 2′", func(e *Evening) { e.Mount.Knocks = []Knock{{9, unit.AngleFromMin(2), true}} }, 2 * 60 / 30.8, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := base(t)
			plain := begin(t, e)
			c.change(&e)
			shift, scale := compare(t, plain, begin(t, e), 9)
			if c.shift >= 0 && math.Abs(shift-c.shift) > 0.02*c.shift+0.02 || c.shift < 0 && (shift < 0.05 || shift > 15) {
				t.Errorf("moved by %.3f px, want %.3f", shift, c.shift)
			}
			if math.Abs(scale/c.scale-1) > 2e-5 {
				t.Errorf("scale changed by %.6f, want %.6f", scale, c.scale)
			}
		})
	}
}

// compare gives the shift of the optical centre and the change of scale of one
// picture in two runs, from the stars near the middle.
func compare(t *testing.T, a, b *Run, i int) (shift, scale float64) {
	t.Helper()
	type pair struct{ x0, y0, x1, y1 float64 }
	places := map[int32]TrueStar{}
	for _, s := range mustStars(t, a, i) {
		places[s.HIP] = s
	}
	var pairs []pair
	var m pair
	for _, s := range mustStars(t, b, i) {
		if o, ok := places[s.HIP]; ok {
			p := pair{o.X, o.Y, s.X, s.Y}
			pairs = append(pairs, p)
			m.x0, m.y0, m.x1, m.y1 = m.x0+p.x0, m.y0+p.y0, m.x1+p.x1, m.y1+p.y1
		}
	}
	n := float64(len(pairs))
	m = pair{m.x0 / n, m.y0 / n, m.x1 / n, m.y1 / n}
	var r0, r1 float64
	for _, p := range pairs {
		r0 += math.Pow(p.x0-m.x0, 2) + math.Pow(p.y0-m.y0, 2)
		r1 += math.Pow(p.x1-m.x1, 2) + math.Pow(p.y1-m.y1, 2)
	}
	scale = math.Sqrt(r1 / r0)
	o := a.steady(0) // the optical centre, about which the scale changes
	return math.Hypot(m.x1-o.cx-scale*(m.x0-o.cx), m.y1-o.cy-scale*(m.y0-o.cy)), scale
}

func mustStars(t *testing.T, r *Run, i int) []TrueStar {
	t.Helper()
	s, err := r.Stars(i)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A closed sky, dew and a cap take light away; a lost focus makes their places worse.
func TestFewerStars(t *testing.T) {
	e := small(t)
	e.Count = 3
	light := func(e Evening) (n int, electrons, sigma float64) {
		for _, s := range mustStars(t, begin(t, e), 2) {
			n, electrons, sigma = n+1, electrons+s.Electrons, sigma+s.SigmaPx
		}
		return n, electrons, sigma / float64(n)
	}
	n, electrons, sigma := light(e)
	for _, c := range []struct {
		name   string
		change func(*Evening)
		holds  func(n0 int, e0, s0 float64) bool
	}{
		{"closed sky", func(e *Evening) { e.Conditions.Clouds.Gaps = []int{2} },
			func(m int, l, s float64) bool { return l < 0.001*electrons }},
		{"dew", func(e *Evening) { e.Handling.Dew = 2 },
			func(m int, l, s float64) bool { return l < 0.25*electrons }},
		{"focus", func(e *Evening) { e.Handling.FocusLoss = 1 },
			func(m int, l, s float64) bool { return l == electrons && s > 2*sigma }},
		{"cap on", func(e *Evening) { e.Handling.Capped = []int{2} },
			func(m int, l, s float64) bool { return m == 0 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := e
			c.change(&changed)
			if m, l, s := light(changed); !c.holds(m, l, s) {
				t.Errorf("%d stars, %.4g electrons, σ %.3f; before %d, %.4g, %.3f", m, l, s, n, electrons, sigma)
			}
		})
	}
}

// Stacked in the phone: round on a tripod, and – standing – the same stars in
// the middle while the field turns.
func TestStacked(t *testing.T) {
	e := small(t)
	e.Mount.Tripod = true
	e.Handling.Stacked = StackedStanding
	r := begin(t, e)
	first, last := mustStars(t, r, 0), mustStars(t, r, 9)
	for _, s := range last {
		if math.Hypot(s.TrailX, s.TrailY) > 1e-9 {
			t.Fatalf("HIP %d trails", s.HIP)
		}
	}
	middle := func(stars []TrueStar) (best TrueStar) {
		d := math.Inf(1)
		for _, s := range stars {
			if r := math.Hypot(s.X-float64(e.Camera.Width)/2, s.Y-float64(e.Camera.Height)/2); r < d {
				best, d = s, r
			}
		}
		return best
	}
	a, b := middle(first), middle(last)
	if a.HIP != b.HIP || math.Hypot(a.X-b.X, a.Y-b.Y) > 2 {
		t.Errorf("the middle star HIP %d went from %.1f, %.1f: now HIP %d at %.1f, %.1f", a.HIP, a.X, a.Y, b.HIP, b.X, b.Y)
	}
}

// Two presets promise numbers of stars and how well they can be placed.
func TestPresets(t *testing.T) {
	e := small(t)
	e.Camera = Phone(115, 12)
	within := func(e Evening, px float64) (n int) {
		for _, s := range mustStars(t, begin(t, e), 0) {
			if s.SigmaPx < px {
				n++
			}
		}
		return n
	}
	if n := within(e.Clean(), 0.03); n < 200 {
		t.Errorf("clean: %d stars within 0.03 px", n)
	}
	// A star is found when its signal is five times the noise, about 0.25 px.
	if n, half := within(e.Realistic(), 0.25), within(e.Realistic(), 0.15); n < 40 || n > 65 || half < n/3 || half > 2*n/3 {
		t.Errorf("realistic: %d stars, %d within 0.15 px", n, half)
	}
}

func TestTruthJSON(t *testing.T) {
	e := small(t)
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(30), unit.AngleFromMin(-40)
	e.Mount.Wobble = Wobble{PeakToPeak: unit.AngleFromSec(60), Period: 8 * time.Minute}
	e.Mount.Knobs = []Knob{{5, unit.AngleFromMin(-30), 0}}
	truth, err := begin(t, e).Truth()
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(truth)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		AxisAltitudeDeg *float64 `json:"axis_altitude_deg"`
		AxisAzimuthDeg  *float64 `json:"axis_azimuth_deg"`
		Error           struct {
			AltitudeArcmin float64 `json:"altitude_arcmin"`
			AzimuthArcmin  float64 `json:"azimuth_arcmin"`
		} `json:"error"`
		Periodic struct {
			Rate float64 `json:"max_rate_arcsec_per_s"`
		} `json:"periodic_error"`
		Frames []struct {
			File  string    `json:"file"`
			Start time.Time `json:"start_utc"`
			Axis  float64   `json:"axis_altitude_deg"`
		} `json:"frames"`
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if got.AxisAltitudeDeg == nil || got.AxisAzimuthDeg == nil || len(got.Frames) != 10 {
		t.Fatalf("keys are missing: %s", text)
	}
	if math.Abs(got.Error.AltitudeArcmin-30) > 1e-6 || math.Abs(got.Error.AzimuthArcmin+40) > 1e-6 {
		t.Errorf("error %+v", got.Error)
	}
	if f := got.Frames[9]; f.File != "sky-010.jpg" || !f.Start.Equal(newYear.Add(180*time.Second)) {
		t.Errorf("last frame %+v", f)
	}
	if down := (got.Frames[0].Axis - got.Frames[9].Axis) * 60; math.Abs(down-30) > 0.01 {
		t.Errorf("the knob moved the axis by %.3f′", down)
	}
	// A sine of amplitude 30″ and period 480 s is steepest with 2π·30/480.
	if math.Abs(got.Periodic.Rate-0.3927) > 1e-4 {
		t.Errorf("fastest rate %.5f″/s", got.Periodic.Rate)
	}
}

// The second half of an evening goes on where the first ended.
func TestTurnedGoesOn(t *testing.T) {
	e := small(t)
	e.Mount.AltitudeError = unit.AngleFromMin(40)
	e.Mount.Wobble = Wobble{PeakToPeak: unit.AngleFromSec(60), Period: 5 * time.Minute}
	later := e.Turned(0, 0, time.Minute)
	a, b := begin(t, e), begin(t, later)
	at := later.StartOf(0)
	if want := e.StartOf(9).Add(e.Exposure + time.Minute); !at.Equal(want) {
		t.Errorf("goes on at %v, want %v", at, want)
	}
	if d := a.Attitude(9, at).Inverse().Then(b.Attitude(0, at)).Angle().Sec(); d > roundingArcsec {
		t.Errorf("the camera jumps by %.4f″", d)
	}
	if later.File(0) != "sky-011.jpg" {
		t.Errorf("first file %s", later.File(0))
	}
}

func TestValidate(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name   string
		change func(*Evening)
		field  string // of the ErrInvalid; "" for an error of ephem
	}{
		{"no pictures", func(e *Evening) { e.Count = 0 }, "Count"},
		{"too many pictures", func(e *Evening) { e.Count = 1e6 }, "Count"},
		{"no exposure", func(e *Evening) { e.Exposure = 0 }, "Exposure in seconds"},
		{"overlapping pictures", func(e *Evening) { e.Every = time.Second }, "Every"},
		{"no camera", func(e *Evening) { e.Camera = Camera{} }, "Camera.Width"},
		{"too many pixels", func(e *Evening) { e.Camera.Width, e.Camera.Height = 20000, 20000 }, "the number of pixels"},
		{"focal length is no number", func(e *Evening) { e.Camera.FocalPx = nan }, "Camera.FocalPx"},
		{"infinite zero point", func(e *Evening) { e.Camera.ZeroPoint = math.Inf(1) }, "Camera.ZeroPoint"},
		{"fisheye", func(e *Evening) { e.Camera.FocalPx = 300 }, "the diagonal field"},
		{"lens folds the sky", func(e *Evening) { e.Camera.K1 = -0.29 }, "Camera.K1, K2"},
		{"crop opens the field", func(e *Evening) { e.Handling.Crops = []Crop{{1, 0.1}} }, "the diagonal field"},
		{"wobble without period", func(e *Evening) { e.Mount.Wobble.PeakToPeak = 1e-4 }, "Mount.Wobble.Period"},
		{"rate is no number", func(e *Evening) { e.Mount.Rate = nan }, "Mount.Rate"},
		{"swing is no number", func(e *Evening) { e.Mount.Swings = []unit.Angle{0, unit.Angle(nan)} }, "Mount.Swings[1] in degrees"},
		{"too many swings", func(e *Evening) { e.Mount.Swings = make([]unit.Angle, 11) }, "Mount.Swings"},
		{"knock after the end", func(e *Evening) { e.Mount.Knocks = []Knock{{Frame: 10}} }, "the picture of Mount.Knocks[0]"},
		{"re-aim before the start", func(e *Evening) { e.Handling.ReAims = []ReAim{{Frame: 0}} }, "the picture of Handling.ReAims[0]"},
		{"target below the horizon", func(e *Evening) { e.Target.Dec = unit.AngleFromDeg(-80) }, "Target"},
		{"target nowhere", func(e *Evening) { e.Target.Dec = unit.AngleFromDeg(91) }, "Target"},
		{"target is no number", func(e *Evening) { e.Target.RA = unit.RA(nan) }, "Target"},
		{"impossible site", func(e *Evening) { e.Site.Latitude = 2 }, ""},
		{"impossible air", func(e *Evening) { e.Air.PressureHPa = -1 }, ""},
		{"another age", func(e *Evening) { e.Start = time.Date(1700, 1, 1, 0, 0, 0, 0, time.UTC) }, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := small(t)
			c.change(&e)
			_, err := e.Begin()
			if err == nil {
				t.Fatal("accepted")
			}
			if amiss.Ways(err) == nil {
				t.Errorf("no hint in %q", err)
			}
			if errors.Is(err, ErrInvalid) != (c.field != "") || !strings.HasPrefix(err.Error(), c.field) {
				t.Errorf("error %q, want one about %q", err, c.field)
			}
		})
	}
}

func TestPicturesOutsideTheRun(t *testing.T) {
	r := begin(t, small(t))
	for _, i := range []int{-1, 10} {
		if _, err := r.Stars(i); !errors.Is(err, ErrInvalid) {
			t.Errorf("Stars(%d): %v", i, err)
		}
		if _, _, err := r.Frame(context.Background(), i); !errors.Is(err, ErrInvalid) {
			t.Errorf("Frame(%d): %v", i, err)
		}
	}
}

func ExampleEvening_Begin() {
	site, _ := ephem.NewSite(47.2, 11.4, 600)
	e, _ := Practice(site, time.Date(2026, 1, 10, 20, 0, 0, 0, time.UTC))
	e.Mount.AltitudeError = unit.AngleFromMin(-25)
	e.Mount.AzimuthError = unit.AngleFromMin(40)
	run, err := e.Begin()
	if err != nil {
		fmt.Println(err)
		return
	}
	truth, _ := run.Truth()
	fmt.Printf("axis %.2f° high, pole %.2f°\n", truth.AxisAltitudeDeg, truth.RefractedPole.AltitudeDeg)
	fmt.Printf("%s at %s\n", truth.Frames[1].File, truth.Frames[1].StartUTC)
	// Output:
	// axis 46.80° high, pole 47.21°
	// sky-002.jpg at 2026-01-10T20:00:20Z
}
