package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math"
	"math/rand/v2"
	"strings"

	"trueturn/cmd/study/scene"
	"trueturn/cmd/study/sheet"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/catalog"
)

// solveWeather is what stands between a picture and the stars.
type solveWeather struct {
	name                    string
	clouds, landscape, moon bool
	starless                bool
}

func solveWeathers() []solveWeather {
	return []solveWeather{
		{name: "clear"},
		{name: "clouds", clouds: true},
		{name: "landscape and lamps", landscape: true},
		{name: "Moon beside the picture", moon: true},
		{name: "clouds, landscape, Moon", clouds: true, landscape: true, moon: true},
		{name: "clouds, landscape, Moon, no stars", clouds: true, landscape: true, moon: true, starless: true},
	}
}

// solveShots is what the pictures came to.
type solveShots struct {
	kinds  []solveTally // at least twelve true stars found
	few    []solveTally // fewer
	all    solveTally   // all kinds of the first with a sky
	which  []string     // wrong ones
	trials int
}

// solvePictures draws n pictures of 1 to 3 megapixels, stores them as JPEG and has them measured.
func solvePictures(ctx context.Context, o options, n int) (s solveShots, err error) {
	s.trials = n
	kinds := solveWeathers()
	outcomes, known := make([]solveOutcome, n), make([]int, n)
	err = o.each(ctx, "picture", n, func(i int) (err error) {
		known[i], outcomes[i], err = kinds[i%len(kinds)].try(ctx, o.rng("picture", i))
		return err
	})
	for _, k := range kinds {
		s.kinds, s.few = append(s.kinds, solveTally{name: k.name}), append(s.few, solveTally{name: k.name})
	}
	for i, out := range outcomes {
		k := i % len(kinds)
		switch {
		case known[i] < 12 && !kinds[k].starless:
			s.few[k].add(out)
		default:
			s.kinds[k].add(out)
			if !kinds[k].starless {
				s.all.add(out)
			}
		}
		if out.wrong {
			s.which = append(s.which, fmt.Sprintf("%s, picture %d: log odds %.1f, %.2f° off", kinds[k].name, i, out.logOdds, out.offDeg))
		}
	}
	return s, err
}

// try draws, stores and measures one picture; known is how many of the stars found are true ones.
func (w solveWeather) try(ctx context.Context, r *rand.Rand) (known int, out solveOutcome, err error) {
	p := w.picture(r)
	file, err := p.jpeg()
	if err != nil {
		return 0, out, err
	}
	src := drift.Source{Name: "sky.jpg", Open: func() (io.ReadSeekCloser, error) { return solveFile{bytes.NewReader(file)}, nil }}
	shot, err := drift.MeasureOne(ctx, src, drift.Options{Cores: 1})
	if err != nil || shot.Solution == nil {
		return p.found(shot), out, err
	}
	out.logOdds = shot.Solution.LogOdds
	if out.judge(p.offBy(*shot.Solution), shot.Solution); shot.Solution.Mirrored || w.starless {
		out.wrong, out.solved, out.unsure = true, false, false
	}
	return p.found(shot), out, nil
}

// solveFile is a picture in memory.
type solveFile struct{ *bytes.Reader }

// Close has nothing to close.
func (solveFile) Close() error { return nil }

// solveLit is a star of a picture: where it is, and its electrons.
type solveLit struct{ x, y, electrons float64 }

// solvePicture is a picture in the making.
type solvePicture struct {
	solveWeather
	solvePlot
	r      *rand.Rand
	canvas *scene.Canvas
	stars  []solveLit
	plane  frame.Plane
}

// The sensor and the sky of all pictures: electrons a pixel; a star as wide as phones show it, px.
const (
	solveSkyElectrons = 200
	solveReadNoise    = 3
	solveFullScale    = 8000
	solveStarWidth    = 2.6
)

// picture draws light and noise.
func (w solveWeather) picture(r *rand.Rand) *solvePicture {
	sizes := [][2]int{{1280, 960}, {1224, 1632}, {2016, 1512}}
	size := sizes[r.IntN(len(sizes))]
	plan := usualField(r)
	plan.width, plan.height, plan.stars = size[0], size[1], 0
	p := &solvePicture{solveWeather: w, solvePlot: plan.draw(r), r: r}
	p.canvas = scene.NewCanvas(size[0], size[1], solveSkyElectrons)
	if !w.starless {
		p.shine()
	}
	p.glow()
	p.landscape()
	p.plane = p.canvas.Develop(scene.Sensor{ReadNoise: solveReadNoise, FullScale: solveFullScale}, r)
	for range 20 + r.IntN(100) { // hot pixels
		p.plane.Pix[r.IntN(len(p.plane.Pix))] += float32(0.05 + r.Float64())
	}
	return p
}

// shine adds the stars: of 40 to 320 that the picture could hold the faintest stands eight times above the noise.
func (p *solvePicture) shine() {
	type seen struct{ x, y, mag float64 }
	var all []seen
	count := 40 << p.r.IntN(4)
	for _, s := range catalog.Stars() {
		if x, y, in := p.camera.Pixel(p.aim, s.Direction); in {
			if all = append(all, seen{x, y, float64(s.Magnitude)}); len(all) == 2*count {
				break
			}
		}
	}
	if len(all) == 0 {
		return
	}
	// The noise under a star fitted at its best is √(4π)·σ pixels' worth (common practice; for a Gaussian of width σ).
	sigma := solveStarWidth / scene.FWHMOfSigma
	least := 8 * math.Sqrt(4*math.Pi) * sigma * math.Sqrt(solveSkyElectrons+solveReadNoise*solveReadNoise)
	faintest := all[min(count, len(all))-1].mag
	for _, s := range all {
		p.stars = append(p.stars, solveLit{s.x, s.y, least * math.Pow(10, -0.4*(s.mag+0.2*p.r.NormFloat64()-faintest))})
	}
	for _, s := range p.stars {
		p.canvas.Star(scene.Gaussian(solveStarWidth), scene.Still(s.x, s.y), s.electrons)
	}
}

