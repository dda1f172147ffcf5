package answer

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
)

// written is a file of a session.
type written struct {
	name string
	data []byte
}

func fileOf(t *testing.T, name string, data []byte, err error) written {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return written{name, data}
}

// desk measures each file once.
type desk map[string]drift.Shot

func (d desk) shot(t *testing.T, f written) drift.Shot {
	t.Helper()
	if s, ok := d[f.name]; ok {
		return s
	}
	open := func() (io.ReadSeekCloser, error) { return memory{bytes.NewReader(f.data)}, nil }
	s, err := drift.MeasureOne(context.Background(), drift.Source{Name: f.name, Open: open}, drift.Options{})
	if err != nil {
		t.Fatal(err)
	}
	d[f.name] = s
	return s
}

// answer is what align makes of files.
func (d desk) answer(t *testing.T, e simulate.Evening, files ...written) Answer {
	t.Helper()
	var sources []drift.Source
	for _, f := range files {
		d.shot(t, f)
		sources = append(sources, drift.Source{Name: f.name})
	}
	q, err := drift.Measure(context.Background(), sources, drift.Options{Known: d})
	if err != nil {
		t.Fatal(err)
	}
	return New(q, Options{Site: &e.Site, Air: &e.Air})
}

// usedOf are the files that count, the others with what is said of them.
func usedOf(a Answer) (used []string, whyNot map[string]string) {
	whyNot = map[string]string{}
	for _, f := range a.Frames {
		if f.Used {
			used = append(used, f.File)
		} else {
			whyNot[f.File] = f.WhyNot
		}
	}
	return used, whyNot
}

// demosaiced are the red, green and blue that bilinear demosaicing makes of a mosaic of 12 bits (common practice, no source).
func demosaiced(width int, pix []uint16) (rgb [3]frame.Plane) {
	height := len(pix) / width
	for c := range rgb {
		rgb[c] = frame.Plane{Width: width, Height: height, Saturation: 1, Pix: make([]float32, len(pix))}
	}
	for i := range pix {
		x, y := i%width, i/width
		var sum, n [3]float32
		for k := range 9 {
			X, Y := min(max(x+k%3-1, 0), width-1), min(max(y+k/3-1, 0), height-1)
			colour, own := X&1+Y&1, x&1+y&1
			if beside := X == x || Y == y; colour == own && k != 4 || colour == 1 && !beside {
				continue
			}
			sum[colour] += (float32(pix[Y*width+X]) - rawBlack) / (rawWhite - rawBlack)
			n[colour]++
		}
		for c := range rgb {
			rgb[c].Pix[i] = sum[c] / n[c]
		}
	}
	return rgb
}

func luminance(rgb [3]frame.Plane) frame.Plane {
	p := rgb[0]
	p.Pix = make([]float32, len(p.Pix))
	for c, w := range luminanceOf {
		for i, v := range rgb[c].Pix {
			p.Pix[i] += float32(w) * v
		}
	}
	return p
}

// halved is a picture at half its size.
func halved(p frame.Plane) frame.Plane {
	h := frame.Plane{Width: p.Width / 2, Height: p.Height / 2, Saturation: 1}
	for y := range h.Height {
		for x := range h.Width {
			a, b := p.Row(2 * y)[2*x:], p.Row(2*y + 1)[2*x:]
			h.Pix = append(h.Pix, (a[0]+a[1]+b[0]+b[1])/4)
		}
	}
	return h
}

// compressed is a JPEG of another quality.
func compressed(m frame.Metadata, quality int) frame.Metadata {
	m.Quality = quality
	return m
}

// betweenOff: the files that count are of one kind or the other, and so is their error, but for rounding. Three pictures
// counted twice each say a third of that.
const betweenOff = 0.01

