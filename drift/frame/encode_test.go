package frame

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"testing"
	"time"

	"codeberg.org/astrogo/fitsio"
	"github.com/google/go-cmp/cmp"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
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

// TestEncodeClips: what does not fit an integer file is clipped, not wrapped.
func TestEncodeClips(t *testing.T) {
	p := Plane{Width: 5, Height: 1, Pix: []float32{-1, float32(math.NaN()), 0.5, 7, float32(math.Inf(1))}}
	want := Plane{Width: 5, Height: 1, Pix: []float32{0, 0, 0.5, 1, 1}}
	for _, format := range []Format{PNG, TIFF, FITS} {
		var b bytes.Buffer
		if err := Encode(&b, p, Metadata{}, format); err != nil {
			t.Fatal(err)
		}
		f, err := Decode(bytes.NewReader(b.Bytes()), Options{})
		if err != nil {
			t.Fatal(err)
		}
		checkLight(t, f.Plane, want, sixteenBitStep)
		if f.Place != nil || f.Lens != (Lens{}) || !errors.Is(f.ClockErr, ErrNoClock) {
			t.Errorf("%s: nothing was given, but %v, %v, %v came back", format, f.Place, f.Lens, f.Clock)
		}
	}
}

// TestEncodeKeepsNaN: floating FITS has room for everything.
func TestEncodeKeepsNaN(t *testing.T) {
	p := Plane{Width: 3, Height: 1, Pix: []float32{-70000, float32(math.NaN()), 1e6}}
	var b bytes.Buffer
	if err := Encode(&b, p, Metadata{Bits: -32}, FITS); err != nil {
		t.Fatal(err)
	}
	f, err := Decode(bytes.NewReader(b.Bytes()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := f.Plane.Pix; got[0] != -70000 || !math.IsNaN(float64(got[1])) || got[2] != 1e6 {
		t.Errorf("values %v", got)
	}
}

func TestEncodeRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		plane  Plane
		m      Metadata
		format Format
		kind   error
	}{
		{"no pixels", Plane{}, Metadata{}, PNG, ErrUnsupported},
		{"values missing", Plane{Width: 4, Height: 4, Pix: make([]float32, 15)}, Metadata{}, PNG, ErrUnsupported},
		{"too wide for JPEG", Plane{Width: 70000, Height: 1, Pix: make([]float32, 70000)}, Metadata{}, JPEG, ErrTooLarge},
		{"JPEG of 16 bits", ramp(4, 4), Metadata{Bits: 16}, JPEG, ErrUnsupported},
		{"TIFF of 8 bits", ramp(4, 4), Metadata{Bits: 8}, TIFF, ErrUnsupported},
		{"no format", ramp(4, 4), Metadata{}, 0, ErrUnsupported},
	} {
		var e *amiss.Error
		if err := Encode(io.Discard, c.plane, c.m, c.format); !errors.Is(err, c.kind) || !errors.As(err, &e) || e.Ways == nil {
			t.Errorf("%s: error %v, want %v with a hint", c.name, err, c.kind)
		}
	}
	if _, err := ParseFormat("heic"); !errors.Is(err, ErrUnsupported) {
		t.Errorf("ParseFormat(heic): %v", err)
	}
}

// fullDisk takes nothing more after a while.
type fullDisk struct{ left int }

var errFull = errors.New("no space left")

func (d *fullDisk) Write(b []byte) (int, error) {
	if d.left -= len(b); d.left < 0 {
		return 0, errFull
	}
	return len(b), nil
}

func TestEncodeWriteError(t *testing.T) {
	for _, format := range []Format{JPEG, PNG, TIFF, FITS} {
		if err := Encode(&fullDisk{100}, ramp(200, 300), Metadata{}, format); !errors.Is(err, errFull) {
			t.Errorf("%s: error %v, want the writer's", format, err)
		}
	}
}

func TestEncodeIsDeterministic(t *testing.T) {
	for _, format := range []Format{JPEG, PNG, TIFF, FITS} {
		var a, b bytes.Buffer
		if err := errors.Join(Encode(&a, ramp(64, 48), invented(), format), Encode(&b, ramp(64, 48), invented(), format)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s differs from run to run", format)
		}
	}
}