// solveWave is a plane wave across the picture; some of them make clouds or a skyline.
type solveWave struct{ kx, ky, phase, height float64 }

func (p *solvePicture) waves(n int) []solveWave {
	ws := make([]solveWave, n)
	d := math.Hypot(float64(p.canvas.Width), float64(p.canvas.Height))
	for i := range ws {
		k, direction := 2*math.Pi/(d*solveBetween(p.r, 0.15, 1)), 2*math.Pi*p.r.Float64()
		ws[i] = solveWave{k * math.Cos(direction), k * math.Sin(direction), 2 * math.Pi * p.r.Float64(), math.Sqrt(2 / float64(n))}
	}
	return ws
}

// solveSum is of unit variance over many pictures.
func solveSum(ws []solveWave, x, y float64) (s float64) {
	for _, w := range ws {
		s += w.height * math.Cos(w.kx*x+w.ky*y+w.phase)
	}
	return s
}

// glow dims what is behind clouds, by up to some magnitudes over about half of the picture, lights the clouds, and adds the
// Moon's light, five times the sky's in one corner.
func (p *solvePicture) glow() {
	if !p.clouds && !p.moon {
		return
	}
	ws := p.waves(8)
	w, h := float64(p.canvas.Width), float64(p.canvas.Height)
	mx, my, reach := float64(p.r.IntN(2))*w, float64(p.r.IntN(2))*h, 0.3*math.Hypot(w, h)
	for i, e := range p.canvas.Electrons {
		x, y := float64(i%p.canvas.Width), float64(i/p.canvas.Width)
		light := e
		if p.clouds {
			clear := math.Exp(-1.5 * max(0, solveSum(ws, x, y)))
			light = clear*e + 1.6*(1-clear)*solveSkyElectrons
		}
		if p.moon {
			light += 5 * solveSkyElectrons * math.Exp(-math.Hypot(x-mx, y-my)/reach)
		}
		p.canvas.Electrons[i] = light
	}
}

// landscape covers 30 to 60 % of the picture from below with dark ground behind a skyline, and sets lamps in it.
func (p *solvePicture) landscape() {
	if !p.solveWeather.landscape {
		return
	}
	ws := p.waves(5)
	c := p.canvas
	level := float64(c.Height) * solveBetween(p.r, 0.4, 0.7)
	ground := func(x, y float64) bool { return y > level+0.06*float64(c.Height)*solveSum(ws, x, 0) }
	for i := range c.Electrons {
		if x, y := float64(i%c.Width), float64(i/c.Width); ground(x, y) {
			c.Electrons[i] = solveSkyElectrons * (0.15 + 0.05*math.Sin(x/3)*math.Sin(y/5)) // leaves, tiles: something with edges
		}
	}
	for range 3 + p.r.IntN(20) {
		x := p.r.Float64() * float64(c.Width)
		y := level + p.r.Float64()*(float64(c.Height)-level)
		c.Star(scene.Gaussian(solveBetween(p.r, 2, 12)), scene.Still(x, y), math.Pow(10, solveBetween(p.r, 3.5, 6)))
	}
}

// jpeg stores the picture in eight bits with the sRGB curve (IEC 61966-2-1).
func (p *solvePicture) jpeg() ([]byte, error) {
	g := image.NewGray(image.Rect(0, 0, p.plane.Width, p.plane.Height))
	for i, v := range p.plane.Pix {
		x := min(max(float64(v), 0), 1)
		if x <= 0.0031308 {
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		g.SetGray(i%p.plane.Width, i/p.plane.Width, color.Gray{Y: uint8(math.Round(255 * x))})
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, g, &jpeg.Options{Quality: 85 + p.r.IntN(13)})
	return b.Bytes(), err
}

// found counts the true stars among those measured.
func (p *solvePicture) found(s drift.Shot) (n int) {
	const nearPx = 1.5
	for _, t := range p.stars {
		for _, m := range s.Field.Stars {
			if math.Hypot(m.X-t.x, m.Y-t.y) < nearPx {
				n++
				break
			}
		}
	}
	return n
}

func (s *solveShots) report(c *sheet.Chapter) {
	c.Head("Pictures")
	c.Say("JPEG of 1 to 3 megapixels, 8–75° across, nothing said of the lens, measured by drift.MeasureOne: 40 to 320 stars that a clear picture would show, hot pixels, clouds that dim and shine, ground with lamps over 30 to 60 %% of the picture, five times the sky's light in one corner. Counted by how many true stars were found.")
	t := sheet.Table{Columns: []string{"", "trials", "solved, %", "unsure", "wrong"}}
	for i := range s.kinds {
		for j, k := range []solveTally{s.kinds[i], s.few[i]} {
			if failed, err := k.failed(); k.trials > 0 {
				name := k.name
				if !strings.Contains(name, "no stars") {
					name += []string{", ≥ 12 stars", ", fewer"}[j]
				}
				t.Row(name, k.trials, sheet.PlusMinus(100-failed, err, 1), k.unsure, k.wrong)
			}
		}
	}
	c.Table(t)
	for _, w := range s.which {
		c.Say("Wrong: %s.", w)
	}
}