// TestDoubledSessions: a session stored twice tells what it tells stored once, whatever the second file is.
func TestDoubledSessions(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures pictures of 3 megapixels; not in -short")
	}
	e, run := formatEvening(t)
	var greys []frame.Plane
	var mosaics [][]uint16
	for i := range e.Count {
		s := sceneOf(t, run, i)
		greys, mosaics = append(greys, s.grey()), append(mosaics, s.mosaic())
	}
	width := e.Camera.Width
	grey := func(ending string, quality int, f frame.Format) func(i int) written {
		return func(i int) written {
			b, err := encodedAs(greys[i], compressed(run.Metadata(i), quality), f)
			return fileOf(t, fmt.Sprintf("sky-%d%s", i, ending), b, err)
		}
	}
	raw := func(i int) written {
		return written{fmt.Sprintf("raw-%d.dng", i), dngFile(width, mosaics[i], run.Metadata(i))}
	}
	small := func(i int) written {
		b, err := encodedAs(halved(greys[i]), run.Metadata(i), frame.JPEG)
		return fileOf(t, fmt.Sprintf("small-%d.jpg", i), b, err)
	}
	beside := func(i int) written {
		m := run.Metadata(i)
		m.Clock.Step = time.Second // a JPEG without fractions of seconds
		b, err := encodedAs(luminance(demosaiced(width, mosaics[i])), m, frame.JPEG)
		return fileOf(t, fmt.Sprintf("raw-%d.jpg", i), b, err)
	}
	resaved := func(i int) written {
		m := run.Metadata(i)
		m.Lens.Make, m.Place = "", &e.Site
		b, err := encodedAs(greys[i], m, frame.JPEG)
		return fileOf(t, fmt.Sprintf("copy-%d.jpg", i), b, err)
	}
	d := desk{}
	for _, c := range []struct {
		name        string
		once, twice func(i int) written
	}{
		{"JPEG and 16-bit PNG", grey(".jpg", 0, frame.JPEG), grey(".png", 0, frame.PNG)},
		{"FITS and JPEG", grey(".fits", 0, frame.FITS), grey(".jpg", 0, frame.JPEG)},
		{"JPEG, and one compressed more", grey(".jpg", 0, frame.JPEG), grey("-q75.jpg", 75, frame.JPEG)},
		{"JPEG, and one with other metadata", grey(".jpg", 0, frame.JPEG), resaved},
		{"JPEG, and one of half the size", grey(".jpg", 0, frame.JPEG), small},
		{"raw mosaic and the JPEG developed from it", raw, beside},
	} {
		t.Run(c.name, func(t *testing.T) {
			var once, twice, both []written
			for i := range e.Count {
				once, twice = append(once, c.once(i)), append(twice, c.twice(i))
				both = append(both, c.once(i), c.twice(i))
			}
			single, second, doubled := d.answer(t, e, once...), d.answer(t, e, twice...), d.answer(t, e, both...)
			if single.Axis == nil || second.Axis == nil || doubled.Axis == nil {
				t.Fatalf("no axis: %v, %v, %v", single.Err, second.Err, doubled.Err)
			}
			used, why := usedOf(doubled)
			if len(used) != e.Count {
				t.Errorf("%v count; the others: %v", used, why)
			}
			for file, text := range why {
				if !strings.HasPrefix(text, "the same exposure as ") {
					t.Errorf("%s: %q", file, text)
				}
			}
			one, other, got := single.Measured.Axis.WorstSigma(), second.Measured.Axis.WorstSigma(), doubled.Measured.Axis.WorstSigma()
			if got < min(one, other).Mul(1-betweenOff) || got > max(one, other).Mul(1+betweenOff) {
				t.Errorf("± %.4f′ stored twice, %.4f′ or %.4f′ once", got.Min(), one.Min(), other.Min())
			}
			t.Logf("± %.4f′ and %.4f′ alone, %.4f′ together; %v count", one.Min(), other.Min(), got.Min(), used)
		})
	}
}

// again is the same scene with photons of its own.
func again(t *testing.T, run *simulate.Run, i int, seed uint64) frame.Plane {
	s := sceneOf(t, run, i)
	s.dice = rand.New(rand.NewPCG(seed, uint64(i)))
	return s.grey()
}

// TestQuickSeriesCounts: pictures of a third of a second each, whose stamps tell whole seconds, are as many measurements as
// pictures, though mount and lens stand perfectly still; and so they are with a raw file beside each.
func TestQuickSeriesCounts(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures pictures of 3 megapixels; not in -short")
	}
	e, run := formatEvening(t)
	m := run.Metadata(0)
	m.Clock.Start, m.Clock.Exposure, m.Clock.Step = m.Clock.Start.Truncate(time.Second), 300*time.Millisecond, time.Second
	var files, both []written
	for k := range 3 {
		s := sceneOf(t, run, 0)
		s.dice = rand.New(rand.NewPCG(uint64(k), 1))
		pix := s.mosaic()
		b, err := encodedAs(luminance(demosaiced(s.width, pix)), m, frame.JPEG)
		f := fileOf(t, fmt.Sprintf("quick-%d.jpg", k), b, err)
		files = append(files, f)
		both = append(both, f, written{fmt.Sprintf("quick-%d.dng", k), dngFile(s.width, pix, m)})
	}
	if _, why := usedOf(desk{}.answer(t, e, files...)); len(why) != 0 {
		t.Errorf("left out: %v", why)
	}
	used, why := usedOf(desk{}.answer(t, e, both...))
	if len(used) != len(files) {
		t.Errorf("%v count; the others: %v", used, why)
	}
	for file, text := range why {
		if stem := file[:len(file)-len(".jpg")]; !strings.Contains(text, stem) {
			t.Errorf("%s: %q", file, text)
		}
	}
}

