package align

import (
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/turn"
)

// Patch is a part of the sky in plain words and where it is.
type Patch struct {
	Name string
	At   ephem.Horizontal
}

// Forecast is how well the axis would be known after a further effort, one standard error
// on the sky in the weaker direction.
type Forecast struct {
	MoreSigma   unit.Angle // as many pictures again of the same patch
	SwingSigma  unit.Angle // three more pictures, swung by +30° and −20°
	SwingDeg    float64
	Patch       Patch      // the second patch that helps most
	PatchSigma  unit.Angle // three minutes on it
	PatchHelps  bool       // it beats staying by more than a quarter
	WeakAlong   string     // "altitude", "azimuth" or "" where both are known equally well
	WeakRatio   float64    // of the larger to the smaller standard error on the sky
	PerPicture  time.Duration
	PicturesNow int
}

// Predict forecasts from a session's own pictures: their number, pace and errors. The
// information of the effort is that of the model, laid out without noise, and adds to what
// is known.
func Predict(in Input, a Axis) Forecast {
	f := Forecast{SwingDeg: 30, PicturesNow: len(in.Samples)}
	if len(in.Samples) < 2 || len(a.Theta) == 0 {
		return f
	}
	p := newPlan(in, a)
	f.PerPicture = p.every
	now := inverse2(a.Covariance)
	n := max(len(in.Samples), 3)
	f.MoreSigma = p.after(now, p.track(p.look, 2*n, true), true)
	f.WeakAlong, f.WeakRatio = weakness(a)
	if in.followed() { // a swing, or another patch, leaves the field
		return f
	}
	f.SwingSigma = p.after(now, p.swung(p.look), false)
	three := max(3, int(math.Round(180/max(p.every.Seconds(), 10))))
	best := math.Inf(1)
	for _, c := range patches(in.Site) {
		look := p.hold(c.At.Direction())
		if s := p.after(now, p.track(look, three, false), false); float64(s) < best {
			best, f.Patch, f.PatchSigma = float64(s), c, s
		}
	}
	f.PatchHelps = f.PatchSigma < f.MoreSigma*3/4
	return f
}

// patches are the places a second measurement may use.
func patches(site ephem.Site) []Patch {
	south := 180.0 // where the sky opens away from the pole
	if site.Latitude < 0 {
		south = 0
	}
	h := func(az, alt float64) ephem.Horizontal {
		return ephem.Horizontal{Azimuth: unit.AngleFromDeg(az), Altitude: unit.AngleFromDeg(alt)}
	}
	return []Patch{
		{"east, half way up", h(90, 40)},
		{"west, half way up", h(270, 40)},
		{"on the meridian, away from the pole, half way up", h(south, 45)},
	}
}

// plan lays out pictures not yet taken.
type plan struct {
	axis   r3.Vec // north end
	look   turn.Turn
	weight *r3.Mat
	every  time.Duration
	south  bool
}

func newPlan(in Input, a Axis) plan {
	p := plan{axis: a.Direction, south: in.Site.Latitude < 0}
	if p.south {
		p.axis = r3.Scale(-1, p.axis)
	}
	last := in.Samples[len(in.Samples)-1]
	p.look, _ = last.Attitude.Given(a.WanderPx)
	var ws []*r3.Mat
	var gaps []time.Duration
	for i, s := range in.Samples {
		_, cov := s.Attitude.Given(a.WanderPx)
		w, _ := turn.Invert(turn.Mat(cov))
		ws = append(ws, w)
		if i > 0 {
			gaps = append(gaps, s.Mid.Sub(in.Samples[i-1].Mid))
		}
	}
	slices.SortFunc(ws, func(x, y *r3.Mat) int {
		if x.At(0, 0)+x.At(1, 1) < y.At(0, 0)+y.At(1, 1) {
			return -1
		}
		return 1
	})
	slices.Sort(gaps)
	p.weight = ws[len(ws)/2]
	p.every = max(gaps[len(gaps)/2], 5*time.Second)
	return p
}

// hold is the attitude of the same camera looking elsewhere.
func (p plan) hold(at r3.Vec) turn.Turn {
	return holding(at, r3.Add(at, r3.Vec{X: 0.01, Y: 0.02, Z: -0.03}))
}

// track is n pictures of a tracking mount from an attitude on; back starts them before
// it, as a longer run of the present patch.
func (p plan) track(look turn.Turn, n int, back bool) []turn.Turn {
	var cs []turn.Turn
	start := 0
	if back {
		start = -n / 2
	}
	for i := range n {
		angle := ephem.SiderealRadPerS * p.every.Seconds() * float64(i+start)
		cs = append(cs, turn.About(p.axis, unit.Angle(angle)).Then(look))
	}
	return cs
}

// swung is three pictures at the start and after swings to +30° and −20°.
func (p plan) swung(look turn.Turn) []turn.Turn {
	var cs []turn.Turn
	for _, deg := range [...]float64{0, 30, -20} {
		cs = append(cs, turn.About(p.axis, unit.AngleFromDeg(deg)).Then(look))
	}
	return cs
}

// after is the standard error in the weaker direction with the plan's information
// added; instead replaces what is known (the plan repeats it).
func (p plan) after(now [2][2]float64, cs []turn.Turn, instead bool) unit.Angle {
	m := &model{shared: map[int]int{}, link: []float64{0}, axis: []r3.Vec{p.axis}}
	for _, c := range cs {
		m.obs = append(m.obs, observation{c: c, weight: p.weight})
		m.used = append(m.used, true)
	}
	m.theta = make([]float64, len(cs))
	m.blocks = []block{{members: upTo(len(cs)), c0: cs[len(cs)/2]}}
	m.readTheta()
	e := m.normal(nil)
	var chol mat.Cholesky
	cov := mat.NewSymDense(m.size(), nil)
	if !chol.Factorize(e.n) || chol.InverseTo(cov) != nil {
		return unit.Angle(math.Inf(1))
	}
	cross := cov.At(0, 1)
	if p.south { // as Axis.elevate
		cross = -cross
	}
	info := inverse2([2][2]float64{{cov.At(0, 0), cross}, {cross, cov.At(1, 1)}})
	if !instead {
		for r := range 2 {
			for c := range 2 {
				info[r][c] += now[r][c]
			}
		}
	}
	return Axis{Covariance: inverse2(info)}.WorstSigma()
}

func inverse2(m [2][2]float64) [2][2]float64 {
	det := m[0][0]*m[1][1] - m[0][1]*m[1][0]
	return [2][2]float64{{m[1][1] / det, -m[0][1] / det}, {-m[1][0] / det, m[0][0] / det}}
}

// weakness says whether one of altitude and azimuth is known much worse, as seen on the sky.
func weakness(a Axis) (along string, ratio float64) {
	az, alt := math.Sqrt(a.Covariance[0][0]), math.Sqrt(a.Covariance[1][1])
	c := a.Covariance
	mean, half := (c[0][0]+c[1][1])/2, math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	ratio = math.Sqrt((mean + half) / math.Max(mean-half, 1e-30))
	switch {
	case ratio < 2:
		return "", ratio
	case alt > az:
		return "altitude", ratio
	}
	return "azimuth", ratio
}
