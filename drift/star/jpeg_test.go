package star

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"testing"

	"trueturn/drift/frame"
)

// asJPEG takes a plane through an 8-bit sRGB file (IEC 61966-2-1) and back.
func asJPEG(t testing.TB, p frame.Plane, quality int) frame.Plane {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, p.Width, p.Height))
	for i, v := range p.Pix {
		l := math.Min(math.Max(float64(v), 0), 1)
		if l <= 0.0031308 {
			l *= 12.92
		} else {
			l = 1.055*math.Pow(l, 1/2.4) - 0.055
		}
		img.Pix[i] = uint8(math.Round(255 * l))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	f, err := frame.Decode(bytes.NewReader(b.Bytes()), frame.Options{Name: "drawn.jpg"})
	if err != nil {
		t.Fatal(err)
	}
	return f.Plane
}

// What a phone delivers: 8 bits, a tone curve, compressed. The errors stated must be those made; a quarter off is allowed
// for compression, whose errors are neither independent nor normal.
func TestCompressedPictures(t *testing.T) {
	for _, c := range []struct {
		name    string
		quality int
		sky     float64
		read    float64
	}{
		{"best quality, bright sky", 98, 600, 8},
		{"usual quality", 92, 600, 8},
		{"strong compression", 80, 600, 8},
		{"dark sky, noise about a step", 95, 60, 4},
		{"noise far under a step", 95, 3000, 0.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(700, 700, 11, flat(c.sky))
			if c.read < 1 { // an averaged picture: hardly any noise, whole blocks of one value
				for i := range s.e {
					s.e[i] = c.sky
				}
			}
			truth := scatterStars(s, gauss{1.3}, 50, 4000, 60000)
			p := s.develop(c.read, fullWell)
			if c.read < 1 {
				for i, e := range s.e {
					p.Pix[i] = float32(e / fullWell)
				}
			}
			f := find(t, asJPEG(t, p, c.quality), Options{})
			var pulls, errs []float64
			strange, missed := len(f.Stars), 0
			for _, d := range truth {
				st := at(f.Stars, d.x, d.y, 1.5)
				if st == nil {
					missed++
					continue
				}
				strange--
				pulls = append(pulls, math.Abs(st.X-d.x)/st.XErr, math.Abs(st.Y-d.y)/st.YErr)
				errs = append(errs, st.XErr)
			}
			spread := 1.4826 * median(pulls)
			t.Logf("%d of %d missed, %d false; median error %.3f px, scatter %.2f of it", missed, len(truth), strange, median(errs), spread)
			if spread > 1.25 || missed > len(truth)/20 || strange > 1 {
				t.Errorf("%d missed, %d false, scatter %.2f of the stated errors", missed, strange, spread)
			}
		})
	}
}
