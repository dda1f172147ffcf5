package exposure

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/star"
)

// scape is a picture of something that is no sky, shades from 0 (black) to 1.
type scape struct {
	w, h int
	pix  []float64
	r    *rand.Rand
}

func newScape(w, h int, level float64, r *rand.Rand) *scape {
	s := &scape{w, h, make([]float64, w*h), r}
	for i := range s.pix {
		s.pix[i] = level
	}
	return s
}

func (s *scape) between(a, b float64) float64 { return a + (b-a)*s.r.Float64() }

// fill paints what lies inside; inside is 0 to 1.
func (s *scape) fill(x0, y0, x1, y1 float64, shade float64, inside func(x, y float64) float64) {
	for y := max(0, int(y0)); y <= min(s.h-1, int(y1)); y++ {
		for x := max(0, int(x0)); x <= min(s.w-1, int(x1)); x++ {
			k := inside(float64(x), float64(y))
			s.pix[y*s.w+x] += k * (shade - s.pix[y*s.w+x])
		}
	}
}

func (s *scape) box(x, y, w, h, shade float64) {
	s.fill(x, y, x+w, y+h, shade, func(_, _ float64) float64 { return 1 })
}

// leaf is an ellipse with soft edges.
func (s *scape) leaf(x, y, long, short, angle, shade float64) {
	sn, cs := math.Sincos(angle)
	s.fill(x-long-2, y-long-2, x+long+2, y+long+2, shade, func(px, py float64) float64 {
		u, v := (px-x)*cs+(py-y)*sn, (py-y)*cs-(px-x)*sn
		return 1 / (1 + math.Exp(4*(math.Hypot(u/long, v/short)-1)*short))
	})
}

// glow adds the light of a lamp.
func (s *scape) glow(x, y, sigma, light float64) {
	reach := 5 * sigma
	for j := max(0, int(y-reach)); j <= min(s.h-1, int(y+reach)); j++ {
		for i := max(0, int(x-reach)); i <= min(s.w-1, int(x+reach)); i++ {
			d2 := (float64(i)-x)*(float64(i)-x) + (float64(j)-y)*(float64(j)-y)
			s.pix[j*s.w+i] += light * math.Exp(-d2/(2*sigma*sigma))
		}
	}
}

// blur is a running mean over 2k+1 pixels, both ways, twice.
func (s *scape) blur(k int) {
	if k == 0 {
		return
	}
	line := make([]float64, max(s.w, s.h))
	for range 2 {
		for y := range s.h {
			runMean(s.pix[y*s.w:(y+1)*s.w], 1, s.w, k, line)
		}
		for x := range s.w {
			runMean(s.pix[x:], s.w, s.h, k, line)
		}
	}
}

func runMean(p []float64, stride, n, k int, line []float64) {
	sum := 0.0
	for i := -k; i < n; i++ {
		if i+k < n {
			sum += p[(i+k)*stride]
		}
		if i-k-1 >= 0 {
			sum -= p[(i-k-1)*stride]
		}
		if i >= 0 {
			line[i] = sum / float64(min(n-1, i+k)-max(0, i-k)+1)
		}
	}
	for i := range n {
		p[i*stride] = line[i]
	}
}

// grain adds noise.
func (s *scape) grain(sigma float64) {
	for i := range s.pix {
		s.pix[i] += sigma * s.r.NormFloat64()
	}
}

// octaves is noise whose size grows by the slope with its length: 0 white, 1 pink, 2 brown.
func (s *scape) octaves(slope, size float64) {
	for step := 1; step < s.w; step *= 2 {
		gw, gh := s.w/step+2, s.h/step+2
		grid := make([]float64, gw*gh)
		for i := range grid {
			grid[i] = s.r.NormFloat64() * size * math.Pow(float64(step), slope/2) / 8
		}
		for y := range s.h {
			for x := range s.w {
				fx, fy := float64(x)/float64(step), float64(y)/float64(step)
				i, j := int(fx), int(fy)
				u, v := fx-float64(i), fy-float64(j)
				a := grid[j*gw+i]*(1-u) + grid[j*gw+i+1]*u
				b := grid[(j+1)*gw+i]*(1-u) + grid[(j+1)*gw+i+1]*u
				s.pix[y*s.w+x] += a*(1-v) + b*v
			}
		}
	}
}

