package align

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// giving lists the small turns a camera that is not held rigidly may make besides turning about the axis. Each is a
// course – a number for every picture – times a rotation vector of three unknowns, in radians, that the pictures must
// show.
type giving struct {
	course [][]float64     // of every picture, by number
	bases  int             // how many courses, the last ones, have their vector in the horizon frame, not in the camera's
	frames []*r3.Mat       // of every picture: what takes the horizon frame to the camera's
	coef   []float64       // three to a course
	jumps  int             // how often the session is parted by a knock
	parts  map[part][2]int // first course of a part, and one past its last
	order  []part
}

// part is one way of giving.
type part struct {
	kind     partKind
	constant float64 // of settling: time constant as a share of the session
}

type partKind uint8

const (
	elastic      partKind = iota // K·g: a column of K to each component of gravity
	steady                       // evenly with time
	walking                      // at random with time
	sticking                     // at random with the way of gravity in the camera's frame: friction
	settling                     // of the camera, more and more slowly
	settlingBase                 // of tripod and mount together
)

// elasticUnknowns are the nine of K, the first of a giving, column by column.
const elasticUnknowns = 9

func (g *giving) has(p part) bool {
	_, ok := g.parts[p]
	return ok
}

// settleTimes are the time constants tried, as shares of the session. Between them an exponential is followed by its
// derivative; what takes much longer than the session cannot be told from going on evenly.
var settleTimes = [...]float64{0.06, 0.09, 0.14, 0.2, 0.3, 0.45, 0.7, 1, 1.5, 2.3}

// settleStep is how far apart two neighbours are, in logarithms: a standard deviation of the derivative's share.
const settleStep = 0.13

// mostWaves bounds the waves a random walk is made of.
const mostWaves = 24

var axes3 = [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}

// newGiving lays the ways of giving out for a session whose attitudes are about those given.
func newGiving(mids []time.Time, about []turn.Turn) *giving {
	n := len(mids)
	g := &giving{course: make([][]float64, n), parts: map[part][2]int{}}
	span := max(mids[n-1].Sub(mids[0]).Seconds(), 1)
	at := make([]float64, n) // time from 0 to 1
	for i := range at {
		at[i] = mids[i].Sub(mids[0]).Seconds() / span
	}
	g.addElastic(about)
	g.add(part{kind: steady}, func(i int) []float64 { return []float64{at[i] - 0.5} })
	waves := min(max(n-2, 1), mostWaves)
	g.add(part{kind: walking}, func(i int) []float64 { return waved(at[i], waves) })
	way, swung := wayOf(about)
	if swung {
		g.add(part{kind: sticking}, func(i int) []float64 { return waved(way[i], waves) })
	}
	for _, c := range settleTimes {
		g.add(part{settling, c}, func(i int) []float64 { return gone(at[i], c) })
	}
	if swung { // else both frames are one
		camera := len(g.course[0])
		for _, c := range settleTimes {
			g.add(part{settlingBase, c}, func(i int) []float64 { return gone(at[i], c) })
		}
		g.bases = len(g.course[0]) - camera
	}
	for _, c := range about {
		g.frames = append(g.frames, c.Mat())
	}
	g.coef = make([]float64, 3*len(g.course[0]))
	return g
}

// gone is an exponential that ends at nothing, and what it changes by for settleStep in the logarithm of its constant.
func gone(at, constant float64) []float64 {
	e, end := math.Exp(-at/constant), math.Exp(-1/constant)
	return []float64{e - end, settleStep / constant * (at*e - end)}
}

func (g *giving) add(p part, course func(i int) []float64) {
	first := len(g.course[0])
	for i := range g.course {
		g.course[i] = append(g.course[i], course(i)...)
	}
	g.parts[p], g.order = [2]int{first, len(g.course[0])}, append(g.order, p)
}

// addElastic adds K: the camera turns by K·g, g being where gravity pulls in its frame.
func (g *giving) addElastic(about []turn.Turn) {
	var mean r3.Vec
	for _, c := range about {
		mean = r3.Add(mean, r3.Scale(1/float64(len(about)), down(c)))
	}
	g.add(part{kind: elastic}, func(i int) []float64 {
		d := r3.Sub(down(about[i]), mean)
		return []float64{d.X, d.Y, d.Z}
	})
}