// TestOtherExposuresCount: what shares stamp and exposure time, and is another exposure.
func TestOtherExposuresCount(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures pictures of 3 megapixels; not in -short")
	}
	e, run := formatEvening(t)
	second := func(change func(e *simulate.Evening)) *simulate.Run {
		o := e
		change(&o)
		r, err := o.Begin()
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	for name, other := range map[string]*simulate.Run{
		"the lens wandered by a tenth of a pixel": second(func(e *simulate.Evening) { e.Handling.Wander, e.Seed = 0.1, 99 }),
		"another camera on the same mount": second(func(e *simulate.Evening) {
			e.Camera = simulate.Small(50, 2.8, 6, 2000, 1332)
			e.Roll += 0.02
		}),
		"a camera of the same make beside it": second(func(e *simulate.Evening) {
			e.Camera.OffsetX += 3
			e.Roll += 0.004
			e.Target.Dec += 0.002
		}),
	} {
		t.Run(name, func(t *testing.T) {
			m := run.Metadata(0)
			first, err := encodedAs(again(t, run, 0, 1), m, frame.JPEG)
			a := fileOf(t, "first.jpg", first, err)
			m.Lens = other.Metadata(0).Lens
			b, err := encodedAs(again(t, other, 0, 2), m, frame.JPEG)
			if _, why := usedOf(desk{}.answer(t, e, a, fileOf(t, "second.jpg", b, err))); len(why) != 0 {
				t.Errorf("left out: %v", why)
			}
		})
	}
}

// TestCopiesStudy prints how alike files of one exposure are, and files of two: the table of drift/twin.go.
func TestCopiesStudy(t *testing.T) {
	if os.Getenv("TRUETURN_STUDY") == "" {
		t.Skip("set TRUETURN_STUDY=1; takes minutes")
	}
	for name, set := range map[string]func(e *simulate.Evening){
		"115 mm, clean": func(e *simulate.Evening) { e.Camera = simulate.Phone(115, 3); *e = e.Clean() },
		"115 mm, town": func(e *simulate.Evening) {
			e.Camera = simulate.Phone(115, 6)
			e.Camera.ZeroPoint *= 2
			*e = realistic(*e)
		},
		"24 mm":        func(e *simulate.Evening) { e.Camera = simulate.Phone(24, 3) },
		"50 mm, APS-C": func(e *simulate.Evening) { e.Camera = simulate.Small(50, 2.8, 6, 2000, 1332) },
	} {
		e, _ := formatEvening(t)
		set(&e)
		e.Count, e.Mount.Swings, e.Camera.Noiseless, e.Camera.HotPixels = 1, nil, true, 0
		run, err := e.Begin()
		if err != nil {
			t.Fatal(err)
		}
		first, second := filesOf(t, run, 1), filesOf(t, run, 2)
		for _, pair := range [][2]string{
			{"grey TIFF", "grey FITS"}, {"grey TIFF", "grey PNG, 8 bits"}, {"grey TIFF", "grey JPEG 95"}, {"grey JPEG 95", "grey JPEG 75"},
			{"grey JPEG 95", "grey JPEG 50"}, {"grey JPEG 95", "grey half"}, {"raw", "raw PNG"}, {"raw", "raw JPEG 95"}, {"raw", "raw JPEG 75"},
			{"raw", "raw sharpened"}, {"raw PNG", "raw JPEG 95"}, {"raw JPEG 95", "raw sharpened"}, {"grey half", "grey half"},
			{"raw", "raw"}, {"raw JPEG 95", "raw JPEG 95"}, {"raw sharpened", "raw sharpened"}, {"grey JPEG 75", "grey JPEG 75"}, {"grey JPEG 50", "grey JPEG 50"},
		} {
			one, _ := drift.Compare(first[pair[0]], first[pair[1]])
			two, _ := drift.Compare(first[pair[0]], second[pair[1]])
			fmt.Printf("%-14s %-14s %-18s %3d stars, one exposure %.2f, two %.2f\n", name, pair[0], pair[1], one.Stars, one.Spread, two.Spread)
		}
	}
}

