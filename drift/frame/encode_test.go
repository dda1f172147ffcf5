package frame

import (
	"bytes"
	"math"
	"testing"
	"time"

	"trueturn/ephem"
)

// ramp is a small picture with every level, darkest at the top left.
func ramp(w, h int) Plane {
	p := Plane{Width: w, Height: h, Pix: make([]float32, w*h), Saturation: 1}
	for i := range p.Pix {
		p.Pix[i] = float32(i) / float32(len(p.Pix)-1)
	}
	return p
}

func invented() Metadata {
	site, err := ephem.NewSite(-43.98712345, 170.46498765, 1029.5)
	if err != nil {
		panic(err)
	}
	return Metadata{
		Clock: Clock{Start: time.Date(2026, 3, 1, 10, 59, 59, 45e6, time.UTC), Exposure: 8500 * time.Millisecond, Step: time.Millisecond},
		Zone:  time.FixedZone("", 13*3600+45*60),
		Lens:  Lens{FocalLengthMM: 6.9, EquivalentMM: 115, PixelPitchUM: 1.12, FNumber: 2.8, Make: "Invented", Model: "Night 1"},
		Place: &site,
	}
}

// Steps of the coded picture, as differences of linear light at full scale.
const (
	// Half a step of 8 bits where the sRGB curve is steepest: 0.5/255 × 2.27.
	eightBitStep = 0.0045
	// JPEG at quality 95 adds a few steps on a smooth ramp.
	jpegStep = 0.03
	// Half a step of 16 bits, and float32 rounding.
	sixteenBitStep = 0.5/65535 + 1e-7
)

func TestEncodeDecode(t *testing.T) {
	for _, c := range []struct {
		name   string
		format Format
		bits   int
		light  float64
		notes  []string
	}{
		{"JPEG", JPEG, 0, jpegStep, nil},
		{"PNG of 8 bits", PNG, 8, eightBitStep, nil},
		{"PNG of 16 bits", PNG, 16, sixteenBitStep, nil},
		{"TIFF", TIFF, 0, sixteenBitStep, nil},
		{"FITS of 16 bits", FITS, 0, sixteenBitStep, nil},
		{"FITS floating", FITS, -32, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, m := ramp(61, 47), invented()
			m.Bits = c.bits
			var b bytes.Buffer
			if err := Encode(&b, p, m, c.format); err != nil {
				t.Fatal(err)
			}
			f, err := Decode(bytes.NewReader(b.Bytes()), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if f.Format != c.format.String() || f.RowOrderUnknown {
				t.Errorf("format %s, row order unknown %v", f.Format, f.RowOrderUnknown)
			}
			checkLight(t, f.Plane, p, c.light)
			checkMetadata(t, f, m, c.format)
		})
	}
}

func checkLight(t *testing.T, got, want Plane, tolerance float64) {
	t.Helper()
	if got.Width != want.Width || got.Height != want.Height {
		t.Fatalf("size %d×%d, want %d×%d", got.Width, got.Height, want.Width, want.Height)
	}
	for i, v := range got.Pix {
		if math.Abs(float64(v)-float64(want.Pix[i])) > tolerance {
			t.Fatalf("pixel %d,%d is %g, want %g ± %g", i%got.Width, i/got.Width, v, want.Pix[i], tolerance)
		}
	}
}

func checkMetadata(t *testing.T, f Frame, m Metadata, format Format) {
	t.Helper()
	if f.ClockErr != nil {
		t.Fatal(f.ClockErr)
	}
	if !f.Clock.Start.Equal(m.Clock.Start) || f.Clock.Exposure != m.Clock.Exposure || f.Clock.Step != m.Clock.Step {
		t.Errorf("clock %+v, want %+v", *f.Clock, m.Clock)
	}
	want := m.Lens
	if format == FITS { // no keywords for these
		want.Make, want.EquivalentMM = "", 0
	}
	// Rationals and decimals of the file hold nine digits or more.
	const digits = 1e-8
	near := func(a, b float64) bool { return math.Abs(a-b) <= digits*math.Abs(b) }
	got := f.Lens
	if !near(got.FocalLengthMM, want.FocalLengthMM) || got.EquivalentMM != want.EquivalentMM || !near(got.PixelPitchUM, want.PixelPitchUM) ||
		!near(got.FNumber, want.FNumber) || got.Make != want.Make || got.Model != want.Model {
		t.Errorf("lens %+v, want %+v", got, want)
	}
	if f.Place == nil || !near(f.Place.Latitude.Deg(), m.Place.Latitude.Deg()) || !near(f.Place.Longitude.Deg(), m.Place.Longitude.Deg()) || f.Place.HeightM != m.Place.HeightM {
		t.Errorf("place %v, want %v", f.Place, m.Place)
	}
}