func (s *scape) jpeg(t testing.TB) []byte {
	t.Helper()
	g := image.NewGray(image.Rect(0, 0, s.w, s.h))
	for i, v := range s.pix {
		g.SetGray(i%s.w, i/s.w, color.Gray{Y: uint8(math.Round(255 * min(max(v, 0), 1)))})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, g, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// unstarry are kinds of pictures without a star, each drawn anew for every seed.
var unstarry = []struct {
	name string
	draw func(s *scape)
}{
	{"white noise", func(s *scape) { s.octaves(0, s.between(0.1, 0.8)) }},
	{"pink noise", func(s *scape) { s.octaves(1, s.between(0.1, 0.6)) }},
	{"brown noise", func(s *scape) { s.octaves(2, s.between(0.05, 0.3)); s.grain(0.01) }},
	{"dark noise", func(s *scape) { s.darken(0.06); s.octaves(0.5, 0.05) }},
	{"edges", func(s *scape) {
		for range 30 {
			s.box(s.between(-100, 900), s.between(-100, 600), s.between(5, 400), s.between(5, 400), s.r.Float64())
		}
		s.grain(0.01)
	}},
	{"foliage", func(s *scape) {
		for range 4000 {
			s.leaf(s.between(0, 960), s.between(0, 640), s.between(2, 9), s.between(1, 4), s.between(0, math.Pi), s.between(0, 0.8))
		}
		s.blur(s.r.IntN(2))
		s.grain(0.01)
	}},
	{"foliage before the sky", func(s *scape) {
		s.darken(0.2)
		for range 1500 {
			s.leaf(s.between(0, 960), 640*math.Sqrt(s.r.Float64()), s.between(1, 6), s.between(1, 3), s.between(0, math.Pi), s.between(0, 0.2))
		}
		for range 60 { // gaps in the leaves
			s.leaf(s.between(0, 960), s.between(200, 640), s.between(1, 4), s.between(1, 3), s.between(0, math.Pi), s.between(0.5, 1))
		}
		s.grain(0.01)
	}},
	{"text", func(s *scape) {
		s.darken(0.9)
		for y := 20.0; y < 620; y += 14 {
			for x := 20.0; x < 930; x += 8 {
				if s.r.Float64() < 0.15 {
					continue
				}
				for range 3 {
					if s.r.IntN(2) == 0 {
						s.box(x+float64(s.r.IntN(4)), y, 1, float64(4+s.r.IntN(5)), 0.1)
					} else {
						s.box(x, y+float64(s.r.IntN(7)), float64(2+s.r.IntN(4)), 1, 0.1)
					}
				}
			}
		}
		s.blur(s.r.IntN(2))
	}},
	{"white on black text", func(s *scape) {
		s.darken(0.02)
		for y := 20.0; y < 620; y += 40 {
			for x := 20.0; x < 930; x += 8 {
				for range 2 {
					s.box(x+float64(s.r.IntN(4)), y+float64(s.r.IntN(6)), float64(1+s.r.IntN(3)), float64(1+s.r.IntN(3)), 0.9)
				}
			}
		}
		s.blur(s.r.IntN(2))
		s.grain(0.01)
	}},
	{"windows at night", func(s *scape) {
		s.darken(0.03)
		w, h := s.between(4, 14), s.between(5, 18)
		for y := 60.0; y < 600; y += 3 * h {
			for x := 30.0; x < 930; x += 2.5 * w {
				if s.r.Float64() < 0.3 {
					s.box(x, y, w, h, s.between(0.2, 1))
				}
			}
		}
		s.blur(1)
		s.grain(0.01)
	}},
	{"far windows at night", func(s *scape) {
		s.darken(0.03)
		for range 150 {
			s.box(math.Floor(s.between(0, 960)), math.Floor(s.between(250, 600)), s.between(1, 5), s.between(1, 6), s.between(0.1, 1))
		}
		s.blur(1)
		s.grain(0.01)
	}},
	{"street lamps", func(s *scape) {
		s.darken(0.04)
		for i := range 14 {
			size := 40 / (1 + float64(i))
			for _, side := range []float64{-1, 1} {
				x, y := 480+side*10*size, 330-4*size
				s.glow(x, y, 0.3*size+0.8, 1.5)
				s.glow(x, y, 1.5*size, 0.2)
			}
		}
		s.grain(0.01)
	}},
	{"glints on water", func(s *scape) {
		s.darken(0.3)
		s.octaves(1, 0.1)
		for range 400 {
			s.leaf(s.between(0, 960), s.between(100, 640), s.between(1, 10), s.between(0.8, 2), s.between(-0.2, 0.2), s.between(0.6, 1.3))
		}
	}},
	{"lights out of focus", func(s *scape) {
		s.darken(0.05)
		for range 40 {
			r := s.between(5, 30)
			s.leaf(s.between(0, 960), s.between(0, 640), r, r, 0, s.between(0.2, 1))
		}
		s.grain(0.01)
	}},
	{"snow", func(s *scape) {
		s.darken(0.15)
		for range 250 {
			s.glow(s.between(0, 960), s.between(0, 640), s.between(1, 8), s.between(0.05, 0.5))
		}
		s.grain(0.01)
	}},
	{"bricks", func(s *scape) {
		s.darken(0.5)
		for y := 0; y < 640; y += 20 {
			for x := -40 + (y/20%2)*25; x < 960; x += 50 {
				s.box(float64(x), float64(y), 46, 16, s.between(0.3, 0.5))
			}
		}
		s.octaves(0.5, 0.1)
	}},
	{"gravel", func(s *scape) {
		for range 6000 {
			r := s.between(1.5, 6)
			s.leaf(s.between(0, 960), s.between(0, 640), r, r*s.between(0.6, 1), s.between(0, 3), s.between(0.1, 0.9))
		}
		s.grain(0.02)
	}},
	{"clouds by day", func(s *scape) { s.darken(0.6); s.octaves(2.2, 0.15); s.blur(3) }},
	{"room with a lamp", func(s *scape) {
		s.darken(0.1)
		s.glow(s.between(200, 800), s.between(100, 500), s.between(10, 60), 2)
		for range 12 {
			s.box(s.between(0, 900), s.between(300, 600), s.between(10, 200), s.between(10, 100), s.between(0.02, 0.2))
		}
		for range 5 {
			s.glow(s.between(0, 960), s.between(0, 640), s.between(0.8, 3), s.between(0.2, 1))
		}
		s.grain(0.01)
	}},
	{"dotted lines", func(s *scape) {
		s.darken(0.2)
		for range 5 {
			x, y, a := s.between(300, 600), s.between(200, 400), s.between(0, math.Pi)
			for i := range 25 {
				s.glow(x+float64(8*i)*math.Cos(a), y+float64(8*i)*math.Sin(a), 1.4, 0.5)
			}
		}
		s.grain(0.005)
	}},
	{"a single lamp", func(s *scape) {
		s.darken(0.02)
		s.glow(s.between(100, 860), s.between(100, 540), s.between(1, 3), 0.8)
		s.grain(0.01)
	}},
	{"faces of dust", func(s *scape) {
		s.darken(0.7)
		for range 25 {
			r := s.between(3, 20)
			s.leaf(s.between(0, 960), s.between(0, 640), r, r, 0, s.between(0.55, 0.68))
		}
		for range 12 {
			s.glow(s.between(0, 960), s.between(0, 640), s.between(0.8, 4), s.between(0.05, 0.3))
		}
		s.grain(0.005)
	}},
}

func (s *scape) darken(level float64) {
	for i := range s.pix {
		s.pix[i] = level
	}
}

// measuredFiles are pictures decoded and searched for stars, as files are; nobody tries to recognise them.
func measuredFiles(t testing.TB, files map[string][]byte, order []string) []Shot {
	t.Helper()
	var q drift.Sequence
	for _, name := range order {
		f, err := frame.Decode(bytes.NewReader(files[name]), frame.Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := drift.Shot{File: name, Width: f.Plane.Width, Height: f.Plane.Height}
		if s.Field, err = star.Find(context.Background(), f.Plane, star.Options{}); err != nil {
			t.Fatal(err)
		}
		q.Shots = append(q.Shots, s)
	}
	return Shots(q)
}

// notStars are three pictures of every kind.
func notStars(t testing.TB) (shots []Shot) {
	t.Helper()
	files := map[string][]byte{}
	var order []string
	for k, u := range unstarry {
		for seed := range uint64(3) {
			s := newScape(960, 640, 0.5, rand.New(rand.NewPCG(seed, uint64(k))))
			u.draw(s)
			name := fmt.Sprintf("%s %d.jpg", u.name, seed)
			files[name], order = s.jpeg(t), append(order, name)
		}
	}
	return measuredFiles(t, files, order)
}

// TestNoStarsAreNotRound: of pictures without a star none is called round, nor anything else, each alone and all together.
func TestNoStarsAreNotRound(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures some sixty pictures")
	}
	shots := notStars(t)
	if len(shots) < 60 {
		t.Fatalf("%d pictures", len(shots))
	}
	for _, s := range shots {
		v := judge(t, []Shot{s}, Question{})
		if f := v.Frames[0]; v.Round != 0 || f.Round || f.Elongation > 0 {
			t.Errorf("%s: %d round, %+v", s.File, v.Round, f)
		}
		if len(telling(s.Stars)) > 0 && v.Unsure == DoubtNone || strings.Contains(v.Advice.String(), "the one is round") {
			t.Errorf("%s: doubt %q, advice %q", s.File, v.Unsure, v.Advice)
		}
	}
	if v := judge(t, shots, Question{}); v.Round != 0 || v.Unsure == DoubtNone || !v.Advice.Same(v.Unsure.Says()) {
		t.Errorf("together: %d round, doubt %q, %s", v.Round, v.Unsure, v.Advice)
	}
}

// fieldOf is a narrow field of stars as no catalogue knows them: the numbers grow tenfold for every tenth of the light, as stars'
// do at the most (0.6 a magnitude would be 15-fold; common practice); trailed alike, drawn out from the middle toward the corners by the lens.
func (s *scape) fieldOf(n int, sigma, trail, lens float64) {
	s.darken(s.between(0.002, 0.02)) // linear light
	direction := s.between(0, math.Pi)
	for range n {
		x, y := s.between(20, 940), s.between(20, 620)
		light := 0.02 / (0.02 + 0.98*s.r.Float64()) // most of 0.02, one in fifty of 1
		u, v := (x-480)/577, (y-320)/577
		lx, ly := lens*u*math.Hypot(u, v), lens*v*math.Hypot(u, v)
		const steps = 5
		for i := range steps {
			for k := range steps {
				a, b := (float64(i)+0.5)/steps-0.5, (float64(k)+0.5)/steps-0.5
				s.glow(x+a*trail*math.Cos(direction)+b*lx, y+a*trail*math.Sin(direction)+b*ly, sigma, light/steps/steps)
			}
		}
	}
	s.grain(0.0008)
	for i, p := range s.pix { // IEC 61966-2-1
		if p = max(p, 0); p <= 0.0031308 {
			s.pix[i] = 12.92 * p
		} else {
			s.pix[i] = 1.055*math.Pow(p, 1/2.4) - 0.055
		}
	}
}

// TestNarrowFieldsAreJudged: real stars that nobody recognises are judged all the same.
func TestNarrowFieldsAreJudged(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures some thirty pictures")
	}
	files, order := map[string][]byte{}, []string{}
	round := map[string]bool{}
	for k, n := range []int{10, 20, 40, 120} {
		for seed := range uint64(8) {
			s := newScape(960, 640, 0, rand.New(rand.NewPCG(seed, 77+uint64(k))))
			sigma, trail := s.between(0.9, 2), []float64{0, 0, 5}[seed%3]
			s.fieldOf(n, sigma, trail*sigma, []float64{0, 3}[seed%2])
			name := fmt.Sprintf("%d stars %d.jpg", n, seed)
			files[name], order, round[name] = s.jpeg(t), append(order, name), trail == 0
		}
	}
	for _, s := range measuredFiles(t, files, order) {
		v := judge(t, []Shot{s}, Question{})
		if f := v.Frames[0]; f.Doubt != DoubtNone || f.Elongation == 0 || f.Elongation < 1.25 != round[s.File] {
			t.Errorf("%s: %d spots, %d telling, doubt %q, elongation %.2f, want round %v", s.File, len(s.Stars), len(telling(s.Stars)), f.Doubt, f.Elongation, round[s.File])
		}
	}
}

// TestDoubtAmongStars: a picture of lamps among pictures of stars says nothing of them; one with a few stars through cloud, as wide as the
// others', is judged as they are.
func TestDoubtAmongStars(t *testing.T) {
	e := evening(t, 180, 50)
	d := drawing{fwhm: 2.7, random: rand.New(rand.NewPCG(5, 5))}
	shots := shotsOf(t, e, d)
	few, lamps := shots[1], shots[2]
	few.Attitude, few.FocalPx, few.Optics, few.Recognised, few.Stars = nil, 0, nil, nil, few.Stars[:4]
	lamps.Attitude, lamps.FocalPx, lamps.Optics, lamps.Recognised, lamps.Stars = nil, 0, nil, nil, nil
	for i, s := range shots[2].Stars {
		s.FWHM *= 1 + float64(i%7)
		lamps.Stars = append(lamps.Stars, s)
	}
	shots[1], shots[2] = few, lamps
	v := judge(t, shots, Question{})
	if v.Frames[1].Doubt != DoubtNone || v.Frames[1].Elongation == 0 {
		t.Errorf("few stars: %+v", v.Frames[1])
	}
	if f := v.Frames[2]; f.Doubt != DoubtWidths || f.Round || f.Elongation > 0 {
		t.Errorf("lamps: %+v", f)
	}
	if v.Unsure != DoubtNone || !strings.Contains(v.Advice.String(), "one picture may not show stars") {
		t.Errorf("%q %s", v.Unsure, v.Advice)
	}
}