// down is the direction of gravity in the frame of a camera.
func down(c turn.Turn) r3.Vec { return c.Apply(r3.Vec{Z: -1}) }

// waved is a random walk of unit size over a unit of time as the sum of its Karhunen–Loève waves (M. Loève, Probability
// Theory II, 4th ed., 37.5): √2 sin((k − ½)πt)/((k − ½)π), each with a coefficient of its own of unit variance.
func waved(t float64, waves int) []float64 {
	list := make([]float64, waves)
	for k := range list {
		w := (float64(k) + 0.5) * math.Pi
		list[k] = math.Sqrt2 * math.Sin(w*t) / w
	}
	return list
}

// wayOf is how far gravity has wandered through the camera's frame, from 0 to 1; false where it goes one way only, so
// that it tells nothing the time does not.
func wayOf(about []turn.Turn) (way []float64, swung bool) {
	way = make([]float64, len(about))
	for i := 1; i < len(about); i++ {
		way[i] = way[i-1] + r3.Norm2(r3.Sub(down(about[i]), down(about[i-1])))
	}
	last := way[len(way)-1]
	if last == 0 {
		return nil, false
	}
	there := r3.Norm2(r3.Sub(down(about[len(about)-1]), down(about[0])))
	for i := range way {
		way[i] /= last
	}
	// n equal steps one way go n² times as far as the sum of their squares over n.
	return way, there < last*float64(len(about)-1)/2
}

// turn is what the coefficients turn observation i by.
func (g *giving) turn(i int) (sum r3.Vec) {
	var base r3.Vec
	camera := len(g.course[i]) - g.bases
	for k, v := range g.course[i] {
		by := r3.Scale(v, r3.Vec{X: g.coef[3*k], Y: g.coef[3*k+1], Z: g.coef[3*k+2]})
		if k < camera {
			sum = r3.Add(sum, by)
		} else {
			base = r3.Add(base, by)
		}
	}
	return r3.Add(sum, g.frames[i].MulVec(base))
}

func (g *giving) clone() *giving {
	if g == nil {
		return nil
	}
	c := *g
	c.coef = slices.Clone(g.coef)
	return &c
}

// addCourses adds to a row, from the unknowns of the giving on, what a vector says of them in picture i.
func (g *giving) addCourses(row []float64, i int, v r3.Vec) {
	course := g.course[i]
	base, camera := g.frames[i].MulVecTrans(v), len(course)-g.bases
	for k, c := range course {
		if k == camera {
			v = base
		}
		row[3*k] += c * v.X
		row[3*k+1] += c * v.Y
		row[3*k+2] += c * v.Z
	}
}

// addGiving adds what one picture says of the ways of giving: proj is its weight with the turn about the axis taken
// out, wr that times its residual, cols the derivatives by the unknowns idx of a rigid mount.
func (m *model) addGiving(e *equations, i int, proj *r3.Mat, wr r3.Vec, idx []int, cols []r3.Vec) {
	g, raw := m.giving, e.n.RawSymmetric()
	frame, course := g.frames[i], g.course[i]
	camera, at := len(course)-g.bases, m.atGiving()
	g.addCourses(e.b.RawVector().Data[at:], i, wr)
	for a, c := range cols {
		g.addCourses(raw.Data[idx[a]*raw.Stride+at:], i, proj.MulVec(c))
	}
	var mixed, base r3.Mat // of the camera with the base, and of the base with itself
	mixed.Mul(proj, frame)
	base.Mul(frame.T(), &mixed)
	for k, ck := range course {
		for l := k; l < len(course); l++ {
			b := proj.RawMatrix().Data
			switch {
			case k >= camera:
				b = base.RawMatrix().Data
			case l >= camera:
				b = mixed.RawMatrix().Data
			}
			v := ck * course[l]
			for r := range 3 {
				row := raw.Data[(at+3*k+r)*raw.Stride+at+3*l:]
				row[0] += v * b[3*r]
				row[1] += v * b[3*r+1]
				row[2] += v * b[3*r+2]
			}
		}
	}
}