// filesOf are files of one exposure, measured: the light of a noiseless picture with photons dealt by seed.
func filesOf(t *testing.T, run *simulate.Run, seed uint64) map[string]drift.Shot {
	light, meta, err := run.Frame(context.Background(), 0)
	if err != nil {
		t.Fatal(err)
	}
	c, dice := run.Evening().Camera, rand.New(rand.NewPCG(seed, 3))
	photons := func(light float32, share float64) float64 { // what a filter lets through, the balance restored
		e := float64(light) * c.FullScale * share
		return (e + dice.NormFloat64()*math.Sqrt(e+c.ReadNoise*c.ReadNoise)) / c.FullScale / share
	}
	grey, pix := light, make([]uint16, len(light.Pix))
	grey.Pix = make([]float32, len(light.Pix))
	for i, v := range light.Pix {
		grey.Pix[i] = float32(photons(v, 1))
		filter := [3]float64{0.5, 1, 0.65}[i%c.Width&1+i/c.Width&1]
		pix[i] = uint16(min(max(math.Round(rawBlack+photons(v, filter)*(rawWhite-rawBlack)), 0), rawWhite))
	}
	shots := map[string]drift.Shot{}
	put := func(name string, p frame.Plane, f frame.Format, quality, bits int) {
		m := compressed(meta, quality)
		m.Bits = bits
		b, err := encodedAs(p, m, f)
		shots[name] = desk{}.shot(t, fileOf(t, name, b, err))
	}
	put("grey TIFF", grey, frame.TIFF, 0, 0)
	put("grey FITS", grey, frame.FITS, 0, 0)
	put("grey PNG, 8 bits", grey, frame.PNG, 0, 8)
	for _, q := range []int{95, 75, 50} {
		put(fmt.Sprintf("grey JPEG %d", q), grey, frame.JPEG, q, 0)
	}
	put("grey half", halved(grey), frame.JPEG, 90, 0)
	colours := demosaiced(c.Width, pix)
	for name, quality := range map[string]int{"raw PNG": 0, "raw JPEG 95": 95, "raw JPEG 75": 75} {
		shots[name] = desk{}.shot(t, fileOf(t, name, inColour(colours, quality), nil))
	}
	for k := range colours {
		colours[k] = sharpened(colours[k])
	}
	shots["raw sharpened"] = desk{}.shot(t, fileOf(t, "raw sharpened", inColour(colours, 85), nil))
	shots["raw"] = desk{}.shot(t, written{"raw", dngFile(c.Width, pix, meta)})
	return shots
}

// inColour writes a JPEG, its colour at half size, or a PNG for quality 0, by the standard library and the curve of IEC 61966-2-1;
// without metadata.
func inColour(rgb [3]frame.Plane, quality int) []byte {
	img := image.NewRGBA(image.Rect(0, 0, rgb[0].Width, rgb[0].Height))
	for i := range rgb[0].Pix {
		for c := range rgb {
			v := math.Min(math.Max(float64(rgb[c].Pix[i]), 0), 1)
			if v = 1.055*math.Pow(v, 1/2.4) - 0.055; rgb[c].Pix[i] <= 0.0031308 {
				v = 12.92 * math.Max(float64(rgb[c].Pix[i]), 0)
			}
			img.Pix[4*i+c] = uint8(math.Round(255 * v))
		}
		img.Pix[4*i+3] = 255
	}
	var b bytes.Buffer
	if quality == 0 {
		png.Encode(&b, img)
	} else {
		jpeg.Encode(&b, img, &jpeg.Options{Quality: quality})
	}
	return b.Bytes()
}

// sharpened is unsharp masking over three pixels, as strong as phones do it (common practice, no source).
func sharpened(p frame.Plane) frame.Plane {
	out := p
	out.Pix = slices.Clone(p.Pix)
	for y := 1; y < p.Height-1; y++ {
		for x := 1; x < p.Width-1; x++ {
			var soft float32
			for k, w := range [9]float32{1, 2, 1, 2, 4, 2, 1, 2, 1} {
				soft += w / 16 * p.Row(y + k/3 - 1)[x+k%3-1]
			}
			out.Pix[y*p.Width+x] += 1.5 * (p.Row(y)[x] - soft)
		}
	}
	return out
}
