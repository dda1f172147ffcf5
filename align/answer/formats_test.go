package answer

import (
	"bytes"
	"context"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

// The same scene out of every kind of file. The stars have colours and are drawn here, not by the renderer, which only
// says where they stand: pixels integrate round Gaussians exactly.
const (
	sceneFWHM = 2.6 // pixels, before the box of a pixel
	readE     = 3.0 // electrons rms
	rawBlack  = 256 // of the 12-bit mosaic
	rawWhite  = 4095
)

// strengths are the colours of the stars, red, green, blue over green; their sky likewise, in electrons.
var (
	strengths = [...][3]float64{{1, 1, 1}, {1.9, 1, 0.45}, {0.5, 1, 1.8}}
	skyE      = [3]float64{60, 110, 85}
)

// luminanceOf are the weights of IEC 61966-2-1.
var luminanceOf = [3]float64{0.2126, 0.7152, 0.0722}

// scene is the light of one picture in electrons: planes of red, green and blue.
type scene struct {
	width, height int
	light         [3][]float64
	full          float64 // electrons that fill a pixel
	dice          *rand.Rand
}

func sceneOf(t *testing.T, run *simulate.Run, i int) scene {
	t.Helper()
	c := run.Evening().Camera
	s := scene{width: c.Width, height: c.Height, full: c.FullScale, dice: rand.New(rand.NewPCG(11, uint64(i)))}
	for k := range s.light {
		s.light[k] = make([]float64, c.Width*c.Height)
		for j := range s.light[k] {
			s.light[k][j] = skyE[k]
		}
	}
	stars, err := run.Stars(i)
	if err != nil {
		t.Fatal(err)
	}
	for _, star := range stars {
		s.draw(star)
	}
	return s
}

// draw adds a star whose colour is its own, the same in every picture.
func (s *scene) draw(star simulate.TrueStar) {
	const reach = 8
	sigma := sceneFWHM / (2 * math.Sqrt(2*math.Ln2))
	part := func(d float64) float64 {
		return (math.Erf((d+.5)/(math.Sqrt2*sigma)) - math.Erf((d-.5)/(math.Sqrt2*sigma))) / 2
	}
	x0, y0 := int(math.Round(star.MeanX)), int(math.Round(star.MeanY))
	for y := max(y0-reach, 0); y <= min(y0+reach, s.height-1); y++ {
		for x := max(x0-reach, 0); x <= min(x0+reach, s.width-1); x++ {
			e := star.Electrons * part(float64(x)-star.MeanX) * part(float64(y)-star.MeanY)
			for k, strength := range strengths[int(star.HIP)%len(strengths)] {
				s.light[k][y*s.width+x] += e * strength
			}
		}
	}
}

// counted adds the noise of photons and of the readout.
func (s *scene) counted(e float64) float64 { return e + s.dice.NormFloat64()*math.Sqrt(e+readE*readE) }

// grey is the picture of a camera that has made luminance of the colours.
func (s *scene) grey() frame.Plane {
	p := frame.Plane{Width: s.width, Height: s.height, Saturation: 1, Pix: make([]float32, s.width*s.height)}
	for i := range p.Pix {
		e := 0.0
		for k, w := range luminanceOf {
			e += w * s.light[k][i]
		}
		p.Pix[i] = float32(s.counted(e) / s.full)
	}
	return p
}

// mosaic is what the sensor saw through red, green, green and blue filters, in 12 bits.
func (s *scene) mosaic() []uint16 {
	pix := make([]uint16, s.width*s.height)
	for i := range pix {
		x, y := i%s.width, i/s.width
		e := s.counted(s.light[x&1+y&1][i])
		pix[i] = uint16(min(max(math.Round(rawBlack+e/s.full*(rawWhite-rawBlack)), 0), rawWhite))
	}
	return pix
}

// kindsOfFile are the ways to write a scene.
var kindsOfFile = map[string]func(s *scene, meta frame.Metadata) ([]byte, error){
	"JPEG": func(s *scene, meta frame.Metadata) ([]byte, error) { return encodedAs(s.grey(), meta, frame.JPEG) },
	"TIFF": func(s *scene, meta frame.Metadata) ([]byte, error) { return encodedAs(s.grey(), meta, frame.TIFF) },
	"FITS": func(s *scene, meta frame.Metadata) ([]byte, error) { return encodedAs(s.grey(), meta, frame.FITS) },
	"DNG":  func(s *scene, meta frame.Metadata) ([]byte, error) { return dngFile(s.width, s.mosaic(), meta), nil },
	"mosaic in FITS": func(s *scene, meta frame.Metadata) ([]byte, error) {
		p := frame.Plane{Width: s.width, Height: s.height, Saturation: 1}
		for _, v := range s.mosaic() {
			p.Pix = append(p.Pix, float32(v)/65535)
		}
		b, err := encodedAs(p, meta, frame.FITS)
		return withCard(b, "INSTRUME", "BAYERPAT= 'RGGB    '"), err
	},
}

func encodedAs(p frame.Plane, meta frame.Metadata, f frame.Format) ([]byte, error) {
	var b bytes.Buffer
	err := frame.Encode(&b, p, meta, f)
	return b.Bytes(), err
}

// withCard puts a card of a FITS header in the place of another.
func withCard(b []byte, old, card string) []byte {
	for i := 0; i+80 <= len(b) && i < 20*2880; i += 80 {
		if strings.HasPrefix(string(b[i:i+80]), old) {
			copy(b[i:i+80], card+strings.Repeat(" ", 80))
			break
		}
	}
	return b
}

// formatEvening is three small pictures with swings between them.
func formatEvening(t *testing.T) (simulate.Evening, *simulate.Run) {
	t.Helper()
	site, err := ephem.NewSite(46, 7, 500)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 20, 20, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e.Camera = simulate.Phone(115, 3)
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	e = swung(e.Clean(), 0, 25, -45)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return e, run
}

// What every kind must come to.
const (
	scaleOff = 0.002 // between kinds, as a share: what three pictures leave of the focal length, times three
	widthOff = 0.08  // of FWHM: JPEG's curve and rounding; a count in cells would be off by half
	longest  = 1.05  // elongation: noise and the catalogue's close pairs; cells taken for squares give 1.13
)

// TestFormatsAgree measures one scene out of every kind of file: the axis is that of the truth and that of the other kinds
// within the errors stated, and lengths count the same pixels.
func TestFormatsAgree(t *testing.T) {
	if testing.Short() {
		t.Skip("draws and measures fifteen pictures; not in -short")
	}
	e, run := formatEvening(t)
	truth := run.Axis(e.Count - 1)
	var scenes []scene
	for i := range e.Count {
		scenes = append(scenes, sceneOf(t, run, i))
	}
	arcsec := unit.Angle(math.Atan(1 / e.Camera.FocalPx)).Sec()
	width := math.Sqrt(sceneFWHM*sceneFWHM + 8*math.Ln2/12)
	answers := map[string]Answer{}
	for kind, write := range kindsOfFile {
		var sources []drift.Source
		for i := range e.Count {
			b, err := write(&scenes[i], run.Metadata(i))
			if err != nil {
				t.Fatal(err)
			}
			sources = append(sources, drift.Source{Name: e.File(i), Open: func() (io.ReadSeekCloser, error) { return memory{bytes.NewReader(b)}, nil }})
		}
		q, err := drift.Measure(context.Background(), sources, drift.Options{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		a := New(q, Options{Site: &e.Site, Air: &e.Air})
		if a.Axis == nil {
			t.Errorf("%s: no axis: %v", kind, a.Err)
			continue
		}
		answers[kind] = a
		near(t, kind+" and the truth", *a.Axis, AxisJSON{AltitudeDeg: truth.Altitude.Deg(), AzimuthDeg: truth.Azimuth.Deg()})
		for _, f := range a.Frames {
			if math.Abs(*f.ScaleArcsecPx/arcsec-1) > scaleOff || math.Abs(*f.FWHMPx/width-1) > widthOff || *f.Elongation > longest {
				t.Errorf("%s: %.3f″ a pixel, stars %.2f pixels wide, elongation %.3f; the camera has %.3f″ and %.2f, round", kind,
					*f.ScaleArcsecPx, *f.FWHMPx, *f.Elongation, arcsec, width)
			}
		}
		s, f := q.Shots[0], a.Frames[0]
		if s.Width != e.Camera.Width || s.Height != e.Camera.Height || math.Abs(s.Lens.PixelPitchUM/e.Camera.PixelPitchUM-1) > 1e-3 {
			t.Errorf("%s: %d×%d pixels of %g µm; want %d×%d of %g", kind, s.Width, s.Height, s.Lens.PixelPitchUM, e.Camera.Width, e.Camera.Height, e.Camera.PixelPitchUM)
		}
		t.Logf("%-14s %.4f° ± %.3f′, %.4f° ± %.3f′; %d stars, rms %.3f px, %.3f″ a pixel, FWHM %.2f px, elongation %.3f", kind,
			a.Axis.AltitudeDeg, a.Axis.AltitudeSigmaArcmin, a.Axis.AzimuthDeg, a.Axis.AzimuthSigmaArcmin, f.Matched, *f.RMSPx, *f.ScaleArcsecPx, *f.FWHMPx, *f.Elongation)
	}
	for kind, a := range answers {
		near(t, kind+" and JPEG", *a.Axis, *answers["JPEG"].Axis)
	}
}

// near asks that two axes agree within what they say of themselves.
func near(t *testing.T, what string, a, b AxisJSON) {
	t.Helper()
	alt := math.Hypot(a.AltitudeSigmaArcmin, b.AltitudeSigmaArcmin)
	az := math.Hypot(a.AzimuthSigmaArcmin, b.AzimuthSigmaArcmin)
	dAlt, dAz := 60*(a.AltitudeDeg-b.AltitudeDeg), 60*(a.AzimuthDeg-b.AzimuthDeg)
	if math.Abs(dAlt) > sureWithin*alt || math.Abs(dAz) > sureWithin*az {
		t.Errorf("%s differ by %+.3f′ ± %.3f′ in altitude, %+.3f′ ± %.3f′ in azimuth", what, dAlt, alt, dAz, az)
	}
}