// TestEncodeClock writes clocks as cameras do.
func TestEncodeClock(t *testing.T) {
	start := time.Date(2026, 3, 1, 21, 13, 5, 678901234, time.UTC)
	zone := time.FixedZone("", -(3*3600 + 30*60))
	for _, c := range []struct {
		name   string
		format Format
		m      Metadata
		o      Options
		want   time.Time // zero: no usable clock
		step   time.Duration
	}{
		{"whole seconds are rounded down", JPEG, Metadata{Clock: Clock{Start: start, Step: time.Second}, Zone: zone}, Options{}, start.Truncate(time.Second), time.Second},
		{"hundredths", PNG, Metadata{Clock: Clock{Start: start, Step: 10 * time.Millisecond}, Zone: zone}, Options{}, start.Truncate(10 * time.Millisecond), 10 * time.Millisecond},
		{"half seconds take a digit", TIFF, Metadata{Clock: Clock{Start: start, Step: 500 * time.Millisecond}}, Options{}, start.Truncate(500 * time.Millisecond), 100 * time.Millisecond},
		{"microseconds in FITS", FITS, Metadata{Clock: Clock{Start: start, Step: time.Microsecond}}, Options{}, start.Truncate(time.Microsecond), time.Microsecond},
		{"no offset", JPEG, Metadata{Clock: Clock{Start: start}, Zone: zone, NoOffset: true}, Options{}, time.Time{}, 0},
		{"no offset, zone given", JPEG, Metadata{Clock: Clock{Start: start}, Zone: zone, NoOffset: true}, Options{Zone: zone}, start.Truncate(time.Millisecond), time.Millisecond},
		{"no offset, GPS time", JPEG, Metadata{Clock: Clock{Start: start}, Zone: zone, NoOffset: true, GPSTime: true}, Options{}, start.Truncate(time.Millisecond), time.Millisecond},
		{"no clock", JPEG, Metadata{GPSTime: true}, Options{}, time.Time{}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b bytes.Buffer
			if err := Encode(&b, ramp(8, 8), c.m, c.format); err != nil {
				t.Fatal(err)
			}
			f, err := Decode(bytes.NewReader(b.Bytes()), c.o)
			if err != nil {
				t.Fatal(err)
			}
			if c.want.IsZero() {
				if !errors.Is(f.ClockErr, ErrNoClock) {
					t.Errorf("clock %v, %v; want none", f.Clock, f.ClockErr)
				}
				return
			}
			if f.ClockErr != nil || !f.Clock.Start.Equal(c.want) || f.Clock.Step != c.step {
				t.Errorf("clock %v, %v; want %v, step %v", f.Clock, f.ClockErr, c.want, c.step)
			}
		})
	}
}

// TestFITSByAnotherReader opens our FITS with the library fitsio.
func TestFITSByAnotherReader(t *testing.T) {
	p := ramp(7, 5)
	var b bytes.Buffer
	if err := Encode(&b, p, invented(), FITS); err != nil {
		t.Fatal(err)
	}
	f, err := fitsio.Open(&b)
	if err != nil {
		t.Fatal(err)
	}
	img, ok := f.HDU(0).(fitsio.Image)
	if !ok {
		t.Fatal("no picture in the primary unit")
	}
	h := img.Header()
	if diff := cmp.Diff([]int{7, 5}, h.Axes()); diff != "" || h.Bitpix() != 16 {
		t.Errorf("BITPIX %d, axes %v", h.Bitpix(), h.Axes())
	}
	if got := h.Get("DATE-OBS").Value; got != "2026-03-01T10:59:59.045" {
		t.Errorf("DATE-OBS %v", got)
	}
	raw := make([]int16, 35)
	if err := img.Read(&raw); err != nil {
		t.Fatal(err)
	}
	for i, v := range raw { // bottom-up, BZERO 32768 not applied by the library
		want := p.Row(4 - i/7)[i%7]
		if got := (float64(v) + 32768) / 65535; math.Abs(got-float64(want)) > sixteenBitStep {
			t.Errorf("value %d is %g, want %g", i, got, want)
		}
	}
}

// ExampleEncode writes a picture and reads it back.
func ExampleEncode() {
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		fmt.Println(err)
		return
	}
	m := Metadata{
		Clock: Clock{Start: time.Date(2026, 3, 1, 21, 13, 5, 0, time.UTC), Exposure: 8 * time.Second},
		Zone:  time.FixedZone("", 3600),
		Lens:  Lens{FocalLengthMM: 6.9, EquivalentMM: 115},
		Place: &site,
	}
	var file bytes.Buffer
	if err := Encode(&file, ramp(64, 48), m, JPEG); err != nil {
		fmt.Println(err)
		return
	}
	f, err := Decode(bytes.NewReader(file.Bytes()), Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(f.Format, f.Plane.Width, "×", f.Plane.Height)
	fmt.Println(f.Clock.Mid().Format(time.RFC3339), "±", f.Clock.Step, "from", f.Clock.Source)
	fmt.Println(f.Place)
	// Output:
	// JPEG 64 × 48
	// 2026-03-01T21:13:09Z ± 1ms from EXIF DateTimeOriginal, offset in the file
	// 46.0200° N, 7.7500° E, 1620 m
}

// BenchmarkEncode writes a 12-megapixel picture.
func BenchmarkEncode(b *testing.B) {
	p := ramp(4000, 3000)
	for _, format := range []Format{JPEG, PNG, TIFF, FITS} {
		b.Run(format.String(), func(b *testing.B) {
			for b.Loop() {
				if err := Encode(io.Discard, p, invented(), format); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
